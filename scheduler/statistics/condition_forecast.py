"""How many run hours until the ΔP reaches its terminal: an exact posterior on a grid, by matrix products.

Model of one life: the load grows as u(s) = u_now s^κ, s = run hours over run hours now, κ a bend of the rate;
ln ΔP lies above the clean level by the rise f_j(u) of shape j; the life, run hours until the load is the
terminal's, has the log-Student prior of the pooled lives. On the grid (u_now × shape × κ) the clean level
and the noise scale integrate in closed form (normal–inverse-gamma), so that a position costs three matrix
products over its readings gathered on 33 nodes of s. Nothing is sampled, and no line is extrapolated: where
the readings are flat the life prior rules.

`log_dp`, `log_terminal`, `log_clean_mean` are one started logarithm, ln(ΔP + a), of the ΔP restated to the
position's warm working state. Source of the closed form: Gelman et al., Bayesian Data Analysis, 3rd ed. 2013,
section 3.3; the rest is derived here.
"""

from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt
from scipy.special import ndtr

from scheduler.statistics.life_model import LifePrior, remaining_life
from scheduler.statistics.load_grid import (
    THREE_POINTS,
    LoadGrid,
    ShapeTable,
    first_shape_weights,
    load_grid,
    shape_table,
)
from scheduler.statistics.load_posterior import (
    ForecastSettings,
    Gathered,
    Positions,
    Posterior,
    ReadingColumns,
    gather,
    posterior,
)
from scheduler.statistics.remaining_hours import BINS, CENTRE_H, EDGE_H, LOG_BIN_WIDTH, RemainingHours
from scheduler.statistics.robust_readings import robust_weights

Floats = npt.NDArray[np.float64]
Singles = npt.NDArray[np.float32]
Indices = npt.NDArray[np.int64]

__all__ = ["ConditionForecast", "ForecastSettings", "ReadingColumns", "forecast"]

_NEGLIGIBLE = 1e-5  # share of a node below which its remaining hours are not worked out
_POSITIONS_AT_ONCE = 64  # keeps the block's tables in the processor's cache


@dataclass(frozen=True, slots=True)
class ConditionForecast:
    """What the readings and the lives before say of P positions; (P,) where not said otherwise.

    load_share: load now over terminal load (geometric mean). past_share: probability that the terminal is
    already passed. clean_log_mean: started logarithm of the clean ΔP. shape_share (P, J): weights of shapes.
    log_life_mean, log_life_var: of ln(run hours from fitting to terminal). noise_ratio: variance of the
    readings over the stated one. reading_weight (N,): 1/variance that each reading kept.
    """

    remaining: RemainingHours
    load_share: Floats
    past_share: Floats
    clean_log_mean: Floats
    shape_share: Floats
    log_life_mean: Floats
    log_life_var: Floats
    noise_ratio: Floats
    reading_weight: Floats


def forecast(
    readings: ReadingColumns,
    *,
    run_h_now: Floats,
    log_terminal: Floats,
    log_clean_mean: Floats,
    log_clean_var: Floats,
    life: LifePrior,
    shape_weights: Floats | None = None,
    shapes: ShapeTable | None = None,
    settings: ForecastSettings | None = None,
) -> ConditionForecast:
    """Run hours left to the terminal for P positions; a position with no readings gets `remaining_life`.

    run_h_now (P,): run hours since fitted, not below the last reading's. log_terminal, log_clean_mean (P,):
    in the readings' started logarithm; log_clean_var (P,) > 0: how well the clean level is known before.
    They may be missing (NaN) only where there are no readings. shape_weights (J,) or (P, J): prior weights of
    `shapes`; without them `first_shape_weights`. Raises ValueError naming what cannot be used.
    """
    shapes, settings = shapes or shape_table(), settings or ForecastSettings()
    _refuse_what_cannot_be(readings, run_h_now, log_terminal, log_clean_mean, log_clean_var)
    if shape_weights is None:
        shape_weights = first_shape_weights(shapes, np.nan_to_num(log_terminal - log_clean_mean))
        settings = replace(settings, bin_variance=settings.unlearned_bin_variance)
    shape_weights = np.broadcast_to(shape_weights, (len(run_h_now), len(shapes)))
    positions = Positions(
        run_h_now=run_h_now,
        log_terminal=log_terminal,
        clean_mean=log_clean_mean,
        clean_var=log_clean_var,
        log_life_mean=life.log_median,
        log_life_sd=life.log_sd,
        shape_weights=shape_weights,
    )
    believed = robust_weights(readings.offsets, readings.run_h, readings.log_dp, readings.weight)
    known = _by_age_alone(positions, life, believed)
    grid = load_grid(shapes, settings.rate_bend_log_sd)
    read = np.flatnonzero(np.diff(readings.offsets))
    ends = np.zeros((len(read), BINS + 2))
    for start in range(0, len(read), _POSITIONS_AT_ONCE):
        block = slice(start, start + _POSITIONS_AT_ONCE)
        some = positions.at(read[block])
        gathered = gather(readings, believed, read[block], some, settings)
        weighed = posterior(grid, gathered, some, settings)
        ends[block] = _ends(grid, gathered, weighed, settings)
        _put_summary(known, read[block], grid, gathered, weighed)
    _put_remaining(known, read, ends, settings)
    return known


