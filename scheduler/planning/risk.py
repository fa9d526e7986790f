"""The risk that each position is planned at, and where it comes from: set by hand, by its costs, or what is usual.

A risk that the plant has set holds for all its positions. Where it has set none and a system states what a change in
good time and a late one cost, each position gets the risk at which its expected costs are least
(`statistics/replacement_cost`). A planned change costs the stop, unless the position is changed while the machine
runs, the labour of one change, and the elements, where their price is told in the plant's currency; a late one costs
`late_cost`, all in. What is not told is not counted: that makes a planned change cheaper, and the date earlier.
"""

from dataclasses import dataclass
from enum import StrEnum
from typing import Any

import numpy as np

from scheduler.planning.condition import Condition
from scheduler.planning.duty import Duty
from scheduler.planning.plant_columns import Floats, Ints, PlantColumns
from scheduler.statistics.replacement_cost import best_change, cost_per_run_hour, mean_h
from scheduler.vocabulary import Access

USUAL_RISK = 0.1
"""Where the plant states neither a risk nor costs."""

LEAST_RISK = 0.001
"""Ours: how a forecast's tail runs below one in a thousand is the form of its model and no knowledge."""

MOST_RISK = 0.5
"""Ours: however cheap a late change is said to be, nobody plans to be late more often than not."""

_SHORTEST_WINDOW_H = 1.0  # of a machine that is not planned to run


class RiskSource(StrEnum):
    SET = "set"
    COSTS = "costs"
    USUAL = "usual"


@dataclass(frozen=True, slots=True)
class AcceptedRisk:
    """The accepted probability of having passed a limit, (P,), with what it comes from.

    planned_cost, late_cost (P,): in the plant's currency; NaN where the costs do not decide. best (P,): the risk by
    the costs alone, before it was kept between `LEAST_RISK` and `MOST_RISK`; NaN likewise.
    """

    level: Floats
    source: tuple[RiskSource, ...]
    planned_cost: Floats
    late_cost: Floats
    best: Floats
    currency: tuple[str, ...]

    def facts(self, position: int) -> dict[str, Any]:
        """What a reason says of it."""
        source = self.source[position]
        told: dict[str, Any] = {"risk": float(f"{self.level[position]:.4g}"), "risk_from": source.value}
        if source is RiskSource.COSTS:
            told |= {
                "planned_cost": float(self.planned_cost[position]),
                "late_cost": float(self.late_cost[position]),
                "currency": self.currency[position] or None,
                "risk_bound": _bound(float(self.best[position])),
            }
        return told


def _bound(best: float) -> str | None:
    return "least" if best < LEAST_RISK else "most" if best > MOST_RISK else None


def accepted_risk(columns: PlantColumns, duty: Duty, condition: Condition) -> AcceptedRisk:
    """The risk of every position."""
    plant = columns.systems.plant[columns.positions.system]
    by_hand = columns.plants.risk[plant]
    planned, late = planned_change_cost(columns), columns.systems.late_cost[columns.positions.system]
    decide = np.isnan(by_hand) & (planned > 0.0) & (late > 0.0)
    costs = {"planned_cost": planned, "late_cost": late}
    best = np.where(decide, _best_risk(columns, duty, condition, costs, np.flatnonzero(decide)), np.nan)
    level = np.where(np.isnan(by_hand), USUAL_RISK, by_hand)
    return AcceptedRisk(
        level=np.where(decide, np.clip(best, LEAST_RISK, MOST_RISK), level),
        source=tuple(
            RiskSource.COSTS if costs else RiskSource.USUAL if unset else RiskSource.SET
            for costs, unset in zip(decide, np.isnan(by_hand), strict=True)
        ),
        planned_cost=np.where(decide, planned, np.nan),
        late_cost=np.where(decide, late, np.nan),
        best=best,
        currency=tuple(columns.plants.currency[row] for row in plant),
    )


def planned_change_cost(columns: PlantColumns) -> Floats:
    """What is known of the cost of a change in good time, (P,); NaN where neither its stop nor its labour is."""
    systems, positions = columns.systems, columns.positions
    needs_stop = np.array([access is not Access.RUNNING for access in positions.access], dtype=bool)
    stop = np.where(needs_stop, systems.stop_cost[positions.system], np.nan)
    labour = systems.labour_cost[positions.system]
    known = np.nan_to_num(stop) + np.nan_to_num(labour) + np.nan_to_num(element_cost(columns))
    return np.where(np.isnan(stop) & np.isnan(labour), np.nan, known)


def element_cost(columns: PlantColumns) -> Floats:
    """The elements of one change, (P,), in the plant's currency; NaN where their price is not told in it."""
    types, positions = columns.types, columns.positions
    kind = positions.specified_type
    own_currency = np.array(
        [
            types.currency[one] == columns.plants.currency[plant]
            for one, plant in zip(kind, columns.systems.plant[positions.system], strict=True)
        ],
        dtype=bool,
    )
    return np.where(own_currency, types.price[kind] * positions.quantity, np.nan)


def _best_risk(
    columns: PlantColumns, duty: Duty, condition: Condition, costs: dict[str, Floats], rows: Ints
) -> Floats:
    """The risk (P,) of the change that costs least; 1 where a late change costs no more than a planned one."""
    found = np.ones(len(condition.remaining))
    dearer = rows[costs["late_cost"][rows] > costs["planned_cost"][rows]]
    if len(dearer):
        of_each = {name: cost[dearer] for name, cost in costs.items()}
        life, watched = condition.life.at(dearer), condition.has_forecast[dearer]
        found[dearer] = best_change(
            condition.remaining.at(dearer),
            **of_each,
            cost_per_h=cost_per_run_hour(life, **of_each, is_watched=watched),
            window_h=_next_look_h(columns, duty, condition)[dearer],
            is_watched=watched,
            mean_life_h=mean_h(life),
        ).risk
    return found


def _next_look_h(columns: PlantColumns, duty: Duty, condition: Condition) -> Floats:
    """Run hours to the next reading that counts, (P,): as often as it was read so far, but not within a week.

    A week also is what it takes from a decision to the change; common practice, no source.
    """
    week_h = np.array([7.0 * meter.planned.hours_per_day * meter.rate.per_planned_hour for meter in duty.meters])
    until = np.concatenate([[0], np.cumsum(condition.counted())])
    counted = np.diff(until[columns.dp.offsets])
    each_h = np.nan_to_num(duty.run_h) / np.maximum(counted, 1)
    return np.asarray(np.maximum(np.maximum(week_h[columns.positions.meter], each_h), _SHORTEST_WINDOW_H))
