"""Planned hours: how many hours a system is meant to run up to a day, standstills taken out.

A day here and in its neighbours is a float, days since 1970-01-01T00:00Z, so that a day is always 24 h and
a local clock change is nobody's business. The weekly hours are spread evenly over the week: a shift calendar
is not asked of the plant, so within a week planned hours are not sharper than that. Valid for 0 to 168 h a
week. Where the plant does not say how many hours a week it runs, planned hours run round the clock and the
share of them that is used is believed to be smaller (`CALENDAR_PRIOR`).
"""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

FloatArray = npt.NDArray[np.float64]

HOURS_PER_DAY = 24.0
HOURS_PER_WEEK = 168.0


@dataclass(frozen=True, slots=True)
class UsePrior:
    """What is believed of the run hours per planned hour before a meter has said anything.

    `mean` run hours per planned hour; `weight_planned_h` planned hours of observation that the belief is
    worth; `variance_per_planned_hour` [h²/h] of run hours, believed as strongly as `spread_weight` steps
    between readings.
    """

    mean: float
    weight_planned_h: float
    variance_per_planned_hour: float = 2.0
    spread_weight: float = 1.0

    def __post_init__(self) -> None:
        for name in ("mean", "weight_planned_h", "variance_per_planned_hour", "spread_weight"):
            value = getattr(self, name)
            if not 0.0 < value < np.inf:
                raise ValueError(f"{name} {value} of a use prior must be above 0 and finite")


SHIFT_PRIOR = UsePrior(mean=0.8, weight_planned_h=96.0)
"""Four fifths of the shift hours are run, believed like 96 shift hours of watching (common practice, no
source); the spread (2 h² per hour, so about 9 h over a 40 h week) is ours, from simulated plants."""

CALENDAR_PRIOR = UsePrior(mean=40.0 / HOURS_PER_WEEK, weight_planned_h=144.0)
"""One 40 h shift week of the 168 h (common practice, no source). The weight is ours: it gives the belief a
standard deviation of half its mean, so that a forecast without any reading still ends."""


@dataclass(frozen=True, slots=True)
class PlannedHours:
    """Cumulative planned hours, linear between knots `day` (strictly increasing), 0 at the first.

    Outside the knots hours go on at `hours_per_day`, backwards too (then they are negative).
    """

    day: FloatArray
    cumulative_h: FloatArray
    hours_per_day: float
    prior: UsePrior

    def at(self, day: npt.ArrayLike) -> FloatArray:
        """Planned hours from the first knot to each `day`, in the shape of `day`."""
        wanted = np.asarray(day, dtype=np.float64)
        outside_d = np.maximum(wanted - self.day[-1], 0.0) + np.minimum(wanted - self.day[0], 0.0)
        inside_h = np.interp(wanted, self.day, self.cumulative_h)
        return np.asarray(inside_h + outside_d * self.hours_per_day, dtype=np.float64)

    def day_when(self, planned_h: npt.ArrayLike) -> FloatArray:
        """The first day at which `planned_h` is reached; infinite where it never is."""
        wanted_h = np.asarray(planned_h, dtype=np.float64)
        after = np.searchsorted(self.cumulative_h, wanted_h, side="left")
        right = np.clip(after, 1, len(self.day) - 1)
        rise_h = self.cumulative_h[right] - self.cumulative_h[right - 1]
        missing_h = wanted_h - self.cumulative_h[right - 1]
        share = np.divide(missing_h, rise_h, out=np.zeros_like(missing_h), where=rise_h > 0.0)
        within = self.day[right - 1] + share * (self.day[right] - self.day[right - 1])
        before_start = self.day[0] + self._days_for(wanted_h - self.cumulative_h[0])
        after_end = self.day[-1] + self._days_for(wanted_h - self.cumulative_h[-1])
        return np.where(after == 0, before_start, np.where(after == len(self.day), after_end, within))

    def _days_for(self, hours: FloatArray) -> FloatArray:
        if self.hours_per_day > 0.0:
            return hours / self.hours_per_day
        return np.where(hours == 0.0, 0.0, np.copysign(np.inf, hours))


def planned_hours(
    start_day: float, end_day: float, hours_per_week: float | None, standstills: npt.ArrayLike = ()
) -> PlannedHours:
    """Planned hours from `start_day` to `end_day` at `hours_per_week`, none during `standstills`.

    `standstills` is (k, 2), each row a half-open interval [start, end) of days; rows may overlap, touch, come
    in any order, and end at infinity; what lies outside `start_day` to `end_day` is not seen. With
    `hours_per_week` None (not told) hours are planned round the clock and the calendar prior goes with them.
    Raises ValueError for hours outside 0 to 168, an empty span, or a standstill that ends before it starts.

    >>> week = planned_hours(0.0, 7.0, 40.0, [[5.0, 7.0]])  # the weekend as a standstill
    >>> round(float(week.at(7.0)), 3)
    28.571
    """
    if not (np.isfinite(start_day) and np.isfinite(end_day) and start_day < end_day):
        raise ValueError(f"planned hours need a start before their end, got day {start_day} to {end_day}")
    if hours_per_week is not None and not 0.0 <= hours_per_week <= HOURS_PER_WEEK:
        raise ValueError(f"{hours_per_week} h a week is outside 0 to {HOURS_PER_WEEK:g}")
    intervals = np.asarray(standstills, dtype=np.float64).reshape(-1, 2)
    wrong = ~(intervals[:, 0] <= intervals[:, 1])
    if wrong.any():
        start, end = intervals[wrong][0]
        raise ValueError(f"standstill from day {start} to {end} ends before it starts")
    told = hours_per_week is not None
    hours_per_day = (HOURS_PER_WEEK if hours_per_week is None else hours_per_week) / 7.0
    knots = np.unique([start_day, end_day, *np.clip(intervals, start_day, end_day).ravel()])
    middle = (knots[1:] + knots[:-1]) / 2.0
    # more begun than ended means standing still, however the intervals overlap
    begun = np.searchsorted(np.sort(intervals[:, 0]), middle, side="right")
    ended = np.searchsorted(np.sort(intervals[:, 1]), middle, side="right")
    rise_h = np.diff(knots) * np.where(begun > ended, 0.0, hours_per_day)
    return PlannedHours(
        day=knots,
        cumulative_h=np.concatenate([[0.0], np.cumsum(rise_h)]),
        hours_per_day=hours_per_day,
        prior=SHIFT_PRIOR if told else CALENDAR_PRIOR,
    )
