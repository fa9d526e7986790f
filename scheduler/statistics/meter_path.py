"""Which readings of a run-hour meter to believe: the cheapest story that explains them all.

A story keeps some readings and drops the rest. Dropping one costs 1, a replacement that nobody declared costs
1.5: so one typing error is dropped, but two readings that agree on a new level are a new meter. A rollover of
a meter whose digits are known costs next to nothing. Among stories of equal cost the one with the steadier
running wins, then the one that keeps the earlier readings: the newest reading is the one that has to prove
itself. The weights are ours; only their order matters (a drop < a reset < two drops).

The cheapest story is found exactly by dynamic programming. Long runs of readings that follow each other
without complaint are settled beforehand: inside them no story gains by leaving.
"""

from dataclasses import dataclass
from enum import IntEnum

import numpy as np
import numpy.typing as npt

from scheduler.statistics.planned_hours import HOURS_PER_DAY, FloatArray

BoolArray = npt.NDArray[np.bool_]
IntArray = npt.NDArray[np.int64]

DROP_COST = 1.0
RESET_COST = 1.5
KNOWN_ROLLOVER_COST = 0.05
INFERRED_ROLLOVER_COST = 0.5
UNSTEADY_COST = 0.1
"""At most, for one step: two of them stay far below a drop, so steadiness only ever breaks ties."""

SLACK_D = 1.0
"""A meter cannot run more than 24 h a day, but readings are noted late and dates have no time of day."""

DATE_ONLY_D = 0.5
"""A bare date is taken as noon, so the reading may be 12 h off either way."""

ROUNDING_H = 1.0
"""One person rounds up what the next one cuts off: a step back by an hour is no step back (ours)."""

NEAR_TOP = 0.9
INFERRED_DIGITS = (4, 7)
SETTLED_RUN = 6
"""Dropping a whole run costs its length, entering and leaving it by resets at most 3: from 4 readings on a
run is never dropped whole, and at most its first and last are (a second drop costs more than a reset)."""

LOOK_BACK = 60
"""Readings that may be dropped in one go; bounds the work on a meter that shows nothing but nonsense."""


class MeterMark(IntEnum):
    """The kinds of meter reading as array codes: `vocabulary.MeterReadingKind` in the same order."""

    READING = 0
    LAST = 1
    FIRST = 2


class Link(IntEnum):
    """How a kept reading follows the kept one before it."""

    RUNS_ON = 0
    ROLLS_OVER = 1
    DECLARED = 2
    RESET = 3


@dataclass(frozen=True, slots=True)
class SortedReadings:
    """Possible readings of one meter in the order of time, without repeats; all arrays (n,)."""

    day: FloatArray
    shown_h: FloatArray
    mark: IntArray
    is_date: BoolArray
    digits: int | None
    usual_h_per_day: float
    """The middle rate of the steps that can be true; nan where no step can."""


@dataclass(frozen=True, slots=True)
class Steps:
    """From a reading to a later one: what that costs, the run hours between (nan: unknown), the link."""

    cost: FloatArray
    increment_h: FloatArray
    link: IntArray


def kept_readings(readings: SortedReadings) -> IntArray:
    """Indices of the readings that the cheapest story keeps, increasing; empty for no readings."""
    count = len(readings.day)
    if count == 0:
        return np.zeros(0, dtype=np.int64)
    later = np.arange(1, count)
    link = steps(readings, later - 1, later).link
    easy = (link == Link.RUNS_ON) | (link == Link.DECLARED)
    if easy.all():
        return np.arange(count)
    settled = _settled(easy)
    if len(settled) == 0:
        return _cheapest(readings, 0, count - 1, from_low=False, to_high=False)
    parts = [settled]
    if settled[0] > 0:
        parts.append(_cheapest(readings, 0, int(settled[0]), from_low=False, to_high=True))
    for at in np.flatnonzero(np.diff(settled) > 1):
        parts.append(_cheapest(readings, int(settled[at]), int(settled[at + 1]), from_low=True, to_high=True))
    if settled[-1] < count - 1:
        parts.append(_cheapest(readings, int(settled[-1]), count - 1, from_low=True, to_high=False))
    return np.unique(np.concatenate(parts))


