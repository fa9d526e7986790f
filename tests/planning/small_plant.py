"""A plant of one or a few positions as columns, with sensible defaults: the tests say only what matters to them.

The usual system is planned 70 h a week (10 h a day) and its meter shows 8 h more each day, read weekly: four
fifths of the planned hours, so that the meter says just what is believed without it, 8 run hours a day. Its oil
is ISO VG 46 with 46 and 6.8 mm²/s, 30 mm²/s at the working 50 °C (ASTM D341, see tests/engineering).
"""

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Any, cast

import numpy as np

from scheduler.engineering.oil import Fluid
from scheduler.engineering.oil_properties import oil_properties
from scheduler.planning import plant_columns as pc
from scheduler.planning.comparable_readings import comparable_readings, instruments
from scheduler.planning.condition import Condition, assess_condition
from scheduler.planning.diagnoses import Diagnosis, diagnose
from scheduler.planning.due import DueItem, assess_due
from scheduler.planning.duty import Duty, assess_duty
from scheduler.planning.elements import fitted_elements
from scheduler.planning.indicator import Sighting, sightings_of
from scheduler.planning.limit_dates import limit_dates
from scheduler.planning.plant_columns import PlantColumns
from scheduler.planning.risk import accepted_risk
from scheduler.planning.usable_readings import log_limits
from scheduler.statistics.condition_forecast import ElementPrior, ForecastSettings
from scheduler.statistics.life_model import LifePrior
from scheduler.statistics.load_grid import first_shape_weights, shape_table
from scheduler.statistics.meter_path import MeterMark
from scheduler.vocabulary import (
    Access,
    ElementKind,
    EventKind,
    FluidFamily,
    Found,
    IndicatorState,
    Place,
    RemovalReason,
    Stage,
    Status,
)

NOW = 20_000.0
HOURS_PER_DAY = 8.0
PLANNED_PER_WEEK = 70.0
NAN = float("nan")

ELEMENT, ALTERNATE, STRANGER, STRAINER, BREATHER = "EL-10", "EL-10-ALT", "EL-99", "STR-1", "BR-1"
_KINDS = {
    ELEMENT: ElementKind.ELEMENT,
    ALTERNATE: ElementKind.ELEMENT,
    STRANGER: ElementKind.ELEMENT,
    STRAINER: ElementKind.STRAINER,
    BREATHER: ElementKind.BREATHER,
}
_PARTS = tuple(_KINDS)

OIL = Fluid("HM46", "Hydraulic oil", FluidFamily.HM, 46)
OTHER_OIL = Fluid("HM68", "Thicker hydraulic oil", FluidFamily.HM, 68)


@dataclass(frozen=True)
class Reading:
    day: float
    dp_bar: float = NAN
    flow_lpm: float = 100.0
    oil_temperature_degC: float = 50.0
    indicator: IndicatorState | None = None
    stage: Stage | None = None
    is_date: bool = False
    vacuum_bar: float = NAN
    upstream_bar: float = NAN
    downstream_bar: float = NAN


@dataclass(frozen=True)
class Position:
    code: str = "P1"
    system: str = "S1"
    meter: str = ""
    place: Place = Place.RETURN
    part: str = ELEMENT
    fitted: str | None = ELEMENT
    fitted_day: float = NOW - 100.0
    fitted_is_date: bool = False
    quantity: int = 1
    housing: str = ""
    side: str = ""
    status: Status = Status.IN_SERVICE
    access: Access = Access.STOPPED
    flow_lpm: float = 100.0
    terminal_dp_bar: float = NAN
    indicator_dp_bar: float = NAN
    bypass_dp_bar: float = NAN
    housing_dp_bar: float = NAN
    vacuum_limit_bar: float = NAN
    inlet_head_m: float = NAN
    shut_at_start: bool = False
    max_hours: float = NAN
    max_age_d: float = NAN
    readings: tuple[Reading, ...] = ()


@dataclass(frozen=True)
class System:
    code: str = "S1"
    plant: str = "PLANT"
    status: Status = Status.IN_SERVICE
    working_temperature_degC: float = 50.0
    coldest_start_degC: float = NAN
    hours_per_week: float = PLANNED_PER_WEEK
    fluid: Fluid = OIL
    stop_cost: float = NAN
    labour_cost: float = NAN
    late_cost: float = NAN


