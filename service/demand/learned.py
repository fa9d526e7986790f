"""Forecast against used: kept forecasts whose period has passed."""

from collections import defaultdict
from datetime import datetime

import numpy as np
import sqlalchemy as sa

from api_schemas.demand import DemandLearned, KeptForecast, LearnedItem, Unit
from service.demand.tables import demand_forecasts
from service.demand.used import ItemKey, Uses

NEWEST_SHOWN = 100
_ALL_PARTS = "all parts"


def learned_from(connection: sa.Connection, now: datetime) -> DemandLearned:
    """Every kept forecast whose period had ended by `now`, with what is known now to have been used in it."""
    kept = demand_forecasts
    rows = connection.execute(
        sa.select(kept).where(kept.c.ends_at <= now).order_by(kept.c.starts_at, kept.c.made_at, kept.c.item)
    ).mappings()
    uses = Uses(connection)
    judged = [_judged(row, uses) for row in rows]
    by_item: dict[ItemKey, list[_Judged]] = defaultdict(list)
    for each in judged:
        by_item[each.told.unit == "L", each.told.item].append(each)
    parts = [each for each in judged if each.told.unit == "pieces"]
    return DemandLearned(
        overall=_learned(_ALL_PARTS, parts) if parts else None,
        items=[_learned(item, some) for (_, item), some in sorted(by_item.items())],
        newest=[each.told for each in judged[: -NEWEST_SHOWN - 1 : -1]],
    )


class _Judged:
    """A kept forecast beside its outcome; `below` is P(less than what was used), `upto` P(at most that)."""

    def __init__(self, told: KeptForecast, below: float, upto: float) -> None:
        self.told, self.below, self.upto = told, below, upto

    def is_within(self, level: float) -> bool:
        """Whether use stayed within the point that was told with this probability: the smallest with P ≥ level."""
        return self.below < level


def _judged(row: sa.RowMapping, uses: Uses) -> _Judged:
    probability = np.array(row["probability"])
    cumulative = np.cumsum(probability)
    step, first = row["step"], row["first_count"]
    used = uses.between((row["is_fluid"], row["item"]), row["starts_at"], row["ends_at"])
    count = round(used / step) - first
    below = _at(cumulative, count - 1)
    upto = _at(cumulative, count)
    unit: Unit = "L" if row["is_fluid"] else "pieces"
    told = KeptForecast(
        item=row["item"],
        unit=unit,
        made_at=row["made_at"],
        starts_at=row["starts_at"],
        ends_at=row["ends_at"],
        mean=round(step * float(probability @ (first + np.arange(len(probability)))), 4),
        p10=step * (first + int(np.sum(cumulative < 0.1))),
        p90=step * (first + int(np.sum(cumulative < 0.9))),
        used=round(used, 4),
        level=round(0.5 * (below + upto), 4),
    )
    return _Judged(told, below, upto)


def _at(cumulative: np.ndarray, count: int) -> float:
    return 0.0 if count < 0 else float(min(cumulative[min(count, len(cumulative) - 1)], 1.0))


def _learned(item: str, some: list[_Judged]) -> LearnedItem:
    def share(held: list[bool]) -> float:
        return round(float(np.mean(held)), 4)

    return LearnedItem(
        item=item,
        unit=some[0].told.unit,
        forecasts=len(some),
        forecast=round(sum(each.told.mean for each in some), 3),
        used=round(sum(each.told.used for each in some), 3),
        within_p50=share([each.is_within(0.5) for each in some]),
        within_p90=share([each.is_within(0.9) for each in some]),
        within_p99=share([each.is_within(0.99) for each in some]),
        in_band=share([each.told.p10 <= each.told.used <= each.told.p90 for each in some]),
    )
