"""One chance for several surprises, each of which alone would be no proof."""

import numpy as np
import numpy.typing as npt
from scipy.special import chdtrc

Floats = npt.NDArray[np.float64]


def fisher_combined(chances: npt.ArrayLike) -> Floats:
    """P(k independent chances are as small as these together), over the last axis.

    Under the null −2 Σ ln p is χ² with 2k degrees of freedom: R. A. Fisher, Statistical Methods for Research Workers,
    4th ed. 1932, section 21.1. Raises ValueError for a chance outside 0 to 1.

    >>> float(fisher_combined([0.05, 0.05]).round(4))  # 0.0025 (1 − ln 0.0025)
    0.0175
    """
    p = np.asarray(chances, dtype=np.float64)
    if np.any((p < 0.0) | (p > 1.0)):
        raise ValueError(f"a chance of {float(p[(p < 0.0) | (p > 1.0)].flat[0])} is outside 0 to 1")
    with np.errstate(divide="ignore"):
        statistic = -2.0 * np.log(p).sum(axis=-1)
    return np.asarray(chdtrc(2.0 * p.shape[-1], statistic))
