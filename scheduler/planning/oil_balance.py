"""The balance of one system over time, to be shown: what came in between samples, and what each element has taken.

Shown only: by simulation (tests/measure/cleanliness_causes.py) the dirt on an element by its counts foretells its
life worse than the lives before it, since counts tell mass within a factor of two. No due date hangs on it.
"""

from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from scheduler.engineering.contamination_balance import (
    BETA_IN_SERVICE_LOG_SD,
    MASS_LOG_SD,
    collected_g,
    gravimetric_mg_per_L,
    ingression_between,
)
from scheduler.planning.contamination import Contamination
from scheduler.planning.duty import Duty, run_hours_between
from scheduler.planning.plant_columns import PlantColumns

COLLECTED_LOG_SD = float(np.hypot(MASS_LOG_SD, BETA_IN_SERVICE_LOG_SD))
_SHORTEST_H = 1.0


@dataclass(frozen=True, slots=True)
class CameIn:
    """Particles a minute of the counted size and larger between two samples, on average, and the deviation."""

    from_day: float
    to_day: float
    per_min: float
    sd_per_min: float


def ingression_over_time(columns: PlantColumns, duty: Duty, found: Contamination, system: int) -> list[CameIn]:
    """Between each two samples of the reservoir that the machine ran between; none where no cleaning is known.

    What is fitted and flows now is taken for all of the time.
    """
    cleaned_lpm, main = float(found.cleaned_lpm()[system]), main_filter(found, system)
    volume_L = float(columns.systems.reservoir_volume_L[system])
    if main < 0 or not cleaned_lpm > 0.0 or not volume_L > 0.0:
        return []
    count = int(found.history.count[system])
    day = found.history.day[system, :count]
    per_mL = found.history.middle_per_mL()[system, :count]
    told = []
    for first in range(count - 1):
        run_h = run_hours_between(columns, duty, main, float(day[first]), float(day[first + 1]))
        if run_h < _SHORTEST_H:
            continue
        came = ingression_between(
            *(per_mL[first], per_mL[first + 1], run_h),
            volume_L=volume_L,
            cleaned_lpm=cleaned_lpm,
            sample_log_sd=found.level.scatter_log_sd[system],
        )
        told.append(CameIn(float(day[first]), float(day[first + 1]), float(came.per_min), float(came.sd_per_min)))
    return told


def collected_since_fitted_g(columns: PlantColumns, duty: Duty, found: Contamination, row: int) -> float | None:
    """What the filter of a row of `found.filters` has collected by the balance, right within `COLLECTED_LOG_SD`.

    Each sample's count holds halfway to its neighbours. None without a sample of a year before now or a known flow
    and β.
    """
    position, system = int(found.filters.position[row]), int(found.filters.system[row])
    size, count = int(found.history.size[system]), int(found.history.count[system])
    cleaned_lpm = float(found.filters.cleaned_lpm[row, size])
    fitted_day, now_day = float(columns.fitted.fitted_day[position]), columns.as_of_day
    if np.isnan(cleaned_lpm) or np.isnan(fitted_day) or not count:
        return None
    day, per_mL = found.history.day[system, :count], found.history.middle_per_mL()[system, :count]
    if day[-1] < now_day - _SAMPLE_COUNTS_FOR_D:
        return None
    edges = np.clip(np.concatenate([[fitted_day], 0.5 * (day[1:] + day[:-1]), [now_day]]), fitted_day, now_day)
    share = max(float(found.filters.run_share[row]), 1e-9)  # E holds the share already, of the system's hours
    hours = [
        run_hours_between(columns, duty, position, start, end) / share if end > start else 0.0
        for start, end in pairwise(edges.tolist())
    ]
    return float(np.sum(collected_g(cleaned_lpm, gravimetric_mg_per_L(per_mL, size), np.array(hours))))


_SAMPLE_COUNTS_FOR_D = 365.0


def main_filter(found: Contamination, system: int) -> int:
    """The position that cleans most of a system's oil; −1 where none is known."""
    rows = found.filters.of_system(system)
    if not len(rows):
        return -1
    cleaned = np.nan_to_num(found.filters.cleaned_lpm[rows, found.history.size[system]])
    return int(found.filters.position[rows[int(np.argmax(cleaned))]])
