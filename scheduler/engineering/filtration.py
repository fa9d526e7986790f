"""How much an element holds back: β ratio and efficiency.

Source: ISO 16889. β(x) is the number of particles of x µm(c) and larger upstream, over the number downstream;
the efficiency at that size is 1 − 1/β, the share of particles held back in one pass.
"""

import numpy as np
import numpy.typing as npt


def efficiency_of_beta(beta: npt.ArrayLike) -> npt.NDArray[np.float64]:
    """Share of particles held back, 0 to 1; NaN stays NaN. ValueError for a β below 1.

    >>> float(efficiency_of_beta(200.0))
    0.995
    """
    ratio = np.asarray(beta, dtype=np.float64)
    _refuse(ratio, ratio < 1.0, "β ratio", "1: an element adds no particles")
    return np.asarray(1.0 - 1.0 / ratio)


def beta_of_efficiency(efficiency: npt.ArrayLike) -> npt.NDArray[np.float64]:
    """β from the share of particles held back, 0 to below 1; NaN stays NaN. ValueError outside.

    >>> round(float(beta_of_efficiency(0.995)), 6)
    200.0
    """
    share = np.asarray(efficiency, dtype=np.float64)
    _refuse(share, share < 0.0, "efficiency", "0")
    if np.any(share >= 1.0):
        raise ValueError("an efficiency of 1 or more has no β ratio; a share is meant, not a percentage")
    return np.asarray(1.0 / (1.0 - share))


def beta_of_counts(upstream_per_mL: npt.ArrayLike, downstream_per_mL: npt.ArrayLike) -> npt.NDArray[np.float64]:
    """β from counts at and above one size on both sides; NaN where nothing was counted downstream.

    A downstream count of zero means only that too little was counted, so no ratio is given.
    Raises ValueError for a negative count.

    >>> float(beta_of_counts(400.0, 100.0))
    4.0
    """
    upstream = np.asarray(upstream_per_mL, dtype=np.float64)
    downstream = np.asarray(downstream_per_mL, dtype=np.float64)
    _refuse(upstream, upstream < 0.0, "upstream count per mL", "0")
    _refuse(downstream, downstream < 0.0, "downstream count per mL", "0")
    return np.asarray(upstream / np.where(downstream > 0.0, downstream, np.nan))


def _refuse(
    values: npt.NDArray[np.float64], outside: npt.NDArray[np.bool_] | np.bool_, what: str, limit: str
) -> None:
    if np.any(outside):
        raise ValueError(f"{what} {float(np.min(values[outside]))} is below {limit}")
