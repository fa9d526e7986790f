"""What the life of an element says of its load: how long such lives last, how this one ended, what nobody saw.

All of it hangs on one number of a node of the grid, how far its load has come on the way to its terminal's.
"""

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt

from scheduler.statistics.life_model import LifeEnd

Floats = npt.NDArray[np.float64]
Singles = npt.NDArray[np.float32]
Indices = npt.NDArray[np.int64]
Spread = Callable[[npt.NDArray[Any]], npt.NDArray[Any]]
"""Makes a value of each life (n,) one of each node that is asked for."""

ENDED_AT_LOG_LOAD, ENDED_WITHIN_LOG_LOAD = 0.05, 0.10
"""Ours: an element that was changed at its limit held about 5 % more dirt than at its terminal, give or take 10 %,
since nobody changes it that very hour; Student with four degrees, for mistakes."""
EARLY_WITHIN_LOG_LOAD = 0.035
"""Ours: the scale, in ln load, within which an element changed early is taken not to have been past its terminal."""


@dataclass(frozen=True, slots=True)
class LifeEvidence:
    """Of n lives, (n,) each. log_h: ln run hours at the grid's last node of s. off: by how many standard deviations
    of ln life that is above its mean. log_life_sd: the deviation. unread: what ln share loses per ln load past the
    terminal. end: `LifeEnd` codes. degrees: of the Student prior; infinite is normal.
    """

    log_h: Singles
    off: Singles
    log_life_sd: Singles
    unread: Singles
    end: Indices
    degrees: float

    def log_share(self, log_load_share: Singles, spread: Spread) -> Singles:
        """What is said of nodes whose load now is such a share of the terminal's, in ln: the log-Student prior less
        its highest, and the rest."""
        said = log_load_share * spread(1.0 / self.log_life_sd)
        said -= spread(self.off)
        said *= said
        if np.isinf(self.degrees):
            said *= np.float32(-0.5)
        else:
            said *= np.float32(1.0 / self.degrees)
            said += np.float32(1.0)
            np.log(said, out=said)
            said *= np.float32(-0.5 * (self.degrees + 1.0))
        if np.any(self.end != LifeEnd.RUNNING):
            _weigh_ends(said, log_load_share, spread(self.end))
        # nobody saw it pass since the last reading: the less was read, the more like plain survival to now
        past = np.clip(log_load_share, np.float32(0.0), np.float32(np.inf))
        past *= spread(self.unread)
        said -= past
        return said

    def log_life(self, log_load_share: Singles, spread: Spread) -> Singles:
        return np.asarray(spread(self.log_h) - log_load_share)


def life_evidence(
    log_h: Floats,
    log_life_mean: Floats,
    log_life_sd: Floats,
    end: Indices,
    unread: Floats,
    *,
    unread_scale: float,
    degrees: float,
) -> LifeEvidence:
    """From the life prior (n,), how the lives ended, and the share of the hours since the last reading; the scale
    and the degrees are those of `ForecastSettings`."""
    return LifeEvidence(
        log_h=log_h.astype(np.float32),
        off=((log_h - log_life_mean) / log_life_sd).astype(np.float32),
        log_life_sd=log_life_sd.astype(np.float32),
        unread=(np.where(end == LifeEnd.RUNNING, unread, 0.0) / unread_scale).astype(np.float32),
        end=end,
        degrees=degrees,
    )


def _weigh_ends(log_share: Singles, log_load_share: Singles, end: Indices) -> None:
    """What the end of a life says of its load: changed at its limit it was near its terminal, else below it."""
    at_limit, early = (np.broadcast_to(end == each, log_share.shape) for each in (LifeEnd.AT_LIMIT, LifeEnd.EARLY))
    off = (log_load_share[at_limit] - np.float32(ENDED_AT_LOG_LOAD)) / np.float32(ENDED_WITHIN_LOG_LOAD)
    log_share[at_limit] -= np.float32(2.5) * np.log1p(off * off / np.float32(4.0))
    log_share[early] -= np.logaddexp(0.0, log_load_share[early] / np.float32(EARLY_WITHIN_LOG_LOAD))
