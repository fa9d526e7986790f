"""Records of lives reckoned when asked, beside what the last pass learned of the next ones."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime
from typing import Any

import numpy as np
import sqlalchemy as sa
from scipy.special import ndtr

from api_schemas.lives import CurvePoint, Early, LifeItem, LifeList, Median, Shorter, Worth
from scheduler.planning.duty import assess_duty
from scheduler.planning.life_records import EarlyChanges, LifeRecord, ShortLives, life_records
from scheduler.planning.plant_columns import Flags, Floats, PlantColumns
from scheduler.statistics.survival_curve import median_life
from service.cursors import read_cursor, write_cursor
from service.dependencies import refuse_other_plant
from service.due.tables import life_priors
from service.keys.keeping import Caller
from service.plant_folder import tables as t
from service.plant_store.loading import load_plant
from service.problems import NotFound

LONGEST_PAGE = 500


@dataclass(frozen=True, slots=True)
class Only:
    """Which lives are asked for; None: all of them."""

    plant: str | None = None
    system: str | None = None
    part_number: str | None = None
    position: str | None = None


@dataclass(frozen=True, slots=True)
class _Model:
    """What the last pass learned of the next lives, (k,): mean and standard deviation of ln hours."""

    log_median: Floats
    log_sd: Floats

    def survival(self, at_h: float) -> float | None:
        if not len(self.log_median):
            return None
        return float(np.mean(ndtr((self.log_median - np.log(at_h)) / self.log_sd)))


def lives_page(
    connection: sa.Connection,
    caller: Caller,
    as_of: datetime,
    only: Only,
    *,
    limit: int | None = None,
    cursor: str | None = None,
) -> LifeList:
    """A page of records, or all of them. Raises NotFound for what is not there, NotAllowed for a plant not seen."""
    _check(connection, caller, only)
    after = read_cursor(cursor, "lives", str, str) if cursor else None
    seen = connection.scalars(sa.select(t.systems.c.system).where(caller.only(t.systems.c.plant)))
    columns = load_plant(connection, as_of, None if caller.plants is None else frozenset(seen))
    found = life_records(columns, assess_duty(columns), _chosen(columns, only))
    keyed = [(key, record) for record in found if _is_wanted(key := _key(columns, record), only, after)]
    page = keyed if limit is None else keyed[:limit]
    models = _models(connection)
    return LifeList(
        items=[_item(columns, record, models) for _, record in page],
        next=write_cursor("lives", *page[-1][0]) if len(keyed) > len(page) else None,
    )


_Key = tuple[str, str]


def _key(columns: PlantColumns, record: LifeRecord) -> _Key:
    position = "" if record.position < 0 else columns.positions.code[record.position]
    return columns.types.part_number[record.type], position


def _is_wanted(key: _Key, only: Only, after: _Key | None) -> bool:
    return only.part_number in (None, key[0]) and (after is None or key > after)


def _chosen(columns: PlantColumns, only: Only) -> Flags:
    system = columns.positions.system
    return np.array(
        [
            only.position in (None, code)
            and only.system in (None, columns.systems.code[of])
            and only.plant in (None, columns.plants.code[int(columns.systems.plant[of])])
            for code, of in zip(columns.positions.code, system.tolist(), strict=True)
        ],
        dtype=bool,
    )


def _check(connection: sa.Connection, caller: Caller, only: Only) -> None:
    refuse_other_plant(caller, only.plant)
    own = caller.only(t.systems.c.plant)
    systems = sa.select(t.systems.c.system).where(own)
    asked: tuple[tuple[str, str | None, sa.Select[Any]], ...] = (
        ("plant", only.plant, sa.select(t.plants.c.plant).where(t.plants.c.plant == only.plant)),
        ("system", only.system, systems.where(t.systems.c.system == only.system)),
        (
            "element type",
            only.part_number,
            sa.select(t.element_types.c.part_number).where(t.element_types.c.part_number == only.part_number),
        ),
        (
            "position",
            only.position,
            systems.join(t.positions, t.positions.c.system == t.systems.c.system).where(
                t.positions.c.position == only.position
            ),
        ),
    )
    for what, code, query in asked:
        if code is not None and connection.execute(query).first() is None:
            raise NotFound(f"there is no {what} '{code}'")


def _models(connection: sa.Connection) -> dict[_Key, tuple[float, float]]:
    rows = connection.execute(sa.select(life_priors)).mappings()
    return {(row["part_number"], row["position"]): (row["log_median_h"], row["log_sd"]) for row in rows}


def _item(columns: PlantColumns, record: LifeRecord, models: dict[_Key, tuple[float, float]]) -> LifeItem:
    part_number, position = _key(columns, record)
    model = _model_of(part_number, [position] if position else columns.positions.code, models)
    system = -1 if record.position < 0 else int(columns.positions.system[record.position])
    return LifeItem(
        part_number=part_number,
        position=position or None,
        system=None if system < 0 else columns.systems.code[system],
        plant=None if system < 0 else columns.plants.code[int(columns.systems.plant[system])],
        lives=record.lives,
        running=record.running,
        at_limit=record.at_limit,
        reasons={reason.value: count for reason, count in record.reasons.items()},
        curve=_curve(record, model),
        median=_median(record, model),
        shorter=None if record.short is None else _shorter(record.short),
        early=_early(record.early),
    )


def _model_of(part_number: str, positions: Iterable[str], models: dict[_Key, tuple[float, float]]) -> _Model:
    known = [models[part_number, code] for code in positions if (part_number, code) in models]
    told = np.array(known, dtype=np.float64).reshape(-1, 2)
    return _Model(told[:, 0], told[:, 1])


def _curve(record: LifeRecord, model: _Model) -> list[CurvePoint]:
    curve = record.curve
    return [
        CurvePoint(
            hours=round(float(curve.at_h[row]), 1),
            at_risk=int(curve.at_risk[row]),
            ends=int(curve.ends[row]),
            survival=round(float(curve.survival[row]), 4),
            low=_told(curve.low_share[row], 4),
            high=_told(curve.high_share[row], 4),
            model=None if (share := model.survival(float(curve.at_h[row]))) is None else round(share, 4),
        )
        for row in range(len(curve.at_h))
    ]


def _median(record: LifeRecord, model: _Model) -> Median:
    found = median_life(record.curve)
    # of several positions the median of their medians: the mixture's own differs from it by less than its band
    by_model = float(np.exp(np.median(model.log_median))) if len(model.log_median) else float("nan")
    return Median(
        hours=_told(found.median_h, 1),
        low=_told(found.low_h, 1),
        high=_told(found.high_h, 1),
        model=_told(by_model, 1),
    )


def _shorter(found: ShortLives) -> Shorter:
    return Shorter(
        ratio=round(found.ratio, 3),
        low=round(found.low_ratio, 3),
        high=round(found.high_ratio, 3),
        chance=round(found.chance, 4),
    )


def _early(found: EarlyChanges) -> Early:
    return Early(
        changes=found.count,
        thrown_away=_told(found.thrown_share, 3),
        cost=[Worth(amount=round(amount, 2), currency=code) for code, amount in found.cost.items()],
    )


def _told(value: float, digits: int) -> float | None:
    return round(float(value), digits) if np.isfinite(value) else None
