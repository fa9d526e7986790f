"""ISO viscosity grades of industrial oils: the grade is named after the midpoint at 40 °C.

Source: ISO 3448 (seen in a reproduction; VG 2200 and VG 3200 from memory). A delivered oil may lie up to
10 % either side of the midpoint, so a fluid known by its grade alone is known to ±10 %.
"""

_GRADE_OF_MIDPOINT = (
    *((2.2, 2), (3.2, 3), (4.6, 5), (6.8, 7), (10.0, 10), (15.0, 15), (22.0, 22), (32.0, 32), (46.0, 46)),
    *((68.0, 68), (100.0, 100), (150.0, 150), (220.0, 220), (320.0, 320), (460.0, 460), (680.0, 680)),
    *((1000.0, 1000), (1500.0, 1500), (2200.0, 2200), (3200.0, 3200)),
)
MIDPOINT_40_MM2_S: dict[int, float] = {grade: midpoint for midpoint, grade in _GRADE_OF_MIDPOINT}
"""ISO 3448, table 1: grade → midpoint kinematic viscosity at 40 °C, mm²/s."""

TOLERANCE = 0.10
"""ISO 3448: the limits of a grade lie 10 % below and above its midpoint."""


def midpoint_40_mm2_s(grade: int) -> float:
    """Midpoint kinematic viscosity of an ISO VG at 40 °C. Raises ValueError for a grade that does not exist.

    >>> midpoint_40_mm2_s(46)
    46.0
    """
    if grade not in MIDPOINT_40_MM2_S:
        known = ", ".join(str(each) for each in MIDPOINT_40_MM2_S)
        raise ValueError(f"there is no ISO viscosity grade VG {grade}; ISO 3448 has VG {known}")
    return MIDPOINT_40_MM2_S[grade]


def limits_40_mm2_s(grade: int) -> tuple[float, float]:
    """Lowest and highest viscosity at 40 °C with which an oil may be sold under the grade.

    >>> tuple(round(limit, 2) for limit in limits_40_mm2_s(46))
    (41.4, 50.6)
    """
    midpoint = midpoint_40_mm2_s(grade)
    return midpoint * (1.0 - TOLERANCE), midpoint * (1.0 + TOLERANCE)
