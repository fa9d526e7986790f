"""The grid on which a life is weighed: load now × shape of the loading curve × bend of the rate.

A shape is a row of a table, ln(ΔP / clean ΔP) over the load, so that the analytic curves of `loading_curve`
and any curve learned from a plant's finished lives stand side by side. The load now is spaced in its
logarithm where it is small (there only the life prior speaks), closely up to the terminal, and on to 2.2, so
that an element that is already past its terminal is seen to be so.
"""

from dataclasses import dataclass
from functools import cache, lru_cache

import numpy as np
import numpy.typing as npt

from scheduler.engineering.loading_curve import SHAPES, log_dp_ratio

Floats = npt.NDArray[np.float64]
Singles = npt.NDArray[np.float32]
Indices = npt.NDArray[np.int64]

LOAD: Floats = np.linspace(0.0, 2.6, 521)
"""The loads at which a shape is tabulated; 1 is where the element ΔP is ten times the clean one."""
HIGHEST_RISE = 6.0
"""Rises are cut at e⁶ = 400 times the clean ΔP: beyond any gauge, and finite where pores close."""
LOAD_NOW: Floats = np.concatenate(
    [np.geomspace(0.004, 0.25, 17), np.linspace(0.275, 1.2, 33), np.linspace(1.26, 2.2, 6)]
)
S_NODES: Floats = 1.0 - (1.0 - np.linspace(0.0, 1.0, 33)) ** 1.5
"""Shares of the run hours at which readings are gathered: dense near now, where the curve bends."""
THREE_POINTS = ((-(3.0**0.5), 1.0 / 6.0), (0.0, 2.0 / 3.0), (3.0**0.5, 1.0 / 6.0))
"""Standard normal in three points (Gauss–Hermite): exact to the fifth power."""
_RISE_STEPS = 512
_LEAST_LOAD = 3e-3
_LEAST_RISE = 1e-8
"""Smaller rises are 0. Their squares would be below what single precision holds in full, and products with such
numbers take ten times as long (measured on the whole grid: 44 and 9 µs a position)."""


@dataclass(frozen=True, slots=True, eq=False)
class ShapeTable:
    """rise (J, len(LOAD)): ln(ΔP / clean ΔP) of each shape over LOAD: 0 at load 0, never falling, finite.

    codes: a name for each, by which its weights can be kept.
    """

    rise: Floats
    codes: tuple[str, ...]

    def __post_init__(self) -> None:
        if self.rise.ndim != 2 or self.rise.shape[1] != len(LOAD) or not np.all(np.isfinite(self.rise)):
            raise ValueError(f"a shape table of {self.rise.shape} needs {len(LOAD)} finite rises per shape")
        if len(self.codes) != len(self.rise):
            raise ValueError(f"{len(self.rise)} shapes have {len(self.codes)} codes")
        if np.any(self.rise[:, 0] != 0.0) or np.any(np.diff(self.rise, axis=1) < 0.0):
            raise ValueError("a shape must start at 0 and never fall with the load")

    def __len__(self) -> int:
        return len(self.rise)

    def and_also(self, rise: Floats, codes: tuple[str, ...]) -> "ShapeTable":
        """The table with more shapes behind its own."""
        return ShapeTable(np.concatenate([self.rise, rise]), self.codes + codes)


@dataclass(frozen=True, slots=True)
class LoadGrid:
    """K nodes, by shape, then bend, then load now: what each would show, and where it would end.

    moments (2 len(S_NODES) + 1, K): the squares of the rises at S_NODES, the rises, and ones, so that sums over a
    life's readings are products with it. inverse, inverse_step (J, _RISE_STEPS): ln load at even steps of the rise,
    and from each to the next.
    """

    log_load: Singles
    load: Singles
    shape: Indices
    log_bend: Singles
    log_prior: Singles
    moments: Singles
    inverse: Singles
    inverse_step: Singles

    @property
    def loads(self) -> int:
        """How many loads lie side by side, of one shape and bend."""
        return len(LOAD_NOW)

    @property
    def rise(self) -> Singles:
        """ln(ΔP / clean ΔP) that each node would have shown, (len(S_NODES), K)."""
        return self.moments[len(S_NODES) : -1]

    def of(self, shapes: Indices) -> "LoadGrid":
        """The nodes of some of the shapes, numbered anew in the order given."""
        each = len(self.log_load) // len(self.inverse)
        nodes = (shapes[:, None] * each + np.arange(each)).ravel()
        return LoadGrid(
            log_load=self.log_load[nodes],
            load=self.load[nodes],
            shape=np.repeat(np.arange(len(shapes)), each),
            log_bend=self.log_bend[nodes],
            log_prior=self.log_prior[nodes],
            moments=self.moments.take(nodes, axis=1),
            inverse=self.inverse[shapes],
            inverse_step=self.inverse_step[shapes],
        )

    def log_terminal_load(self, log_rise: Singles, shape: Indices | None = None) -> Singles:
        """ln load at which each node's shape, or a `shape` each (m,) or (n, m), has risen by `log_rise` (n, m)."""
        return _log_load_at(self.inverse, self.inverse_step, self.shape if shape is None else shape, log_rise)


@cache
def shape_table() -> ShapeTable:
    """The analytic shapes of `loading_curve`."""
    rows = [log_dp_ratio(LOAD, shape.blocking, shape.onset) for shape in SHAPES]
    codes = tuple(f"{shape.blocking:g} {shape.onset:g}" for shape in SHAPES)
    return ShapeTable(np.minimum(np.array(rows), HIGHEST_RISE), codes)


