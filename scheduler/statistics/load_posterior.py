"""What the readings of a life say of its load: every node of the grid weighed, in closed form.

Readings are gathered on S_NODES (each shared between the two nodes beside it), so that a position costs three
matrix products with the grid's rises; clean level and noise scale are integrated as a normal–inverse-gamma
pair. Source: Gelman et al., Bayesian Data Analysis, 3rd ed. 2013, section 3.3; the rest is derived here.
"""

from dataclasses import dataclass, fields
from typing import Any

import numpy as np
import numpy.typing as npt

from scheduler.statistics.life_evidence import LifeEvidence, life_evidence
from scheduler.statistics.life_left import UNSEEN_PAST_LOG
from scheduler.statistics.load_grid import S_NODES, THREE_POINTS, LoadGrid

Floats = npt.NDArray[np.float64]
Singles = npt.NDArray[np.float32]
Indices = npt.NDArray[np.int64]

_NEGLIGIBLE_LOG = 9.7
"""Nodes that are estimated at less than e^-9.7 = 1/16,000 of the likeliest one's share are left out: 0.05 % of the
whole in the middle, 0.26 % in one position of a hundred (measured on drawn lives of 3 to 400 readings)."""
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
    which only looks right is not believed too firmly. node_likeness: what the model's errors at any two nodes have
    in common, 0 nothing to 1 all; a plateau or hump that a medium has of its own misleads them all alike. Where no
    life of the type was seen it is 0: there is little else to go by.
    life_degrees: of the Student life prior; infinite is normal. noise_strength: how firmly the readings' stated
    variances are believed (shape of the inverse gamma). unread_scale: how sharply an unread, unchanged element is
    taken not to have passed its terminal, in ln load.
    """

    rate_bend_log_sd: float = 0.08
    bend_memory_h: float = 500.0
    future_rate_log_sd: float = 0.06
    terminal_load_scatter: float = 0.05
    bin_variance: float = 0.01
    unlearned_bin_variance: float = 0.02
    node_likeness: float = 0.1
    life_degrees: float = 6.0
    noise_strength: float = 3.0
    unread_scale: float = UNSEEN_PAST_LOG

    def __post_init__(self) -> None:
        if min(getattr(self, column.name) for column in fields(self)) < 0.0:
            raise ValueError("a setting of the forecast is below 0")
        if self.terminal_load_scatter > 0.15:  # three points of it must stay on this side of the terminal
            raise ValueError(f"terminal load scatter {self.terminal_load_scatter} is above 0.15")
        if self.node_likeness > 1.0:
            raise ValueError(f"node likeness {self.node_likeness} is above 1")
        if min(self.future_rate_log_sd, self.life_degrees, self.unread_scale, self.bend_memory_h) == 0.0:
            raise ValueError("future rate, life degrees, unread scale and bend memory must be above 0")


@dataclass(frozen=True, slots=True)
class Positions:
    """The inputs per position, (P,) and (P, J), and of a block of them.

    noise: variance of the readings over the stated one, as known before. node_likeness: see `ForecastSettings`. end:
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
    node_likeness: Floats
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

    first (n,): where each position's nodes begin; each has one at least. place: in a flat table of all nodes of all.
    log_end: ln load at the terminal. clean: level above its mean. scale: of the noise. log_life: ln life.
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
    kept = 1.0 / (1.0 + some.bin_variance[:, None] * weight)
    kept *= _share_of_each(weight * kept, some.node_likeness)[:, None]
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


def _share_of_each(weight: Floats, likeness: Floats) -> Floats:
    """What one node's readings say (n,), of what they would say if the errors of nodes had nothing in common.

    weight (n, S): of the nodes. So many nodes of equal weight as have its spread count (design effect and effective
    number: Kish, Survey Sampling, 1965, sections 5.4 and 11.7).
    """
    nodes = weight.sum(axis=1) ** 2 / np.maximum(np.sum(weight**2, axis=1), 1e-12)
    return np.asarray(1.0 / (1.0 + likeness * np.maximum(nodes - 1.0, 0.0)))


@dataclass(frozen=True, slots=True)
class _ByReadings:
    """What the readings alone say of every node, (n, K): ln share up to a factor, the clean level above its mean
    times the root of its precision, twice the scale of the noise.

    per_root (n,): one over that root. rise_left (n,): ln(terminal ΔP / clean ΔP), were the clean level its mean.
    """

    log_share: Singles
    standing: Singles
    twice_scale: Singles
    per_root: Singles
    rise_left: Singles


