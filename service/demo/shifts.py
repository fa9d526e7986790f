"""Days, stops and run hours of the demo plant: two years that are told and a run-in before them.

A day is an index: `Timeline.today_index` is today, on which nothing has happened yet. Long stops are dated
back from today and put on Saturdays, the day on which elements are changed.
"""

from dataclasses import dataclass
from datetime import date, datetime, time, timedelta

import numpy as np
import numpy.typing as npt

from service.demo.records import DemoSystem, Row, Shift
from service.demo.systems import PLANT

HISTORY_D = 730
RUN_IN_D = 900
STOPS_AHEAD_D = 270

SATURDAY, SUNDAY = 5, 6
SHIFT_START_H, SHIFT_END_H = 6.0, 22.0
CHANGE_HOUR = 9.0
"""Elements are changed on Saturdays at nine, after a short run for the last reading."""

_LONG_STOPS_AHEAD_D = (26, 124)
_LONG_STOPS_BACK_D = (165, 345, 530, 710)
_LONG_STOP_LASTS_D = 9


@dataclass(frozen=True, slots=True)
class Timeline:
    today: date
    today_index: int = HISTORY_D + RUN_IN_D

    @property
    def first_told(self) -> int:
        """The first day that the folder tells; elements may have been fitted before."""
        return self.today_index - HISTORY_D

    def day(self, index: int) -> date:
        return self.today + timedelta(days=index - self.today_index)

    def moment(self, index: int, hour: float) -> datetime:
        """Plant time on a day, to the minute."""
        return datetime.combine(self.day(index), time()) + timedelta(minutes=round(hour * 60))

    def weekdays(self) -> npt.NDArray[np.int64]:
        first = self.day(0).weekday()
        return (np.arange(self.today_index) + first) % 7

    def change_days(self) -> npt.NDArray[np.int64]:
        return np.flatnonzero(self.weekdays() == SATURDAY)

    def saturday_before(self, offset_d: int) -> date:
        near = self.today + timedelta(days=offset_d)
        return near - timedelta(days=(near.weekday() - SATURDAY) % 7)


def long_stops(timeline: Timeline) -> list[tuple[date, date]]:
    """First and last day of each long stop, told and ahead."""
    offsets = (*(-back for back in _LONG_STOPS_BACK_D), *_LONG_STOPS_AHEAD_D)
    starts = [timeline.saturday_before(offset) for offset in sorted(offsets)]
    return [(start, start + timedelta(days=_LONG_STOP_LASTS_D - 1)) for start in starts]


def run_hours_by_day(system: DemoSystem, timeline: Timeline, random: np.random.Generator) -> npt.NDArray[np.float64]:
    """Run hours of each day before today, at most 23."""
    weekday = timeline.weekdays()
    works_saturday = system.shift is Shift.SIX_DAYS
    share = np.where(weekday < SATURDAY, 0.95 if not works_saturday else 0.92, 0.0) / 5.0
    share[weekday == SATURDAY] = 0.08 if works_saturday else 0.05  # the run for the readings, or a half shift
    hours = system.hours_per_week * share * random.normal(1.0, 0.10, share.size).clip(0.5, 1.3)
    breakdown = random.random(share.size) < 0.015
    hours[breakdown] *= 0.3
    for first, last in long_stops(timeline):
        start, end = ((day - timeline.day(0)).days for day in (first, last))
        hours[max(start, 0) + 1 : max(end + 1, 0)] = 0.0  # the first Saturday still runs for the readings
    return np.asarray(np.minimum(hours.round(2), 23.0))


def hours_at(hours: npt.NDArray[np.float64], index: npt.ArrayLike, hour: npt.ArrayLike) -> npt.NDArray[np.float64]:
    """Run hours since day 0 at an hour of a day; a day's hours fall evenly between 06:00 and 22:00."""
    before = np.concatenate(([0.0], np.cumsum(hours)))
    day = np.asarray(index, dtype=np.int64)
    through = (np.asarray(hour, dtype=np.float64) - SHIFT_START_H) / (SHIFT_END_H - SHIFT_START_H)
    return np.asarray(before[day] + hours[np.minimum(day, hours.size - 1)] * through.clip(0.0, 1.0))


def stop_rows(timeline: Timeline) -> list[Row]:
    """Every Saturday morning, a longer Saturday each month, the long stops, and one press's die changes."""
    rows: list[Row] = []
    long = long_stops(timeline)
    first = timeline.saturday_before(-HISTORY_D)
    for week in range((HISTORY_D + STOPS_AHEAD_D) // 7):
        day = first + timedelta(weeks=week)
        if any(start <= day <= end for start, end in long):
            continue
        is_monthly = day.day <= 7
        ends = 18 if is_monthly else 14
        rows.append(_stop(day, 6, day, ends, "monthly stop" if is_monthly else "weekly stop"))
    for start, end in long:
        rows.append(_stop(start, 6, end, 20, "long works stop"))
    for week in range(-8, 12):
        day = timeline.saturday_before(0) + timedelta(weeks=week, days=4)
        if not any(start <= day <= end for start, end in long):
            rows.append(_stop(day, 13, day, 17, "die change", system="PRESS1"))
    return sorted(rows, key=lambda row: str(row["starts_at"]))


def _stop(first: date, start_h: int, last: date, end_h: int, note: str, *, system: str | None = None) -> Row:
    return {
        "plant": None if system else PLANT,
        "system": system,
        "starts_at": datetime.combine(first, time(start_h)),
        "ends_at": datetime.combine(last, time(end_h)),
        "note": note,
    }
