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

from dataclasses import dataclass, fields, replace
from functools import lru_cache

import numpy as np
import numpy.typing as npt
from scipy.special import ndtr

from scheduler.statistics.hours_shares import hours_shares
from scheduler.statistics.life_left import remaining_life
from scheduler.statistics.life_model import LifeEnd, LifePrior
from scheduler.statistics.load_grid import ShapeTable, first_shape_weights, load_grid, shape_table
from scheduler.statistics.load_posterior import ForecastSettings, Positions, ReadingColumns
from scheduler.statistics.reading_evidence import (
    ReadingEvidence,
    WeighedBlock,
    nothing_read,
    put_evidence,
    weigh_each,
)
from scheduler.statistics.remaining_hours import BINS, CENTRE_H, EDGE_H, RemainingHours
from scheduler.statistics.robust_readings import robust_weights

Floats = npt.NDArray[np.float64]
Indices = npt.NDArray[np.int64]

__all__ = ["ConditionForecast", "ElementPrior", "ForecastSettings", "KnownBefore", "ReadingColumns", "forecast"]


@dataclass(frozen=True, slots=True)
class KnownBefore:
    """What is known of P positions before their readings; (P,) where not said otherwise.

    log_terminal, log_clean_mean: in the readings' started logarithm; log_clean_var > 0: how well the clean level is
    known. They may be missing (NaN) only where there are no readings. shape_weights (J,) or (P, J): of `shapes`;
    without them `first_shape_weights`. noise: variance of the readings over the stated one; none is 1.
    bin_variance: see `ForecastSettings`, whose value holds without it.
    """

    log_terminal: Floats
    log_clean_mean: Floats
    log_clean_var: Floats
    life: LifePrior
    shape_weights: Floats | None = None
    noise: Floats | None = None
    bin_variance: Floats | None = None


@dataclass(frozen=True, slots=True)
class ElementPrior:
    """What other lives teach of P elements to come, whatever their limits are now; (P,) where not said otherwise.

    clean_deviation: of the started logarithm of the clean ΔP from its sheet's. shapes: the table, learned curves
    included, whose weights are shape_weights (P, J). pit_a, pit_b: of the Beta map that sets the forecast right
    afterwards, 1 and 1 for none. The rest as in `KnownBefore`.
    """

    life: LifePrior
    clean_deviation: Floats
    clean_log_var: Floats
    shapes: ShapeTable
    shape_weights: Floats
    noise: Floats
    bin_variance: Floats
    pit_a: Floats
    pit_b: Floats

    def __len__(self) -> int:
        return len(self.life)

    def at(self, rows: npt.NDArray[np.integer]) -> "ElementPrior":
        """The prior of some of the elements."""
        columns = [column.name for column in fields(self) if column.name not in {"life", "shapes"}]
        return replace(self, life=self.life.at(rows), **{name: getattr(self, name)[rows] for name in columns})

    def before(self, log_terminal: Floats, log_clean_sheet: Floats) -> KnownBefore:
        """Together with the elements' own limits."""
        return KnownBefore(
            log_terminal=log_terminal,
            log_clean_mean=log_clean_sheet + self.clean_deviation,
            log_clean_var=self.clean_log_var,
            life=self.life,
            shape_weights=self.shape_weights,
            noise=self.noise,
            bin_variance=self.bin_variance,
        )


@dataclass(frozen=True, slots=True)
class ConditionForecast:
    """What the readings and the lives before say of P positions; (P,) where not said otherwise.

    evidence: what the readings say, with the age alone where there are none. reading_weight (N,): 1/variance that
    each reading kept.
    """

    remaining: RemainingHours
    evidence: ReadingEvidence
    reading_weight: Floats