@dataclass(frozen=True)
class Plant:
    code: str = "PLANT"
    currency: str = "EUR"
    risk: float = 0.1
    horizon_d: float = 42.0
    issue_ahead_d: float = NAN


@dataclass(frozen=True)
class Life:
    fitted_day: float
    removed_day: float
    reason: RemovalReason = RemovalReason.DUE
    position: str = "P1"
    part: str = ELEMENT
    readings: tuple[Reading, ...] = ()


@dataclass(frozen=True)
class Event:
    kind: EventKind
    day: float
    system: str = "S1"
    position: str = ""


@dataclass(frozen=True)
class Finding:
    found: tuple[Found, ...]
    day: float
    system: str = "S1"
    position: str = ""


@dataclass(frozen=True)
class Level:
    day: float
    level_pct: float = NAN
    below_full_L: float = NAN
    at_rest: bool = True
    defined_position: bool = True
    system: str = "S1"


@dataclass(frozen=True)
class TopUp:
    fluid: Fluid
    day: float
    volume_L: float = 20.0
    system: str = "S1"


@dataclass(frozen=True)
class StopSpec:
    """Of a system, or of a plant where `system` is empty."""

    start_day: float
    end_day: float
    system: str = ""
    plant: str = "PLANT"


@dataclass(frozen=True)
class MeterReading:
    day: float
    shown_h: float
    mark: MeterMark = MeterMark.READING
    is_date: bool = False


CurvePoints = Sequence[tuple[float, float]]
"""Retained g and element ΔP bar, as a maker tells them."""

MeterOf = Mapping[tuple[str, str], Sequence[MeterReading]]


def steady_meter(
    until_day: float = NOW,
    *,
    from_day: float = NOW - 700.0,
    h_per_day: float = HOURS_PER_DAY,
    start_h: float = 2000.0,
) -> tuple[MeterReading, ...]:
    """Weekly readings up to `until_day`, the same hours each day."""
    days = np.append(np.arange(from_day, until_day, 7.0), until_day)
    return tuple(MeterReading(float(day), round(start_h + h_per_day * (float(day) - from_day), 6)) for day in days)


