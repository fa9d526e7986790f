"""What lives cost under a rule of change, told on the same lives for every rule.

A rule gives each life the run hours at which it would have changed it. Before the life's real end that is a planned
change at those hours. At the real end or after it, the life is counted as it really ended: at its hours, planned or
late. So no rule is paid for hours that nobody has seen, and a rule that would have let a life run on that was changed
early gains nothing by it: of such lives the longest change is the real one. Costs are those of a renewal, cost over
hours (Barlow & Proschan, Mathematical Theory of Reliability, 1965, chapter 4; chapter from memory).
"""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float64]
Flags = npt.NDArray[np.bool_]


@dataclass(frozen=True, slots=True)
class EndedLives:
    """n lives as they ended. life_h (n,) above 0. is_late (n,): the limit had been passed. planned_cost, late_cost
    (n,): of its change in time and after the limit, in one unit for all. Raises ValueError for a life not above 0."""

    life_h: Floats
    is_late: Flags
    planned_cost: Floats
    late_cost: Floats

    def __post_init__(self) -> None:
        if len(self.life_h) and not np.all(self.life_h > 0.0):
            raise ValueError(f"a life of {float(np.min(self.life_h))} h is not above 0 h")

    def __len__(self) -> int:
        return len(self.life_h)


@dataclass(frozen=True, slots=True)
class PolicyCost:
    """Of one rule: its changes and those of them that were late, the hours they served, and the costs."""

    changes: int
    late: int
    run_h: float
    cost: float

    @property
    def per_1000_h(self) -> float:
        return 1000.0 * self.cost / self.run_h if self.run_h else float("nan")


def cost_of(lives: EndedLives, change_h: Floats) -> PolicyCost:
    """Of a rule that changes at change_h (n,) > 0, infinite where it does not before the real end.

    >>> lives = EndedLives(np.array([800.0, 1000.0]), np.array([False, True]), np.full(2, 1.0), np.full(2, 10.0))
    >>> cost_of(lives, np.full(2, 500.0)).per_1000_h, cost_of(lives, np.full(2, np.inf)).cost
    (2.0, 11.0)
    """
    is_before = change_h < lives.life_h
    is_late = ~is_before & lives.is_late
    return PolicyCost(
        changes=len(lives),
        late=int(np.sum(is_late)),
        run_h=float(np.sum(np.where(is_before, change_h, lives.life_h))),
        cost=float(np.sum(np.where(is_late, lives.late_cost, lives.planned_cost))),
    )


def best_fixed_h(lives: EndedLives) -> float:
    """The one interval that these very lives would have cost least with: known only afterwards, a bound and no rule.

    Cost over hours falls between two ends, so that the best one lies just before an end, or beyond them all.
    """
    candidates = np.concatenate([np.nextafter(np.unique(lives.life_h), 0.0), [np.inf]])
    rates = [cost_of(lives, np.full(len(lives), interval_h)).per_1000_h for interval_h in candidates]
    return float(candidates[int(np.argmin(rates))])
