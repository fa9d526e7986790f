"""The makers' loading curves of the element types, where their points tell one."""

import numpy as np

from scheduler.planning.plant_columns import PlantColumns
from scheduler.statistics.makers_curve import MakersCurve, makers_curve


def makers_curves(columns: PlantColumns) -> dict[int, MakersCurve]:
    """By type, of those that some position holds or held: a catalogue may list many more."""
    positions, found = columns.positions, dict[int, MakersCurve]()
    for kind in np.unique(np.concatenate([columns.fitted.type, columns.lives.type, positions.specified_type])):
        curve = curve_of(columns, int(kind)) if kind >= 0 else None
        if curve is not None:
            found[int(kind)] = curve
    return found


def curve_of(columns: PlantColumns, kind: int) -> MakersCurve | None:
    """The curve of one type; None where its points tell none."""
    points = columns.curves
    rows = slice(points.offsets[kind], points.offsets[kind + 1])
    curve = makers_curve(points.retained_g[rows], points.dp_bar[rows], float(columns.types.clean_dp_bar[kind]))
    return curve if isinstance(curve, MakersCurve) else None
