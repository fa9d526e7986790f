"""How the vacuum at a pump inlet follows the oil's viscosity: a straight line for each place, from a few readings.

vacuum = c · r + b, with r the viscosity over the warm one: c is the friction that follows the viscosity, at the warm
state, b what does not follow it, less the head of the oil above the inlet. Something is known of b before any
reading (the head, where it is told), nothing of c. Normal errors, weighed again as Student's t with 4 degrees where
a reading lies far off, so that a slip of the pen does not turn the line.

Source: Bayesian linear regression with known variances (Gelman et al., Bayesian Data Analysis, 3rd ed. 2013, section
14.8; from memory); the weights: Lange, Little & Taylor 1989, J. Am. Stat. Assoc. 84:881 (from memory).
"""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float64]
Rows = npt.NDArray[np.integer]

STUDENT_DEGREES = 4.0
_ROUNDS = 5
_UNKNOWN_PRECISION = 1e-6


@dataclass(frozen=True, slots=True)
class FrictionLine:
    """Of P places, (P,): c and b in bar, their variances and covariance; readings: how many there were."""

    slope_bar: Floats
    base_bar: Floats
    slope_var: Floats
    base_var: Floats
    covariance: Floats
    readings: Rows

    def vacuum_bar(self, viscosity_ratio: Floats) -> tuple[Floats, Floats]:
        """Vacuum at a viscosity ratio each (P,), and its standard deviation, bar."""
        mean = self.slope_bar * viscosity_ratio + self.base_bar
        var = self.slope_var * viscosity_ratio**2 + 2.0 * self.covariance * viscosity_ratio + self.base_var
        return mean, np.sqrt(np.maximum(var, 0.0))


def friction_line(
    owner: Rows,
    viscosity_ratio: Floats,
    vacuum_bar: Floats,
    sd_bar: Floats,
    *,
    base_bar: Floats,
    base_sd_bar: Floats,
    robust: bool = True,
) -> FrictionLine:
    """The line of each of P places from N readings; `owner` (N,) says whose. base_bar, base_sd_bar (P,): b before.

    `robust` false takes the readings as they are. Raises ValueError for a standard deviation that is not above 0.
    """
    if np.any(~(sd_bar > 0.0)) or np.any(~(base_sd_bar > 0.0)):
        raise ValueError("the standard deviation of a vacuum or of its base is not above 0 bar")
    places = len(base_bar)
    precision = 1.0 / sd_bar**2
    weight = precision
    if robust:  # so that the first line is no slip's: what is far off the middle of its place counts little
        slope = (vacuum_bar - base_bar[owner]) / viscosity_ratio
        off = (slope - _median_of(owner, slope, places)[owner]) * viscosity_ratio
        weight = precision * _student(off**2 * precision)
    line = _solved(owner, viscosity_ratio, vacuum_bar, weight, base_bar, base_sd_bar)
    for _ in range(_ROUNDS if robust else 0):
        off = vacuum_bar - line.slope_bar[owner] * viscosity_ratio - line.base_bar[owner]
        weight = precision * _student(off**2 * precision)
        line = _solved(owner, viscosity_ratio, vacuum_bar, weight, base_bar, base_sd_bar)
    return line


def _student(z2: Floats) -> Floats:
    return np.asarray((STUDENT_DEGREES + 1.0) / (STUDENT_DEGREES + z2))


def _solved(
    owner: Rows, ratio: Floats, vacuum_bar: Floats, weight: Floats, base_bar: Floats, base_sd_bar: Floats
) -> FrictionLine:
    places = len(base_bar)

    def summed(values: Floats) -> Floats:
        return np.asarray(np.bincount(owner, weight * values, minlength=places), dtype=np.float64)

    known = 1.0 / base_sd_bar**2
    rr, r = summed(ratio**2) + _UNKNOWN_PRECISION, summed(ratio)
    ones = summed(np.ones_like(ratio)) + known
    rv, v = summed(ratio * vacuum_bar), summed(vacuum_bar) + known * base_bar
    determinant = rr * ones - r**2
    return FrictionLine(
        slope_bar=(ones * rv - r * v) / determinant,
        base_bar=(rr * v - r * rv) / determinant,
        slope_var=ones / determinant,
        base_var=rr / determinant,
        covariance=-r / determinant,
        readings=np.bincount(owner, minlength=places),
    )


def _median_of(owner: Rows, values: Floats, places: int) -> Floats:
    order = np.lexsort((values, owner))
    count = np.bincount(owner, minlength=places)
    start = np.cumsum(count) - count
    found = np.zeros(places)
    has = count > 0
    low, high = start + (count - 1) // 2, start + count // 2
    found[has] = 0.5 * (values[order][low[has]] + values[order][high[has]])
    return found