def steps(readings: SortedReadings, earlier: IntArray, later: IntArray | int) -> Steps:
    """The step from each `earlier` reading to each `later` one (indices, broadcast together).

    The hours between two readings of one meter lie between 0 and 24 h for each day of the gap and one more;
    a bare date and rounding let them step back by as much as they explain.
    """
    gap_d = readings.day[later] - readings.day[earlier]
    rise_h = readings.shown_h[later] - readings.shown_h[earlier]
    unsure_d = DATE_ONLY_D * (readings.is_date[later].astype(float) + readings.is_date[earlier])
    most_h = HOURS_PER_DAY * (gap_d + SLACK_D)
    least_h = -ROUNDING_H - HOURS_PER_DAY * np.maximum(unsure_d - gap_d, 0.0)
    starts_new = readings.mark[later] == MeterMark.FIRST
    runs_on = (rise_h >= least_h) & (rise_h <= most_h) & ~starts_new
    declared = starts_new | ((readings.mark[earlier] == MeterMark.LAST) & ~runs_on)
    turned_h = rise_h + _turn_h(readings, earlier, gap_d, rise_h)
    rolls_over = ~runs_on & ~declared & (rise_h < 0.0) & (turned_h >= 0.0) & (turned_h <= most_h)
    breaks = np.where(declared, int(Link.DECLARED), np.where(rolls_over, int(Link.ROLLS_OVER), int(Link.RESET)))
    link = np.where(runs_on, int(Link.RUNS_ON), breaks)
    increment_h = np.where(runs_on, rise_h, np.where(rolls_over, turned_h, np.nan))
    unsteady = np.minimum(np.abs(increment_h - readings.usual_h_per_day * gap_d) / most_h, 1.0)
    rollover_cost = INFERRED_ROLLOVER_COST if readings.digits is None else KNOWN_ROLLOVER_COST
    link_cost = np.array([0.0, rollover_cost, 0.0, RESET_COST])  # in the order of Link
    cost = link_cost[link] + UNSTEADY_COST * np.where(np.isnan(unsteady), 0.0, unsteady)
    return Steps(cost, increment_h, link)


def usual_rate_h_per_day(day: FloatArray, shown_h: FloatArray) -> float:
    """The median rate of the steps that one meter can have made; nan where there is none.

    Steps under half a day are left out: they say when in the shift somebody looked.
    """
    gap_d, rise_h = np.diff(day), np.diff(shown_h)
    possible = (gap_d >= DATE_ONLY_D) & (rise_h >= 0.0) & (rise_h <= HOURS_PER_DAY * (gap_d + SLACK_D))
    return float(np.median(rise_h[possible] / gap_d[possible])) if possible.any() else np.nan


def _turn_h(readings: SortedReadings, earlier: IntArray, gap_d: FloatArray, rise_h: FloatArray) -> FloatArray:
    """What one turn of the meter adds; nan where nothing says that it turned.

    Without known digits a turn needs evidence: the earlier value stood in the last tenth of a range of 4 to
    7 digits, and the hours are not over twice what this meter usually makes.
    """
    if readings.digits is not None:
        return np.full(gap_d.shape, 10.0**readings.digits)
    shown_h = readings.shown_h[earlier]
    digits = np.floor(np.log10(np.maximum(shown_h, 1.0))) + 1.0
    turn_h = 10.0**digits
    fewest, most = INFERRED_DIGITS
    near_top = (digits >= fewest) & (digits <= most) & (shown_h >= NEAR_TOP * turn_h)
    too_many = rise_h + turn_h > HOURS_PER_DAY * SLACK_D + 2.0 * readings.usual_h_per_day * gap_d
    return np.where(near_top & ~too_many, turn_h, np.nan)


def _settled(easy: BoolArray) -> IntArray:
    """Readings that every cheapest story may keep: the inside of runs linked by `easy` steps."""
    ends = np.flatnonzero(np.concatenate([~easy, [True]]))
    starts = np.concatenate([[0], ends[:-1] + 1])
    inner = [
        np.arange(start + 1, end) for start, end in zip(starts, ends, strict=True) if end - start + 1 >= SETTLED_RUN
    ]
    return np.concatenate(inner) if inner else np.zeros(0, dtype=np.int64)


def _cheapest(readings: SortedReadings, low: int, high: int, *, from_low: bool, to_high: bool) -> IntArray:
    """The cheapest story over readings `low` to `high`; its ends kept by order where told so."""
    count = high - low + 1
    cost = np.zeros(count)
    came_from = np.full(count, -1)
    for at in range(1, count):
        before = np.arange(max(0, at - LOOK_BACK), at)
        way = cost[before] + DROP_COST * (at - before - 1) + steps(readings, low + before, low + at).cost
        best = int(np.argmin(way))
        cost[at], came_from[at] = way[best], before[best]
        if not from_low and DROP_COST * at < cost[at]:
            cost[at], came_from[at] = DROP_COST * at, -1
    at = count - 1 if to_high else int(np.argmin(cost + DROP_COST * np.arange(count)[::-1]))
    kept = []
    while at >= 0:
        kept.append(low + at)
        at = int(came_from[at])
    return np.array(kept[::-1], dtype=np.int64)
