"""Several triggers at once: when is the first of them, at the risk that the plant chooses, and which is it.

Soft causes (ΔP forecast, random damage, an event's hazard, cleanliness) come as distributions over days,
hard limits (maker's hours, calendar age, shelf life, a shortened interval) as steps. Taken as independent,
the first of all has S(t) = Π (1 − F_c(t)) up to the first step, and 0 from there. ΔP and life history are
one cause: the history is the prior of the ΔP forecast; handed in twice it would be counted twice.

Between two days of the grid 1 − S runs straight, and a cause's share in what ends there is its share in the
cumulative hazard −ln(1 − F): shares then sum to what ended, exactly. Source: competing risks, cause-specific
sub-distributions a_c = ∫ dF_c Π_{c' ≠ c} (1 − F_c'), Kalbfleisch & Prentice, The Statistical Analysis of
Failure Time Data, 2nd ed. 2002, section 8.2.
"""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float64]
Indices = npt.NDArray[np.int64]

NOTHING = -1
"""In `binding` and `runner_up`: no trigger makes the position due within the grid."""
_CERTAIN = 700.0  # cumulative hazard of a certain end: exp(−700) is the smallest survival that floats carry


@dataclass(frozen=True, slots=True)
class Fused:
    """All triggers of P positions together; days count from the grid's day 0, infinite where never within it.

    due_day: the first day with P(reached) ≥ risk, or an earlier step. early_day, median_day, late_day: 10, 50
    and 90 % points of the first trigger. A passed step keeps its negative day. binding, runner_up: indices
    into causes, then steps (NOTHING where none). day_without_binding: due day if the binding trigger were
    not there. share (C + S, P): how much of P(reached by due_day) each trigger brings; it sums to 1 − S(due).
    """

    due_day: Floats
    early_day: Floats
    median_day: Floats
    late_day: Floats
    binding: Indices
    runner_up: Indices
    day_without_binding: Floats
    share: Floats


def fuse(day_grid: Floats, causes: Floats, steps: Floats, risk: Floats) -> Fused:
    """The first of all triggers.

    day_grid (D,): days from now, rising from 0. causes (C, P, D): P(cause c has ended position p by then),
    not falling along a row. steps (S, P): days from now of the hard limits, infinite where there is none,
    negative where passed. risk (P,): accepted probability of having passed the limit, 0 < risk < 1.
    Raises ValueError naming what is outside.
    """
    _refuse_what_cannot_be(day_grid, causes, steps, risk)
    hazard = cumulative_hazard(causes)
    first_step = _first(steps)
    due, binding, share = _due(day_grid, hazard, steps, risk)
    together = hazard.sum(axis=0)
    early, median, late = (
        np.minimum(_crossing(day_grid, together, np.full(len(risk), level)), first_step) for level in (0.1, 0.5, 0.9)
    )
    rest_hazard, rest_steps = _without(binding, hazard, steps)
    rest_due, runner_up, _ = _due(day_grid, rest_hazard, rest_steps, risk)
    return Fused(due, early, median, late, binding, runner_up, rest_due, share)


def cumulative_hazard(probability: Floats) -> Floats:
    """−ln(1 − P), by which independent causes add up; finite for what is certain. Any shape."""
    with np.errstate(divide="ignore"):
        return np.minimum(-np.log1p(-probability), _CERTAIN)


def _refuse_what_cannot_be(day_grid: Floats, causes: Floats, steps: Floats, risk: Floats) -> None:
    if len(day_grid) < 2 or day_grid[0] != 0.0 or np.any(np.diff(day_grid) <= 0.0):
        raise ValueError("the day grid must rise from 0")
    positions = (len(risk),)
    if causes.ndim != 3 or causes.shape[1:] != positions + day_grid.shape or steps.shape[1:] != positions:
        raise ValueError(f"causes {causes.shape}, steps {steps.shape} and {len(risk)} risks on {len(day_grid)} days")
    if not np.all((risk > 0.0) & (risk < 1.0)):
        raise ValueError(f"risk {float(np.min(risk))} to {float(np.max(risk))} is outside 0 to 1")
    if not np.all((causes >= 0.0) & (causes <= 1.0)):
        raise ValueError("a cause's probability is outside 0 to 1")
    if np.any(np.diff(causes, axis=2) < -1e-9):
        raise ValueError("a cause's probability falls with time")
    if np.any(np.isnan(steps)):
        raise ValueError("a hard limit's day is not a number; infinite means that there is none")


