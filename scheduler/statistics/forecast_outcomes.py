"""Forecasts of hours left held against what then came: errors, the share within a band, the probability transform.

A forecast is told by its quantiles at `LEVELS`. Where a life was changed before its limit, only that the limit lay
beyond is known: such ends count as cut short, by the estimate of Kaplan & Meier over the transform, as in
`calibration`. So shares are right where changes before the limit have nothing to do with how long the element would
have lasted; where the fitter changes what looks worst, ends at the limit are rarer and later than the shares say.
"""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from scheduler.statistics.beta_map import CELL_EDGE, CELLS, SeenShares, cut_short, shares_seen

Floats = npt.NDArray[np.float64]
Flags = npt.NDArray[np.bool_]
Rows = npt.NDArray[np.integer]

LEVELS = (0.01, 0.05, 0.1, 0.2, 0.3, 0.4, 0.5, 0.6, 0.7, 0.8, 0.9, 0.95, 0.99)
"""At which a forecast is kept."""
EARLY, MEDIAN, LATE = (LEVELS.index(level) for level in (0.1, 0.5, 0.9))
_LEVEL: Floats = np.array(LEVELS)


@dataclass(frozen=True, slots=True)
class Outcomes:
    """n forecasts with what came. hours_left (n, Q): at `LEVELS`, rising along a row, may be infinite. left_h (n,):
    run hours from the forecast to the end. life_h (n,): of the whole life. ended (n,): the end was at the limit.
    life (n,): whose, any integers."""

    hours_left: Floats
    left_h: Floats
    life_h: Floats
    ended: Flags
    life: Rows

    def __len__(self) -> int:
        return len(self.left_h)

    def of(self, rows: Rows | Flags) -> "Outcomes":
        """Some of them."""
        return Outcomes(
            self.hours_left[rows], self.left_h[rows], self.life_h[rows], self.ended[rows], self.life[rows]
        )


@dataclass(frozen=True, slots=True)
class Errors:
    """Of forecasts whose life ended at its limit. Hours and shares of life are medians over them; `error` is the
    median forecast less what came, so that above 0 is late. NaN where there are none."""

    forecasts: int
    absolute_error_h: float
    absolute_error_share: float
    error_share: float
    late_by_fifth_share: float
    """The share of forecasts that were later than the truth by more than a fifth of the life."""


@dataclass(frozen=True, slots=True)
class Reliability:
    """lives_at_limit, lives_cut_short, forecasts: what it rests on. mean_pit: 0.5 where neither early nor late, below
    it where ends came earlier than forecast. band_share: of ends within the 80 % band. NaN where nothing ended."""

    lives_at_limit: int
    lives_cut_short: int
    forecasts: int
    mean_pit: float
    band_share: float


def errors_of(outcomes: Outcomes) -> Errors:
    """How far the medians lay from what came; a median beyond every horizon is late without bound."""
    ended = outcomes.of(outcomes.ended)
    if not len(ended):
        return Errors(0, *(float("nan"),) * 4)
    error_h = ended.hours_left[:, MEDIAN] - ended.left_h
    share = error_h / ended.life_h
    return Errors(
        forecasts=len(ended),
        absolute_error_h=float(np.median(np.abs(error_h))),
        absolute_error_share=float(np.median(np.abs(share))),
        error_share=float(np.median(share)),
        late_by_fifth_share=float(np.mean(share > 0.2)),
    )


def transform(hours_left: Floats, left_h: Floats) -> Floats:
    """The probability that was forecast up to what came, (n,): straight between the levels, and beyond the last one
    halfway to certainty.

    >>> even = np.array([[float(level) for level in LEVELS]])
    >>> round(float(transform(even, np.array([0.25]))[0]), 6)
    0.25
    """
    level = np.concatenate([[0.0], _LEVEL, [1.0]])
    found = np.empty(len(left_h))
    for row, (quantiles, came_h) in enumerate(zip(hours_left, left_h, strict=True)):
        below = int(np.searchsorted(quantiles, came_h, side="right"))
        if below == len(quantiles):
            found[row] = 0.5 * (level[-2] + 1.0)
            continue
        low_h = quantiles[below - 1] if below else 0.0
        gap_h = quantiles[below] - low_h
        inside = (came_h - low_h) / gap_h if np.isfinite(gap_h) and gap_h > 0.0 else 0.5
        found[row] = level[below] + inside * (level[below + 1] - level[below])
    return found


def reliability_of(outcomes: Outcomes) -> Reliability:
    """Where the ends lay in what was forecast; each life weighs one, however often it was forecast."""
    at_limit, cut = (len(np.unique(outcomes.life[which])) for which in (outcomes.ended, ~outcomes.ended))
    if not np.any(outcomes.ended):
        return Reliability(at_limit, cut, len(outcomes), float("nan"), float("nan"))
    u = transform(outcomes.hours_left, outcomes.left_h)
    cell = np.minimum((u * CELLS).astype(np.int64), CELLS - 1)
    exact = (np.arange(CELLS) == cell[:, None]).astype(np.float64)
    like = np.where(outcomes.ended[:, None], exact, cut_short(exact, u, np.zeros(len(u))))
    _, of, count = np.unique(outcomes.life, return_inverse=True, return_counts=True)
    share = shares_seen(SeenShares(like, 1.0 / count[of.reshape(-1)]))
    middle = 0.5 * (CELL_EDGE[:-1] + CELL_EDGE[1:])
    in_band = (middle > LEVELS[EARLY]) & (middle < LEVELS[LATE])
    return Reliability(at_limit, cut, len(outcomes), float(share @ middle), float(share[in_band].sum()))
