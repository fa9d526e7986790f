"""Healthy oil and its faults: level and top-ups of reservoirs, and the samples of `contaminated_systems`.

As in `healthy_positions`, every one gives a `Watched`, the faults on it, and says of a span whether it was true.
"""

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np

from scheduler.engineering.cleanliness_code import Code, count_limits_per_mL
from scheduler.planning.oil_care import LOW_SHARE
from scheduler.planning.plant_columns import Floats, PlantColumns
from scheduler.statistics.contamination_causes import Cause
from tests.measure.contaminated_systems import DAYS, FIRST_DAY, OilSystem, as_plant, simulated_system
from tests.measure.healthy_positions import BEFORE_D, FIRST, Population
from tests.measure.oil_loss import Habit, Logbook
from tests.measure.rule_watch import Fault, Span, Watched
from tests.planning import small_plant as sp

MARK_SHARE = 0.02
"""Of the reservoir: how well a level is read off its mark (as the rule holds of an overfull one)."""

RESERVOIR_L = 400.0

ROOM_TO_TARGET = 2.0
"""A healthy system's usual count stands this factor, about one code number, under its target (common practice)."""

CLEARLY_ABOVE = 1.5
"""A faulty system's usual count is at least so much above the target's limit."""


@dataclass(frozen=True, slots=True)
class _Tank:
    day: Floats
    missing_share: Floats
    levels: tuple[sp.Level, ...]
    top_ups: tuple[sp.TopUp, ...]


def reservoirs(rng: np.random.Generator, count: int, *, faulty: bool, misread_share: float = 0.0) -> Population:
    """Reservoirs that lose half to three percent a month, looked at every week to month, and topped up to about full
    from seven to eleven percent missing. Levels are read to a percent, litres poured to a tenth; `misread_share` of
    the looks are noted with two digits changed round. The fault: a fifth of the oil is lost within ten days, and
    nobody pours.

    True: so much is really missing, within `MARK_SHARE`.
    """
    tanks, faults = [], []
    for system in range(count):
        fault_day = float(rng.uniform(FIRST, sp.NOW - 120.0)) if faulty else np.inf
        tanks.append(_tank(rng, f"S{system}", fault_day, misread_share))
        if faulty:
            faults.append(Fault(system, -1, fault_day))

    def is_true(span: Span) -> bool:
        tank = tanks[span.system]
        missing = float(np.interp(span.raised_day, tank.day, tank.missing_share))
        return missing >= LOW_SHARE - MARK_SHARE

    return Population(of_oil([(tank.levels, tank.top_ups) for tank in tanks]), faults, is_true)


def _tank(rng: np.random.Generator, code: str, fault_day: float, misread_share: float) -> _Tank:
    days = np.arange(FIRST - BEFORE_D, sp.NOW + 1.0)
    look_every_d, missing, from_share = int(rng.choice([7, 14, 30])), rng.uniform(0.0, 0.05), rng.uniform(0.07, 0.11)
    a_day = rng.uniform(0.005, 0.03) / 30.0
    course, levels, top_ups = [], [], []
    for number, day in enumerate(days.tolist()):
        missing += a_day * rng.gamma(1.0, 1.0) + (0.02 if 0.0 <= day - fault_day < 10.0 else 0.0)
        if number % look_every_d == 0:
            pct = round(100.0 * (1.0 - missing) + rng.normal(0.0, 1.0))
            if rng.random() < misread_share:
                pct = pct % 10 * 10 + pct // 10 % 10
            levels.append(sp.Level(day, level_pct=float(max(pct, 0)), system=code))
            if missing > from_share and day < fault_day:
                poured = missing * float(np.exp(0.1 * rng.standard_normal()))
                told_L = round(poured * RESERVOIR_L * float(np.exp(0.1 * rng.standard_normal())), 1)
                top_ups.append(sp.TopUp(sp.OIL, day + 0.1, told_L, system=code))
                missing -= poured
        course.append(missing)
    return _Tank(days, np.array(course), tuple(levels), tuple(top_ups))