def _first(steps: Floats) -> Floats:
    return np.asarray(np.min(steps, axis=0, initial=np.inf))


def _due(day_grid: Floats, hazard: Floats, steps: Floats, risk: Floats) -> tuple[Floats, Indices, Floats]:
    """Due day (P,), which trigger binds (P,), and each trigger's share (C + S, P)."""
    first_step = _first(steps)
    by_risk = _crossing(day_grid, hazard.sum(axis=0), risk)
    due = np.minimum(by_risk, first_step)
    share = np.zeros((len(hazard) + len(steps), len(risk)))
    share[: len(hazard)] = _ended_by(day_grid, hazard, due)
    at_step = np.isfinite(due) & (first_step <= by_risk)
    step_index = len(hazard) + (np.argmin(steps, axis=0) if len(steps) else np.zeros(len(risk), np.int64))
    rows = np.flatnonzero(at_step)
    share[step_index[rows], rows] = 1.0 - share[: len(hazard), rows].sum(axis=0)
    soft = np.argmax(share[: len(hazard)], axis=0) if len(hazard) else np.full(len(risk), NOTHING)
    binding = np.where(np.isfinite(due), np.where(at_step, step_index, soft), NOTHING)
    return due, binding.astype(np.int64), share


def _crossing(day_grid: Floats, hazard: Floats, level: Floats) -> Floats:
    """First day on which 1 − exp(−hazard) (P, D) reaches `level` (P,); infinite where it does not."""
    reached = -np.expm1(-hazard)
    after = (reached < level[:, None]).sum(axis=1)
    within = np.minimum(after, len(day_grid) - 1)
    before = np.maximum(within - 1, 0)
    rows = np.arange(len(level))
    low, high = reached[rows, before], reached[rows, within]
    share = np.divide(level - low, high - low, out=np.zeros_like(low), where=high > low)
    day = day_grid[before] + np.clip(share, 0.0, 1.0) * (day_grid[within] - day_grid[before])
    return np.where(after == len(day_grid), np.inf, np.where(after == 0, 0.0, day))


def _ended_by(day_grid: Floats, hazard: Floats, day: Floats) -> Floats:
    """Probability (C, P) that cause c came first, by `day` (P,): none before day 0, all beyond the grid."""
    survival = np.exp(-hazard.sum(axis=0))
    started = np.concatenate([np.ones((len(day), 1)), survival], axis=1)
    ended = started[:, :-1] - started[:, 1:]  # on day 0 itself, then in each interval
    steps_up = np.diff(hazard, axis=2, prepend=0.0)
    total = steps_up.sum(axis=0)
    length = np.diff(day_grid)
    passed = np.empty_like(ended)
    passed[:, 0] = day >= 0.0
    passed[:, 1:] = np.clip((day[:, None] - day_grid[:-1]) / length, 0.0, 1.0)
    counted = np.divide(ended * passed, total, out=np.zeros_like(ended), where=total > 0.0)
    return np.asarray(np.einsum("cpd,pd->cp", steps_up, counted))


def _without(binding: Indices, hazard: Floats, steps: Floats) -> tuple[Floats, Floats]:
    """The triggers with each position's binding one taken out."""
    rest_hazard, rest_steps = hazard.copy(), steps.copy()
    rows = np.flatnonzero((binding >= 0) & (binding < len(hazard)))
    rest_hazard[binding[rows], rows] = 0.0
    rows = np.flatnonzero(binding >= len(hazard))
    rest_steps[binding[rows] - len(hazard), rows] = np.inf
    return rest_hazard, rest_steps
