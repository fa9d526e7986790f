"""How long a system runs each day and what its hour meter shows."""

from __future__ import annotations

import math
import random
from bisect import bisect_right
from dataclasses import dataclass
from datetime import date, datetime, timedelta


@dataclass
class Meter:
    """An hour meter: hours run since `start`, and what its dial shows."""

    name: str
    start: date
    run_sums: list[float]
    base: float
    digits: int | None = None
    swapped: datetime | None = None
    swapped_to: float = 0.0

    def run(self, at: datetime) -> float:
        """True hours run from the start to `at`."""
        day = (at.date() - self.start).days
        part = (at.hour * 3600 + at.minute * 60 + at.second) / 86400
        return self.run_sums[day] + part * (self.run_sums[day + 1] - self.run_sums[day])

    def shows(self, at: datetime, *, old_dial: bool = False) -> float:
        """What the dial shows, rounded down to a tenth."""
        value = self.base + self.run(at)
        if self.swapped is not None and at >= self.swapped and not old_dial:
            value = self.swapped_to + self.run(at) - self.run(self.swapped)
        if self.digits is not None:
            value %= 10**self.digits
        return math.floor(value * 10) / 10

    def when(self, hours: float) -> date | None:
        """The day on which the true hours pass `hours`; None if that is after the end."""
        day = bisect_right(self.run_sums, hours) - 1
        return self.start + timedelta(days=day) if day < len(self.run_sums) - 1 else None


def shut_down(day: date) -> bool:
    """The yearly stops of both plants."""
    return (day.month == 12 and day.day >= 24) or (day.month == 8 and 4 <= day.day <= 12)


def run_sums(rng: random.Random, start: date, end: date, weekly: float) -> list[float]:
    """Hours run up to each midnight from `start` to the day after `end`."""
    sums = [0.0]
    day = start
    while day <= end:
        share = 0.0 if shut_down(day) else (0.175 if day.weekday() < 5 else 0.0625)
        sums.append(sums[-1] + min(22.0, weekly * share * rng.uniform(0.75, 1.15)))
        day += timedelta(days=1)
    return sums
