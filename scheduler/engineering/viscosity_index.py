"""Viscosity index: how little an oil thins between 40 °C and 100 °C, against two reference oils.

Source: ASTM D2270. With Y the viscosity at 100 °C and U that at 40 °C (mm²/s), L and H are the 40 °C
viscosities of oils of index 0 and 100 that have the same Y. Procedure A (index up to 100):
VI = 100 (L − U)/(L − H). Procedure B (100 and above): VI = (10^N − 1)/0.00715 + 100, N = log(H/U)/log Y.
The standard prints L and H as a table; the quadratics below are its own computing form of the table
(appendix), used here because a search for Y needs values between the lines. Validity: Y ≥ 2 mm²/s.
The standard rounds an index to a whole number; these functions do not.
"""

import math

_ROWS: tuple[tuple[float, float, float, float, float, float, float], ...] = (
    (3.8, 1.14673, 1.7576, -0.109, 0.84155, 1.5521, -0.077),
    (4.4, 3.38095, -15.4952, 33.196, 0.78571, 1.7929, -0.183),
    (5.0, 2.5, -7.2143, 13.812, 0.82143, 1.5679, 0.119),
    (6.4, 0.101, 16.635, -45.469, 0.04985, 9.1613, -18.557),
    (7.0, 3.35714, -23.5643, 78.466, 0.22619, 7.7369, -16.656),
    (7.7, 0.01191, 21.475, -72.87, 0.79762, -0.7321, 14.61),
    (9.0, 0.41858, 16.1558, -56.04, 0.05794, 10.5156, -28.24),
    (12.0, 0.88779, 7.5527, -16.6, 0.26665, 6.7015, -10.81),
    (15.0, 0.7672, 10.7972, -38.18, 0.20073, 8.4658, -22.49),
    (18.0, 0.97305, 5.3135, -2.2, 0.28889, 5.9741, -4.93),
    (22.0, 0.97256, 5.25, -0.98, 0.24504, 7.416, -16.73),
    (28.0, 0.91413, 7.4759, -21.82, 0.20323, 9.1267, -34.23),
    (40.0, 0.87031, 9.7157, -50.77, 0.18411, 10.1015, -46.75),
    (55.0, 0.84703, 12.6752, -133.31, 0.17029, 11.4866, -80.62),
    (70.0, 0.85921, 11.1009, -83.19, 0.1713, 11.368, -76.94),
    (math.inf, 0.83531, 14.6731, -216.246, 0.16841, 11.8493, -96.947),
)
"""ASTM D2270, appendix: up to Y; then a, b, c of L = aY² + bY + c and of H."""

LOWEST_VISCOSITY_100_MM2_S = 2.0
"""ASTM D2270 has no reference oils thinner than this at 100 °C."""


def reference_oils_40_mm2_s(viscosity_100_mm2_s: float) -> tuple[float, float]:
    """L and H: the 40 °C viscosities of the index 0 and index 100 oils. ValueError below 2 mm²/s.

    >>> tuple(round(each, 1) for each in reference_oils_40_mm2_s(10.0))  # table: 147.7, 82.87
    (147.7, 82.9)
    """
    y = viscosity_100_mm2_s
    if not y >= LOWEST_VISCOSITY_100_MM2_S:
        raise ValueError(f"viscosity at 100 °C of {y} mm²/s is below the 2 mm²/s where ASTM D2270 begins")
    row = next(row for row in _ROWS if y <= row[0])
    _, a, b, c, d, e, f = row
    return (a * y + b) * y + c, (d * y + e) * y + f


def viscosity_index(viscosity_40_mm2_s: float, viscosity_100_mm2_s: float) -> float:
    """Viscosity index from the two viscosities, not rounded. ValueError below 2 mm²/s at 100 °C.

    >>> round(viscosity_index(73.3, 8.86))  # ASTM D2270, clause 5.1.4
    92
    >>> round(viscosity_index(22.83, 5.05))  # ASTM D2270, clause 6.1.4
    156
    """
    low, high = reference_oils_40_mm2_s(viscosity_100_mm2_s)
    if not viscosity_40_mm2_s > viscosity_100_mm2_s:
        raise ValueError(f"{viscosity_40_mm2_s} mm²/s at 40 °C is not above {viscosity_100_mm2_s} mm²/s at 100 °C")
    if viscosity_40_mm2_s >= high:
        return 100.0 * (low - viscosity_40_mm2_s) / (low - high)
    exponent = math.log10(high / viscosity_40_mm2_s) / math.log10(viscosity_100_mm2_s)
    return float((10.0**exponent - 1.0) / 0.00715 + 100.0)


def viscosity_40_of_index(index: float, viscosity_100_mm2_s: float) -> float:
    """The 40 °C viscosity of an oil of the given index: the definition solved for U.

    Raises ValueError below 2 mm²/s at 100 °C.

    >>> round(viscosity_40_of_index(100.0, 10.0), 1)
    82.9
    """
    low, high = reference_oils_40_mm2_s(viscosity_100_mm2_s)
    if index <= 100.0:
        return low - index * (low - high) / 100.0
    exponent = math.log10(0.00715 * (index - 100.0) + 1.0)
    return float(high / viscosity_100_mm2_s**exponent)


def viscosity_100_of_index(index: float, viscosity_40_mm2_s: float) -> float:
    """The 100 °C viscosity of an oil from its index and its 40 °C viscosity, by bisection, to 1e-9 relative.

    ValueError where the answer would lie below 2 mm²/s, where ASTM D2270 has no reference oils (an oil
    thinner than about 6.4 mm²/s at 40 °C with an index of 100).

    >>> round(viscosity_100_of_index(100.0, 59.6), 2)  # ASTM D2270, table 1: H = 59.6 at 8.0 mm²/s
    8.0
    """
    low, high = LOWEST_VISCOSITY_100_MM2_S, viscosity_40_mm2_s
    thinnest = viscosity_40_of_index(index, low)
    if not viscosity_40_mm2_s >= thinnest:
        raise ValueError(
            f"an oil of {viscosity_40_mm2_s} mm²/s at 40 °C with index {index} is thinner than the "
            f"{thinnest:.3g} mm²/s where ASTM D2270 begins"
        )
    while high - low > 1e-9 * low:
        middle = 0.5 * (low + high)
        if viscosity_40_of_index(index, middle) < viscosity_40_mm2_s:
            low = middle
        else:
            high = middle
    return 0.5 * (low + high)
