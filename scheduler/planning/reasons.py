"""The reason of a due date as codes and numbers; the edge words it in the plant's units and zone."""

from typing import Any

import numpy as np

from scheduler.engineering.reading_gate import Gate
from scheduler.engineering.suction import vacuum_limit_bar
from scheduler.engineering.terminal_dp import TerminalRule
from scheduler.planning.condition import Condition
from scheduler.planning.duty import Duty
from scheduler.planning.indicator import Sighting
from scheduler.planning.plant_columns import PlantColumns
from scheduler.vocabulary import Place, Trigger

Facts = dict[str, Any]


def because_of(
    columns: PlantColumns,
    duty: Duty,
    condition: Condition,
    trigger: Trigger | None,
    position: int,
    *,
    bands: list[float | None],
    about_h: float | None,
    risk: Facts,
    event: int,
    sighting: Sighting | None,
    blamed: Facts | None,
) -> Facts:
    """Everything that the sentence needs, whichever trigger binds; `facts` holds only what is known."""
    facts: Facts = {
        "run_h": round(float(duty.run_h[position]), 1),
        "fitted_day": float(columns.fitted.fitted_day[position]),
        "hours_per_week": round(_hours_per_week(columns, duty, position), 1),
        "meter_known": duty.meters[int(columns.positions.meter[position])].has_readings,
        "max_hours": _known(columns.positions.max_hours[position]),
        "max_age_d": _known(columns.positions.max_age_d[position]),
        "hours_left_10": bands[0],
        "hours_left_about": about_h,
        "hours_left_90": bands[2],
        "past_share": round(float(condition.remaining.already_reached[position]), 3),
        "lives_seen": int(condition.life.lives_seen[position]),
        "lives_to_limit": int(condition.life.at_limit_seen[position]),
        "life_median_h": round(float(np.exp(condition.life.log_median[position])), 0),
        "resting": not bool(duty.gains_hours[position]),
        "gates": _gates(columns, condition, position),
        **risk,
    }
    if condition.has_forecast[position]:
        facts |= _pressure_facts(columns, condition, position)
    if event >= 0:
        facts |= {"event": columns.events.kind[event].value, "event_day": float(columns.events.day[event])}
    if sighting is not None:
        facts |= {
            "trip": sighting.meaning.value,
            "trip_day": sighting.last_day,
            "trips": sighting.times,
            "trip_oil_temperature_degC": _known(sighting.oil_temperature_degC),
        }
    if blamed is not None:
        facts["cleanliness"] = blamed
    code = trigger.value if trigger is not None else "nothing_within_20_years"
    return {"code": code, "facts": {name: value for name, value in facts.items() if value is not None}}


def _pressure_facts(columns: PlantColumns, condition: Condition, position: int) -> Facts:
    rows = np.arange(columns.dp.offsets[position], columns.dp.offsets[position + 1])
    counted = rows[condition.counted()[rows]]
    last = counted[-1]
    row = condition.row_of[position]
    assert condition.pressure is not None  # noqa: S101 - has_forecast says so
    by_vacuum = columns.positions.place[position] is Place.SUCTION and not np.isnan(columns.dp.vacuum_bar[last])
    housing = np.nan_to_num(columns.positions.housing_dp_bar[position])
    terminal = float(condition.terminal_element_dp_bar[position])
    return {
        "readings": len(counted),
        "last_day": float(columns.dp.day[last]),
        "last_read_bar": round(
            float(columns.dp.vacuum_bar[last] if by_vacuum else condition.assembly_dp_bar[last]), 4
        ),
        "last_warm_bar": None if by_vacuum else round(float(condition.element_dp_bar[last] + housing), 4),
        "last_oil_temperature_degC": _known(columns.dp.oil_temperature_degC[last]),
        "last_flow_lpm": _known(columns.dp.flow_lpm[last]),
        "is_vacuum": by_vacuum,
        "terminal_bar": None if by_vacuum else round(terminal + float(housing), 4),
        "vacuum_limit_bar": _vacuum_limit(columns, position) if by_vacuum else None,
        "terminal_rule": TerminalRule(int(condition.terminal_rule[position])).name.lower(),
        "stated_terminal_bar": _known(round(float(condition.terminal_dp_bar[position]), 4)),
        "coldest_start_degC": _known(columns.systems.coldest_start_degC[columns.positions.system[position]]),
        "warm_oil_temperature_degC": round(float(condition.warm.oil_temperature_degC[position]), 1),
        "load_share": round(float(condition.pressure.evidence.load_share[row]), 3),
    }


def _vacuum_limit(columns: PlantColumns, position: int) -> float:
    return float(vacuum_limit_bar(columns.positions.vacuum_limit_bar[position]))


def _gates(columns: PlantColumns, condition: Condition, position: int) -> dict[str, int]:
    """How many readings of what is fitted do not count, by gate."""
    gates = condition.gate[columns.dp.offsets[position] : columns.dp.offsets[position + 1]]
    kept_out = {Gate(int(gate)).name.lower(): int((gates == gate).sum()) for gate in np.unique(gates)}
    not_told = {"usable", "below_resolution", "bypass_open", "no_pressure"}
    return {name: count for name, count in kept_out.items() if name not in not_told}


def _hours_per_week(columns: PlantColumns, duty: Duty, position: int) -> float:
    meter = duty.meters[int(columns.positions.meter[position])]
    return float(meter.planned.hours_per_day * 7.0 * meter.rate.per_planned_hour)


def _known(value: float) -> float | None:
    return None if np.isnan(value) else float(value)
