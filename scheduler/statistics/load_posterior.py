"""What the readings of a life say of its load: every node of the grid weighed, in closed form.

Readings are gathered on S_NODES (each shared between the two nodes beside it), so that a position costs three
matrix products with the grid's rises; clean level and noise scale are integrated as a normal–inverse-gamma
pair. Source: Gelman et al., Bayesian Data Analysis, 3rd ed. 2013, section 3.3; the rest is derived here.
"""

from collections.abc import Callable
from dataclasses import dataclass, fields
from typing import Any

import numpy as np
import numpy.typing as npt

from scheduler.statistics.life_model import LifeEnd
from scheduler.statistics.load_grid import S_NODES, THREE_POINTS, LoadGrid

Floats = npt.NDArray[np.float64]
Singles = npt.NDArray[np.float32]
Indices = npt.NDArray[np.int64]
_Spread = Callable[[npt.NDArray[Any]], npt.NDArray[Any]]

ENDED_AT_LOG_LOAD, ENDED_WITHIN_LOG_LOAD = 0.05, 0.10
"""Ours: an element that was changed at its limit held about 5 % more dirt than at its terminal, give or take 10 %,
since nobody changes it that very hour; Student with four degrees, for mistakes."""
EARLY_WITHIN_LOG_LOAD = 0.035
"""Ours: the scale, in ln load, within which an element changed early is taken not to have been past its terminal."""

_NEGLIGIBLE_LOG = 10.5
"""Nodes of less than e^-10 = 1/22,000 of the likeliest one's share are left out: a two-thousandth of the whole."""
_YOUNGEST_SHARE = 0.02  # of the median life: below it the grid of loads would not reach long lives


@dataclass(frozen=True, slots=True)
class ReadingColumns:
    """Usable readings of P lives, ragged: offsets (P + 1,); the rest (N,), in order of run_h within a life.

    run_h: run hours since fitted. log_dp: started logarithm of the restated ΔP. weight: 1/variance of log_dp.
    """

    offsets: Indices
    run_h: Floats
    log_dp: Floats
    weight: Floats

    def of(self, lives: npt.NDArray[np.integer]) -> "ReadingColumns":
        """The readings of some of the lives, life by life in the order asked for."""
        counts = np.diff(self.offsets)[lives]
        offsets = np.concatenate([[0], np.cumsum(counts)]).astype(np.int64)
        rows = np.repeat(self.offsets[:-1][lives] - offsets[:-1], counts) + np.arange(offsets[-1])
        return ReadingColumns(offsets, self.run_h[rows], self.log_dp[rows], self.weight[rows])

    def and_then(self, others: "ReadingColumns") -> "ReadingColumns":
        """The readings of these lives, and then of others."""
        return ReadingColumns(
            np.concatenate([self.offsets, self.offsets[-1] + others.offsets[1:]]),
            np.concatenate([self.run_h, others.run_h]),
            np.concatenate([self.log_dp, others.log_dp]),
            np.concatenate([self.weight, others.weight]),
        )


@dataclass(frozen=True, slots=True)
class ForecastSettings:
    """Spreads of the model; ours, from the log score on simulated plants whose laws were not the model's.

    rate_bend_log_sd: of κ. bend_memory_h: run hours over which a bent rate returns to its mean.
    future_rate_log_sd: of the coming ingression against the past one. terminal_load_scatter: of the load at
    the terminal, as a share. bin_variance: model error per node of s that no number of readings averages away,
    where the weights of the shapes were learned; unlearned_bin_variance: where they were not, so that a shape
    which only looks right is not believed too firmly. node_share: what one node's readings say, of what they would
    say if the model's errors at neighbouring nodes had nothing in common; a plateau or hump that a medium has of its
    own misleads them all alike. Where no life of the type was seen it is 1: there is little else to go by.
    life_degrees: of the Student life prior; infinite is normal. noise_strength: how firmly the readings' stated
    variances are believed (shape of the inverse gamma). unread_scale: how sharply an unread, unchanged element is
    taken not to have passed its terminal, in ln load.
    """

    rate_bend_log_sd: float = 0.12
    bend_memory_h: float = 500.0
    future_rate_log_sd: float = 0.12
    terminal_load_scatter: float = 0.05
    bin_variance: float = 0.01
    unlearned_bin_variance: float = 0.02
    node_share: float = 0.4
    life_degrees: float = 6.0
    noise_strength: float = 3.0
    unread_scale: float = 0.03

    def __post_init__(self) -> None:
        if min(getattr(self, column.name) for column in fields(self)) < 0.0:
            raise ValueError("a setting of the forecast is below 0")
        if self.terminal_load_scatter > 0.15:  # three points of it must stay on this side of the terminal
            raise ValueError(f"terminal load scatter {self.terminal_load_scatter} is above 0.15")
        if not 0.0 < self.node_share <= 1.0:
            raise ValueError(f"node share {self.node_share} is outside 0 to 1")
        if min(self.future_rate_log_sd, self.life_degrees, self.unread_scale, self.bend_memory_h) == 0.0:
            raise ValueError("future rate, life degrees, unread scale and bend memory must be above 0")