def first_shape_weights(shapes: ShapeTable, log_terminal_ratio: Floats) -> Floats:
    """Weights (P, J) before any life of the type is known; log_terminal_ratio (P,): ln(terminal / clean ΔP).

    Ours: 65 % to shapes with half the permitted ΔP at about 88 % of life, between the 80 ± 5 % of a published
    filtration lexicon (seen in the project's notes only) and the 90 to 96 % of 24 recorded clogging runs;
    25 % to those with a knee (less than a quarter of the rise in 92 % of life); 10 % evenly. Rather too flat
    than too straight: a straight rise shows itself early, a knee cannot.
    """
    inverse = _inverse(shapes)
    steps, every = _steps(inverse), np.arange(len(shapes))
    ratio = log_terminal_ratio[:, None].astype(np.float32)
    end = _log_load_at(inverse, steps, every, ratio).astype(np.float64)
    off = np.exp(_log_load_at(inverse, steps, every, ratio - np.float32(np.log(2.0))) - end) - 0.88
    fit = np.exp(-0.5 * (off / np.where(off < 0.0, 0.10, 0.12)) ** 2) + 1e-12
    knee = np.where(np.exp(_log_load_at(inverse, steps, every, 0.25 * ratio) - end) > 0.92, 1.0, 1e-12)
    weights = 0.65 * _shares(fit) + 0.25 * _shares(knee) + 0.10 / len(shapes)
    return np.asarray(weights)


def _shares(weights: npt.NDArray[np.floating]) -> Floats:
    return np.asarray(weights / weights.sum(axis=1, keepdims=True), dtype=np.float64)


@lru_cache(maxsize=4)
def load_grid(shapes: ShapeTable, rate_bend_log_sd: float) -> LoadGrid:
    """All combinations of load now, shape and rate bend κ; the load at share s of the hours is u_now s^κ."""
    bend = np.array([point * rate_bend_log_sd for point, _ in THREE_POINTS])
    bend_weight = np.log([weight for _, weight in THREE_POINTS])
    log_now = np.log(LOAD_NOW)
    j, k, u = (axis.ravel() for axis in np.indices((len(shapes), len(bend), len(LOAD_NOW))))
    load = LOAD_NOW[u] * S_NODES[:, None] ** np.exp(bend[k])
    rise = np.empty_like(load)
    for shape, table in enumerate(shapes.rise):
        rise[:, j == shape] = np.interp(load[:, j == shape], LOAD, table)
    rise[rise < _LEAST_RISE] = 0.0
    inverse = _inverse(shapes)
    return LoadGrid(
        log_load=log_now[u].astype(np.float32),
        load=LOAD_NOW[u].astype(np.float32),
        shape=j.astype(np.int64),
        log_bend=bend[k].astype(np.float32),
        log_prior=(np.log(np.gradient(log_now))[u] + bend_weight[k]).astype(np.float32),
        moments=np.concatenate([rise**2, rise, np.ones((1, load.shape[1]))]).astype(np.float32),
        inverse=inverse,
        inverse_step=_steps(inverse),
    )


def rise_at_load(shapes: ShapeTable, shape: Indices, load: Floats) -> Floats:
    """ln(ΔP / clean ΔP) of a shape each at a load each, (n,)."""
    at = np.clip(load / (LOAD[1] - LOAD[0]), 0.0, len(LOAD) - 1.000001)
    step = at.astype(np.int64)
    below, above = shapes.rise[shape, step], shapes.rise[shape, step + 1]
    return np.asarray(below + (at - step) * (above - below))


def load_at_rise(shapes: ShapeTable, log_rise: Floats) -> Floats:
    """The load at which each shape has risen by each of `log_rise` (n,), (n, J)."""
    inverse = _inverse(shapes)
    found = _log_load_at(inverse, _steps(inverse), np.arange(len(shapes)), log_rise[:, None].astype(np.float32))
    return np.exp(found.astype(np.float64))


def _inverse(shapes: ShapeTable) -> Singles:
    """ln load at evenly spaced rises from 0 to HIGHEST_RISE, (J, _RISE_STEPS)."""
    rises = np.linspace(0.0, HIGHEST_RISE, _RISE_STEPS)
    # a hair of slope makes flat stretches invertible
    rows = [np.interp(rises, row + 1e-9 * LOAD, LOAD) for row in shapes.rise]
    return np.log(np.maximum(np.array(rows), _LEAST_LOAD)).astype(np.float32)


def _steps(inverse: Singles) -> Singles:
    """From each entry of the look-up to the next."""
    return np.diff(inverse, axis=1, append=inverse[:, -1:])


def _log_load_at(inverse: Singles, inverse_step: Singles, shape: Indices, log_rise: Singles) -> Singles:
    """Look-up, straight between steps: shape (m,) or (n, m), log_rise (n, m) or (n, 1). Below 0 reads as 0."""
    at = log_rise * np.float32((_RISE_STEPS - 1) / HIGHEST_RISE)
    np.clip(at, np.float32(0.0), np.float32((_RISE_STEPS - 1) * (1.0 - 1e-6)), out=at)
    step = np.floor(at)
    at -= step
    # whole numbers below 2^24 are exact in single precision; wider ones would double what is moved
    step = step + shape.astype(np.float32) * np.float32(_RISE_STEPS)
    place = step.astype(np.intp)
    found = inverse_step.ravel()[place]
    found *= at
    found += inverse.ravel()[place]
    return np.asarray(found)
