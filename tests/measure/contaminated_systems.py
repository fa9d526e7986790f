"""Simulated oil systems with one fault each, of laws that the balance and the likelihood of causes do not assume.

Day by day for two years: what comes in wanders (an Ornstein–Uhlenbeck process, a slow walk and bursts of some days),
the dirt's sizes differ from machine to machine, β in service is less than on the sheet and falls with size by
another law, and an element clogs by one of three laws. Samples scatter log-normally by 30 to 45 %, one in fifty is a
bad bottle, half of the laboratories report codes only. ΔP is read weekly off a gauge in steps, some readings without
flow or temperature.

`as_plant` turns the systems into what the service would know of them at a day. Settings were fixed before any rule
was tuned on them.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace

import numpy as np

from scheduler.engineering.cleanliness_code import Code
from scheduler.planning.plant_columns import OilSampleRows, PlantColumns
from scheduler.statistics.contamination_causes import Cause
from scheduler.vocabulary import Place, RemovalReason, SamplePoint
from tests.planning import small_plant as sp

DAYS = 730
HOURS_A_DAY = 8.0
FIRST_DAY = sp.NOW - DAYS
SIZES_um = np.array([4.0, 6.0, 14.0])
SHEETS = ((6.0, 200.0), (10.0, 75.0), (4.0, 1000.0))
_PARTS = (sp.ELEMENT, sp.ALTERNATE, sp.STRANGER)
TERMINAL_BAR = 2.2
GAUGE_STEP_BAR = 0.05


@dataclass(frozen=True)
class Sample:
    day: float
    point: SamplePoint
    position: int
    count_per_mL: np.ndarray
    as_code: bool


@dataclass(frozen=True)
class OilSystem:
    """What is true of one system, and what was seen of it."""

    fault: Cause
    fault_day: float
    volume_L: float
    flow_lpm: float
    off_line_lpm: float
    kind: int
    samples: tuple[Sample, ...]
    lives: tuple[sp.Life, ...]
    fitted_day: float
    readings: tuple[sp.Reading, ...]
    has_dp: bool
    count_per_mL: np.ndarray
    """What was truly in the reservoir, of each day (DAYS, 3)."""


@dataclass(frozen=True)
class _Dirt:
    """Of each day (DAYS,): particles a minute (DAYS, 3), what the main filter cleans, what goes round, its flow."""

    per_min: np.ndarray
    round_share: np.ndarray
    flow_lpm: np.ndarray
    beta: np.ndarray


def simulated_system(
    rng: np.random.Generator,
    fault: Cause,
    *,
    fault_before_d: tuple[float, float] = (75.0, 125.0),
    downstream: bool = True,
    has_dp: bool = True,
    every_d: float = 30.0,
) -> OilSystem:
    """One system whose fault began so many days before the end; with samples behind the main filter in the last 130
    days where `downstream`."""
    fault_day = sp.NOW - rng.uniform(*fault_before_d)
    kind = int(rng.integers(3))
    flow_lpm = float(rng.uniform(60.0, 200.0))
    volume_L = flow_lpm * float(rng.uniform(2.0, 8.0))
    off_line_lpm = float(rng.uniform(0.05, 0.15) * volume_L) if rng.random() < 0.5 else 0.0
    dirt = _dirt(rng, fault, fault_day, flow_lpm, kind)
    off_cleaned = 0.9 * off_line_lpm * rng.uniform(0.8, 1.0)
    main_cleaned = dirt.flow_lpm[:, None] * (1.0 - dirt.round_share[:, None]) * (1.0 - 1.0 / dirt.beta)
    count = dirt.per_min / 1000.0 / (main_cleaned + off_cleaned)
    lives = _lives(rng, (main_cleaned * count)[:, 1], dirt, flow_lpm, has_dp)
    return OilSystem(
        *(fault, fault_day, volume_L, flow_lpm, off_line_lpm, kind),
        samples=tuple(_samples(rng, count, dirt, every_d, downstream)),
        lives=tuple(sp.Life(*life[:2], reason=life[2], part=_PARTS[kind], readings=life[3]) for life in lives[:-1]),
        fitted_day=lives[-1][0],
        readings=lives[-1][3],
        has_dp=has_dp,
        count_per_mL=count,
    )


def _dirt(rng: np.random.Generator, fault: Cause, fault_day: float, flow_lpm: float, kind: int) -> _Dirt:
    day = FIRST_DAY + np.arange(DAYS)
    since = day >= fault_day
    wander = np.zeros(DAYS)
    for step in range(1, DAYS):
        wander[step] = wander[step - 1] * np.exp(-1.0 / 60.0) + 0.25 * np.sqrt(2.0 / 60.0) * rng.standard_normal()
    wander += np.cumsum(0.15 / np.sqrt(365.0) * rng.standard_normal(DAYS))
    for start in np.flatnonzero(rng.random(DAYS) < 4.0 / 365.0):
        wander[start : start + int(rng.integers(1, 6))] += np.log(2.0)
    rating, stated = SHEETS[kind]
    held = rng.uniform(0.6, 1.0) * np.minimum((SIZES_um / rating) ** 1.5, 1.3)
    beta = np.tile(np.maximum(stated**held, 1.2), (DAYS, 1))
    level_6 = np.exp(rng.normal(np.log(400.0), 0.8))
    sizes = np.array([np.exp(rng.normal(1.2, 0.25)), 1.0, np.exp(-rng.normal(2.0, 0.35))])
    per_min = 1000.0 * flow_lpm * level_6 * sizes * np.exp(wander)[:, None]
    round_share, flow = np.zeros(DAYS), np.full(DAYS, flow_lpm)
    match fault:
        case Cause.INGRESSION:
            per_min[since] *= rng.uniform(2.0, 6.0)
        case Cause.BYPASS:
            round_share[since] = rng.uniform(0.4, 0.97)
        case Cause.UNDER_FILTRATION:
            flow[since] *= rng.uniform(0.2, 0.5)
        case Cause.EFFICIENCY_LOSS:
            beta[since] = np.minimum(beta[since], 1.0 + rng.uniform(0.05, 1.5))
        case Cause.NOTHING_WRONG:
            pass
    return _Dirt(per_min, round_share, flow, beta)


_LifeTuple = tuple[float, float, RemovalReason, tuple[sp.Reading, ...]]


def _lives(
    rng: np.random.Generator, taken: np.ndarray, dirt: _Dirt, flow_lpm: float, has_dp: bool
) -> list[_LifeTuple]:
    """Lives one after the other: changed when the gauge shows the terminal, or before that by a planned interval."""
    clean = 0.3 * flow_lpm / 100.0 * np.exp(rng.normal(0.0, 0.12))
    capacity = float(np.median(taken)) * HOURS_A_DAY * rng.uniform(180.0, 420.0)
    law = int(rng.integers(3))
    interval_d = rng.uniform(0.6, 1.6) * 300.0
    found: list[_LifeTuple] = []
    start = 0
    while start < DAYS:
        own = capacity * np.exp(rng.normal(0.0, 0.18))
        load = np.cumsum(taken[start:]) * HOURS_A_DAY / own
        risen = clean * _rise(law, load, TERMINAL_BAR / clean)
        shown = risen * (dirt.flow_lpm[start:] * (1.0 - dirt.round_share[start:]) / flow_lpm)
        full = np.flatnonzero(shown >= TERMINAL_BAR)
        until_d = min(float(full[0]) if has_dp and len(full) else np.inf, interval_d)
        end = min(start + max(int(until_d), 20), DAYS)
        rows = _readings(rng, start, end, risen, dirt, flow_lpm) if has_dp else ()
        reason = RemovalReason.DUE if until_d < interval_d else RemovalReason.EARLY
        found.append((FIRST_DAY + start, FIRST_DAY + end, reason, rows))
        start = end
    if found[-1][1] >= sp.NOW:  # what still runs
        return found
    return [*found, (sp.NOW, sp.NOW, RemovalReason.UNKNOWN, ())]


def _rise(law: int, load: np.ndarray, ratio: float) -> np.ndarray:
    load = np.minimum(load, 1.3)
    match law:
        case 0:  # exponential in what is held
            return np.asarray(1.0 + (ratio - 1.0) * np.expm1(5.0 * load) / np.expm1(5.0))
        case 1:  # pores close
            return np.asarray(1.0 / (1.0 - (1.0 - ratio**-0.5) * np.minimum(load, 1.15)) ** 2)
        case _:  # slow, then steep
            return np.asarray(1.0 + 0.3 * load + (ratio - 1.3) * load**7)


def _readings(
    rng: np.random.Generator, start: int, end: int, risen: np.ndarray, dirt: _Dirt, flow_lpm: float
) -> tuple[sp.Reading, ...]:
    days = np.arange(start + 3, end, 7)
    found = []
    for day in days.tolist():
        flow = dirt.flow_lpm[day] * np.exp(rng.normal(0.0, 0.05))
        temperature = 50.0 + rng.normal(0.0, 3.0)
        thicker = np.exp(-0.04 * (temperature - 50.0))
        dp = risen[day - start] * flow / flow_lpm * (1.0 - dirt.round_share[day]) * thicker
        dp *= np.exp(rng.normal(0.0, 0.04))
        told_flow, told_temperature = rng.random(2) < 0.85
        found.append(
            sp.Reading(
                day=FIRST_DAY + day + 0.4,
                dp_bar=round(round(dp / GAUGE_STEP_BAR) * GAUGE_STEP_BAR, 3),
                flow_lpm=round(flow, 1) if told_flow else sp.NAN,
                oil_temperature_degC=round(temperature, 1) if told_temperature else sp.NAN,
            )
        )
    return tuple(found)


def _samples(
    rng: np.random.Generator, count: np.ndarray, dirt: _Dirt, every_d: float, downstream: bool
) -> Iterable[Sample]:
    as_code, scatter = bool(rng.random() < 0.5), rng.uniform(0.30, 0.45)
    day = rng.uniform(0.0, every_d)
    while day < DAYS - 1:
        row = int(day)
        bottle = np.log(rng.uniform(3.0, 6.0)) if rng.random() < 0.02 else 0.0
        common = scatter * 0.8 * rng.standard_normal() + bottle
        own = np.exp(common + scatter * 0.6 * rng.standard_normal(3))
        yield Sample(FIRST_DAY + day, SamplePoint.RESERVOIR, -1, count[row] * own, as_code)
        if downstream and day > DAYS - 130:
            passes = dirt.round_share[row] + (1.0 - dirt.round_share[row]) / dirt.beta[row]
            beside = np.exp(common + scatter * 0.6 * rng.standard_normal(3))
            yield Sample(FIRST_DAY + day, SamplePoint.DOWNSTREAM, 0, count[row] * passes * beside, as_code)
        day += every_d * rng.uniform(0.75, 1.25)


def as_plant(systems: Sequence[OilSystem], now: float = sp.NOW) -> PlantColumns:
    """What is known of the systems at a day: two positions each, the main filter and an off-line one where there
    is.
    """
    positions: list[sp.Position] = []
    main_row = []
    lives = []
    for row, each in enumerate(systems):
        code, main = f"S{row}", f"S{row}-RET"
        past = [life for life in each.lives if life.removed_day <= now]
        current = next((life for life in each.lives if life.fitted_day <= now < life.removed_day), None)
        fitted_day = each.fitted_day if current is None else current.fitted_day
        readings = each.readings if current is None else current.readings
        main_row.append(len(positions))
        positions.append(
            sp.Position(
                *(main, code),
                place=Place.RETURN,
                part=_PARTS[each.kind],
                fitted=_PARTS[each.kind],
                fitted_day=fitted_day,
                flow_lpm=each.flow_lpm,
                terminal_dp_bar=TERMINAL_BAR if each.has_dp else sp.NAN,
                readings=tuple(one for one in readings if one.day <= now),
            )
        )
        lives += [replace(life, position=main) for life in past]
        if each.off_line_lpm:
            positions.append(
                sp.Position(
                    *(f"S{row}-OFF", code),
                    place=Place.OFFLINE,
                    part=sp.ELEMENT,
                    fitted=sp.ELEMENT,
                    fitted_day=FIRST_DAY,
                    flow_lpm=each.off_line_lpm,
                )
            )
    columns = sp.plant(
        *positions, systems=[sp.System(f"S{row}") for row in range(len(systems))], lives=lives, now=now
    )
    sheet = np.array([*SHEETS, (np.nan, np.nan), (np.nan, np.nan)])
    return replace(
        columns,
        oil_samples=_sample_rows(systems, main_row, now),
        types=replace(columns.types, rating_um=sheet[:, 0], beta=sheet[:, 1]),
        systems=replace(
            columns.systems,
            reservoir_volume_L=np.array([each.volume_L for each in systems]),
            cleanliness_target=(Code.parse("18/16/13"),) * len(systems),
        ),
    )


def _sample_rows(systems: Sequence[OilSystem], main_row: list[int], now: float) -> OilSampleRows:
    flat = [(row, each) for row, system in enumerate(systems) for each in system.samples if each.day <= now]
    as_code = np.array([each.as_code for _, each in flat], dtype=bool)
    count = np.array([each.count_per_mL for _, each in flat]).reshape(-1, 3)
    return OilSampleRows(
        system=np.array([row for row, _ in flat], dtype=np.intp),
        position=np.array([main_row[row] if each.position == 0 else -1 for row, each in flat], dtype=np.intp),
        point=tuple(each.point for _, each in flat),
        day=np.array([each.day for _, each in flat]),
        code=tuple(_code(each.count_per_mL) if each.as_code else None for _, each in flat),
        count_per_mL=np.where(as_code[:, None], np.nan, count),
        water_ppm=np.full(len(flat), np.nan),
        water_saturation_pct=np.full(len(flat), np.nan),
    )


def _code(count_per_mL: np.ndarray) -> Code:
    """As a laboratory writes it: cumulative counts never rise with size."""
    falling = np.minimum.accumulate(count_per_mL)
    return Code.of_counts(*(float(each) for each in falling))


def after_a_service(rng: np.random.Generator, system: OilSystem, *, seated: bool) -> OilSystem:
    """The same with its element changed 25 days before the end, and samples one to three and some fifteen days after.

    Seated, what came in with the oil (four to twelve times the usual count) decays within days; not seated, the count
    stays up from that day.
    """
    service_day = sp.NOW - 25.0
    before = [each for each in system.samples if each.day < service_day and each.point is SamplePoint.RESERVOIR]
    usual = np.exp(np.mean([np.log(each.count_per_mL) for each in before[-6:]], axis=0))
    up, decays_d = rng.uniform(4.0, 12.0), rng.uniform(1.0, 6.0)
    samples = list(before)
    for day in (service_day + rng.uniform(1.0, 3.0), service_day + rng.uniform(12.0, 20.0)):
        stays = np.exp(-(day - service_day) / decays_d) if seated else 1.0
        scatter = np.exp(0.4 * (0.8 * rng.standard_normal() + 0.6 * rng.standard_normal(3)))
        count = usual * (1.0 + (up - 1.0) * stays) * scatter
        samples.append(Sample(day, SamplePoint.RESERVOIR, -1, count, before[-1].as_code))
    return replace(
        system,
        samples=tuple(samples),
        fitted_day=service_day,
        readings=tuple(each for each in system.readings if each.day > service_day),
        fault_day=service_day,
    )
