"""Whether the maker's points of a type tell a curve once all of them are recorded: if not, planning does without.

Rows come one by one and none is wrong by itself, so this is a remark and no refusal. Points of an earlier import that
the new ones do not name stay: a curve told anew at other masses may fall from one test's point to the other's.
"""

from collections.abc import Iterator

import numpy as np
import sqlalchemy as sa

from scheduler.statistics.makers_curve import CurveFault, makers_curve
from service.plant_folder.folder import Folder
from service.plant_folder.refusals import Remark, shown
from service.plant_folder.tables import element_curves, element_types

_FILE = "element_curves.csv"


def remarks_on_curves(connection: sa.Connection, folder: Folder) -> Iterator[Remark]:
    """One for each type whose curve `folder` tells and the planner cannot use; to be called after the merge."""
    line_of: dict[str, int] = {}
    for row in folder.tables.get("element_curves", []):
        line_of.setdefault(str(row.values["part_number"]), row.line)
    for part_number, line in line_of.items():
        points = connection.execute(
            sa.select(element_curves.c.retained_g, element_curves.c.dp_bar)
            .where(element_curves.c.part_number == part_number)
            .order_by(element_curves.c.retained_g)
        ).all()
        clean = sa.select(element_types.c.clean_dp_bar).where(element_types.c.part_number == part_number)
        retained_g, dp_bar = np.array(points, dtype=np.float64).T
        found = makers_curve(retained_g, dp_bar, connection.scalar(clean) or float("nan"))
        if isinstance(found, CurveFault):
            name = shown(part_number)
            yield Remark(_FILE, line, None, name, f"the curve of '{name}' {found.value}; planning does without it")
