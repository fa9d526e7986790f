"""What the run-hour meters of the demo plant showed, with the faults that meters have.

One has been replaced, one has four digits and began again at zero, one stands still while the saw works on,
and one value was typed wrong, below the reading before it.
"""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from service.demo.cases import TYPING_ERROR_SYSTEM
from service.demo.records import Row
from service.demo.shifts import SATURDAY, SUNDAY, Timeline, hours_at
from service.demo.systems import (
    REPLACED_METER_SYSTEM,
    STOPPED_METER_SYSTEM,
    SYSTEMS,
)

REPLACED_D = 240
STANDS_STILL_SINCE_D = 20
TYPING_ERROR_D = 45
TYPED_TOO_LOW_H = 300.0

_END_OF_SHIFT, _WEEKLY_ROUND = 21.5, 14.0
_READING_MISSED = 0.05
_OFFLINE_METER_START_H = 11250.0


@dataclass(frozen=True, slots=True)
class MeterFace:
    """One meter: the run hours that drive it and what it shows."""

    system: str
    meter: str
    hours: npt.NDArray[np.float64]
    timeline: Timeline
    start_h: float
    digits: int

    @classmethod
    def of(cls, system: str, meter: str, hours: npt.NDArray[np.float64], timeline: Timeline) -> "MeterFace":
        main = SYSTEMS[system].main_meter
        start_h, digits = (_OFFLINE_METER_START_H, 6) if meter else (main.start_h, main.digits)
        return cls(system, meter, hours, timeline, start_h, digits)

    @property
    def replaced_on(self) -> int | None:
        """The Saturday on which a new meter came in."""
        if self.system != REPLACED_METER_SYSTEM:
            return None
        back = (self.timeline.today - self.timeline.saturday_before(-REPLACED_D)).days
        return self.timeline.today_index - back

    def run(self, index: int, hour: float) -> float:
        """Run hours since the history began, negative before it."""
        begun = hours_at(self.hours, self.timeline.first_told, 0.0)
        return float(hours_at(self.hours, index, hour) - begun)

    def shows(self, index: int, hour: float, *, old_meter: bool = False) -> float | None:
        """The figure on the meter, to a tenth of an hour; None for a time before its zero."""
        replaced = self.replaced_on
        if replaced is not None and not old_meter and (index, hour) > (replaced, 10.0):
            return round(self.run(index, hour) - self.run(replaced, 10.0), 1)
        if self.system == STOPPED_METER_SYSTEM:
            stopped = self.timeline.today_index - STANDS_STILL_SINCE_D
            index, hour = min((index, hour), (stopped, 12.0))
        total = self.start_h + self.run(index, hour)
        return round(round(total, 1) % 10.0**self.digits, 1) if total >= 0.0 else None

    def rows(self, random: np.random.Generator) -> list[Row]:
        """The readings as they were written down, oldest first."""
        is_daily = SYSTEMS[self.system].main_meter.read_daily
        weekday = self.timeline.weekdays()
        wrong = self._mistyped_day(weekday)
        rows: list[Row] = []
        for index in range(self.timeline.first_told, self.timeline.today_index):
            due = weekday[index] != SUNDAY if is_daily else weekday[index] == SATURDAY - 1
            missed = random.random() < _READING_MISSED
            if index == self.replaced_on:
                rows += self._replacement(index)
            if not due or (missed and index != wrong):
                continue
            hour = _END_OF_SHIFT if is_daily else _WEEKLY_ROUND
            shown = self.shows(index, hour if self.system != REPLACED_METER_SYSTEM else 12.0)
            if shown is None:
                continue
            hours = shown if is_daily else float(int(shown))
            rows.append(self._row(index, hour, hours - TYPED_TOO_LOW_H if index == wrong else hours))
        return rows

    def _mistyped_day(self, weekday: npt.NDArray[np.int64]) -> int | None:
        if self.system != TYPING_ERROR_SYSTEM:
            return None
        rounds = np.flatnonzero(weekday == SATURDAY - 1)
        return int(rounds[rounds <= self.timeline.today_index - TYPING_ERROR_D][-1])

    def _replacement(self, index: int) -> list[Row]:
        last = self.shows(index, 10.0, old_meter=True)
        return [
            self._row(index, 10.0, last or 0.0) | {"kind": "last", "at": self.timeline.moment(index, 10.0)},
            self._row(index, 10.5, 0.0) | {"kind": "first", "at": self.timeline.moment(index, 10.5)},
        ]

    def _row(self, index: int, hour: float, hours: float) -> Row:
        at = self.timeline.moment(index, hour)
        only_day = self.system == REPLACED_METER_SYSTEM  # its logbook has a column for the date, none for a time
        return {
            "system": self.system,
            "meter": self.meter or None,
            "at": at.date() if only_day else at,
            "kind": None,
            "hours": hours,
        }