@dataclass(frozen=True, slots=True)
class Positions:
    """The inputs per position, (P,) and (P, J), and of a block of them.

    noise: variance of the readings over the stated one, as known before. node_share: see `ForecastSettings`. end:
    `LifeEnd` codes of lives that are over.
    """

    run_h_now: Floats
    log_terminal: Floats
    clean_mean: Floats
    clean_var: Floats
    log_life_mean: Floats
    log_life_sd: Floats
    shape_weights: Floats
    noise: Floats
    bin_variance: Floats
    node_share: Floats
    end: Indices

    def at(self, rows: Indices) -> "Positions":
        return Positions(*(getattr(self, column.name)[rows] for column in fields(self)))


@dataclass(frozen=True, slots=True)
class Gathered:
    """Readings of n positions on S_NODES, logarithms less the clean mean: Σw, Σwl (n, S); Σwl² (n, 1).

    log_h (n, 1): ln run hours at s = 1. now_s: s of now. unread: share of the hours since the last reading.
    """

    weight: Floats
    weighted: Floats
    squares: Floats
    freedom: Floats
    log_h: Floats
    now_s: Floats
    unread: Floats


@dataclass(frozen=True, slots=True)
class Posterior:
    """The M nodes that count, position by position: which, its share of the position, and what it says.

    first (n,): where each position's nodes begin; each has one at least. place: in a flat table of all nodes of all. log_end: ln load at the terminal. clean:
    level above its mean. scale: of the noise. log_life: ln life.
    """

    first: Indices
    node: Indices
    place: Indices
    share: Singles
    log_end: Singles
    clean: Singles
    scale: Singles
    log_life: Singles

    def each(self, of_positions: npt.NDArray[Any]) -> npt.NDArray[Any]:
        """A value of each position (n,) for each of its nodes (M,)."""
        return np.repeat(of_positions, np.diff(self.first, append=len(self.node)))

    def mean(self, values: Singles) -> Floats:
        """Of each position (n,), from what its nodes say."""
        return np.asarray(np.add.reduceat(self.share * values, self.first), dtype=np.float64)

    def variance(self, values: Singles, mean: Floats) -> Floats:
        off = values - self.each(mean.astype(np.float32))
        off *= off
        return self.mean(off)


def gather(readings: ReadingColumns, some: Positions, settings: ForecastSettings) -> Gathered:
    """Each reading shared between the two nodes of s beside it; then every node's weight capped."""
    counts = np.diff(readings.offsets)
    lives = len(counts)
    index = np.repeat(np.arange(lives), counts)
    hours = np.maximum(some.run_h_now, _YOUNGEST_SHARE * np.exp(some.log_life_mean))
    w, level = readings.weight, readings.log_dp - some.clean_mean[index]
    s = readings.run_h / hours[index]
    node = np.clip(np.searchsorted(S_NODES, s) - 1, 0, len(S_NODES) - 2)
    part = (s - S_NODES[node]) / (S_NODES[node + 1] - S_NODES[node])
    place = index * len(S_NODES) + node
    size = lives * len(S_NODES)
    weight = np.bincount(place, w * (1.0 - part), size) + np.bincount(place + 1, w * part, size)
    weighted = np.bincount(place, w * level * (1.0 - part), size)
    weighted += np.bincount(place + 1, w * level * part, size)
    weight, weighted = weight.reshape(lives, -1), weighted.reshape(lives, -1)
    kept = some.node_share[:, None] / (1.0 + some.bin_variance[:, None] * weight)
    # the scatter within a node still tells the noise; only what the nodes say of the curve is capped
    between = np.sum(weighted**2 / np.maximum(weight, 1e-12) * (1.0 - kept), axis=1)
    last_h = readings.run_h[readings.offsets[1:] - 1]
    return Gathered(
        weight=weight * kept,
        weighted=weighted * kept,
        squares=(np.bincount(index, w * level**2, lives) - between)[:, None],
        freedom=(settings.noise_strength + 0.5 * counts)[:, None],
        log_h=np.log(hours)[:, None],
        now_s=np.maximum(some.run_h_now / hours, 1e-6)[:, None],
        unread=(1.0 - last_h / np.maximum(some.run_h_now, 1e-9))[:, None],
    )