def plant(
    *positions: Position,
    systems: Iterable[System] = (System(),),
    plants: Iterable[Plant] = (Plant(),),
    meters: MeterOf | None = None,
    digits: Mapping[tuple[str, str], int] | None = None,
    lives: Iterable[Life] = (),
    events: Iterable[Event] = (),
    findings: Iterable[Finding] = (),
    levels: Iterable[Level] = (),
    top_ups: Iterable[TopUp] = (),
    stops: Iterable[StopSpec] = (),
    alternates: Mapping[str, tuple[str, ...]] | None = None,
    curves: Mapping[str, CurvePoints] | None = None,
    now: float = NOW,
) -> PlantColumns:
    """Columns of these positions; every system's main meter runs steadily unless `meters` says otherwise."""
    plant_list, system_list = list(plants), list(systems)
    plant_row = {each.code: row for row, each in enumerate(plant_list)}
    system_row = {each.code: row for row, each in enumerate(system_list)}
    position_row = {each.code: row for row, each in enumerate(positions)}
    read = {(each.code, ""): steady_meter(now) for each in system_list} | dict(meters or {})
    meter_row = {key: row for row, key in enumerate(read)}
    event_list = sorted(events, key=lambda event: event.day)
    finding_list, level_list = sorted(findings, key=lambda each: each.day), sorted(levels, key=lambda each: each.day)
    top_up_list, stop_list, life_list = list(top_ups), list(stops), list(lives)
    return PlantColumns(
        as_of_day=now,
        plants=pc.PlantRows(
            code=tuple(each.code for each in plant_list),
            zone=("UTC",) * len(plant_list),
            currency=tuple(each.currency for each in plant_list),
            risk=_floats(plant_list, "risk"),
            horizon_d=_floats(plant_list, "horizon_d"),
            issue_ahead_d=_floats(plant_list, "issue_ahead_d"),
        ),
        systems=pc.SystemRows(
            code=tuple(each.code for each in system_list),
            plant=_ints(plant_row[each.plant] for each in system_list),
            status=tuple(each.status for each in system_list),
            fluid=tuple(each.fluid for each in system_list),
            oil=(oil_properties(46.0, None, 6.8, None, 870.0),) * len(system_list),
            water_saturation_20_ppm=np.full(len(system_list), NAN),
            working_temperature_degC=_floats(system_list, "working_temperature_degC"),
            coldest_start_degC=_floats(system_list, "coldest_start_degC"),
            hours_per_week=_floats(system_list, "hours_per_week"),
            reservoir_volume_L=np.full(len(system_list), 400.0),
            working_pressure_bar=np.full(len(system_list), NAN),
            most_sensitive=("",) * len(system_list),
            cleanliness_target=(None,) * len(system_list),
            stop_cost=_floats(system_list, "stop_cost"),
            labour_cost=_floats(system_list, "labour_cost"),
            late_cost=_floats(system_list, "late_cost"),
        ),
        meters=_meters(read, system_row, digits or {}),
        types=_types(),
        curves=_curves(curves or {}),
        positions=_positions(positions, system_row, meter_row),
        fitted=pc.FittedRows(
            fitted_day=np.array([NAN if each.fitted is None else each.fitted_day for each in positions]),
            is_date=np.array([each.fitted_is_date for each in positions], dtype=bool),
            type=_ints(-1 if each.fitted is None else _PARTS.index(each.fitted) for each in positions),
            lot_expires_day=np.full(len(positions), NAN),
            lot=("",) * len(positions),
        ),
        lives=pc.FinishedLives(
            position=_ints(position_row[life.position] for life in life_list),
            type=_ints(_PARTS.index(life.part) for life in life_list),
            fitted_day=_floats(life_list, "fitted_day"),
            fitted_is_date=np.zeros(len(life_list), dtype=bool),
            removed_day=_floats(life_list, "removed_day"),
            removed_is_date=np.zeros(len(life_list), dtype=bool),
            reason=tuple(life.reason for life in life_list),
        ),
        dp=_readings(positions),
        life_dp=_readings(life_list),
        events=pc.EventRows(
            system=_ints(system_row[event.system] for event in event_list),
            position=_ints(position_row.get(event.position, -1) for event in event_list),
            day=_floats(event_list, "day"),
            kind=tuple(event.kind for event in event_list),
        ),
        findings=pc.FindingRows(
            system=_ints(system_row[each.system] for each in finding_list),
            position=_ints(position_row.get(each.position, -1) for each in finding_list),
            day=_floats(finding_list, "day"),
            found=tuple(frozenset(each.found) for each in finding_list),
        ),
        levels=pc.LevelRows(
            system=_ints(system_row[each.system] for each in level_list),
            day=_floats(level_list, "day"),
            level_pct=_floats(level_list, "level_pct"),
            below_full_L=_floats(level_list, "below_full_L"),
            at_rest=np.array([each.at_rest for each in level_list], dtype=bool),
            defined_position=np.array([each.defined_position for each in level_list], dtype=bool),
        ),
        top_ups=pc.TopUpRows(
            system=_ints(system_row[each.system] for each in top_up_list),
            day=_floats(top_up_list, "day"),
            fluid=tuple(each.fluid for each in top_up_list),
            volume_L=_floats(top_up_list, "volume_L"),
        ),
        oil_samples=pc.OilSampleRows(
            system=_ints([]),
            position=_ints([]),
            point=(),
            day=np.zeros(0),
            code=(),
            count_per_mL=np.zeros((0, 3)),
            water_ppm=np.zeros(0),
            water_saturation_pct=np.zeros(0),
        ),
        stops=pc.StopRows(
            plant=_ints(-1 if each.system else plant_row[each.plant] for each in stop_list),
            system=_ints(system_row[each.system] if each.system else -1 for each in stop_list),
            start_day=_floats(stop_list, "start_day"),
            end_day=_floats(stop_list, "end_day"),
        ),
        alternates=dict(alternates or {}),
    )


