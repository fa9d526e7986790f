"""How often the likeliest cause of dirty oil is the true one, how often nothing is called something, and what is
found.

Systems of `contaminated_systems`, five kinds of fault, with and without ΔP and samples behind the element. False
alarms: systems with nothing wrong are looked at every 30 days for a year, the first alarm of a rule counts. Power:
systems with the fault that a rule is for, 75 to 125 days after it began (25 after a service). Last, whether the dirt
by the balance foretells an element's life better than the lives before it.

Run: python tests/measure/cleanliness_causes.py [all, rules, both, dp, downstream or neither] [systems a cell] [seed]
"""

import sys
import time
from collections import Counter
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))  # so that it also runs as a plain script
from scheduler.planning.after_service import after_service
from scheduler.planning.cleanliness_diagnoses import runs_past
from scheduler.planning.condition import assess_condition
from scheduler.planning.contamination import Contamination, assess_contamination
from scheduler.planning.contamination_diagnoses import contamination_diagnoses
from scheduler.planning.diagnoses import Diagnosis, diagnose
from scheduler.planning.duty import assess_duty
from scheduler.planning.indicator import sightings_of
from scheduler.planning.water import water_diagnoses, water_levels
from scheduler.statistics.condition_forecast import ElementPrior
from scheduler.statistics.contamination_causes import CAUSES, Cause
from scheduler.vocabulary import RemovalReason, SamplePoint
from tests.measure.contaminated_systems import (
    HOURS_A_DAY,
    OilSystem,
    after_a_service,
    as_plant,
    simulated_system,
)
from tests.planning.small_plant import NOW

SEED = 20261201
LOOKS_A_YEAR = 12
SEEN = (
    ("both", True, True),
    ("dp", True, False),
    ("downstream", False, True),
    ("neither", False, False),
)
"""Whether ΔP is read, and samples are taken behind the element."""

RULES = ("ingression-rising", "efficiency-lost", "dirty-fill", "not-seated")
LEFT_OF_LIFE = (0.25, 0.5, 0.75)


def judged(
    systems: Sequence[OilSystem], now: float = NOW, prior: ElementPrior | None = None, *, every_cause: bool = False
) -> tuple[Contamination, list[Diagnosis], ElementPrior]:
    """As a pass judges them."""
    columns = as_plant(systems, now)
    duty = assess_duty(columns)
    condition = assess_condition(columns, duty, prior)
    seen = diagnose(columns, duty, condition, sightings_of(columns, condition))
    found = assess_contamination(columns, duty, condition, runs_past(seen), every_cause=every_cause)
    said = contamination_diagnoses(columns, found) + after_service(columns, found)
    return found, said, condition.prior


def shares(rng: np.random.Generator, count: int, *, has_dp: bool, downstream: bool) -> dict[Cause, Counter[Cause]]:
    """Of each true cause, which was called the likeliest."""
    told: dict[Cause, Counter[Cause]] = {}
    for cause in CAUSES:
        systems = [simulated_system(rng, cause, downstream=downstream, has_dp=has_dp) for _ in range(count)]
        found, _, _ = judged(systems, every_cause=True)
        told[cause] = Counter(
            found.causes[row].likeliest if row in found.causes else Cause.NOTHING_WRONG for row in range(count)
        )
    return told


def false_alarms(rng: np.random.Generator, count: int) -> dict[str, float]:
    """First alarms a system-year of each rule where nothing is wrong."""
    systems = [simulated_system(rng, Cause.NOTHING_WRONG) for _ in range(count)]
    prior, alarmed = None, {rule: set[int]() for rule in RULES}
    for look in range(LOOKS_A_YEAR):
        _, said, prior = judged(systems, NOW - 30.0 * look, prior)
        for each in said:
            alarmed[each.code].add(each.system)
    return {rule: len(of) / (count * LOOKS_A_YEAR * 30.0 / 365.0) for rule, of in alarmed.items()}


def power(rng: np.random.Generator, count: int) -> dict[str, float]:
    """Share of the systems with the fault of each rule in which the rule speaks."""
    usual = [simulated_system(rng, Cause.NOTHING_WRONG, downstream=False, has_dp=False) for _ in range(count)]
    made = {
        "ingression-rising": [simulated_system(rng, Cause.INGRESSION) for _ in range(count)],
        "efficiency-lost": [simulated_system(rng, Cause.EFFICIENCY_LOSS) for _ in range(count)],
        "dirty-fill": [after_a_service(rng, each, seated=True) for each in usual],
        "not-seated": [after_a_service(rng, each, seated=False) for each in usual],
    }
    found = {}
    for rule, systems in made.items():
        looks = (NOW - 21.0, NOW) if rule == "dirty-fill" else (NOW,)  # what decays is not there any more at the end
        said = [each for now in looks for each in judged(systems, now)[1]]
        found[rule] = len({each.system for each in said if each.code == rule}) / count
    return found


def water(rng: np.random.Generator, count: int) -> dict[str, tuple[float, float]]:
    """False alarms a system-year where the water wanders about its level, and power where it doubles in a year."""
    found = {}
    for rule in ("water-rising", "water-high"):
        alarms = [_water_alarms(rng, count, rule, faulty=faulty) for faulty in (False, True)]
        found[rule] = (alarms[0], alarms[1])
    return found


