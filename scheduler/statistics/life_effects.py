"""Lives of one type, position and system have much in common: the Gaussian algebra of what they share.

ln life = type + position + system's ingression at the time + life's own. Types have a Gaussian guess each; the
effects of position and system are zero-mean, the system's forgets itself as e^(−|Δt|/τ) in calendar time. Systems
are independent of each other but for the types, so everything is done in one block per system, and exactly: what is
expected of a life (or of the one that is to come) is the Gaussian conditional, and leaving one life out is a
rank-one change of it.

Source: Rasmussen & Williams, Gaussian Processes for Machine Learning, 2006, sections 2.2, 2.7 (known regressors
with a Gaussian prior) and 5.4.2 (leaving one out from the inverse).
"""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy.linalg import cho_factor, cho_solve

Floats = npt.NDArray[np.float64]
Indices = npt.NDArray[np.int64]


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
class _Block:
    """One system: the rows of its lives, V⁻¹, V⁻¹(y − o), V⁻¹X (k, T)."""

    rows: Indices
    inverse: Floats
    pulled: Floats
    by_type: Floats


@dataclass(frozen=True, slots=True)
class LifeEffects:
    """Lives conditioned upon: one block per system; type_mean, type_cov are of the types' means now."""

    lives: Where
    spreads: Spreads
    blocks: dict[int, _Block]
    type_mean: Floats
    type_cov: Floats
    log_likelihood: float

    def expected(self, targets: Where, leave_out: Indices) -> Expected:
        """Of each target, with the life `leave_out` (−1: none) of its system taken away."""
        mean, var = np.empty(len(targets)), np.empty(len(targets))
        order = np.argsort(targets.system, kind="stable")
        systems, first = np.unique(targets.system[order], return_index=True)
        for system, rows in zip(systems, np.split(order, first[1:])[: len(systems)], strict=True):
            block = self.blocks.get(int(system))
            some = targets.at(rows)
            if block is None:
                mean[rows] = self.type_mean[some.type]
                var[rows] = self.spreads.between + self.spreads.system + np.diag(self.type_cov)[some.type]
            else:
                mean[rows], var[rows] = self._in_block(block, some, leave_out[rows])
        return Expected(mean, var)

    def _in_block(self, block: _Block, targets: Where, leave_out: Indices) -> tuple[Floats, Floats]:
        shared = _shared(targets, self.lives.at(block.rows), self.spreads)
        beta, cov = self.type_mean, self.type_cov
        residual = block.pulled - block.by_type @ beta
        gain = shared @ block.inverse
        regressor = -gain @ _design(self.lives.at(block.rows), len(beta))
        regressor[np.arange(len(targets)), targets.type] += 1.0
        mean = beta[targets.type] + shared @ residual
        unexplained = self.spreads.between + self.spreads.system - np.sum(gain * shared, axis=1)
        spread = regressor @ cov
        var = unexplained + np.sum(spread * regressor, axis=1)
        left = np.flatnonzero(leave_out >= 0)
        if len(left):
            place = np.searchsorted(block.rows, leave_out[left])
            kept_mean, kept_var = self._without(block, targets.at(left), shared[left], place)
            mean[left], var[left] = kept_mean, kept_var
        return mean, np.maximum(var, 1e-9)

    def _without(self, block: _Block, targets: Where, shared: Floats, place: Indices) -> tuple[Floats, Floats]:
        """The same with the life at `place` of the block taken away: V⁻¹ − vv'/v_ii throughout."""
        beta, cov = self.type_mean, self.type_cov
        column, own = block.inverse[:, place].T, block.inverse[place, place]
        a = block.by_type[place]
        c = block.pulled[place] / own
        s = a @ cov
        a_s, a_beta = np.sum(a * s, axis=1), a @ beta
        den = own - a_s
        new_beta = beta + s * ((a_beta - c * a_s) / den - c)[:, None]
        along = np.sum(shared * column, axis=1) / own
        design = _design(self.lives.at(block.rows), len(beta))
        gain = shared @ block.inverse - along[:, None] * column
        regressor = -gain @ design
        rows = np.arange(len(targets))
        regressor[rows, targets.type] += 1.0
        pulled = shared @ block.pulled - along * block.pulled[place]
        mean = pulled + np.sum(regressor * new_beta, axis=1)
        unexplained = self.spreads.between + self.spreads.system - np.sum(gain * shared, axis=1)
        spread = regressor @ cov
        var = unexplained + np.sum(spread * regressor, axis=1) + np.sum(regressor * s, axis=1) ** 2 / den
        return mean, var

    def position_effects(self) -> tuple[Floats, Floats]:
        """Mean and variance of each position's own effect, one for each position that has lives."""
        means, variances = [np.zeros(0)], [np.zeros(0)]
        for block in self.blocks.values():
            of = self.lives.position[block.rows]
            held = np.unique(of)
            sums = (held[:, None] == of[None, :]).astype(np.float64) * self.spreads.between
            gain = sums @ block.inverse
            by_type = gain @ _design(self.lives.at(block.rows), len(self.type_mean))
            means.append(sums @ block.pulled - by_type @ self.type_mean)
            about = np.sum((by_type @ self.type_cov) * by_type, axis=1)
            variances.append(self.spreads.between - np.sum(gain * sums, axis=1) + about)
        return np.concatenate(means), np.concatenate(variances)


def condition_on(lives: Where, seen: Floats, seen_var: Floats, guess: TypeGuess, spreads: Spreads) -> LifeEffects:
    """Condition on lives whose ln life is `seen` (n,), each within `seen_var` > 0 of type + position + system."""
    order = np.argsort(lives.system, kind="stable")
    systems, first = np.unique(lives.system[order], return_index=True)
    types = len(guess.mean)
    blocks: dict[int, _Block] = {}
    precision = np.diag(1.0 / guess.var)
    pull = guess.mean / guess.var
    fit, log_det = 0.0, 0.0
    for system, rows in zip(systems, np.split(order, first[1:])[: len(systems)], strict=True):
        some = lives.at(rows)
        covariance = _shared(some, some, spreads) + np.diag(seen_var[rows])
        factor, _ = cho_factor(covariance, lower=True, check_finite=False)
        inverse = np.asarray(cho_solve((factor, True), np.eye(len(rows)), check_finite=False))
        design = _design(some, types)
        by_type = inverse @ design
        pulled = inverse @ seen[rows]
        blocks[int(system)] = _Block(rows, inverse, pulled, by_type)
        precision += design.T @ by_type
        pull += by_type.T @ seen[rows]
        fit += float(seen[rows] @ pulled)
        log_det += 2.0 * float(np.sum(np.log(np.diag(factor))))
    cov = np.linalg.inv(precision)
    mean = cov @ pull
    fit += float(np.sum(guess.mean**2 / guess.var)) - float(pull @ mean)
    log_det += float(np.sum(np.log(guess.var))) + float(np.linalg.slogdet(precision)[1])
    return LifeEffects(lives, spreads, blocks, mean, np.asarray(cov), -0.5 * (fit + log_det))


def _shared(one: Where, other: Where, spreads: Spreads) -> Floats:
    """Covariance of the effects that two sets of lives of one system share, (a, b)."""
    shared = np.where(one.position[:, None] == other.position[None, :], spreads.between, 0.0)
    if spreads.system:
        shared += spreads.system * np.exp(-np.abs(one.day[:, None] - other.day[None, :]) / spreads.memory_d)
    return shared


def _design(lives: Where, types: int) -> Floats:
    design = np.zeros((len(lives), types))
    design[np.arange(len(lives)), lives.type] = 1.0
    return design
