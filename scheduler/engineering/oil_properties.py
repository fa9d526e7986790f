"""What a fluid's sheet says, or leaves out, as the numbers that the ΔP physics needs.

A plant knows a fluid by its viscosity at 40 °C or only by its ISO VG; the second point of the viscosity
law and the density are often missing. Each gap is filled by the usual value, said in `assumed`, and paid for
with a wider uncertainty.
"""

import math
from dataclasses import dataclass

from scheduler.engineering.viscosity import walther_a_of_slope, walther_constants
from scheduler.engineering.viscosity_grade import TOLERANCE, midpoint_40_mm2_s
from scheduler.engineering.viscosity_index import (
    LOWEST_VISCOSITY_100_MM2_S,
    viscosity_40_of_index,
    viscosity_100_of_index,
)

USUAL_VISCOSITY_INDEX = 100.0
"""Of a mineral hydraulic oil; common practice, no source."""

USUAL_DENSITY_15_KG_M3 = 870.0
"""Of a mineral hydraulic oil; common practice, no source."""

GRADE_LOG_SD = TOLERANCE / math.sqrt(3.0)
"""Standard deviation of a viscosity that may lie anywhere within the grade's ±10 % (ISO 3448)."""

ASSUMED_INDEX_LOG_SD = 0.06
"""Ours: 30 points of index, a usual spread between oils, move ln ν by 0.05 at 60 °C, 0.09 at 20 °C."""

ASSUMED_INDEX_SLOPE_SD = 0.07
"""Ours: the same 30 points change the slope of ln ν with temperature by about 7 % of itself."""

MODEL_SLOPE_SD = 0.10
"""Ours, from the evaluation on simulated plants: how far the law misses even a fully known oil."""

TOO_THIN_FACTOR = 2.0
"""Ours: an oil too thin for ASTM D2270 and of unknown index has twice the uncertainty of an assumed index."""


@dataclass(frozen=True, slots=True)
class OilProperties:
    """A fluid ready for computing.

    `log_viscosity_sd` is the standard deviation of ln ν near the working temperature; 0 when the sheet gives
    both points. `viscosity_slope_sd` is the relative one of ln(ν/ν_ref) between two temperatures, which is
    what a restated ΔP suffers from. `assumed` says in words what was not known.
    """

    viscosity_40_mm2_s: float
    walther_a: float
    walther_b: float
    density_15_kg_m3: float
    log_viscosity_sd: float
    viscosity_slope_sd: float
    assumed: tuple[str, ...]


def oil_properties(
    viscosity_40_mm2_s: float | None,
    grade: int | None,
    viscosity_100_mm2_s: float | None,
    viscosity_index: float | None,
    density_15_kg_m3: float | None,
) -> OilProperties:
    """The fluid's numbers, with None for what its sheet does not say. A measured value wins over a grade.

    Raises ValueError where neither viscosity nor grade is known, or where the values contradict each other.

    >>> oil_properties(None, 46, None, 100.0, 870.0).assumed
    ('viscosity at 40 °C: 46 mm²/s, the midpoint of ISO VG 46 (±10 %)',)
    """
    assumed: list[str] = []
    log_variance = 0.0
    if viscosity_40_mm2_s is None:
        if grade is None:
            raise ValueError("a fluid needs its viscosity at 40 °C or its ISO viscosity grade")
        viscosity_40_mm2_s = midpoint_40_mm2_s(grade)
        log_variance += GRADE_LOG_SD**2
        assumed.append(f"viscosity at 40 °C: {viscosity_40_mm2_s:g} mm²/s, the midpoint of ISO VG {grade} (±10 %)")
    if viscosity_100_mm2_s is not None:
        law = _Law(*walther_constants(viscosity_40_mm2_s, viscosity_100_mm2_s), assumed_index_factor=0.0)
    else:
        law, gap = _law_of_index(viscosity_40_mm2_s, viscosity_index)
        assumed.extend(gap)
    log_variance += (law.assumed_index_factor * ASSUMED_INDEX_LOG_SD) ** 2
    slope_variance = MODEL_SLOPE_SD**2 + (law.assumed_index_factor * ASSUMED_INDEX_SLOPE_SD) ** 2
    if density_15_kg_m3 is None:
        density_15_kg_m3 = USUAL_DENSITY_15_KG_M3
        assumed.append(f"density at 15 °C: {density_15_kg_m3:g} kg/m³")
    if not density_15_kg_m3 > 0.0:
        raise ValueError(f"density {density_15_kg_m3} kg/m³ is not above 0")
    return OilProperties(
        viscosity_40_mm2_s=viscosity_40_mm2_s,
        walther_a=law.walther_a,
        walther_b=law.walther_b,
        density_15_kg_m3=density_15_kg_m3,
        log_viscosity_sd=math.sqrt(log_variance),
        viscosity_slope_sd=math.sqrt(slope_variance),
        assumed=tuple(assumed),
    )


@dataclass(frozen=True, slots=True)
class _Law:
    """The viscosity law and by how much an assumed index widens it (0: nothing was assumed)."""

    walther_a: float
    walther_b: float
    assumed_index_factor: float


def _law_of_index(viscosity_40_mm2_s: float, index: float | None) -> tuple[_Law, list[str]]:
    used = USUAL_VISCOSITY_INDEX if index is None else index
    thinnest = viscosity_40_of_index(used, LOWEST_VISCOSITY_100_MM2_S)
    if viscosity_40_mm2_s >= thinnest:
        viscosity_100 = viscosity_100_of_index(used, viscosity_40_mm2_s)
        constants = walther_constants(viscosity_40_mm2_s, viscosity_100)
        if index is None:
            return _Law(*constants, assumed_index_factor=1.0), [f"viscosity index: {used:g}"]
        return _Law(*constants, assumed_index_factor=0.0), []
    # Below the standard's table the law keeps the slope of the table's thinnest oil of that index (ours).
    _, slope = walther_constants(thinnest, LOWEST_VISCOSITY_100_MM2_S)
    factor = TOO_THIN_FACTOR if index is None else 1.0
    law = _Law(walther_a_of_slope(viscosity_40_mm2_s, slope), slope, factor)
    return law, [f"viscosity at 100 °C: too thin for a viscosity index, slope of an oil of index {used:g}"]
