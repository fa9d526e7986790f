"""Which top-ups refill what a change of an element or of the oil took, and are no consumption."""

import numpy as np

from scheduler.planning.plant_columns import Flags, Floats, PlantColumns
from scheduler.vocabulary import EventKind

REFILL_D = 1.0
"""A top-up so near to a change refills what the change took; common practice, no source."""


def is_refill(columns: PlantColumns, system: int, day: Floats) -> Flags:
    """Of top-ups of the system on these days (k,)."""
    changed = np.concatenate([_changed_day(columns, system), oil_changed_day(columns, system)])
    return np.array([bool(np.any(np.abs(changed - each) <= REFILL_D)) for each in day], dtype=bool)


def oil_changed_day(columns: PlantColumns, system: int) -> Floats:
    """Days on which the whole charge was changed."""
    rows = np.flatnonzero(columns.events.system == system)
    changed = [row for row in rows.tolist() if columns.events.kind[row] is EventKind.OIL_CHANGE]
    return np.asarray(columns.events.day[changed], dtype=np.float64)


def _changed_day(columns: PlantColumns, system: int) -> Floats:
    """Days on which an element of the system was fitted."""
    now = columns.fitted.fitted_day[columns.positions.system == system]
    before = columns.lives.fitted_day[columns.positions.system[columns.lives.position] == system]
    days = np.concatenate([now, before])
    return np.asarray(days[~np.isnan(days)])
