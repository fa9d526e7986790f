"""How fast is the demand for all parts of a large plant, beside a simulation, how exact, and in how much memory?

An invented plant: elements of 40 classes stay for log-normal times, medians 150 to 1,000 days, log-sd 0.3 to 0.5; a
position's own median lies 20 % around that of its class, and its element has been in for up to 1.1 of it.
Each position takes one piece of one part; the whole plant shares a load, in three cases (Gauss–Hermite nodes of a
log-normal factor of 15 %). Printed:

- all parts: mean, 90 and 99 % points and P(≥ 1), P(≥ 5) of both tables, seconds and the peak memory of the process,
  for the whole plant and for a quarter of its positions on the same parts;
- the same answers by simulation of 1,000 courses, vectorised over positions and courses, for a share of the parts, in
  turn with the reckoning of the same parts, both on one thread. It plays along the same chain of periods, looks the
  next period up in the inverse of its distribution on 4,096 steps, and counts with one bincount;
- 99 % points on some parts, reckoned and from 1,000 and 10,000 courses, as judged by a far longer simulation on
  65,536 steps: by how much P(≤ point) is below 99 %, or P(< point) above it.

Run: python tests/measure/demand_speed.py [positions] [parts] [threads] [seed]
"""

import sys
import time
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Literal

import numpy as np
import numpy.typing as npt
from scipy.special import ndtr

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))  # so that it also runs as a plain script
from scheduler.statistics.renewal_demand import LoadCase, PartDemand, Users, demand_by_part, next_change
from tests.measure.peak_memory import peak_MB

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]
CLASSES = 40
WEEKS = 52
LOAD_SD = 0.15
COURSES = 1_000
PLAYED_PARTS = 20
TURNS = 7
LONG_COURSES = 200_000
LONG_PARTS = 5
STEPS = 4_096
LONG_STEPS = 65_536


@dataclass(frozen=True)
class LargePlant:
    cases: list[LoadCase]
    later_class: Ints
    users: Users
    parts: int


def large_plant(positions: int, parts: int, seed: int) -> LargePlant:
    rng = np.random.default_rng(seed)
    edge_d = 7.0 * np.arange(WEEKS + 1)
    age_d = np.arange(edge_d[-1] + 1.0)
    median_d, sd = rng.uniform(150.0, 1000.0, CLASSES), rng.uniform(0.3, 0.5, CLASSES)
    part = np.sort(rng.integers(0, parts, positions))
    later_class = part % CLASSES
    own_d = median_d[later_class] * rng.lognormal(0.0, 0.2, positions)
    now_d = own_d * rng.uniform(0.0, 1.1, positions)

    def case(share: float, load: float) -> LoadCase:
        with np.errstate(divide="ignore"):
            law = ndtr((np.log(age_d) - np.log(median_d[:, None] / load)) / sd[:, None])

        def first_change(of: Ints) -> Floats:
            aged_d = now_d[of][:, None] + edge_d
            left = ndtr(np.log(own_d[of][:, None] / (load * aged_d)) / sd[later_class[of]][:, None])
            chances: Floats = (left[:, :-1] - left[:, 1:]) / left[:, :1]
            return chances

        return LoadCase(share, next_change(edge_d, age_d, law), first_change)

    node = LOAD_SD * 3.0**0.5
    cases = [case(1 / 6, np.exp(-node)), case(2 / 3, 1.0), case(1 / 6, np.exp(node))]
    return LargePlant(cases, later_class, Users(part, np.arange(positions), np.ones(positions)), parts)


def reckoned(plant: LargePlant, threads: int) -> Iterator[PartDemand]:
    for demand in demand_by_part(plant.cases, plant.later_class, plant.users, plant.parts, threads=threads):
        for table in (demand.within, demand.by_end):
            _ = table.mean(), table.quantile(0.9), table.quantile(0.99), table.at_least(1), table.at_least(5)
        yield demand


