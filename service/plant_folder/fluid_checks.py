"""Whether a fluid's numbers can be those of an oil: one that cannot would stop the planning of every plant."""

from collections.abc import Mapping
from typing import Any

import numpy as np
import sqlalchemy as sa

from scheduler.engineering.oil_properties import oil_properties
from scheduler.engineering.viscosity_grade import midpoint_40_mm2_s
from service.plant_folder.folder import Folder
from service.plant_folder.refusals import Findings
from service.plant_folder.tables import fluids, systems

_CODES_AT_ONCE = 500
_COLUMN_OF = {
    "viscosity_40_mm2_s": "viscosity_40",
    "grade": "grade",
    "viscosity_100_mm2_s": "viscosity_100",
    "viscosity_index": "viscosity_index",
    "density_15_kg_m3": "density_15",
}


def fluid_trouble(values: Mapping[str, Any]) -> tuple[tuple[str, ...], str] | None:
    """The columns that contradict ISO 3448 or each other, and in what; None where the fluid can be.

    `values` are fields of `fluids`, those that are not known missing or None. A fluid of which neither
    viscosity nor grade is known is judged by nothing.

    >>> fluid_trouble({"viscosity_40_mm2_s": 46.0, "viscosity_100_mm2_s": 6.8}) is None
    True
    """
    told = {field: values.get(field) for field in _COLUMN_OF}
    grade = told["grade"]
    if grade is not None:
        try:
            midpoint_40_mm2_s(grade)
        except ValueError as error:
            return ("grade",), str(error)
    if grade is None and told["viscosity_40_mm2_s"] is None:
        return None
    columns = tuple(_COLUMN_OF[field] for field, value in told.items() if value is not None)
    try:
        with np.errstate(over="raise"):
            oil_properties(**told)
    except ValueError as error:
        return columns, str(error)
    except FloatingPointError:
        return columns, "no oil is as viscous as that"
    return None


def check_fluids(connection: sa.Connection, folder: Folder) -> None:
    """Raise FolderRefused for a fluid of `folder` that contradicts itself once merged with what was recorded.

    To be called after the merge, in its transaction: a row may be right by itself and wrong with the viscosity
    that an empty cell left standing.
    """
    findings = Findings()
    line_of = {str(row.values["fluid"]): row.line for row in folder.tables.get("fluids", [])}
    codes = sorted(line_of)
    for start in range(0, len(codes), _CODES_AT_ONCE):
        some = fluids.c.fluid.in_(codes[start : start + _CODES_AT_ONCE])
        for fluid in connection.execute(sa.select(fluids).where(some).order_by(fluids.c.fluid)).mappings():
            trouble = fluid_trouble(dict(fluid))
            if trouble is not None:
                columns, says = trouble
                findings.refuse(
                    "fluids.csv",
                    line_of[fluid["fluid"]],
                    ", ".join(columns),
                    fluid["fluid"],
                    f"with what is recorded of '{fluid['fluid']}', {says}",
                )
    _check_specified(connection, folder, findings)
    findings.raise_if_refused()


def _check_specified(connection: sa.Connection, folder: Folder, findings: Findings) -> None:
    """A system's own oil needs a viscosity; one that was only ever poured by mistake may have none."""
    line_of = {str(row.values["system"]): row.line for row in folder.tables.get("systems", [])}
    unknown = (
        sa.select(systems.c.system, systems.c.fluid)
        .join(fluids, fluids.c.fluid == systems.c.fluid)
        .where(fluids.c.viscosity_40_mm2_s.is_(None), fluids.c.grade.is_(None))
        .order_by(systems.c.system)
    )
    for row in connection.execute(unknown).mappings():
        says = f"of '{row['fluid']}' neither viscosity_40 nor grade is recorded; a system's fluid needs one of them"
        findings.refuse("systems.csv", line_of.get(row["system"]), "fluid", row["fluid"], says)
