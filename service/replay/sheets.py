"""The steps of a replay as one table: what would have been due at each, position by position."""

from collections.abc import Iterator, Sequence
from datetime import datetime

import numpy as np

from scheduler.planning.plant_columns import PlantColumns
from scheduler.planning.replay import Seen
from scheduler.statistics.forecast_outcomes import EARLY, LATE, MEDIAN
from service.exports.sheet import Cell, Sheet, moments, numbers, texts
from service.plant_store.time import from_day

_COLUMNS = (
    *moments("as_of"),
    *texts("system", "position"),
    *moments("fitted_at"),
    *numbers("run_hours [h]", "hours_left_p10 [h]", "hours_left_p50 [h]", "hours_left_p90 [h]"),
    *moments("due_at", "due_early", "due_median", "due_late"),
    *texts("forecast_by", "diagnoses"),
)


def steps_sheet(columns: PlantColumns, steps: Sequence[Seen], plant: str | None) -> Sheet:
    """One row for each step and position of the plant, or of all, that had something known to be fitted."""
    system = columns.positions.system
    codes = [columns.plants.code[one] for one in columns.systems.plant[system]]
    chosen = [row for row, code in enumerate(codes) if plant in (None, code)]
    return Sheet("steps", _COLUMNS, [row for seen in steps for row in _rows(columns, seen, chosen)])


def _rows(columns: PlantColumns, seen: Seen, chosen: Sequence[int]) -> Iterator[tuple[Cell, ...]]:
    standing: dict[int, list[str]] = {}
    for each in seen.standing:
        standing.setdefault(each.position, []).append(each.code)
    for position in chosen:
        if np.isnan(seen.fitted_day[position]):
            continue
        hours_left = (seen.hours_left[position, point] for point in (EARLY, MEDIAN, LATE))
        days = (seen.due_day, seen.early_day, seen.median_day, seen.late_day)
        yield (
            *(_moment(seen.as_of_day), columns.systems.code[int(columns.positions.system[position])]),
            *(columns.positions.code[position], _moment(float(seen.fitted_day[position]))),
            *(_number(float(value)) for value in (seen.run_h[position], *hours_left)),
            *(_moment(float(day[position])) for day in days),
            *("pressure" if seen.is_read[position] else "life", " ".join(standing.get(position, []))),
        )


def _moment(day: float) -> datetime | None:
    return None if np.isnan(day) else from_day(day)


def _number(value: float) -> float | None:
    return round(value, 1) if np.isfinite(value) else None