def played(rng: np.random.Generator, plant: LargePlant, part: int, courses: int, steps: int = STEPS) -> Ints:
    """How many of a part are used within each week, (courses, W)."""
    start, stop = np.searchsorted(plant.users.part, [part, part + 1])
    of = plant.users.position[start:stop]
    used = np.zeros((courses, WEEKS), dtype=np.int64)
    which = rng.choice(len(plant.cases), courses, p=[case.share for case in plant.cases])
    for index, case in enumerate(plant.cases):
        mine = np.flatnonzero(which == index)
        first = _inverse(case.first_change(of), steps)
        later = _inverse(case.next_change[plant.later_class[of[0]]], steps) if len(of) else first
        for some in np.array_split(mine, max(1, len(mine) * len(of) // 1_000_000)):
            used[some] = _courses(rng, first, later, len(some))
    return used


def _inverse(chances: Floats, steps: int) -> npt.NDArray[np.uint8]:
    """The period for each of some equal steps of chance, by row; `WEEKS` is beyond."""
    reached = np.cumsum(chances, axis=1)
    middle = (np.arange(steps) + 0.5) / steps
    return np.stack([np.searchsorted(row, middle, side="right") for row in reached]).astype(np.uint8)


def _courses(
    rng: np.random.Generator, first: npt.NDArray[np.uint8], later: npt.NDArray[np.uint8], courses: int
) -> Ints:
    chance = rng.integers(0, first.shape[1], (courses, len(first)), dtype=np.uint16)
    period = first[np.arange(len(first)), chance]
    course, _ = np.nonzero(period < WEEKS)
    period = period[period < WEEKS]
    seen = np.zeros(courses * WEEKS, dtype=np.int64)
    while len(period):
        seen += np.bincount(course * WEEKS + period, minlength=len(seen))
        period = later[period, rng.integers(0, first.shape[1], len(period), dtype=np.uint16)]
        inside = period < WEEKS
        course, period = course[inside], period[inside]
    return seen.reshape(courses, WEEKS)


def answers(used: Ints) -> None:
    for table in (used, np.cumsum(used, axis=1)):
        _ = table.mean(axis=0), np.quantile(table, [0.9, 0.99], axis=0), (table >= 1).mean(axis=0)
        _ = (table >= 5).mean(axis=0)


def measure_speed(positions: int, parts: int, threads: int, seed: int) -> None:
    say("| positions | parts | seconds | processor seconds | peak MB |\n|---|---|---|---|---|")
    for count in (positions // 4, positions):
        plant = large_plant(count, parts, seed)
        wall, processor = time.perf_counter(), time.process_time()
        for _ in reckoned(plant, threads):
            pass
        wall, processor = time.perf_counter() - wall, time.process_time() - processor
        say(f"| {count:,} | {parts:,} | {wall:.1f} | {processor:.1f} | {peak_MB():.0f} |")


def measure_against_simulation(positions: int, parts: int, seed: int) -> None:
    """Processor time of both on the same parts of one plant, in turn; the median of the ratios."""
    rng, ratios = np.random.default_rng(seed), []
    for turn in range(TURNS):
        plant = large_plant(positions * PLAYED_PARTS // parts, PLAYED_PARTS, seed + turn)
        began = time.process_time()
        for _ in reckoned(plant, 1):
            pass
        between = time.process_time()
        for part in range(PLAYED_PARTS):
            answers(played(rng, plant, part, COURSES))
        ratios.append((time.process_time() - between) / (between - began))
    low, middle, high = np.quantile(ratios, [0.0, 0.5, 1.0])
    say(f"\n{COURSES:,} courses by simulation take {middle:.1f} times the processor time ({low:.1f} to {high:.1f} in "
        f"{TURNS} turns of {PLAYED_PARTS} parts)")  # fmt: skip


def measure_points(positions: int, parts: int, seed: int) -> None:
    """How much a 99 % point is wrong, in percentage points: too low, or higher than needed."""
    plant = large_plant(positions, parts, seed)
    rng = np.random.default_rng(seed + 1)
    wrong: dict[str, list[Floats]] = {"reckoned": [], "10,000 courses": [], "1,000 courses": []}
    for part, demand in zip(range(LONG_PARTS), reckoned(plant, 1), strict=False):
        long = played(rng, plant, part, LONG_COURSES, LONG_STEPS)
        fewer = {"10,000 courses": played(rng, plant, part, 10_000), "1,000 courses": played(rng, plant, part, 1_000)}
        for cumulated in (False, True):
            ordered = np.sort(np.cumsum(long, axis=1) if cumulated else long, axis=0)
            points = {"reckoned": (demand.by_end if cumulated else demand.within).quantile(0.99)}
            for name, used in fewer.items():
                points[name] = _point(np.sort(np.cumsum(used, axis=1) if cumulated else used, axis=0))
            for name, point in points.items():
                pairs = list(zip(ordered.T, point, strict=True))
                too_low = [0.99 - _share(column, q, "right") for column, q in pairs]
                too_high = [_share(column, q, "left") - 0.99 for column, q in pairs]
                wrong[name].append(100.0 * np.maximum(np.maximum(too_low, too_high), 0.0))
    say("\n| 99 % point | right, % | wrong by, mean and largest [percentage points] |\n|---|---|---|")
    for name, of_name in wrong.items():
        each = np.concatenate(of_name)
        say(f"| {name} | {100.0 * (each == 0.0).mean():.1f} | {each.mean():.4f}, {each.max():.3f} |")
    say(f"\nThe {LONG_COURSES:,} courses themselves err by {100 * (0.99 * 0.01 / LONG_COURSES) ** 0.5:.3f} (1 sd).")


def _point(ordered: Ints) -> Ints:
    point: Ints = ordered[int(np.ceil(0.99 * len(ordered))) - 1]
    return point


def _share(ordered: Ints, point: int, side: Literal["left", "right"]) -> float:
    return float(np.searchsorted(ordered, point, side=side)) / len(ordered)


def say(line: str) -> None:
    print(line, flush=True)  # noqa: T201


def main(positions: int = 1_000_000, parts: int = 2_000, threads: int = 2, seed: int = 1) -> None:
    say(f"{positions:,} positions, {WEEKS} weeks, {parts:,} parts, 3 load cases, {threads} threads, seed {seed}\n")
    measure_speed(positions, parts, threads, seed)
    measure_against_simulation(positions, parts, seed)
    measure_points(positions // 10, parts // 10, seed)


if __name__ == "__main__":
    main(*(int(argument) for argument in sys.argv[1:]))