@dataclass(frozen=True, slots=True)
class _ByReadings:
    """What the readings alone say of every node, (n, K): ln share up to a factor, the clean level above its mean
    times the root of its precision, twice the scale of the noise; and one over that root (n,)."""

    log_share: Singles
    standing: Singles
    twice_scale: Singles
    per_root: Singles


@dataclass(frozen=True, slots=True)
class _Chosen:
    """Some nodes of each of n positions, position by position: how many of each (n,), which (m,), and where they are
    in a flat table of all (m,)."""

    of_position: Indices
    node: Indices
    place: Indices

    def each(self, of_positions: npt.NDArray[Any]) -> npt.NDArray[Any]:
        """A value of each position (n,) for each of its nodes (m,)."""
        return np.repeat(of_positions, self.of_position)


def posterior(grid: LoadGrid, got: Gathered, some: Positions, settings: ForecastSettings) -> Posterior:
    """Share of every node: closed form over clean level and noise scale, life prior, shape weights.

    Three products give what the readings say. What the life says hangs on each node's own clean level, but little: by
    the level that goes best with each shape it is estimated for all, and worked out for the nodes that may count.
    """
    by_readings = _by_readings(grid, got, some, settings)
    chosen = _nodes_that_count(grid, by_readings, got, some, settings)
    log_share, clean, log_end, log_life = _with_life(grid, chosen, by_readings, got, some, settings)
    first = np.cumsum(chosen.of_position) - chosen.of_position
    log_share -= chosen.each(np.maximum.reduceat(log_share, first))
    share = np.exp(log_share, out=log_share)
    share *= chosen.each(1.0 / np.add.reduceat(share, first))
    return Posterior(
        first=first,
        node=chosen.node,
        place=chosen.place,
        share=share,
        log_end=log_end,
        clean=clean,
        scale=np.float32(0.5) * by_readings.twice_scale.take(chosen.place, mode="clip"),
        log_life=log_life,
    )


def _by_readings(grid: LoadGrid, got: Gathered, some: Positions, settings: ForecastSettings) -> _ByReadings:
    weighted = got.weighted.sum(axis=1, keepdims=True)
    root = np.sqrt(1.0 / some.clean_var[:, None] + got.weight.sum(axis=1, keepdims=True))
    stated = got.squares + 2.0 * settings.noise_strength * some.noise[:, None]
    standing = _times(np.hstack([-got.weight, weighted]) / root, grid.moments[len(S_NODES) :])
    twice_scale = _times(np.hstack([got.weight, -2.0 * got.weighted, stated]), grid.moments)
    log_share = standing * standing
    twice_scale -= log_share
    np.clip(twice_scale, np.float32(2e-6), np.float32(np.inf), out=twice_scale)  # in half the time of `maximum`
    np.log(twice_scale, out=log_share)
    log_share *= -got.freedom.astype(np.float32)
    log_share += grid.log_prior
    by_shape = log_share.reshape(*some.shape_weights.shape, -1)  # a view: nodes lie shape by shape
    by_shape += np.log(some.shape_weights + 1e-12).astype(np.float32)[:, :, None]
    return _ByReadings(log_share, standing, twice_scale, (1.0 / root[:, 0]).astype(np.float32))


def _times(of_positions: Floats, moments: Singles) -> Singles:
    return np.asarray(of_positions.astype(np.float32) @ moments)


