"""Oil that systems take beside what is lost at changes of elements: top-ups, and whole charges at oil changes.

A top-up at an element's change or an oil change refills what that took, and is no consumption. A system is watched
from its first top-up on, which itself counts for nothing; of one that never had a top-up nothing is said.
"""

from collections import defaultdict
from dataclasses import dataclass

import numpy as np

from scheduler.planning.oil_refills import is_refill, oil_changed_day
from scheduler.planning.plant_columns import Floats, PlantColumns
from scheduler.statistics.count_distribution import CountTable
from scheduler.statistics.renewal_demand import PartDemand
from scheduler.statistics.top_up_demand import next_oil_change, top_up_demand


@dataclass(frozen=True, slots=True)
class TopUps:
    """Litres (k,) that a system took over `watched_d` days."""

    volume_L: Floats
    watched_d: float
    reservoir_L: float
    edge_d: Floats

    @property
    def expected_L(self) -> float:
        return float(self.volume_L.sum() / self.watched_d * self.edge_d[-1])

    def demand(self, step_L: float) -> PartDemand:
        found = top_up_demand(
            self.volume_L,
            watched_d=self.watched_d,
            reservoir_L=self.reservoir_L,
            edge_d=self.edge_d,
            step_L=step_L,
        )
        return PartDemand(CountTable(found.within), CountTable(found.by_end))


@dataclass(frozen=True, slots=True)
class OilChange:
    """The next change of a system's whole charge: P(in each period), (W,)."""

    volume_L: float
    share: Floats

    @property
    def expected_L(self) -> float:
        return float(self.volume_L * self.share.sum())

    def demand(self, step_L: float) -> PartDemand:
        steps = max(round(self.volume_L / step_L), 1)
        return PartDemand(_one_or_none(self.share, steps), _one_or_none(np.cumsum(self.share), steps))


OilUse = TopUps | OilChange


def other_oil_use(columns: PlantColumns, edge_d: Floats) -> dict[str, list[OilUse]]:
    """By fluid, every system's top-ups and its next oil change, where its own past tells of them."""
    found: dict[str, list[OilUse]] = defaultdict(list)
    for system in np.flatnonzero(columns.systems_ready()).tolist():
        uses = (
            _top_ups(columns, system, edge_d),
            _oil_change(columns, system, oil_changed_day(columns, system), edge_d),
        )
        found[columns.systems.fluid[system].code] += [use for use in uses if use is not None]
    return {fluid: uses for fluid, uses in found.items() if uses}


def _top_ups(columns: PlantColumns, system: int, edge_d: Floats) -> TopUps | None:
    mine = columns.top_ups.system == system
    day = columns.top_ups.day[mine]
    refill = is_refill(columns, system, day)
    volume_L, day = columns.top_ups.volume_L[mine][~refill], day[~refill]
    if not len(day):
        return None
    since_day = float(day.min())
    watched_d = columns.as_of_day - since_day
    reservoir_L = float(columns.systems.reservoir_volume_L[system])
    if watched_d <= 0.0 or np.isnan(reservoir_L):
        return None
    return TopUps(volume_L[day > since_day], watched_d, reservoir_L, edge_d)


def _oil_change(columns: PlantColumns, system: int, changed_day: Floats, edge_d: Floats) -> OilChange | None:
    share = next_oil_change(np.minimum(changed_day - columns.as_of_day, 0.0), edge_d)
    volume_L = float(columns.systems.reservoir_volume_L[system])
    return None if share is None or np.isnan(volume_L) else OilChange(volume_L, share)


def _one_or_none(share: Floats, steps: int) -> CountTable:
    table = np.zeros((len(share), steps + 1))
    table[:, 0], table[:, steps] = 1.0 - share, share
    return CountTable(table)
