"""Kinematic viscosity of an oil against temperature, and its density.

Source: ASTM D341 (Walther): log10 log10 Z = A − B log10 T, with T in kelvin. For ν ≥ 2 mm²/s, Z = ν + 0.7;
for thinner oils the standard adds an exponential term and gives an inverse, both below 0.05 % of ν above
2 mm²/s and kept here throughout. Validity: ν ≥ 0.21 mm²/s, −60 to 250 °C; NaN where the temperature is
unknown.
"""

import numpy as np
import numpy.typing as npt

ZERO_CELSIUS_K = 273.15
OIL_TEMPERATURE_LIMITS_degC = (-60.0, 250.0)
THINNEST_MM2_S = 0.21
"""ASTM D341: the lower end of the law with its exponential term."""

THERMAL_EXPANSION_PER_K = 7e-4
"""Volume expansion of hydraulic oil; from memory."""


def walther_constants(viscosity_40_mm2_s: float, viscosity_100_mm2_s: float) -> tuple[float, float]:
    """A and B of ASTM D341 through the viscosities at 40 °C and 100 °C.

    Raises ValueError for an oil thinner than 0.21 mm²/s or one that does not thin when warmed.

    >>> tuple(round(each, 4) for each in walther_constants(46.0, 6.8))
    (9.418, 3.6844)
    """
    if not THINNEST_MM2_S <= viscosity_100_mm2_s < viscosity_40_mm2_s < np.inf:
        raise ValueError(
            f"{viscosity_40_mm2_s} mm²/s at 40 °C and {viscosity_100_mm2_s} mm²/s at 100 °C: the second must "
            f"be at least {THINNEST_MM2_S} and below the first"
        )
    double_log_40, double_log_100 = np.log10(np.log10(_z_of([viscosity_40_mm2_s, viscosity_100_mm2_s])))
    log_40, log_100 = np.log10(np.array([40.0, 100.0]) + ZERO_CELSIUS_K)
    b = float((double_log_40 - double_log_100) / (log_100 - log_40))
    return walther_a_of_slope(viscosity_40_mm2_s, b), b


def walther_a_of_slope(viscosity_40_mm2_s: float, walther_b: float) -> float:
    """A of ASTM D341 for an oil of which the viscosity at 40 °C and the slope B are known.

    Raises ValueError below 0.21 mm²/s.

    >>> round(walther_a_of_slope(46.0, 3.6844), 3)
    9.418
    """
    if not THINNEST_MM2_S <= viscosity_40_mm2_s < np.inf:
        raise ValueError(f"{viscosity_40_mm2_s} mm²/s at 40 °C is below the {THINNEST_MM2_S} mm²/s of ASTM D341")
    double_log_40 = np.log10(np.log10(_z_of(viscosity_40_mm2_s)))
    return float(double_log_40 + walther_b * np.log10(40.0 + ZERO_CELSIUS_K))


def viscosity_at(
    oil_temperature_degC: npt.ArrayLike, walther_a: npt.ArrayLike, walther_b: npt.ArrayLike
) -> npt.NDArray[np.float64]:
    """Kinematic viscosity, mm²/s, at any shape of temperatures; NaN stays NaN.

    Raises ValueError for a temperature outside −60 to 250 °C.

    >>> viscosity_at([0.0, 50.0], *walther_constants(46.0, 6.8)).round(1)
    array([577.3,  30. ])
    """
    ln_z = _ln_z(oil_temperature_degC, walther_a, walther_b)
    with np.errstate(over="ignore"):  # a frozen oil is infinitely viscous, which every gate takes for cold
        excess = np.exp(ln_z) - 0.7
    return excess - _thin_oil_term(excess)


def temperature_at(
    viscosity_mm2_s: npt.ArrayLike, walther_a: npt.ArrayLike, walther_b: npt.ArrayLike
) -> npt.NDArray[np.float64]:
    """The oil temperature at which the oil has that viscosity, °C: the inverse of `viscosity_at`; NaN stays NaN.

    Cut at the temperatures that `viscosity_at` takes. Raises ValueError below 0.21 mm²/s.

    >>> float(temperature_at(133.8, *walther_constants(46.0, 6.8)).round(1))
    20.0
    """
    viscosity = np.asarray(viscosity_mm2_s, dtype=np.float64)
    if np.any(viscosity < THINNEST_MM2_S):
        thinnest = float(np.nanmin(viscosity))
        raise ValueError(f"{thinnest} mm²/s is below the {THINNEST_MM2_S} mm²/s of ASTM D341")
    double_log = np.log10(np.log10(_z_of(viscosity)))
    kelvin = 10.0 ** (
        (np.asarray(walther_a, dtype=np.float64) - double_log) / np.asarray(walther_b, dtype=np.float64)
    )
    return np.clip(kelvin - ZERO_CELSIUS_K, *OIL_TEMPERATURE_LIMITS_degC)


