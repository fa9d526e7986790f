"""How ΔP rises with the dirt held: four laws that are not in the forecaster's family of shapes.

Each gives ln(ΔP / clean ΔP) for dirt held in any unit, never falling, 0 for none. `form` says how sharp it is.

Pores closing by size: pores of log-normal size shut in turn; what flows is what is left open, so that ΔP is one over
the open share. Gentle: a straight part and an exponential in dirt. Two stages: a slow exponential in depth, then a
quick one as the cake builds up, with a smooth bend between. Late knee: flat, then a high power of the dirt, as in
the recorded clogging runs of the project's reference page.
"""

from collections.abc import Callable

import numpy as np
import numpy.typing as npt
from scipy.special import log_ndtr

Floats = npt.NDArray[np.float64]
Law = Callable[[Floats, float], Floats]


def pores_closing(dirt: Floats, form: float) -> Floats:
    with np.errstate(divide="ignore"):
        closed_up_to = np.log(dirt) / form
    return np.asarray(-log_ndtr(-closed_up_to))


def gentle(dirt: Floats, form: float) -> Floats:
    return np.asarray(np.log1p(0.4 * dirt + 0.05 * np.expm1(form * dirt)))


def two_stages(dirt: Floats, form: float) -> Floats:
    bend = 0.08
    cake = bend * (np.logaddexp(0.0, (dirt - 1.0) / bend) - np.logaddexp(0.0, -1.0 / bend))
    return np.asarray(0.35 * dirt + form * cake)


def late_knee(dirt: Floats, form: float) -> Floats:
    return np.asarray(np.log1p(0.35 * dirt + dirt**form))


LAWS: dict[str, tuple[Law, tuple[float, float]]] = {
    "pores closing": (pores_closing, (0.30, 0.60)),
    "gentle": (gentle, (2.5, 4.5)),
    "two stages": (two_stages, (3.0, 7.0)),
    "late knee": (late_knee, (6.0, 14.0)),
}
"""By name: the law and the range from which each element type draws its `form`."""

_DIRT: Floats = np.linspace(0.0, 12.0, 6001)


def dirt_at(law: Law, form: float, log_ratio: float) -> float:
    """The dirt at which ln(ΔP / clean ΔP) is `log_ratio`."""
    return float(np.interp(log_ratio, law(_DIRT, form), _DIRT))
