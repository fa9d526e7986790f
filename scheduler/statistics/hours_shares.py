"""From the loads that a life may have to the hours left: what is missing to the terminal, at the rate so far.

A rate that was bent returns to its mean, and the load at the terminal scatters; how the coming rate differs from the
past one is not said here.
"""

import numpy as np
import numpy.typing as npt

from scheduler.statistics.load_grid import THREE_POINTS
from scheduler.statistics.load_posterior import ForecastSettings
from scheduler.statistics.reading_evidence import WeighedBlock
from scheduler.statistics.remaining_hours import BINS, CENTRE_H, LOG_BIN_WIDTH

Floats = npt.NDArray[np.float64]
Singles = npt.NDArray[np.float32]

_PARTS = 4
"""Of a bin, each 1.9 % wide: nodes are counted by parts, one count in place of two, and what fell into a part is then
shared between two bins as if in its middle. Quantiles move by 0.07 % (median)."""
_SHORTEST_GAP_H = np.float32(1e-6)  # so that the logarithm is finite; far below the first bin


def hours_shares(block: WeighedBlock, settings: ForecastSettings) -> Floats:
    """Probability (n, BINS + 2) of: already reached, each bin of hours left, beyond the grid."""
    grid, got, weighed = block.grid, block.gathered, block.weighed
    bend, end = grid.log_bend[weighed.node], np.exp(weighed.log_end - grid.log_load[weighed.node])
    h = weighed.each(np.exp(got.log_h[:, 0]).astype(np.float32))
    gap_h = (end - _load_now_over_load(block)) * h
    share = weighed.share * (gap_h > 0.0)
    already = np.add.reduceat(weighed.share - share, weighed.first)
    np.clip(gap_h, _SHORTEST_GAP_H, np.float32(np.inf), out=gap_h)
    # near the end the scatter shrinks with what is left: a reading below the terminal says it is not passed
    scatter_h = np.minimum(end * h, np.float32(3.0) * gap_h)
    scatter_h *= np.float32(settings.terminal_load_scatter)
    # the bent rate goes back to its mean; for the outer points as for the middle one
    returned = np.exp(-bend) * gap_h
    returned *= np.float32(0.5 / settings.bend_memory_h)
    returned += np.float32(1.0)
    per_part = np.float32(_PARTS / LOG_BIN_WIDTH)
    from_first = (np.float32(-np.log(CENTRE_H[0])) - bend / returned) * per_part
    cells = BINS * _PARTS
    first = weighed.each(np.arange(len(got.log_h)) * cells)
    found, shares = np.zeros(len(got.log_h) * cells), share.astype(np.float64)
    for point, point_weight in THREE_POINTS:
        part = np.log(gap_h + np.float32(point) * scatter_h)
        part *= per_part
        part += from_first
        np.clip(part, np.float32(0.0), np.float32(cells - 0.5), out=part)
        place = part.astype(np.int64)
        place += first
        found += point_weight * np.bincount(place, shares, len(found))
    return _in_bins(found.reshape(-1, cells), already)


def _load_now_over_load(block: WeighedBlock) -> Singles | np.float32:
    """The load now of each node that counts over its load at the last of the nodes of s, which is rarely earlier."""
    log_s = np.log(block.gathered.now_s[:, 0]).astype(np.float32)
    if not np.any(log_s):
        return np.float32(1.0)
    bend = np.exp(block.grid.log_bend[block.weighed.node])
    return np.asarray(np.exp(bend * block.weighed.each(log_s)))


def _in_bins(found: Floats, already: Singles) -> Floats:
    """From parts of bins (n, BINS · parts) to bins: each shared between the two whose middles it lies between."""
    upper = (np.arange(_PARTS) + 0.5) / _PARTS
    shared = found.reshape(-1, BINS, _PARTS) @ np.column_stack([1.0 - upper, upper])
    table = np.zeros((len(found), BINS + 2))
    table[:, 0] = already
    table[:, 1:-1] = shared[:, :, 0]
    table[:, 2:] += shared[:, :, 1]
    return np.asarray(table / table.sum(axis=1, keepdims=True))
