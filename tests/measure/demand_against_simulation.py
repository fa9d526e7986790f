"""Does the demand for parts agree with plants played through, and what do evenly spread changes neglect?

Small invented plants (`demand_plants`): uneven periods, several classes, shared loads, whole and broken amounts. Each
is played along its chain of periods, where only the sampling error may differ, and in continuous time. For each
table of each part: the mean in standard errors, the largest distance of the distributions, and whether the 90 and
99 % points are the same where the simulation can tell.

Run: python tests/measure/demand_against_simulation.py [plants] [draws] [seed]
"""

import sys
import time
from pathlib import Path

import numpy as np
import numpy.typing as npt

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))  # so that it also runs as a plain script
from scheduler.statistics.count_distribution import CountTable
from scheduler.statistics.renewal_demand import demand_by_part
from tests.measure.demand_plants import play, small_plant

Floats = npt.NDArray[np.float64]
LEVELS = (0.9, 0.99)


def distances(table: CountTable, played: Floats, draws: int) -> tuple[Floats, Floats, Floats]:
    """By row: the mean off in standard errors; the largest |P(≤ k) − share of draws|; points the draws speak against.

    They speak against a point q of level c where their share ≤ q is below c, or their share < q is above c, by more
    than 4 standard errors.
    """
    width = max(table.probability.shape[1], played.shape[1])
    reckoned, seen = (
        np.cumsum(np.pad(p, ((0, 0), (0, width - p.shape[1]))), axis=1) for p in (table.probability, played)
    )
    mean = played @ np.arange(played.shape[1])
    error = np.sqrt(np.maximum(table.variance(), 1.0 / draws) / draws)
    against = np.zeros(len(played))
    row = np.arange(len(played))
    for level in LEVELS:
        point = table.quantile(level)
        margin = 4.0 * np.sqrt(level * (1.0 - level) / draws)
        before = np.where(point > 0, seen[row, np.maximum(point - 1, 0)], 0.0)
        against += (seen[row, point] < level - margin) | (before > level + margin)
    return (table.mean() - mean) / error, np.abs(reckoned - seen).max(axis=1), against


def say(line: str) -> None:
    print(line, flush=True)  # noqa: T201


def main(plants: int = 50, draws: int = 2_000_000, seed: int = 1) -> None:
    say(f"{plants} plants, {draws} draws each, seed {seed}")
    say("| played | tables' rows | mean off, rms and largest [standard errors] | mean off, largest [% of mean] "
          "| distance, median and largest | 0.1 % limit | points spoken against, of |")  # fmt: skip
    say("|---|---|---|---|---|---|---|")
    for by_periods in (True, False):
        began = time.perf_counter()
        off, relative, distance, against = [], [], [], 0.0
        for number in range(plants):
            rng = np.random.default_rng([seed, number])
            plant = small_plant(rng)
            demands = demand_by_part(plant.cases(), plant.later_class, plant.users, plant.parts)
            for demand, tables in zip(demands, play(rng, plant, draws, by_periods=by_periods), strict=True):
                for table, played in zip((demand.within, demand.by_end), tables, strict=True):
                    z, d, spoken = distances(table, played, draws)
                    off.append(z)
                    relative.append(np.abs(z) * np.sqrt(table.variance() / draws) / np.maximum(table.mean(), 0.05))
                    distance.append(d)
                    against += float(spoken.sum())
        z, d, percent = np.concatenate(off), np.concatenate(distance), 100.0 * np.concatenate(relative)
        how = "by periods" if by_periods else "in continuous time"
        limit = 1.95 / np.sqrt(draws)  # Kolmogorov, 0.1 %; on the safe side for whole numbers
        say(f"| {how} | {len(z)} | {np.sqrt((z**2).mean()):.2f}, {np.abs(z).max():.1f} | {percent.max():.2f} "
              f"| {np.median(d):.5f}, {d.max():.5f} | {limit:.5f} | {against:.0f}, {len(LEVELS) * len(z)} |"
              f" ({time.perf_counter() - began:.0f} s)")  # fmt: skip


if __name__ == "__main__":
    main(*(int(argument) for argument in sys.argv[1:]))
