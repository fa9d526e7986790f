"""Run hours of one meter from irregular readings: typing errors out, rollovers and new meters bridged.

Cumulative hours start at the first believed reading's own value and never run backwards, so that as long as
the meter is never replaced they are what it shows. Which readings to believe is `meter_path`'s part; nothing
is used or left out silently: every reading given gets an outcome, with the earlier value that it was held
against.
"""

from dataclasses import dataclass
from enum import IntEnum

import numpy as np
import numpy.typing as npt

from scheduler.statistics.meter_path import (
    ROUNDING_H,
    BoolArray,
    IntArray,
    Link,
    MeterMark,
    SortedReadings,
    Steps,
    kept_readings,
    steps,
    usual_rate_h_per_day,
)
from scheduler.statistics.planned_hours import CALENDAR_PRIOR, HOURS_PER_DAY, FloatArray, PlannedHours


class ReadingOutcome(IntEnum):
    """What became of a reading. Up to METER_RESET it is used, from REPEATED on it is not."""

    ACCEPTED = 0
    ROLLED_OVER = 1
    METER_REPLACED = 2
    """The first of a new meter, declared by `last` or `first`."""
    METER_RESET = 3
    """The first of a new level that later readings confirm, though nobody declared a new meter."""
    REPEATED = 4
    """The same time, kind and value once more."""
    BACKWARD = 5
    """Lower than the believed reading before it."""
    JUMP = 6
    """More than can have been run since the reading before it, or before the reading after it."""
    IMPOSSIBLE = 7
    """Negative, not a number, or more digits than the meter has."""


@dataclass(frozen=True, slots=True)
class MeterHours:
    """Run hours at the believed readings, and what became of each reading given.

    `day` (m,) strictly increasing, `cumulative_h` (m,) never falling, `inferred` (m,): the hours since the
    knot before were not read but filled in at the meter's own use rate. `outcome` (n,) ReadingOutcome codes,
    `earlier_day` and `earlier_h` (n,) the believed reading before each (nan: none), in the order given.
    """

    day: FloatArray
    cumulative_h: FloatArray
    inferred: BoolArray
    outcome: IntArray
    earlier_day: FloatArray
    earlier_h: FloatArray


def cumulative_hours(
    day: npt.ArrayLike,
    shown_h: npt.ArrayLike,
    kind: npt.ArrayLike,
    *,
    digits: int | None = None,
    is_date: npt.ArrayLike | None = None,
    planned: PlannedHours | None = None,
) -> MeterHours:
    """Run hours of one meter from `shown_h` at `day`, in any order; `kind` holds MeterMark codes.

    `digits` of the counter before the decimal sign (None: not told, a rollover is then inferred only near the
    top of its range); `is_date` marks readings with no time of day, standing at noon. Hours over a change of
    meter that no reading tells are filled in at the meter's own rate per planned hour, without `planned` per
    hour elapsed. Raises ValueError for arrays of unlike length, a day that is not finite, an unknown kind,
    or digits outside 1 to 9.

    >>> meter = cumulative_hours([0.0, 10.0, 20.0, 30.0], [9900.0, 9980.0, 60.0, 140.0], [0, 0, 0, 0])
    >>> meter.cumulative_h.tolist(), ReadingOutcome(meter.outcome[2]).name
    ([9900.0, 9980.0, 10060.0, 10140.0], 'ROLLED_OVER')
    """
    days = np.asarray(day, dtype=np.float64)
    shown = np.asarray(shown_h, dtype=np.float64)
    marks = np.asarray(kind, dtype=np.int64)
    dates = np.zeros(days.shape, dtype=np.bool_) if is_date is None else np.asarray(is_date, dtype=np.bool_)
    _check(days, shown, marks, dates, digits)
    outcome = np.full(days.shape, int(ReadingOutcome.IMPOSSIBLE))
    top_h = np.inf if digits is None else 10.0**digits
    possible = np.flatnonzero((shown >= 0.0) & (shown < top_h))
    order = possible[_time_order(days[possible], shown[possible], marks[possible], dates[possible])]
    repeated = _same_as_before(days[order], shown[order], marks[order])
    outcome[order[repeated]] = ReadingOutcome.REPEATED
    order = order[~repeated]
    readings = SortedReadings(
        days[order],
        shown[order],
        marks[order],
        dates[order],
        digits,
        usual_rate_h_per_day(days[order], shown[order]),
    )
    kept = kept_readings(readings)
    taken = steps(readings, kept[:-1], kept[1:])
    outcome[order] = _outcomes(readings, kept, taken)
    knot_day, cumulative_h, inferred = _knots(readings, kept, taken, planned)
    earlier_day, earlier_h = _reading_before(days, readings, order, kept)
    return MeterHours(knot_day, cumulative_h, inferred, outcome, earlier_day, earlier_h)


