"""How many run hours an element has left where only its age is known."""

import numpy as np
import numpy.typing as npt
from scipy.special import log_ndtr

from scheduler.statistics.life_model import LifePrior
from scheduler.statistics.remaining_hours import RemainingHours, from_lognormal

Floats = npt.NDArray[np.float64]

UNSEEN_PAST_LOG = 0.08
"""Ours: how far, in ln load, an element is usually past its limit when it is found so where nobody looks. So many of
the simulated elements that were forecast to be past their limit were."""
_NOT_NEAR = -30.0


def remaining_life(prior: LifePrior, run_h: Floats) -> RemainingHours:
    """Hours left of elements, run_h (P,) since fitted: the prior, given that each is still in place.

    Nobody saw its end, so it may be past it, though not far: each share of the life by which it would be over is the
    less likely, by e^(−ln(run_h / life) / UNSEEN_PAST_LOG). What is not past has the prior beyond run_h. Where no
    life of the type was seen to its limit, the prior is an assumption, and that it was outlived speaks against it.
    """
    alive = from_lognormal(prior.log_median, prior.log_sd, run_h)
    with np.errstate(divide="ignore"):
        z = (np.log(run_h) - prior.log_median) / prior.log_sd
    old = z > _NOT_NEAR  # else nothing is past, and the sums below would be of infinities
    z, reach = np.where(old, z, 0.0), np.where(old, prior.log_sd / UNSEEN_PAST_LOG, 0.0)
    log_past = np.where(old, -z * reach + 0.5 * reach**2 + log_ndtr(z - reach), -np.inf)
    past = np.exp(log_past - np.logaddexp(log_past, log_ndtr(-z)))
    past = np.where(prior.at_limit_seen > 0, past, 0.0)
    return RemainingHours(
        already_reached=past + (1.0 - past) * alive.already_reached,
        within=(1.0 - past)[:, None] * alive.within,
        never=(1.0 - past) * alive.never,
    )