def _refuse_what_cannot_be(
    readings: ReadingColumns,
    run_h_now: Floats,
    log_terminal: Floats,
    log_clean_mean: Floats,
    log_clean_var: Floats,
) -> None:
    if len(readings.offsets) != len(run_h_now) + 1 or readings.offsets[-1] != len(readings.run_h):
        raise ValueError(f"offsets {len(readings.offsets)} do not fit {len(run_h_now)} positions' readings")
    if not (np.all(np.isfinite(readings.log_dp)) and np.all(readings.weight > 0.0)):
        raise ValueError("a reading is not finite or its weight is not above 0")
    read = np.diff(readings.offsets) > 0
    for name, values in (("terminal", log_terminal), ("clean mean", log_clean_mean)):
        if not np.all(np.isfinite(values[read])):
            where = int(np.flatnonzero(read & ~np.isfinite(values))[0])
            raise ValueError(f"position {where} has readings, but its {name} is {values[where]}")
    if not np.all(log_clean_var[read] > 0.0):
        raise ValueError("the variance of a clean level is not above 0")
    last_h = readings.run_h[np.maximum(readings.offsets[1:] - 1, 0)] if len(readings.run_h) else run_h_now
    if np.any(read & (last_h > run_h_now * (1.0 + 1e-9))):
        where = int(np.flatnonzero(read & (last_h > run_h_now * (1.0 + 1e-9)))[0])
        raise ValueError(f"position {where} has a reading at {last_h[where]} h, after {run_h_now[where]} h")


def _by_age_alone(positions: Positions, life: LifePrior, believed: Floats) -> ConditionForecast:
    """Every position as if it had no readings."""
    remaining = remaining_life(life, positions.run_h_now)
    left_h = remaining.quantile(0.5)
    return ConditionForecast(
        remaining=remaining,
        load_share=positions.run_h_now / np.maximum(positions.run_h_now + left_h, 1e-9),
        past_share=np.zeros(len(left_h)),
        clean_log_mean=positions.clean_mean.copy(),
        shape_share=positions.shape_weights.copy(),
        log_life_mean=positions.log_life_mean.copy(),
        log_life_var=positions.log_life_sd**2,
        noise_ratio=np.ones(len(left_h)),
        reading_weight=believed,
    )


def _put_summary(known: ConditionForecast, rows: Indices, grid: LoadGrid, got: Gathered, weighed: Posterior) -> None:
    share, log_life = weighed.share, weighed.log_life
    mean = _mean(share, log_life)
    known.log_life_mean[rows] = mean
    known.log_life_var[rows] = _mean(share, (log_life - mean[:, None].astype(np.float32)) ** 2)
    bends = np.exp(grid.log_bend)
    log_now = np.log(got.now_s)
    known.load_share[rows] = np.exp(
        _mean(share, got.log_h.astype(np.float32) - log_life) + log_now[:, 0] * (share @ bends)
    )
    known.clean_log_mean[rows] += _mean(share, weighed.clean)
    known.noise_ratio[rows] = _mean(share, weighed.scale) / (got.freedom[:, 0] - 1.0)
    known.shape_share[rows] = share.reshape(len(rows), known.shape_share.shape[1], -1).sum(axis=2)


def _mean(share: Singles, values: Singles) -> Floats:
    return np.asarray(np.einsum("nk,nk->n", share, values), dtype=np.float64)


def _ends(grid: LoadGrid, got: Gathered, weighed: Posterior, settings: ForecastSettings) -> Floats:
    """Probability (n, BINS + 2) of: already reached, each bin of hours left, beyond the grid."""
    row, node = np.nonzero(weighed.share > _NEGLIGIBLE)
    share = weighed.share[row, node].astype(np.float64)
    bend = grid.log_bend[node].astype(np.float64)
    end = np.exp(weighed.log_end[row, node].astype(np.float64))
    now = grid.load[node] * got.now_s[row, 0] ** np.exp(bend)
    gap = end - now
    columns = BINS + 2
    found = np.bincount(row * columns, share * (gap <= 0.0), len(got.log_h) * columns)
    alive = gap > 0.0
    row, share, bend, end, gap = row[alive], share[alive], bend[alive], end[alive], gap[alive]
    log_h_per_load = got.log_h[row, 0] - grid.log_load[node[alive]]
    # near the end the scatter shrinks with what is left: a reading below the terminal says it is not passed
    scatter = settings.terminal_load_scatter * np.minimum(end, 3.0 * gap)
    for point, point_weight in THREE_POINTS:
        log_h = np.log(gap + point * scatter) + log_h_per_load
        at_rate_now_h = np.exp(log_h - bend)
        log_h -= bend / (1.0 + 0.5 * at_rate_now_h / settings.bend_memory_h)
        at_bin = np.clip((log_h - np.log(CENTRE_H[0])) / LOG_BIN_WIDTH, 0.0, BINS - 1e-9)
        lower = at_bin.astype(np.int64)
        place = row * columns + 1 + lower
        upper_share = share * point_weight * (at_bin - lower)
        found += np.bincount(place, share * point_weight - upper_share, len(found))
        found += np.bincount(place + 1, upper_share, len(found))
    table = found.reshape(-1, columns)
    return np.asarray(table / table.sum(axis=1, keepdims=True))


def _future_rate_spread(log_sd: float) -> Floats:
    """(BINS, BINS + 1): where each bin's probability goes when the coming rate is off by a log-normal."""
    edges = np.log(EDGE_H)
    reach = ndtr((edges - np.log(CENTRE_H)[:, None]) / log_sd)
    reach[:, 0] = 0.0
    return np.diff(reach, axis=1, append=1.0)


def _put_remaining(known: ConditionForecast, rows: Indices, ends: Floats, settings: ForecastSettings) -> None:
    spread = ends[:, 1:-1] @ _future_rate_spread(settings.future_rate_log_sd)
    known.past_share[rows] = ends[:, 0]
    known.remaining.already_reached[rows] = ends[:, 0]
    known.remaining.within[rows] = spread[:, :-1]
    known.remaining.never[rows] = spread[:, -1] + ends[:, -1]