def _check(days: FloatArray, shown: FloatArray, marks: IntArray, dates: BoolArray, digits: int | None) -> None:
    if days.ndim != 1 or not days.shape == shown.shape == marks.shape == dates.shape:
        shapes = (days.shape, shown.shape, marks.shape, dates.shape)
        raise ValueError(f"each reading needs one day, value, kind and date mark; got {shapes}")
    if not np.isfinite(days).all():
        raise ValueError(f"a reading at day {days[~np.isfinite(days)][0]} has no time")
    unknown = (marks < min(MeterMark)) | (marks > max(MeterMark))
    if unknown.any():
        raise ValueError(f"meter reading kind {marks[unknown][0]} is none of {[mark.value for mark in MeterMark]}")
    if digits is not None and not 1 <= digits <= 9:
        raise ValueError(f"a meter of {digits} digits is outside 1 to 9")


def _time_order(days: FloatArray, shown: FloatArray, marks: IntArray, dates: BoolArray) -> IntArray:
    """By time; at one time a plain reading, the old meter's last, the new one's first.

    A plain reading at the time of a change that fits the new meter's first value comes after it: a bare date
    puts the change and the day's reading at the same noon. Of two alike the one with a time of day comes first.
    """
    rank = marks.copy()
    for first in np.flatnonzero(marks == MeterMark.FIRST):
        above_h = shown - shown[first]
        fits = (above_h >= -ROUNDING_H) & (above_h <= HOURS_PER_DAY)
        rank[(days == days[first]) & (marks == MeterMark.READING) & fits] = MeterMark.FIRST + 1
    return np.lexsort((dates, shown, rank, days))


def _same_as_before(days: FloatArray, shown: FloatArray, marks: IntArray) -> BoolArray:
    same = (np.diff(days) == 0.0) & (np.diff(shown) == 0.0) & (np.diff(marks) == 0)
    return np.concatenate([np.zeros(min(len(days), 1), dtype=np.bool_), same])


_OUTCOME_OF_LINK = np.zeros(len(Link), dtype=np.int64)
_OUTCOME_OF_LINK[Link.RUNS_ON] = ReadingOutcome.ACCEPTED
_OUTCOME_OF_LINK[Link.ROLLS_OVER] = ReadingOutcome.ROLLED_OVER
_OUTCOME_OF_LINK[Link.DECLARED] = ReadingOutcome.METER_REPLACED
_OUTCOME_OF_LINK[Link.RESET] = ReadingOutcome.METER_RESET


def _outcomes(readings: SortedReadings, kept: IntArray, taken: Steps) -> IntArray:
    count = len(readings.day)
    before = np.searchsorted(kept, np.arange(count), side="left") - 1
    earlier_h = np.where(before >= 0, readings.shown_h[kept[before]], -np.inf) if len(kept) else np.zeros(count)
    outcome = np.where(readings.shown_h < earlier_h, int(ReadingOutcome.BACKWARD), int(ReadingOutcome.JUMP))
    outcome[kept[:1]] = ReadingOutcome.ACCEPTED
    outcome[kept[1:]] = _OUTCOME_OF_LINK[taken.link]
    return outcome


def _knots(
    readings: SortedReadings, kept: IntArray, taken: Steps, planned: PlannedHours | None
) -> tuple[FloatArray, FloatArray, BoolArray]:
    """Knots with strictly increasing days: day, cumulative hours, whether filled in since the knot before."""
    if len(kept) == 0:
        return np.zeros(0), np.zeros(0), np.zeros(0, dtype=np.bool_)
    day = readings.day[kept]
    unknown = np.isnan(taken.increment_h)
    planned_h = np.diff(HOURS_PER_DAY * day if planned is None else planned.at(day))
    prior = CALENDAR_PRIOR if planned is None else planned.prior
    known_h = taken.increment_h[~unknown].sum() + prior.weight_planned_h * prior.mean
    per_planned_hour = known_h / (planned_h[~unknown].sum() + prior.weight_planned_h)
    increment_h = np.where(unknown, per_planned_hour * planned_h, taken.increment_h)
    raw_h = readings.shown_h[kept[0]] + np.concatenate([[0.0], np.cumsum(increment_h)])
    # a reading with a time of day is not outvoted by an earlier noon that really was an evening
    timed_h = np.where(readings.is_date[kept], np.inf, raw_h)
    raw_h = np.minimum(raw_h, np.minimum.accumulate(timed_h[::-1])[::-1])
    cumulative_h = np.maximum.accumulate(raw_h)
    filled = np.concatenate([[False], unknown & (np.diff(day) > 0.0)])
    starts = np.flatnonzero(np.concatenate([[True], np.diff(day) > 0.0]))
    ends = np.concatenate([starts[1:], [len(day)]]) - 1
    return day[ends], cumulative_h[ends], np.logical_or.reduceat(filled, starts)


def _reading_before(
    days: FloatArray, readings: SortedReadings, order: IntArray, kept: IntArray
) -> tuple[FloatArray, FloatArray]:
    """For each reading given, time and value of the believed one before it; nan where there is none."""
    before = np.searchsorted(readings.day[kept], days, side="left") - 1
    before[order] = np.searchsorted(kept, np.arange(len(order)), side="left") - 1
    if len(kept) == 0:
        return np.full(days.shape, np.nan), np.full(days.shape, np.nan)
    none = before < 0
    return (
        np.where(none, np.nan, readings.day[kept[before]]),
        np.where(none, np.nan, readings.shown_h[kept[before]]),
    )
