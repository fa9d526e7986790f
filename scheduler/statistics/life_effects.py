"""Lives of one type, position and system have much in common: the Gaussian algebra of what they share.

ln life = type + position + system's ingression at the time + life's own. Types have a Gaussian guess each; the
effects of position and system are zero-mean, the system's forgets itself as e^(−|Δt|/τ) in calendar time. Systems
are independent of each other but for the types, so everything is done in one block per system, and exactly: what is
expected of a life (or of the one that is to come) is the Gaussian conditional, and leaving one life out is a
rank-one change of it.

Source: Rasmussen & Williams, Gaussian Processes for Machine Learning, 2006, sections 2.2, 2.7 (known regressors
with a Gaussian prior) and 5.4.2 (leaving one out from the inverse).
"""

from collections.abc import Iterator
from dataclasses import dataclass, fields, replace

import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float64]
Indices = npt.NDArray[np.int64]

_COVARIANCES_AT_ONCE = 2_000_000


@dataclass(frozen=True, slots=True)
class Spreads:
    """Variances of ln life: within a position, between positions of a type, of a system in time; τ in days."""

    within: float
    between: float
    system: float
    memory_d: float


@dataclass(frozen=True, slots=True)
class Where:
    """To which type, position and system a life belongs, and when it was lived (days), (n,) each."""

    type: Indices
    position: Indices
    system: Indices
    day: Floats

    def at(self, rows: Indices) -> "Where":
        return Where(self.type[rows], self.position[rows], self.system[rows], self.day[rows])

    def __len__(self) -> int:
        return len(self.type)


def joined(one: Where, other: Where) -> Where:
    """The lives of one, and then those of the other."""
    columns = (np.concatenate([getattr(one, each.name), getattr(other, each.name)]) for each in fields(Where))
    return Where(*columns)


@dataclass(frozen=True, slots=True)
class TypeGuess:
    """What is believed of each type's mean ln life before any life, (T,)."""

    mean: Floats
    var: Floats


@dataclass(frozen=True, slots=True)
class Expected:
    """Mean and variance of type + position + system, without what is a life's own, (m,) each."""

    mean: Floats
    var: Floats


@dataclass(frozen=True, slots=True)
class _Batch:
    """B systems of at most k lives: rows (B, k) of the lives (−1 fills up), V⁻¹, V⁻¹(y − o), V⁻¹X (B, k, T)."""

    systems: Indices
    rows: Indices
    inverse: Floats
    pulled: Floats
    by_type: Floats


@dataclass(frozen=True, slots=True)
class LifeEffects:
    """Lives conditioned upon, in batches of systems with about as many lives; type_mean, type_cov are the types'
    now."""

    lives: Where
    spreads: Spreads
    batches: tuple[_Batch, ...]
    type_mean: Floats
    type_cov: Floats
    log_likelihood: float

    def expected(self, targets: Where, leave_out: Indices) -> Expected:
        """Of each target, with the life `leave_out` (−1: none) of its system taken away."""
        prior_var = self.spreads.between + self.spreads.system
        mean = self.type_mean[targets.type]
        var = prior_var + np.diag(self.type_cov)[targets.type]
        for batch in self.batches:
            of = _of_systems(batch.systems, targets.system)
            if of.size:
                asked = targets.at(of)
                shared = _covariance(asked, self.lives.at(batch.rows), self.spreads)
                own = np.where(of >= 0, asked.type, -1)
                out = np.where(of >= 0, leave_out[of], -1)
                found = self._conditional(batch, shared, own, out, prior_var)
                mean[of[of >= 0]], var[of[of >= 0]] = (part[of >= 0] for part in found)
        return Expected(mean, var)

    def position_effects(self) -> tuple[Floats, Floats]:
        """Mean and variance of each position's own effect, one for each position that has lives."""
        _, first = np.unique(self.lives.position, return_index=True)
        held = self.lives.at(first)
        mean, var = np.zeros(len(held)), np.zeros(len(held))
        for batch in self.batches:
            of = _of_systems(batch.systems, held.system)
            if of.size:
                alone = replace(self.spreads, system=0.0)
                shared = _covariance(held.at(of), self.lives.at(batch.rows), alone)
                nobody = np.full(of.shape, -1)
                found = self._conditional(batch, shared, nobody, nobody, self.spreads.between)
                mean[of[of >= 0]], var[of[of >= 0]] = (part[of >= 0] for part in found)
        return mean, var

    def _conditional(
        self, batch: _Batch, shared: Floats, own_type: Indices, leave_out: Indices, prior_var: float
    ) -> tuple[Floats, Floats]:
        """Mean and variance (B, q) from the covariances (B, q, k) with the lives of each system.

        own_type −1 asks for an effect alone. A life left out is V⁻¹ − vv'/v_ii throughout.
        """
        shared = np.where(batch.rows[:, None, :] >= 0, shared, 0.0)
        gain = shared @ batch.inverse
        base = np.einsum("bqk,bk->bq", shared, batch.pulled)
        place = np.argmax(batch.rows[:, None, :] == leave_out[:, :, None], axis=2)
        left = leave_out >= 0
        block = np.arange(len(place))[:, None]
        column, own = batch.inverse[block, place], batch.inverse[block, place, place]
        along = np.where(left, np.einsum("bqk,bqk->bq", shared, column) / own, 0.0)
        gain = gain - along[:, :, None] * column
        base = base - along * batch.pulled[block, place]
        regressor = -self._by_type(batch.rows, gain)
        regressor[(*np.nonzero(own_type >= 0), own_type[own_type >= 0])] += 1.0
        a = batch.by_type[block, place] * left[:, :, None]
        c = np.where(left, batch.pulled[block, place] / own, 0.0)
        s = a @ self.type_cov
        a_s = np.sum(a * s, axis=2)
        den = own - a_s
        beta = self.type_mean + s * ((a @ self.type_mean - c * a_s) / den - c)[:, :, None]
        mean = base + np.sum(regressor * beta, axis=2)
        about = np.sum((regressor @ self.type_cov) * regressor, axis=2)
        about += np.sum(regressor * s, axis=2) ** 2 / den
        explained = np.einsum("bqk,bqk->bq", gain, shared)
        return mean, np.maximum(prior_var - explained + about, 1e-9)

    def _by_type(self, rows: Indices, values: Floats) -> Floats:
        """Σ of `values` (B, q, k) over the lives of each type, (B, q, T)."""
        types, (blocks, asked, _) = len(self.type_mean), values.shape
        line = np.arange(blocks * asked).reshape(blocks, asked, 1) * types
        weights = np.where(rows[:, None, :] >= 0, values, 0.0)
        at = line + self.lives.type[rows][:, None, :]
        summed = np.bincount(at.ravel(), weights.ravel(), blocks * asked * types)
        return np.asarray(summed, dtype=np.float64).reshape(blocks, asked, types)


