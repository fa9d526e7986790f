"""Which element sat where and when, built backwards from what each position is meant to show today.

The dirt that reaches an element grows with run hours at a rate that wanders from system to system. Most lives
end at the plant's habitual interval, well before the element is full; a few run to their limit. The share of
its load that an element holds is the dirt since it was fitted over what that element can take.
"""

from dataclasses import dataclass
from enum import StrEnum

import numpy as np
import numpy.typing as npt

from service.demo.records import Wear
from service.demo.shifts import CHANGE_HOUR, Timeline, hours_at

SHORT_SHARE = 0.36
"""The part of a usual life that a short one reaches."""

_WANDER_D, _WANDER_SD = 75.0, 0.22
_FULL_LOAD = 1.01
_MOST_LOAD_AT_INTERVAL = 0.88
_LIFE_SPREAD = 0.13


class Ended(StrEnum):
    INTERVAL = "interval"
    LIMIT = "limit"


@dataclass(frozen=True, slots=True)
class Life:
    """One element's stay: its days, and the dirt that fills it over the position's average."""

    first: int
    last: int | None
    ended: Ended | None
    capacity: float


@dataclass(frozen=True, slots=True)
class Exposure:
    """Run hours of each day by the position's meter, and the dirt of each day in lives of the position."""

    hours: npt.NDArray[np.float64]
    dirt: npt.NDArray[np.float64]


def wandering_rate(days: int, random: np.random.Generator) -> npt.NDArray[np.float64]:
    """A system's ingression rate over its mean, by day: the logarithm is a first-order autoregression."""
    keep = float(np.exp(-1.0 / _WANDER_D))
    shocks = random.normal(0.0, _WANDER_SD * np.sqrt(1.0 - keep**2), days)
    log_rate = np.empty(days)
    level = 0.0
    for day, shock in enumerate(shocks):
        level = keep * level + shock
        log_rate[day] = level
    return np.asarray(np.exp(log_rate))


def load_at(life: Life, exposure: Exposure, index: npt.ArrayLike, hour: npt.ArrayLike) -> npt.NDArray[np.float64]:
    """Share of its load that the element of `life` holds; 1 is its limit."""
    since = hours_at(exposure.dirt, index, hour) - hours_at(exposure.dirt, life.first, CHANGE_HOUR)
    return np.asarray(since / life.capacity)


def lives_of(wear: Wear, timeline: Timeline, exposure: Exposure, random: np.random.Generator) -> list[Life]:
    """The lives at a position in order of time, the last still running; none where nothing is known."""
    if wear.now.nothing_known:
        return []
    days = timeline.change_days()
    clocks = _Clocks(days, hours_at(exposure.hours, days, CHANGE_HOUR), hours_at(exposure.dirt, days, CHANGE_HOUR))
    backwards = [_running_life(wear, timeline, exposure, clocks, random)]
    while backwards[-1].first > timeline.first_told:
        earlier = _finished_life(wear, backwards[-1].first, len(backwards) - 1, clocks, random)
        if earlier is None:
            break
        backwards.append(earlier)
    return backwards[::-1]


def sides_in_turn(lives: list[Life], sides: tuple[str, str]) -> list[tuple[str, Life]]:
    """A duplex housing's lives in service by turns; the newest is on the second side."""
    return [(sides[(len(lives) - position) % 2], life) for position, life in enumerate(lives)]


@dataclass(frozen=True, slots=True)
class _Clocks:
    """The days on which elements may be changed, with run hours and dirt so far."""

    days: npt.NDArray[np.int64]
    hours: npt.NDArray[np.float64]
    dirt: npt.NDArray[np.float64]

    def place_of(self, day: int) -> int:
        return int(np.searchsorted(self.days, day))


def _running_life(
    wear: Wear, timeline: Timeline, exposure: Exposure, clocks: _Clocks, random: np.random.Generator
) -> Life:
    now = wear.now
    dirt = float(exposure.dirt.sum()) - clocks.dirt
    capacity = float(np.exp(random.normal(0.0, _LIFE_SPREAD)))
    if now.load is not None:
        place = int(np.flatnonzero(dirt >= now.load)[-1])
        capacity = float(dirt[place]) / now.load
    elif now.run_h is not None:
        place = int(np.flatnonzero(float(exposure.hours.sum()) - clocks.hours >= now.run_h)[-1])
    elif now.age_d is not None:
        place = int(np.flatnonzero(clocks.days <= timeline.today_index - now.age_d)[-1])
    else:
        raise ValueError("a running element needs its load, its run hours or its age")
    return Life(int(clocks.days[place]), None, None, capacity)


def _finished_life(wear: Wear, last: int, newer: int, clocks: _Clocks, random: np.random.Generator) -> Life | None:
    """The life that ended on day `last`; None where the run-in is too short for it."""
    end = clocks.place_of(last)
    hours = clocks.hours[end] - clocks.hours[:end]
    dirt = clocks.dirt[end] - clocks.dirt[:end]
    is_short = newer < wear.short_lives
    spread = float(np.exp(random.normal(0.0, _LIFE_SPREAD)))
    at_limit = random.random() < wear.limit_share or is_short
    if at_limit:
        far_enough = dirt >= (SHORT_SHARE if is_short else 1.0) * spread
    elif wear.habit_h is not None:
        far_enough = hours >= wear.habit_h * random.normal(1.0, 0.05)
    elif wear.habit_d is not None:
        far_enough = last - clocks.days[:end] >= wear.habit_d * random.normal(1.0, 0.05)
    else:
        raise ValueError("a life that ends early needs the plant's interval in hours or days")
    if not far_enough.any():
        return None
    place = int(np.flatnonzero(far_enough)[-1])
    held = float(dirt[place])
    capacity = held / _FULL_LOAD if at_limit else max(spread, held / _MOST_LOAD_AT_INTERVAL)
    return Life(int(clocks.days[place]), last, Ended.LIMIT if at_limit else Ended.INTERVAL, capacity)