@dataclass(frozen=True, slots=True)
class _Chosen:
    """Some nodes of each of n positions, position by position: how many of each (n,), which (m,), and where they are
    in a flat table of all nodes of all (m,)."""

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
    life = life_evidence(
        got.log_h[:, 0],
        some.log_life_mean,
        some.log_life_sd,
        some.end,
        got.unread[:, 0],
        unread_scale=settings.unread_scale,
        degrees=settings.life_degrees,
    )
    chosen = _nodes_that_count(grid, by_readings, life)
    log_share, clean, log_end = _with_life(grid, chosen, by_readings, life)
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
        scale=np.float32(0.5) * by_readings.twice_scale.ravel()[chosen.place],
        log_life=life.log_life(grid.log_load[chosen.node] - log_end, chosen.each),
    )


def _by_readings(grid: LoadGrid, got: Gathered, some: Positions, settings: ForecastSettings) -> _ByReadings:
    weighted = got.weighted.sum(axis=1, keepdims=True)
    root = np.sqrt(1.0 / some.clean_var[:, None] + got.weight.sum(axis=1, keepdims=True))
    stated = got.squares + 2.0 * settings.noise_strength * some.noise[:, None]
    standing = _times(np.hstack([-got.weight, weighted]) / root, grid.moments[len(S_NODES) :])
    twice_scale = _times(np.hstack([got.weight, -2.0 * got.weighted, stated]), grid.moments)
    log_share = standing * standing
    twice_scale -= log_share
    np.clip(twice_scale, np.float32(2e-6), np.float32(np.inf), out=twice_scale)  # half the time of `maximum`
    np.log(twice_scale, out=log_share)
    log_share *= -got.freedom.astype(np.float32)
    log_share += grid.log_prior
    by_shape = log_share.reshape(*some.shape_weights.shape, -1)  # a view: nodes lie shape by shape
    by_shape += np.log(some.shape_weights + 1e-12).astype(np.float32)[:, :, None]
    rise_left = (some.log_terminal - some.clean_mean).astype(np.float32)
    return _ByReadings(log_share, standing, twice_scale, (1.0 / root[:, 0]).astype(np.float32), rise_left)


def _times(of_positions: Floats, moments: Singles) -> Singles:
    return np.asarray(of_positions.astype(np.float32) @ moments)


def _nodes_that_count(grid: LoadGrid, by_readings: _ByReadings, life: LifeEvidence) -> _Chosen:
    """Those whose estimated share is not negligible beside the likeliest one's, which is always among them."""
    lives, nodes = by_readings.log_share.shape
    bends, loads = len(THREE_POINTS), grid.loads
    table = by_readings.log_share.reshape(lives, -1, bends, loads)
    unbent = table[:, :, bends // 2]
    first_unbent = (np.arange(unbent.shape[1]) * bends + bends // 2) * loads
    by_life = _life_by_shape(grid, first_unbent + unbent.argmax(axis=2), by_readings, life)
    estimate = (unbent + by_life).reshape(lives, -1)
    best = estimate.argmax(axis=1)
    likely = first_unbent[best // loads] + best % loads
    alone = _Chosen(np.ones_like(best), likely, likely + np.arange(lives) * nodes)
    likely_share = _with_life(grid, alone, by_readings, life)[0]
    least = np.minimum(likely_share, estimate[np.arange(lives), best]) - np.float32(_NEGLIGIBLE_LOG)
    place = np.flatnonzero(table > (least[:, None, None] - by_life)[:, :, None])
    of_position = np.diff(np.searchsorted(place, np.arange(lives + 1) * nodes))
    return _Chosen(of_position, place - np.repeat(np.arange(lives) * nodes, of_position), place)


def _life_by_shape(grid: LoadGrid, node: Indices, by_readings: _ByReadings, life: LifeEvidence) -> Singles:
    """What the life says of every shape and load (n, J, U), by the clean level of a node (n, J) of each shape."""
    clean = np.take_along_axis(by_readings.standing, node, axis=1) * by_readings.per_root[:, None]
    log_end = grid.log_terminal_load(by_readings.rise_left[:, None] - clean, np.arange(node.shape[1]))
    return life.log_share(grid.log_load[: grid.loads] - log_end[:, :, None], lambda each: each[:, None, None])


def _with_life(
    grid: LoadGrid, chosen: _Chosen, by_readings: _ByReadings, life: LifeEvidence
) -> tuple[Singles, Singles, Singles]:
    """Of the chosen nodes: ln share up to a factor, clean level, ln load at the terminal, (m,)."""
    clean = by_readings.standing.ravel()[chosen.place]
    clean *= chosen.each(by_readings.per_root)
    log_end = grid.log_terminal_load(chosen.each(by_readings.rise_left) - clean, grid.shape[chosen.node])
    log_share = life.log_share(grid.log_load[chosen.node] - log_end, chosen.each)
    log_share += by_readings.log_share.ravel()[chosen.place]
    return log_share, clean, log_end