def condition_on(lives: Where, seen: Floats, seen_var: Floats, guess: TypeGuess, spreads: Spreads) -> LifeEffects:
    """Condition on lives whose ln life is `seen` (n,), each within `seen_var` > 0 of type + position + system."""
    types = len(guess.mean)
    precision, pull = np.diag(1.0 / guess.var), guess.mean / guess.var
    fit, log_det = 0.0, 0.0
    batches = []
    for systems, rows in _systems_of_like_size(lives.system):
        held = rows >= 0
        some = lives.at(rows)
        covariance = np.where(held[:, :, None] & held[:, None, :], _covariance(some, some, spreads), 0.0)
        diagonal = np.arange(rows.shape[1])
        covariance[:, diagonal, diagonal] += np.where(held, seen_var[rows], 1.0)
        design = np.zeros((*rows.shape, types))
        design[(*np.nonzero(held), some.type[held])] = 1.0
        level = np.where(held, seen[rows], 0.0)
        inverse = np.linalg.inv(covariance)
        batch = _Batch(systems, rows, inverse, np.einsum("bij,bj->bi", inverse, level), inverse @ design)
        batches.append(batch)
        precision = precision + np.einsum("bkt,bku->tu", design, batch.by_type, optimize=True)
        pull = pull + np.einsum("bkt,bk->t", batch.by_type, level)
        fit += float(np.sum(level * batch.pulled))
        log_det += float(np.sum(np.linalg.slogdet(covariance)[1]))
    cov = np.linalg.inv(precision)
    mean = cov @ pull
    fit += float(np.sum(guess.mean**2 / guess.var)) - float(pull @ mean)
    log_det += float(np.sum(np.log(guess.var))) + float(np.linalg.slogdet(precision)[1])
    return LifeEffects(lives, spreads, tuple(batches), mean, np.asarray(cov), -0.5 * (fit + log_det))


def _systems_of_like_size(system: Indices) -> Iterator[tuple[Indices, Indices]]:
    """Systems with up to 2, 4, 8 … lives, (B,), and the rows of their lives, filled up with −1, (B, k)."""
    order, named, first, count = _sorted_by(system)
    width = 2 ** np.ceil(np.log2(np.maximum(count, 1))).astype(np.int64)
    for size in np.unique(width).tolist():
        chosen = np.flatnonzero(width == size)
        # a few at a time: the covariances of a batch are what takes memory
        for some in np.array_split(chosen, -(-len(chosen) * size * size // _COVARIANCES_AT_ONCE)):
            yield named[some], _padded(order, first[some], count[some])


def _of_systems(systems: Indices, of: Indices) -> Indices:
    """The rows of `of` that belong to each of the systems, filled up with −1, (B, q); of no size where there are
    none."""
    order, named, first, count = _sorted_by(of)
    at = np.searchsorted(named, systems)
    known = (at < len(named)) & (named[np.minimum(at, len(named) - 1)] == systems) if len(named) else at < 0
    at = np.where(known, at, 0)
    if not known.any():
        return np.zeros((len(systems), 0), dtype=np.int64)
    return _padded(order, first[at], np.where(known, count[at], 0))


def _sorted_by(system: Indices) -> tuple[Indices, Indices, Indices, Indices]:
    order = np.argsort(system, kind="stable")
    named, first, count = np.unique(system[order], return_index=True, return_counts=True)
    return order, named, first.astype(np.int64), count.astype(np.int64)


def _padded(order: Indices, first: Indices, count: Indices) -> Indices:
    step = np.arange(int(count.max(initial=0)))
    inside = step < count[:, None]
    return np.where(inside, order[np.minimum(first[:, None] + step, len(order) - 1)], -1)


def _covariance(one: Where, other: Where, spreads: Spreads) -> Floats:
    """Covariance of the effects that two sets of lives of each system share, (B, q) and (B, k) to (B, q, k)."""
    shared = np.where(one.position[:, :, None] == other.position[:, None, :], spreads.between, 0.0)
    if spreads.system:
        apart_d = np.abs(one.day[:, :, None] - other.day[:, None, :])
        shared += spreads.system * np.exp(-apart_d / spreads.memory_d)
    return shared
