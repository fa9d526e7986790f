"""What the lives of a replay cost as they were changed, and what they would have under other rules of change.

Four rules on the same lives: as it really was; the fixed interval of the position, stated as hours or age, or the
median that it in fact used where none is stated; the due dates of the replay; and the one fixed interval of each type
that would have been best, known only afterwards. Costs are those of `risk`: a stop, the labour and the elements of a
planned change, and what the plant says of a late one. Where either is not told, the lives are counted in units of
one planned change, a late one at `UNTOLD_LATE_RATIO` of them.
"""

from dataclasses import dataclass

import numpy as np

from scheduler.planning.plant_columns import Flags, Floats, PlantColumns
from scheduler.planning.replay_outcomes import PastLives
from scheduler.planning.risk import planned_change_cost
from scheduler.statistics.policy_cost import EndedLives, PolicyCost, best_fixed_h, cost_of

UNTOLD_LATE_RATIO = 10.0
"""A late change in planned ones, where the plant does not say; ours, of the order that stops cost."""

FEWEST_OWN_LIVES = 3
"""Fewer finished lives tell no interval that a position in fact used: its type's then stands for it (ours)."""


@dataclass(frozen=True, slots=True)
class Policies:
    """The rules on some lives. type −1: of all types. currency None: in units of one planned change.

    stated: lives of positions with a stated interval. best_interval_h: infinite where running to the end was best,
    NaN over all types, where each has its own.
    """

    type: int
    currency: str | None
    lives: int
    stated: int
    actual: PolicyCost
    fixed: PolicyCost
    replayed: PolicyCost
    best: PolicyCost
    best_interval_h: float


@dataclass(frozen=True, slots=True)
class FixedIntervals:
    """Of each life (L,): run hours of the interval that its position was changed by, and whether that was stated."""

    change_h: Floats
    stated: Flags


def fixed_intervals(columns: PlantColumns, lives: PastLives) -> FixedIntervals:
    """An age becomes hours at the pace of the very life. Lives of a type without others are their own interval."""
    position = lives.position
    per_day_h = lives.life_h / np.maximum(lives.removed_day - lives.fitted_day, 1e-6)
    by_age_h = columns.positions.max_age_d[position] * per_day_h
    stated_h = np.fmin(columns.positions.max_hours[position], by_age_h)
    stated = ~np.isnan(stated_h)
    used_h = np.array([_used_h(lives, row) for row in range(len(lives))], dtype=np.float64)
    return FixedIntervals(np.where(stated, stated_h, used_h), np.asarray(stated))


def costs_of(
    columns: PlantColumns, lives: PastLives, intervals: FixedIntervals, replayed_h: Floats, chosen: Flags
) -> list[Policies]:
    """By currency, each type of the `chosen` lives (L,) and then all of them. replayed_h (L,): of the due dates."""
    planned, late, currency = _costs(columns, lives)
    found = []
    for paid_in in sorted({currency[row] for row in np.flatnonzero(chosen)}, key=lambda told: (told is None, told)):
        own = chosen & np.array([told == paid_in for told in currency], dtype=bool)
        by_type = [
            _policies(
                *(int(kind), paid_in, lives, planned, late),
                *(intervals, replayed_h, np.flatnonzero(own & (lives.type == kind))),
            )
            for kind in np.unique(lives.type[own])
        ]
        found += [*by_type, _together(by_type, paid_in)]
    return found


def _used_h(lives: PastLives, row: int) -> float:
    own = lives.life_h[(lives.position == lives.position[row]) & (lives.type == lives.type[row])]
    if len(own) < FEWEST_OWN_LIVES:
        own = lives.life_h[lives.type == lives.type[row]]
    return float(np.median(own))


def _costs(columns: PlantColumns, lives: PastLives) -> tuple[Floats, Floats, list[str | None]]:
    system = columns.positions.system[lives.position]
    planned, late = planned_change_cost(columns)[lives.position], columns.systems.late_cost[system]
    paid_in = [columns.plants.currency[plant] for plant in columns.systems.plant[system]]
    told = (planned > 0.0) & (late > 0.0) & np.array([bool(code) for code in paid_in], dtype=bool)
    return (
        np.where(told, planned, 1.0),
        np.where(told, late, UNTOLD_LATE_RATIO),
        [code if known else None for code, known in zip(paid_in, told, strict=True)],
    )


def _policies(
    kind: int,
    currency: str | None,
    lives: PastLives,
    planned: Floats,
    late: Floats,
    intervals: FixedIntervals,
    replayed_h: Floats,
    rows: np.ndarray[tuple[int], np.dtype[np.intp]],
) -> Policies:
    ended = EndedLives(lives.life_h[rows], lives.is_late[rows], planned[rows], late[rows])
    best_h = best_fixed_h(ended)
    return Policies(
        *(kind, currency, len(rows), int(intervals.stated[rows].sum())),
        actual=cost_of(ended, np.full(len(rows), np.inf)),
        fixed=cost_of(ended, intervals.change_h[rows]),
        replayed=cost_of(ended, replayed_h[rows]),
        best=cost_of(ended, np.full(len(rows), best_h)),
        best_interval_h=best_h,
    )


def _together(by_type: list[Policies], currency: str | None) -> Policies:
    def total(name: str) -> PolicyCost:
        each: list[PolicyCost] = [getattr(one, name) for one in by_type]
        return PolicyCost(
            sum(one.changes for one in each),
            sum(one.late for one in each),
            sum(one.run_h for one in each),
            sum(one.cost for one in each),
        )

    return Policies(
        type=-1,
        currency=currency,
        lives=sum(one.lives for one in by_type),
        stated=sum(one.stated for one in by_type),
        actual=total("actual"),
        fixed=total("fixed"),
        replayed=total("replayed"),
        best=total("best"),
        best_interval_h=float("nan"),
    )