def _nodes_that_count(
    grid: LoadGrid, by_readings: _ByReadings, got: Gathered, some: Positions, settings: ForecastSettings
) -> _Chosen:
    """Those that are estimated to have e^-10 of the likeliest one's share, one of each position at least."""
    lives, shapes = some.shape_weights.shape
    nodes = by_readings.log_share.shape[1]
    table = by_readings.log_share.reshape(lives, shapes, -1, grid.loads)
    unbent = table[:, :, len(THREE_POINTS) // 2]
    first_unbent = (np.arange(shapes) * len(THREE_POINTS) + len(THREE_POINTS) // 2) * grid.loads
    by_life = _life_by_shape(grid, first_unbent + unbent.argmax(axis=2), by_readings, got, some, settings)
    estimate = (unbent + by_life).reshape(lives, -1)
    best = estimate.argmax(axis=1)
    likely = first_unbent[best // grid.loads] + best % grid.loads
    place = likely + np.arange(lives) * nodes
    likely_share, *_ = _with_life(grid, _Chosen(np.ones_like(best), likely, place), by_readings, got, some, settings)
    least = np.minimum(likely_share, estimate[np.arange(lives), best]) - np.float32(_NEGLIGIBLE_LOG)
    place = np.flatnonzero(table > (least[:, None, None] - by_life)[:, :, None])
    of_position = np.diff(np.searchsorted(place, np.arange(lives + 1) * nodes))
    return _Chosen(of_position, place - np.repeat(np.arange(lives) * nodes, of_position), place)


def _life_by_shape(
    grid: LoadGrid,
    node: Indices,
    by_readings: _ByReadings,
    got: Gathered,
    some: Positions,
    settings: ForecastSettings,
) -> Singles:
    """What the life says of every shape and load (n, J, U), by the clean level of a node (n, J) of each shape."""
    lives, shapes = node.shape
    clean = np.take_along_axis(by_readings.standing, node, axis=1) * by_readings.per_root[:, None]
    rise_left = (some.log_terminal - some.clean_mean).astype(np.float32)[:, None] - clean
    log_end = grid.log_terminal_load(rise_left, np.arange(shapes))
    log_load_share = grid.log_load[: grid.loads] - log_end[:, :, None]
    return _life_share(got, some, settings, log_load_share, lambda each: each[:, None, None])


def _life_share(
    got: Gathered, some: Positions, settings: ForecastSettings, log_load_share: Singles, spread: _Spread
) -> Singles:
    """What the life says of nodes whose load now is such a share of the terminal's: its log-Student prior less its
    highest, and that nobody saw it pass.

    spread: makes a value of each position (n,) one of each node.
    """
    per_sd = 1.0 / (some.log_life_sd * np.sqrt(settings.life_degrees if np.isfinite(settings.life_degrees) else 1.0))
    z = log_load_share * spread(per_sd.astype(np.float32))
    z -= spread(((got.log_h[:, 0] - some.log_life_mean) * per_sd).astype(np.float32))
    z *= z
    if np.isinf(settings.life_degrees):
        z *= np.float32(-0.5)
    else:
        z += np.float32(1.0)
        np.log(z, out=z)
        z *= np.float32(-0.5 * (settings.life_degrees + 1.0))
    if np.any(some.end != LifeEnd.RUNNING):
        _weigh_ends(z, log_load_share, spread(some.end))
    # nobody saw it pass since the last reading: the less was read, the more like plain survival to now
    unread = np.where(some.end == LifeEnd.RUNNING, got.unread[:, 0], 0.0) / settings.unread_scale
    past = np.clip(log_load_share, np.float32(0.0), np.float32(np.inf))
    past *= spread(unread.astype(np.float32))
    z -= past
    return z


def _with_life(
    grid: LoadGrid,
    chosen: _Chosen,
    by_readings: _ByReadings,
    got: Gathered,
    some: Positions,
    settings: ForecastSettings,
) -> tuple[Singles, Singles, Singles, Singles]:
    """Of the chosen nodes: ln share up to a factor, clean level, ln load at the terminal, ln life, (m,)."""
    clean = by_readings.standing.take(chosen.place, mode="clip")  # places are right, and need not be looked at
    clean *= chosen.each(by_readings.per_root)
    rise_left = chosen.each((some.log_terminal - some.clean_mean).astype(np.float32))
    rise_left -= clean
    log_end = grid.log_terminal_load(rise_left, grid.shape[chosen.node])
    log_load_share = grid.log_load[chosen.node]
    log_load_share -= log_end
    log_share = _life_share(got, some, settings, log_load_share, chosen.each)
    log_share += by_readings.log_share.take(chosen.place, mode="clip")
    return log_share, clean, log_end, chosen.each(got.log_h[:, 0].astype(np.float32)) - log_load_share


def _weigh_ends(log_share: Singles, log_load_share: Singles, end: Indices) -> None:
    """What the end of a life says of its load: changed at its limit it was near its terminal, else below it."""
    at_limit, early = (np.broadcast_to(end == each, log_share.shape) for each in (LifeEnd.AT_LIMIT, LifeEnd.EARLY))
    off = (log_load_share[at_limit] - np.float32(ENDED_AT_LOG_LOAD)) / np.float32(ENDED_WITHIN_LOG_LOAD)
    log_share[at_limit] -= np.float32(2.5) * np.log1p(off * off / np.float32(4.0))
    log_share[early] -= np.logaddexp(0.0, log_load_share[early] / np.float32(EARLY_WITHIN_LOG_LOAD))
