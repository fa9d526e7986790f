"""How many lives last how long, from lives of which some were cut short: no model, and how far that can be trusted.

The estimate is Kaplan & Meier 1958, J. Am. Stat. Assoc. 53:457, its variance Greenwood's (1926, Reports on Public
Health and Medical Subjects 33). Bands are made on ln(−ln S), so that they stay within 0 and 1 and hold with few lives
(Borgan & Liestøl 1990, Scand. J. Stat. 17:35), and the median's band is where they pass a half (Brookmeyer & Crowley
1982, Biometrics 38:29). It takes a change before the limit to have nothing to do with how long the element would have
lasted; where the fitter changes what looks worst, the curve is too high.
"""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy.special import ndtri

Floats = npt.NDArray[np.float64]
Counts = npt.NDArray[np.int64]
Flags = npt.NDArray[np.bool_]

LEVEL = 0.8
"""Of bands: as everywhere in this service, from the 10 to the 90 % point."""


@dataclass(frozen=True, slots=True)
class SurvivalCurve:
    """At each of k ends, run hours rising: lives at risk before it, ends at it, and the share that lasts beyond it
    with its band. `low_share`, `high_share` NaN where nothing more lasted, and no variance is known."""

    at_h: Floats
    at_risk: Counts
    ends: Counts
    survival: Floats
    low_share: Floats
    high_share: Floats


@dataclass(frozen=True, slots=True)
class MedianLife:
    """Run hours that half the lives last, with the band's ends; infinite where the lives do not tell."""

    median_h: float
    low_h: float
    high_h: float


def survival_curve(life_h: Floats, ended: Flags, level: float = LEVEL) -> SurvivalCurve:
    """Of lives of life_h (n,) run hours, of which `ended` (n,) came to their limit and the others lasted longer.

    Raises ValueError for a life not above 0 and a level outside 0 to 1.

    >>> survival_curve(np.array([100.0, 200.0, 200.0, 300.0]), np.array([True, True, False, True])).survival.tolist()
    [0.75, 0.5, 0.0]
    """
    if len(life_h) and not np.all(life_h > 0.0):
        raise ValueError(f"a life of {float(np.min(life_h))} h is not above 0 h")
    if not 0.0 < level < 1.0:
        raise ValueError(f"a band's level {level} is outside 0 to 1")
    at_h, ends = np.unique(life_h[ended], return_counts=True)
    at_risk = len(life_h) - np.searchsorted(np.sort(life_h), at_h, side="left")
    survival: Floats = np.cumprod(1.0 - ends / at_risk, dtype=np.float64)
    with np.errstate(divide="ignore", invalid="ignore"):
        # Greenwood's sum, which is the variance of ln S
        variance = np.cumsum(ends / (at_risk * (at_risk - ends)))
        log_survival = np.log(survival)
        spread = ndtri(0.5 + 0.5 * level) * np.sqrt(variance) / np.abs(log_survival)
        low, high = survival ** np.exp(spread), survival ** np.exp(-spread)
    known = survival > 0.0
    return SurvivalCurve(
        at_h,
        at_risk.astype(np.int64),
        ends.astype(np.int64),
        survival,
        *(np.where(known, each, np.nan) for each in (low, high)),
    )


def median_life(curve: SurvivalCurve) -> MedianLife:
    """The first end by which no more than half are left, and where the band's two sides come to that."""
    return MedianLife(*(_half_at(curve, each) for each in (curve.survival, curve.low_share, curve.high_share)))


def _half_at(curve: SurvivalCurve, share: Floats) -> float:
    """Where nothing more lasted, neither side is known and the later one stays open."""
    reached = np.flatnonzero(share <= 0.5 + 1e-12)
    return float(curve.at_h[reached[0]]) if len(reached) else float("inf")
