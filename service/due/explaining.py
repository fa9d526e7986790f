"""Everything behind one position's due date: the item, its readings with their gates, the life prior, the history."""

from datetime import datetime
from math import exp
from zoneinfo import ZoneInfo

import numpy as np
import sqlalchemy as sa

from api_schemas.due import PassNote
from api_schemas.due_history import Explanation, LifePriorSeen, ReadingSeen
from scheduler.engineering.reading_gate import Gate
from scheduler.planning.condition import Condition, assess_condition
from scheduler.planning.duty import assess_duty
from scheduler.planning.plant_columns import PlantColumns
from scheduler.vocabulary import DisplayUnits, QuantityKind
from service.due.history import history_of
from service.due.listing import due_of_position, no_pass_yet
from service.due.news import newest_facts
from service.due.planning_pass import last_pass_id
from service.due.priors import kept_priors
from service.due.tables import life_priors, passes
from service.due.wording import Wording
from service.plant_folder import tables as t
from service.plant_store.loading import load_plant
from service.plant_store.time import from_day
from service.problems import NotFound

_Z_10_90 = 1.2816
"""The 90 % point of the standard normal distribution."""

_LINES = 50


def explain(connection: sa.Connection, position: str, now: datetime) -> Explanation:
    """Explain the last pass's date. Raises InTheWay before the first, NotFound where it lists no such position."""
    pass_id = last_pass_id(connection)
    if pass_id is None:
        raise no_pass_yet()
    header = connection.execute(sa.select(passes).where(passes.c.id == pass_id)).mappings().one()
    item = due_of_position(connection, position)
    if item is None:
        raise NotFound(f"the last pass has no position '{position}' in service")
    known, newest = header["newest_facts"] or {}, newest_facts(connection, now)
    return Explanation(
        planned=PassNote(id=pass_id, as_of=header["as_of"], cause=header["cause"]),
        item=item,
        readings=_readings(connection, position, item.system, header["as_of"]),
        life=_life(connection, position),
        history=history_of(connection, position, limit=_LINES).items,
        news_since=[name for name, row in newest.items() if row > known.get(name, 0)],
    )


def _readings(connection: sa.Connection, position: str, system: str, as_of: datetime) -> list[ReadingSeen]:
    """What was read off what is fitted, gated as the pass did."""
    columns = load_plant(connection, as_of, frozenset({system}))
    condition = assess_condition(columns, assess_duty(columns), kept_priors(connection, columns))
    row = columns.positions.code.index(position)
    words = _wording(connection, system)
    counted = condition.counted()
    return [
        _reading(columns, condition, row, index, counts=bool(counted[index]), words=words)
        for index in range(int(columns.dp.offsets[row]), int(columns.dp.offsets[row + 1]))
    ]


def _reading(
    columns: PlantColumns, condition: Condition, row: int, index: int, *, counts: bool, words: Wording
) -> ReadingSeen:
    dp, indicator = columns.dp, columns.dp.indicator[index]
    housing = float(np.nan_to_num(columns.positions.housing_dp_bar[row]))
    by_vacuum = not np.isnan(dp.vacuum_bar[index])
    dp_bar = None if by_vacuum else _known(condition.assembly_dp_bar[index])
    warm_dp_bar = None if by_vacuum else _known(condition.element_dp_bar[index] + housing)
    vacuum_bar, flow_lpm = _known(dp.vacuum_bar[index]), _known(dp.flow_lpm[index])
    oil_temperature_degC = _known(dp.oil_temperature_degC[index])
    amounts = (
        ("ΔP {}", dp_bar, QuantityKind.PRESSURE_DIFFERENCE),
        ("restated {}", warm_dp_bar, QuantityKind.PRESSURE_DIFFERENCE),
        ("vacuum {}", vacuum_bar, QuantityKind.VACUUM),
        ("{}", flow_lpm, QuantityKind.FLOW),
        ("{}", oil_temperature_degC, QuantityKind.TEMPERATURE),
    )
    says = [text.format(words.amount(value, kind)) for text, value, kind in amounts if value is not None]
    return ReadingSeen(
        at=from_day(float(dp.day[index])).astimezone(words.zone),
        dp_bar=dp_bar,
        vacuum_bar=vacuum_bar,
        flow_lpm=flow_lpm,
        oil_temperature_degC=oil_temperature_degC,
        warm_dp_bar=warm_dp_bar,
        indicator=None if indicator is None else indicator.value,
        counts=counts,
        gate=Gate(int(condition.gate[index])).name.lower(),
        says=", ".join([*says, *([] if indicator is None else [f"indicator {indicator.value}"])]),
    )


def _life(connection: sa.Connection, position: str) -> LifePriorSeen | None:
    row = (
        connection.execute(sa.select(life_priors).where(life_priors.c.position == position)).mappings().one_or_none()
    )
    if row is None:
        return None
    middle, spread = row["log_median_h"], _Z_10_90 * row["log_sd"]
    return LifePriorSeen(
        median_h=round(exp(middle), 0),
        earlier_10_h=round(exp(middle - spread), 0),
        later_90_h=round(exp(middle + spread), 0),
        lives_seen=row["lives_seen"],
        lives_to_limit=row["lives_to_limit"],
        own_lives_seen=row["own_lives_seen"],
    )


def _wording(connection: sa.Connection, system: str) -> Wording:
    query = sa.select(t.plants).join(t.systems, t.systems.c.plant == t.plants.c.plant)
    plant = connection.execute(query.where(t.systems.c.system == system)).mappings().one()
    return Wording(ZoneInfo(plant["time_zone"]), DisplayUnits(plant["display_units"] or DisplayUnits.METRIC))


def _known(value: float) -> float | None:
    return None if np.isnan(value) else round(float(value), 4)