def _water_alarms(rng: np.random.Generator, count: int, rule: str, *, faulty: bool) -> float:
    systems = [simulated_system(rng, Cause.NOTHING_WRONG, downstream=False, has_dp=False) for _ in range(count)]
    columns = as_plant(systems)
    day, system = columns.oil_samples.day, columns.oil_samples.system
    level = rng.uniform(10.0, 35.0, count)
    grows = np.log(2.0 if rule == "water-rising" else 3.5) * np.maximum(day - (NOW - 365.0), 0.0) / 365.0
    season = 0.2 * np.sin(2.0 * np.pi * (day + 91.0 * rng.integers(0, 4, count)[system]) / 365.0)
    log_pct = np.log(level[system]) + season + 0.2 * rng.standard_normal(len(day)) + (grows if faulty else 0.0)
    alarmed: set[int] = set()
    looks = 1 if faulty else LOOKS_A_YEAR
    for look in range(looks):
        now = NOW - 30.0 * look
        known = day <= now
        some = columns.oil_samples
        rows = type(some)(
            *(some.system[known], some.position[known]),
            *(tuple(point for point, is_known in zip(some.point, known, strict=True) if is_known), day[known]),
            tuple(code for code, is_known in zip(some.code, known, strict=True) if is_known),
            *(some.count_per_mL[known], some.water_ppm[known], np.minimum(np.exp(log_pct[known]), 100.0)),
        )
        then = replace(columns, oil_samples=rows, as_of_day=now)
        alarmed |= {each.system for each in water_diagnoses(then, water_levels(then)) if each.code == rule}
    return len(alarmed) / (count * (1.0 if faulty else LOOKS_A_YEAR * 30.0 / 365.0))


def dirt_as_prior(rng: np.random.Generator, count: int) -> dict[float, tuple[float, ...]]:
    """At each share of a life used: median |ln error| of the whole life by the lives before, by the dirt's mass
    against a capacity (both with the uncertainty of a factor of two between counts and mass), by both weighed, and
    by the lives before set right by the counts now over then."""
    errors: dict[float, list[tuple[float, ...]]] = {share: [] for share in LEFT_OF_LIFE}
    for _ in range(count):
        system = simulated_system(rng, Cause.NOTHING_WRONG, downstream=False)
        ended = [life for life in system.lives if life.reason is RemovalReason.DUE]
        for life in ended[1:]:
            before = [each for each in ended if each.removed_day <= life.fitted_day]
            truth = np.log((life.removed_day - life.fitted_day) * HOURS_A_DAY)
            by_lives = float(np.mean([np.log((each.removed_day - each.fitted_day) * HOURS_A_DAY) for each in before]))
            then = _log_level(system, before[0].fitted_day, life.fitted_day)
            capacity = by_lives + then + rng.normal(0.0, np.hypot(np.log(2.0), 0.35))
            for share in LEFT_OF_LIFE:
                until_day = life.fitted_day + share * (life.removed_day - life.fitted_day)
                now = _log_level(system, life.fitted_day, until_day)
                if np.isnan(now + then):
                    continue
                by_mass = capacity - now
                weighed = (by_lives / 0.35**2 + by_mass / 0.8**2) / (1.0 / 0.35**2 + 1.0 / 0.8**2)
                set_right = by_lives - 0.5 * (now - then)
                errors[share].append(tuple(abs(each - truth) for each in (by_lives, by_mass, weighed, set_right)))
    return {share: tuple(np.median(np.array(of), axis=0).tolist()) for share, of in errors.items() if of}


def _log_level(system: OilSystem, from_day: float, to_day: float) -> float:
    """Mean ln count at 6 µm(c) of the reservoir's samples between two days."""
    found = [
        np.log(each.count_per_mL[1])
        for each in system.samples
        if from_day <= each.day < to_day and each.point is SamplePoint.RESERVOIR
    ]
    return float(np.mean(found)) if found else float("nan")


def main() -> None:
    parts = sys.argv[1] if len(sys.argv) > 1 else "all"
    count = int(sys.argv[2]) if len(sys.argv) > 2 else 500
    seed = int(sys.argv[3]) if len(sys.argv) > 3 else SEED
    began = time.perf_counter()
    print(f"{parts}: {count} systems a cell, seed {seed}", flush=True)  # noqa: T201
    for name, has_dp, downstream in SEEN:
        if parts in ("all", name):
            told = shares(np.random.default_rng(seed), count, has_dp=has_dp, downstream=downstream)
            print(f"{name}: called, of each true cause")  # noqa: T201
            for cause, called in told.items():
                print(f"| {cause} | {' | '.join(f'{called[each] / count:.2f}' for each in CAUSES)} |", flush=True)  # noqa: T201
    rules = {"false alarms a system-year": false_alarms, "power": power, "water: false alarms a year, power": water}
    rules["ln error of a life by lives, mass, both, set right"] = dirt_as_prior
    for place, (name, measure) in enumerate(rules.items(), start=1):
        if parts in ("all", "rules"):
            print(name, measure(np.random.default_rng(seed + place), count), flush=True)  # noqa: T201
    print(f"{time.perf_counter() - began:.0f} s")  # noqa: T201


if __name__ == "__main__":
    main()