def of_oil(books: list[tuple[tuple[sp.Level, ...], tuple[sp.TopUp, ...]]]) -> Watched:
    """Systems with a place each of which only the oil is watched; the meter is told twice."""
    systems = [sp.System(f"S{row}") for row in range(len(books))]
    positions = [sp.Position(f"P{row}", f"S{row}", fitted_day=FIRST - BEFORE_D) for row in range(len(books))]

    def known(day: float) -> PlantColumns:
        return sp.plant(
            *positions,
            systems=systems,
            meters={(each.code, ""): sp.steady_meter(day, from_day=day - 7.0) for each in systems},
            levels=[one for levels, _ in books for one in levels if one.day <= day],
            top_ups=[one for _, top_ups in books for one in top_ups if one.day <= day],
            now=day,
        )

    return Watched(known, len(books), len(books))


def topped_up(
    rng: np.random.Generator,
    make: Callable[[np.random.Generator, Habit, int], Logbook],
    habits: list[Habit],
    count: int,
) -> Population:
    """Top-ups of `oil_loss`, twelve a year, by each of the habits in turn; day 0 of a logbook is `FIRST`."""
    books, faults = [], []
    for system in range(count):
        book = make(rng, habits[system % len(habits)], 12)
        poured = tuple(
            sp.TopUp(sp.OIL, FIRST + day, max(volume_L, 0.1), system=f"S{system}")
            for day, volume_L in zip(book.day, book.volume_L, strict=True)
        )
        books.append(((), poured))
        if np.isfinite(book.rise_day):
            faults.append(Fault(system, -1, FIRST + book.rise_day))
    return Population(of_oil(books), faults, lambda _span: False)


def sampled(rng: np.random.Generator, count: int, *, faulty: bool) -> Population:
    """Sampled monthly, each with the target that its usual count of the first year meets by `ROOM_TO_TARGET`. The
    fault: two to six times as much dirt comes in from a day on, so that the count is `CLEARLY_ABOVE` the target.

    True: the mean count over the time of the samples told (one bad: on its day) is really above the target, of any
    size.
    """
    systems: list[OilSystem] = []
    while len(systems) < count:
        cause = Cause.INGRESSION if faulty else Cause.NOTHING_WRONG
        system = simulated_system(rng, cause, fault_before_d=(150.0, 240.0), downstream=False, has_dp=False)
        if not faulty or _after(system) >= CLEARLY_ABOVE:
            systems.append(system)
    targets = [_target(system) for system in systems]

    def known(day: float) -> PlantColumns:
        columns = as_plant(systems, day)
        return replace(columns, systems=replace(columns.systems, cleanliness_target=tuple(targets)))

    def is_true(span: Span) -> bool:
        told = span.numbers
        first_day = told["last_day" if span.code == "cleanliness-one-bad-sample" else "first_day"]
        days = slice(int(first_day - FIRST_DAY), int(told["last_day"] - FIRST_DAY) + 1)
        usual = np.exp(np.log(systems[span.system].count_per_mL[days]).mean(axis=0))
        return bool(np.any(usual > _limits(targets[span.system])))

    faults = [Fault(row, -1, each.fault_day) for row, each in enumerate(systems)] if faulty else []
    return Population(Watched(known, 2 * count, count), faults, is_true)


def _usual(system: OilSystem) -> Floats:
    return np.asarray(np.exp(np.log(system.count_per_mL[: DAYS // 2]).mean(axis=0)))


def _target(system: OilSystem) -> Code:
    return Code.of_counts(*(float(each) for each in np.minimum.accumulate(ROOM_TO_TARGET * _usual(system))))


def _limits(target: Code) -> Floats:
    return np.array([np.inf if each is None else count_limits_per_mL(each.value)[1] for each in target.numbers])


def _after(system: OilSystem) -> float:
    """The usual count since the fault over the target's limit, of the size that is the furthest above."""
    since = int(system.fault_day - FIRST_DAY)
    usual = np.exp(np.log(system.count_per_mL[since:]).mean(axis=0))
    return float(np.max(usual / _limits(_target(system))))
