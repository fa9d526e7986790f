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


def beta_at_size(beta: npt.ArrayLike, rating_um: npt.ArrayLike, size_um: npt.ArrayLike) -> npt.NDArray[np.float64]:
    """β counted on at a size where it is told at another, the rating; NaN stays NaN.

    Larger particles are held at least as well. Of smaller ones ln β(x) = ln β(rating) · (x/rating)² is counted: no
    source; below the curves of published multi-pass tests that we remember, so that a coarse element promises next
    to nothing at 4 µm(c). Raises ValueError for a β below 1 and a rating or size of 0 or less.

    >>> beta_at_size(200.0, 6.0, [4.0, 6.0, 14.0]).round(1)
    array([ 10.5, 200. , 200. ])
    """
    ratio, rating, size = (np.asarray(each, dtype=np.float64) for each in (beta, rating_um, size_um))
    _refuse(ratio, ratio < 1.0, "β ratio", "1: an element adds no particles")
    for values, what in ((rating, "rating µm"), (size, "size µm")):
        if np.any(values <= 0.0):
            raise ValueError(f"{what} {float(np.nanmin(values))} is not above 0")
    return np.asarray(np.exp(np.log(ratio) * np.minimum(size / rating, 1.0) ** 2))


def _refuse(
    values: npt.NDArray[np.float64], outside: npt.NDArray[np.bool_] | np.bool_, what: str, limit: str
) -> None:
    if np.any(outside):
        raise ValueError(f"{what} {float(np.min(values[outside]))} is below {limit}")
