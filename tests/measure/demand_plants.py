"""Small invented plants that use parts, and the same plants played through many times.

Two ways to play: along the chain of periods that `renewal_demand` reckons with, which it must reproduce but for the
sampling error; and in continuous time, which shows what evenly spread changes neglect.
"""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy import stats

from scheduler.statistics.renewal_demand import LoadCase, Users, next_change

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]
AT_A_TIME = 100_000


@dataclass(frozen=True)
class SmallPlant:
    edge_d: Floats
    age_d: Floats
    shares: Floats
    stays_cdf: list[Floats]  # by case: (C, A)
    first: list[Floats]  # by case: (positions, W)
    later_class: Ints
    users: Users
    parts: int

    def cases(self) -> list[LoadCase]:
        return [
            LoadCase(float(share), next_change(self.edge_d, self.age_d, cdf), first.__getitem__)
            for share, cdf, first in zip(self.shares, self.stays_cdf, self.first, strict=True)
        ]


def small_plant(rng: np.random.Generator) -> SmallPlant:
    """4 to 9 positions, 5 to 16 periods of 2 to 35 days, 1 to 3 load cases, 3 parts, whole and broken amounts."""
    periods, positions, classes = int(rng.integers(5, 17)), int(rng.integers(4, 10)), int(rng.integers(1, 4))
    edge_d = np.concatenate([[0.0], np.cumsum(rng.integers(2, 36, periods))]).astype(np.float64)
    age_d = np.arange(0.0, edge_d[-1] + 1.0)
    later_class = rng.integers(0, classes, positions)
    scale_d, sd = rng.uniform(0.15, 1.2, classes) * edge_d[-1], rng.uniform(0.2, 0.6, classes)
    present_d = scale_d[later_class] * rng.lognormal(0.0, 0.2, positions)
    now_d = present_d * rng.uniform(0.0, 1.2, positions)
    loads = np.exp(0.2 * np.array([-(3.0**0.5), 0.0, 3.0**0.5]))[: int(rng.integers(1, 4))]
    cdfs, firsts = [], []
    for load in loads:
        cdfs.append(stats.lognorm.cdf(age_d, sd[:, None], scale=scale_d[:, None] / load))
        left = stats.lognorm.sf(now_d[:, None] + edge_d, sd[later_class][:, None], scale=present_d[:, None] / load)
        firsts.append(-np.diff(left / left[:, :1], axis=1))
    takes = np.concatenate([np.column_stack([np.full(positions, p), np.arange(positions)]) for p in range(2)])
    takes = np.concatenate([takes[rng.random(len(takes)) < 0.8], [[2, 0]]]).astype(np.int64)
    users = Users(takes[:, 0], takes[:, 1], rng.choice([1.0, 1.0, 2.0, 1.6, 0.3], len(takes)))
    return SmallPlant(edge_d, age_d, np.full(len(loads), 1.0 / len(loads)), cdfs, firsts, later_class, users, 3)


def play(rng: np.random.Generator, plant: SmallPlant, draws: int, *, by_periods: bool) -> list[tuple[Floats, Floats]]:
    """For each part the shares of draws with k used, (W, n + 1), within each period and by its end."""
    periods = len(plant.edge_d) - 1
    tables = [_NumberTable(periods) for _ in range(2 * plant.parts)]
    for begin in range(0, draws, AT_A_TIME):
        of_case = rng.multinomial(min(AT_A_TIME, draws - begin), plant.shares)
        for case, some in enumerate(of_case.tolist()):
            used = np.zeros((plant.parts, some, periods), dtype=np.int64)
            for position in range(len(plant.later_class)):
                mine = np.flatnonzero(plant.users.position == position)
                if not len(mine):
                    continue
                changes = _changes(rng, plant, case, position, some, by_periods)
                for user in mine:
                    whole, part = divmod(float(plant.users.amount[user]), 1.0)
                    extra = rng.binomial(changes, part) if part else 0
                    used[plant.users.part[user]] += int(whole) * changes + extra
            for part_index in range(plant.parts):
                tables[2 * part_index].add(used[part_index])
                tables[2 * part_index + 1].add(np.cumsum(used[part_index], axis=1))
    shares = [table.counted / draws for table in tables]
    return list(zip(shares[0::2], shares[1::2], strict=True))


def _changes(
    rng: np.random.Generator, plant: SmallPlant, case: int, position: int, draws: int, by_periods: bool
) -> Ints:
    """How many changes of one position fall into each period, (draws, W)."""
    edge_d, periods = plant.edge_d, len(plant.edge_d) - 1
    cdf = plant.stays_cdf[case][plant.later_class[position]]
    transitions = np.cumsum(next_change(edge_d, plant.age_d, cdf[None])[0], axis=1)
    period = np.searchsorted(np.cumsum(plant.first[case][position]), rng.random(draws), side="right")
    draw = np.flatnonzero(period < periods)
    period = period[draw]
    day = edge_d[period] + rng.random(len(draw)) * np.diff(edge_d)[period]
    changes = np.zeros(draws * periods, dtype=np.int64)
    while len(draw):
        changes += np.bincount(draw * periods + period, minlength=draws * periods)
        if by_periods:
            period = np.sum(transitions[period] <= rng.random(len(draw))[:, None], axis=1)
        else:
            chance = rng.random(len(draw))
            day = day + np.where(chance < cdf[-1], np.interp(chance, cdf, plant.age_d), np.inf)
            period = np.searchsorted(edge_d, day, side="right") - 1
        inside = period < periods
        draw, period, day = draw[inside], period[inside], day[inside]
    return changes.reshape(draws, periods)


class _NumberTable:
    """How often each number was seen, in each of some columns."""

    def __init__(self, columns: int) -> None:
        self.counted = np.zeros((columns, 1))

    def add(self, seen: Ints) -> None:
        width = max(int(seen.max(initial=0)) + 1, self.counted.shape[1])
        self.counted = np.pad(self.counted, ((0, 0), (0, width - self.counted.shape[1])))
        for column, numbers in enumerate(seen.T):
            self.counted[column] += np.bincount(numbers, minlength=width)
