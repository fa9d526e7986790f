"""How an element's ΔP rises with the dirt it holds.

Source of the form: Hermia (1982), constant-pressure blocking laws; at constant rate they read dR/dm = k Rⁿ,
so R^λ with λ = 1 − n is linear in the retained dirt m: λ = 1 cake, 0 intermediate, −½ standard, −1 complete
blocking. An onset exponent γ for the flat start is ours. With y = element ΔP / clean element ΔP and the
load u scaled so that u = 1 where y = 10:

    y^λ = 1 + c u^γ, c = 10^λ − 1;  for λ = 0: ln y = ln 10 · u^γ.

For λ < 0 the pores close: y grows without bound as u nears (−1/c)^(1/γ). Validity: u ≥ 0, y ≥ 1, γ > 0.
"""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

DP_RATIO_AT_UNIT_LOAD = 10.0
"""Ours: the scale of u; far enough up the curve that usual terminals lie near it."""


@dataclass(frozen=True, slots=True)
class Shape:
    """One member of the family: λ of the blocking law, γ of the onset."""

    blocking: float
    onset: float


_ONSETS: dict[float, tuple[float, ...]] = {
    1.0: (1.5, 2.5, 4.0, 6.0, 9.0, 13.0),
    0.5: (1.5, 2.5, 3.2, 4.0, 6.0, 9.0),
    0.0: (1.0, 1.5, 2.0, 2.5, 3.2, 4.0, 6.0, 9.0),
    -0.5: (1.0, 1.5, 2.0, 2.5, 3.2, 4.0, 6.0, 9.0),
    -1.0: (1.0, 1.7, 3.2, 4.0, 6.0, 9.0),
    -2.0: (2.5, 6.0, 10.0, 20.0),
}
SHAPES: tuple[Shape, ...] = tuple(Shape(blocking, onset) for blocking, of in _ONSETS.items() for onset in of)
"""Ours: close enough together that a type's own curve lies near one of them, and the last ones flat almost to the
end: without them a flat line late in life speaks for a long life by its shape alone; with them it says little, and
the life prior rules."""


def log_dp_ratio(load: npt.ArrayLike, blocking: npt.ArrayLike, onset: npt.ArrayLike) -> npt.NDArray[np.float64]:
    """ln y at load u, arrays broadcast together; infinite from the load on at which the pores are closed.

    Raises ValueError for a load below 0.

    >>> log_dp_ratio([0.0, 1.0, 1.2], -1.0, 1.0).round(3)
    array([0.   , 2.303,   inf])
    """
    u = np.asarray(load, dtype=np.float64)
    if np.any(u < 0.0):
        raise ValueError(f"load {float(np.min(u[u < 0.0]))} is below 0")
    power, constant, gamma = _coefficients(blocking, onset)
    rise = constant * np.power(u, gamma)
    is_open = ~(rise <= -1.0)  # an unknown load stays unknown, it does not close the pores
    blocked = np.log1p(np.where(is_open, rise, 0.0)) / np.where(power == 0.0, 1.0, power)
    return np.where(is_open, np.where(power == 0.0, rise, blocked), np.inf)


def dp_ratio(load: npt.ArrayLike, blocking: npt.ArrayLike, onset: npt.ArrayLike) -> npt.NDArray[np.float64]:
    """y, element ΔP over clean element ΔP, at load u; else as `log_dp_ratio`.

    >>> dp_ratio([0.0, 0.5, 1.0], 0.0, 1.0).round(3)  # a straight line in ln y: half-way is the root of ten
    array([ 1.   ,  3.162, 10.   ])
    """
    with np.errstate(over="ignore"):
        return np.exp(log_dp_ratio(load, blocking, onset))


def load_of(dp_ratio: npt.ArrayLike, blocking: npt.ArrayLike, onset: npt.ArrayLike) -> npt.NDArray[np.float64]:
    """The load u at which y is reached: the inverse of `dp_ratio`; infinite y gives the closing load.

    Raises ValueError for a ratio below 1: no load makes an element cleaner than clean.

    >>> load_of([2.0, 10.0, np.inf], -1.0, 1.0).round(4)
    array([0.5556, 1.    , 1.1111])
    """
    y = np.asarray(dp_ratio, dtype=np.float64)
    if np.any(y < 1.0):
        raise ValueError(f"ΔP ratio {float(np.min(y[y < 1.0]))} is below 1, the clean element")
    power, constant, gamma = _coefficients(blocking, onset)
    with np.errstate(over="ignore"):
        rise = np.where(power == 0.0, np.log(y), np.power(y, power) - 1.0)
    return np.power(rise / constant, 1.0 / gamma)


def closing_load(blocking: npt.ArrayLike, onset: npt.ArrayLike) -> npt.NDArray[np.float64]:
    """The load at which the pores are closed and y is infinite; infinite itself for λ ≥ 0.

    >>> closing_load([-1.0, 0.0], 1.0).round(4)
    array([1.1111,    inf])
    """
    power, constant, gamma = _coefficients(blocking, onset)
    closes = power < 0.0
    return np.where(closes, np.power(-1.0 / np.where(closes, constant, -1.0), 1.0 / gamma), np.inf)


def _coefficients(
    blocking: npt.ArrayLike, onset: npt.ArrayLike
) -> tuple[npt.NDArray[np.float64], npt.NDArray[np.float64], npt.NDArray[np.float64]]:
    """λ, the factor of u^γ (c, or ln 10 where λ is 0), and γ."""
    power = np.asarray(blocking, dtype=np.float64)
    gamma = np.asarray(onset, dtype=np.float64)
    if np.any(gamma <= 0.0):
        raise ValueError(f"onset exponent {float(np.min(gamma))} is not above 0")
    log_ratio = np.log(DP_RATIO_AT_UNIT_LOAD)
    constant = np.where(power == 0.0, log_ratio, np.expm1(power * log_ratio))
    return power, constant, gamma
