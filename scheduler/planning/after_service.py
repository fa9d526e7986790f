"""Counts that went up at a service or a top-up: a dirty fill, which the filters take out again, or an element not
seated.

What was brought in decays with the time constant V/E, two to five times as slowly in a real tank (`clean_up`); what
stays up comes from an element that lets oil by, or from dirt that goes on coming. Two samples after the service tell
them apart; one alone asks for another.
"""

from collections.abc import Iterator
from typing import Any

import numpy as np

from scheduler.engineering.cleanliness_code import SIZES_um_c
from scheduler.planning.cleanliness import SETTLED_D
from scheduler.planning.contamination import Contamination
from scheduler.planning.count_history import CountHistory
from scheduler.planning.diagnoses import Diagnosis
from scheduler.planning.plant_columns import PlantColumns
from scheduler.planning.system_filters import STREAM_OF
from scheduler.statistics.cleanliness_evidence import CODE_NUMBER
from scheduler.statistics.count_levels import Line, count_step
from scheduler.vocabulary import EventKind, Severity, TaskKind

SPOKEN_OF_D = 60.0
"""How long after a service its samples are judged by it (ours)."""

UP_LOG, UP_PROBABILITY = 2.0 * CODE_NUMBER, 0.97
"""Up two code numbers, and by one at least with this probability (ours, by tests/measure/cleanliness_causes.py)."""

FEWEST_BEFORE, MOST_BEFORE = 3, 10
_SERVICES = frozenset({EventKind.OIL_CHANGE, EventKind.OPENED, EventKind.FLUSHED})


def after_service(columns: PlantColumns, found: Contamination) -> list[Diagnosis]:
    """Of each system the newest service before its newest sample."""
    services = _services(columns)
    diagnoses: list[Diagnosis] = []
    for system, days in services.items():
        if columns.systems_ready()[system]:
            diagnoses += _judge(columns, found.history, system, days)
    return diagnoses


def _services(columns: PlantColumns) -> dict[int, dict[float, list[int]]]:
    """By system and day, the positions changed then; none where the oil was changed, topped up or something
    opened.
    """
    since_day = columns.as_of_day - SPOKEN_OF_D
    found: dict[int, dict[float, list[int]]] = {}
    for position in np.flatnonzero(columns.fitted.fitted_day >= since_day).tolist():
        if columns.positions.place[position] in STREAM_OF and columns.fitted.type[position] >= 0:
            days = found.setdefault(int(columns.positions.system[position]), {})
            days.setdefault(float(columns.fitted.fitted_day[position]), []).append(position)
    for row in np.flatnonzero(columns.events.day >= since_day).tolist():
        if columns.events.kind[row] in _SERVICES:
            found.setdefault(int(columns.events.system[row]), {}).setdefault(float(columns.events.day[row]), [])
    for row in np.flatnonzero(columns.top_ups.day >= since_day).tolist():
        found.setdefault(int(columns.top_ups.system[row]), {}).setdefault(float(columns.top_ups.day[row]), [])
    return found


def _judge(
    columns: PlantColumns, history: CountHistory, system: int, services: dict[float, list[int]]
) -> Iterator[Diagnosis]:
    count = int(history.count[system])
    day = history.day[system, :count]
    middle = np.log(history.middle_per_mL()[system, :count])
    for service_day in sorted(services, reverse=True):
        after = day > service_day + SETTLED_D
        before = np.flatnonzero(~after)[-MOST_BEFORE:]
        if not after.any() or len(before) < FEWEST_BEFORE:
            continue
        usual = float(np.median(middle[before]))
        newest, first = float(middle[after][-1]), float(middle[after][0])
        if newest - usual < CODE_NUMBER or first - usual < 0.75 * UP_LOG:
            continue
        samples = int(after.sum())
        decays = samples > 1 and first - newest >= CODE_NUMBER
        stays = samples > 1 and not decays
        step = _step(history, system, before, np.flatnonzero(after)[: 1 if decays else None])
        if step.change[0] < 0.75 * UP_LOG or step.rise_probability(CODE_NUMBER)[0] < UP_PROBABILITY:
            continue
        changed = services[service_day]
        position = changed[0] if len(changed) == 1 and stays else -1
        numbers: dict[str, Any] = {
            "service_day": service_day,
            "changed": [columns.positions.code[each] for each in changed],
            "samples": samples,
            "times": round(float(np.exp(first - usual)), 1),
            "times_now": round(float(np.exp(newest - usual)), 1),
            "size_um_c": SIZES_um_c[history.size[system]],
            "decays": decays,
            "at_day": float(day[-1]),
        }
        if stays:
            yield Diagnosis(
                *(system, position, "not-seated", Severity.SOON, numbers, TaskKind.INSPECT), since_day=float(day[-1])
            )
        else:
            ask = None if decays else TaskKind.TAKE_SAMPLE
            yield Diagnosis(system, -1, "dirty-fill", Severity.NOTE, numbers, ask, since_day=float(day[-1]))
        return


def _step(history: CountHistory, system: int, before: np.ndarray[Any, Any], after: np.ndarray[Any, Any]) -> Line:
    rows = np.concatenate([before, after])
    day = history.day[system, rows]
    recent = np.concatenate([np.zeros(len(before), dtype=bool), np.ones(len(after), dtype=bool)])
    apart_d = np.array([day[recent].mean() - day[~recent].mean()])
    return count_step(
        history.low_per_mL[system, rows][None], history.high_per_mL[system, rows][None], recent[None], apart_d
    )