def d_ln_viscosity_per_K(
    oil_temperature_degC: npt.ArrayLike, walther_a: npt.ArrayLike, walther_b: npt.ArrayLike
) -> npt.NDArray[np.float64]:
    """Slope of ln ν with temperature, 1/K, always negative; NaN stays NaN. ValueError outside −60 to 250 °C.

    >>> float(d_ln_viscosity_per_K(50.0, *walther_constants(46.0, 6.8)).round(4))
    -0.0399
    """
    ln_z = _ln_z(oil_temperature_degC, walther_a, walther_b)
    kelvin = np.asarray(oil_temperature_degC, dtype=np.float64) + ZERO_CELSIUS_K
    d_ln_z = -ln_z * np.asarray(walther_b, dtype=np.float64) / kelvin
    with np.errstate(over="ignore"):
        excess = np.exp(ln_z) - 0.7
    near = np.minimum(excess, _TERM_IS_GONE_MM2_S)
    thin = _thin_oil_term(near)
    d_viscosity_d_z = 1.0 - thin * (-3.295 + (1.2238 - 0.9579 * near) * near)
    z_over_viscosity = np.where(excess > _TERM_IS_GONE_MM2_S, 1.0 + 0.7 / excess, (near + 0.7) / (near - thin))
    return np.asarray(d_ln_z * d_viscosity_d_z * z_over_viscosity)


def density_at(oil_temperature_degC: npt.ArrayLike, density_15_kg_m3: npt.ArrayLike) -> npt.NDArray[np.float64]:
    """Density, kg/m³, from that at 15 °C, by a constant volume expansion (from memory); NaN stays NaN.

    >>> float(density_at(50.0, 870.0).round(1))
    848.7
    """
    warmer_K = _temperature(oil_temperature_degC) - 15.0
    return np.asarray(np.asarray(density_15_kg_m3, dtype=np.float64) * (1.0 - THERMAL_EXPANSION_PER_K * warmer_K))


_TERM_IS_GONE_MM2_S = 50.0
"""Where the term for thin oils is zero to the last bit; beyond it its cube would only overflow."""


def _z_of(viscosity_mm2_s: npt.ArrayLike) -> npt.NDArray[np.float64]:
    viscosity = np.asarray(viscosity_mm2_s, dtype=np.float64)
    return np.asarray(viscosity + 0.7 + np.exp(-1.47 - 1.84 * viscosity - 0.51 * viscosity**2))


def _thin_oil_term(excess_mm2_s: npt.NDArray[np.float64]) -> npt.NDArray[np.float64]:
    """By how much ν falls short of Z − 0.7 (ASTM D341, inverse of the full form)."""
    near = np.minimum(excess_mm2_s, _TERM_IS_GONE_MM2_S)
    return np.asarray(np.exp(-0.7487 + (-3.295 + (0.6119 - 0.3193 * near) * near) * near))


def _ln_z(
    oil_temperature_degC: npt.ArrayLike, walther_a: npt.ArrayLike, walther_b: npt.ArrayLike
) -> npt.NDArray[np.float64]:
    kelvin = _temperature(oil_temperature_degC) + ZERO_CELSIUS_K
    slope = np.asarray(walther_b, dtype=np.float64)
    log10_z = np.exp(np.log(10.0) * np.asarray(walther_a, dtype=np.float64) - slope * np.log(kelvin))
    return np.asarray(np.log(10.0) * log10_z)


def _temperature(oil_temperature_degC: npt.ArrayLike) -> npt.NDArray[np.float64]:
    temperature = np.asarray(oil_temperature_degC, dtype=np.float64)
    coldest, hottest = OIL_TEMPERATURE_LIMITS_degC
    outside = (temperature < coldest) | (temperature > hottest)
    if np.any(outside):
        worst = temperature[outside].flat[0] if temperature.ndim else temperature
        raise ValueError(f"oil temperature {worst} °C is outside {coldest:g} to {hottest:g} °C")
    return temperature