def _meters(read: MeterOf, system_row: Mapping[str, int], digits: Mapping[tuple[str, str], int]) -> pc.MeterRows:
    flat = [reading for readings in read.values() for reading in sorted(readings, key=lambda each: each.day)]
    return pc.MeterRows(
        system=_ints(system_row[system] for system, _ in read),
        code=tuple(meter for _, meter in read),
        digits=tuple(digits.get(key) for key in read),
        offsets=_offsets(len(readings) for readings in read.values()),
        day=_floats(flat, "day"),
        shown_h=_floats(flat, "shown_h"),
        kind=_ints(int(reading.mark) for reading in flat),
        is_date=np.array([reading.is_date for reading in flat], dtype=bool),
    )


def _types() -> pc.ElementTypeRows:
    count = len(_PARTS)
    return pc.ElementTypeRows(
        part_number=_PARTS,
        kind=tuple(_KINDS.values()),
        seals=("NBR",) * count,
        seal_kit=("SK-10",) * count,
        clean_dp_bar=np.array([0.30, 0.30, 0.30, 0.02, NAN]),
        rated_flow_lpm=np.full(count, 100.0),
        rated_viscosity_mm2_s=np.full(count, 30.0),
        shelf_life_d=np.full(count, NAN),
        rating_um=np.full(count, NAN),
        beta=np.full(count, NAN),
        capacity_g=np.full(count, NAN),
        price=np.array([40.0, NAN, NAN, NAN, NAN]),
        currency=("EUR", *("",) * (count - 1)),
    )


def _curves(told: Mapping[str, CurvePoints]) -> pc.ElementCurves:
    by_type = [sorted(told.get(part, ())) for part in _PARTS]
    points = [point for of_type in by_type for point in of_type]
    return pc.ElementCurves(
        offsets=_offsets(len(of_type) for of_type in by_type),
        retained_g=np.array([retained_g for retained_g, _ in points]),
        dp_bar=np.array([dp_bar for _, dp_bar in points]),
    )


def _positions(
    positions: Sequence[Position], system_row: Mapping[str, int], meter_row: Mapping[tuple[str, str], int]
) -> pc.PositionRows:
    numbers = {
        name: _floats(positions, name)
        for name in (
            *("flow_lpm", "terminal_dp_bar", "indicator_dp_bar", "bypass_dp_bar", "housing_dp_bar"),
            *("vacuum_limit_bar", "inlet_head_m", "max_hours", "max_age_d"),
        )
    }
    return pc.PositionRows(
        code=tuple(each.code for each in positions),
        system=_ints(system_row[each.system] for each in positions),
        meter=_ints(meter_row[each.system, each.meter] for each in positions),
        place=tuple(each.place for each in positions),
        specified_type=_ints(_PARTS.index(each.part) for each in positions),
        quantity=_ints(each.quantity for each in positions),
        housing=tuple(each.housing for each in positions),
        side=tuple(each.side for each in positions),
        status=tuple(each.status for each in positions),
        access=tuple(each.access for each in positions),
        shut_at_start=np.array([each.shut_at_start for each in positions], dtype=bool),
        **numbers,
    )


def _readings(elements: Sequence[Position | Life]) -> pc.DpReadings:
    flat = [reading for each in elements for reading in sorted(each.readings, key=lambda one: one.day)]
    numbers = {
        name: _floats(flat, name)
        for name in (
            *("day", "dp_bar", "upstream_bar", "downstream_bar", "vacuum_bar"),
            *("flow_lpm", "oil_temperature_degC"),
        )
    }
    return pc.DpReadings(
        offsets=_offsets(len(each.readings) for each in elements),
        is_date=np.array([reading.is_date for reading in flat], dtype=bool),
        stage=tuple(reading.stage for reading in flat),
        indicator=tuple(reading.indicator for reading in flat),
        **numbers,
    )


def _floats(rows: Iterable[Any], name: str) -> pc.Floats:
    return np.array([getattr(row, name) for row in rows], dtype=np.float64)


def _ints(values: Iterable[int]) -> pc.Ints:
    return np.array(list(values), dtype=np.intp)


def _offsets(counts: Iterable[int]) -> pc.Ints:
    return np.concatenate([[0], np.cumsum(list(counts))]).astype(np.intp)