def forecast(
    readings: ReadingColumns,
    before: KnownBefore,
    *,
    run_h_now: Floats,
    shapes: ShapeTable | None = None,
    settings: ForecastSettings | None = None,
) -> ConditionForecast:
    """Run hours left to the terminal for P positions; a position with no readings gets `remaining_life`.

    run_h_now (P,): run hours since fitted, not below the last reading's. Raises ValueError naming what cannot be
    used.
    """
    shapes, settings = shapes or shape_table(), settings or ForecastSettings()
    _refuse_what_cannot_be(readings, run_h_now, before.log_terminal, before.log_clean_mean, before.log_clean_var)
    positions = positions_of(before, run_h_now, np.full(len(run_h_now), LifeEnd.RUNNING), shapes, settings)
    weight = robust_weights(readings.offsets, readings.run_h, readings.log_dp, readings.weight)
    known = _by_age_alone(readings, positions, before.life, weight)
    grid = load_grid(shapes, settings.rate_bend_log_sd)
    future_rate = _future_rate_spread(settings.future_rate_log_sd)

    def put(block: WeighedBlock) -> None:
        put_evidence(known.evidence, block)
        _put_remaining(known, block.rows, hours_shares(block, settings), future_rate)

    weigh_each(grid, replace(readings, weight=weight), positions, settings, put)
    return known


def positions_of(
    before: KnownBefore, run_h: Floats, end: Indices, shapes: ShapeTable, settings: ForecastSettings
) -> Positions:
    """The grid's inputs, with what is not known before filled by what is usual."""
    weights, bin_variance = before.shape_weights, before.bin_variance
    if weights is None:
        weights = first_shape_weights(shapes, np.nan_to_num(before.log_terminal - before.log_clean_mean))
        if bin_variance is None:
            bin_variance = np.full(len(run_h), settings.unlearned_bin_variance)
    return Positions(
        run_h_now=run_h,
        log_terminal=before.log_terminal,
        clean_mean=before.log_clean_mean,
        clean_var=before.log_clean_var,
        log_life_mean=before.life.log_median,
        log_life_sd=before.life.log_sd,
        shape_weights=np.broadcast_to(weights, (len(run_h), len(shapes))),
        noise=np.ones(len(run_h)) if before.noise is None else before.noise,
        bin_variance=np.full(len(run_h), settings.bin_variance) if bin_variance is None else bin_variance,
        node_likeness=np.where(before.life.lives_seen > 0, settings.node_likeness, 0.0),
        end=np.asarray(end, dtype=np.int64),
    )


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


def _by_age_alone(
    readings: ReadingColumns, positions: Positions, life: LifePrior, weight: Floats
) -> ConditionForecast:
    """Every position without readings; the hours of the others are still to be put."""
    count = len(positions.run_h_now)
    unread = np.flatnonzero(np.diff(readings.offsets) == 0)
    remaining = RemainingHours(np.zeros(count), np.zeros((count, BINS)), np.ones(count))
    by_age = remaining_life(life.at(unread), positions.run_h_now[unread])
    left_h = np.zeros(count)
    left_h[unread] = by_age.quantile(0.5)
    for name in ("already_reached", "within", "never"):
        getattr(remaining, name)[unread] = getattr(by_age, name)
    nothing = nothing_read(*positions.shape_weights.shape)
    return ConditionForecast(
        remaining=remaining,
        evidence=replace(
            nothing,
            load_share=positions.run_h_now / np.maximum(positions.run_h_now + left_h, 1e-9),
            clean_log_mean=positions.clean_mean.copy(),
            clean_log_var=positions.clean_var.copy(),
            log_life_mean=positions.log_life_mean.copy(),
            log_life_var=positions.log_life_sd**2,
            noise_ratio=positions.noise.copy(),
            shape_share=positions.shape_weights.copy(),
        ),
        reading_weight=weight,
    )


@lru_cache(maxsize=4)
def _future_rate_spread(log_sd: float) -> Floats:
    """(BINS, BINS + 1): where each bin's probability goes when the coming rate is off by a log-normal."""
    edges = np.log(EDGE_H)
    reach = ndtr((edges - np.log(CENTRE_H)[:, None]) / log_sd)
    reach[:, 0] = 0.0
    return np.diff(reach, axis=1, append=1.0)


def _put_remaining(known: ConditionForecast, rows: Indices, ends: Floats, future_rate: Floats) -> None:
    spread = ends[:, 1:-1] @ future_rate
    known.remaining.already_reached[rows] = ends[:, 0]
    known.remaining.within[rows] = spread[:, :-1]
    known.remaining.never[rows] = spread[:, -1] + ends[:, -1]
