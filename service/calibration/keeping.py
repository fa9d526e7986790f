"""Keep what a pass of the whole found, in place of what was kept before."""

from datetime import datetime

import numpy as np
import sqlalchemy as sa

from scheduler.planning.plant_columns import PlantColumns
from scheduler.statistics.calibration import Calibration
from service.calibration.tables import calibration


def keep_calibration(
    connection: sa.Connection, columns: PlantColumns, found: Calibration | None, as_of: datetime
) -> None:
    """A row for each type of which a finished life was forecast; None, where nothing was learned, keeps nothing."""
    connection.execute(sa.delete(calibration))
    if found is None:
        return
    rows = [
        {
            "part_number": columns.types.part_number[kind],
            "as_of": as_of,
            "lives_at_limit": int(found.lives_at_limit[kind]),
            "lives_early": int(found.lives_early[kind]),
            "forecasts": int(found.forecasts[kind]),
            "mean_pit": _known(found.mean_pit[kind]),
            "band_share": _known(found.band_share[kind]),
            "a": float(found.a[kind]),
            "b": float(found.b[kind]),
        }
        for kind in np.flatnonzero(found.forecasts)
    ]
    if rows:
        connection.execute(sa.insert(calibration), rows)


def _known(value: float) -> float | None:
    return None if np.isnan(value) else float(value)