@dataclass(frozen=True)
class Assessed:
    """Every stage up to the due items and the diagnoses."""

    columns: PlantColumns
    duty: Duty
    condition: Condition
    sightings: dict[int, Sighting]
    items: list[DueItem]
    diagnoses: list[Diagnosis] = field(default_factory=list)

    def codes(self) -> set[str]:
        return {found.code for found in self.diagnoses}

    def diagnosis(self, code: str) -> Diagnosis:
        [found] = [each for each in self.diagnoses if each.code == code]
        return found


def assess(columns: PlantColumns, life: LifePrior | None = None) -> Assessed:
    duty = assess_duty(columns)
    condition = assess_condition(columns, duty, None if life is None else prior_of_life(columns, life))
    sightings = sightings_of(columns, condition)
    dates, risk = limit_dates(columns, duty, condition, sightings, {}), accepted_risk(columns, duty, condition)
    items = assess_due(columns, duty, condition, dates, risk, sightings, {})
    return Assessed(columns, duty, condition, sightings, items, diagnose(columns, duty, condition, sightings))


def due_of(*positions: Position, life: LifePrior | None = None, **more: Any) -> DueItem:
    """The due item of the first of these positions."""
    return assess(plant(*positions, **more), life).items[0]


def life_of(median_h: float, log_sd: float = 0.3, positions: int = 1) -> LifePrior:
    """A life prior told outright, as if a dozen lives had been seen."""
    seen = np.full(positions, 12)
    return LifePrior(np.full(positions, np.log(median_h)), np.full(positions, log_sd), seen, seen, seen)


def prior_of_life(columns: PlantColumns, life: LifePrior) -> ElementPrior:
    """What is known before any reading where only the life is told: the sheet's clean ΔP and the usual shapes."""
    limits = log_limits(comparable_readings(columns, fitted_elements(columns), instruments(columns)))
    settings, count = ForecastSettings(), len(columns.positions.code)
    return ElementPrior(
        life=life,
        clean_deviation=np.zeros(count),
        clean_log_var=limits.clean_log_sd**2,
        shapes=shape_table(),
        shape_weights=first_shape_weights(shape_table(), np.nan_to_num(limits.terminal - limits.clean_sheet)),
        noise=np.ones(count),
        bin_variance=np.full(count, settings.unlearned_bin_variance),
        pit_a=np.ones(count),
        pit_b=np.ones(count),
    )


NEVER_BY_CONDITION = life_of(1e6, 0.1)
"""For tests of the other triggers."""


def only_plain(value: object) -> bool:
    """Whether a value holds nothing but plain Python types and no NaN, so that it can be written as JSON."""
    if isinstance(value, dict):
        return all(type(key) is str and only_plain(member) for key, member in value.items())
    if type(value) in {list, tuple}:
        return all(only_plain(member) for member in cast(Iterable[object], value))
    if type(value) is float:
        return math.isfinite(value)
    return value is None or type(value) in {str, int, bool}


def rising_readings(
    life_d: float = 260.0,
    *,
    fitted_day: float = NOW - 100.0,
    until_day: float = NOW,
    every_d: float = 7.0,
    clean_bar: float = 0.3,
    terminal_bar: float = 2.5,
    steepness: float = 4.0,
    scatter: float = 0.03,
    seed: int = 1,
) -> tuple[Reading, ...]:
    """Warm readings of an element whose ΔP rises as 1 + a (exp(b m) − 1) and is at its terminal after `life_d`."""
    days = np.append(np.arange(fitted_day + 2.0, until_day, every_d), until_day)
    share = (days - fitted_day) / life_d
    rise = 1.0 + (terminal_bar / clean_bar - 1.0) * np.expm1(steepness * share) / np.expm1(steepness)
    noise = np.exp(np.random.default_rng(seed).normal(0.0, scatter, len(days)))
    read = np.round(clean_bar * rise * noise, 3)
    return tuple(Reading(day, dp) for day, dp in zip(days.tolist(), read.tolist(), strict=True))


def with_newest(readings: Sequence[Reading], **change: Any) -> tuple[Reading, ...]:
    """The same readings, the newest changed."""
    return (*readings[:-1], replace(readings[-1], **change))
