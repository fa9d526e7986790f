"""What the pop-up, switch or gauge says: certain, to be looked at again when warm, or only a cold start.

A trip with warm oil at a set point near the terminal ends the element's life. Cold oil trips an indicator on a
sound element, so a trip of unknown temperature asks for a second look; the second sighting counts as warm. What
was seen before the last reset, or on the element before, counts no more.
"""

from dataclasses import dataclass
from enum import StrEnum

import numpy as np

from scheduler.engineering.reading_gate import Gate
from scheduler.planning.condition import Condition
from scheduler.planning.plant_columns import PlantColumns
from scheduler.vocabulary import IndicatorState

WARM_VISCOSITY_RATIO = 1.5
"""Up to this many times the working viscosity a trip counts as warm: the element's ΔP is then within a third of
what it is when warm (ours)."""

COLD_VISCOSITY_RATIO = 2.0
"""From here on a trip says more of the oil than of the element (ours)."""


NEAR_TERMINAL_SHARE = 0.8
"""From here of the terminal ΔP on a set point counts as the terminal (ours). Below it a trip is an early warning."""


class Meaning(StrEnum):
    CERTAIN = "certain"
    EARLY_WARNING = "early_warning"
    UNCONFIRMED = "unconfirmed"
    COLD = "cold"


@dataclass(frozen=True, slots=True)
class Sighting:
    """The trips of a position since its element was fitted and the indicator last cleared."""

    meaning: Meaning
    first_day: float
    last_day: float
    times: int
    oil_temperature_degC: float  # of the last; NaN unknown

    @property
    def is_certain(self) -> bool:
        return self.meaning is Meaning.CERTAIN


def sightings_of(columns: PlantColumns, condition: Condition) -> dict[int, Sighting]:
    """The trips that stand, by position."""
    found: dict[int, Sighting] = {}
    for position in range(len(columns.positions.code)):
        rows = range(int(columns.dp.offsets[position]), int(columns.dp.offsets[position + 1]))
        trips: list[int] = []
        for row in rows:
            state = columns.dp.indicator[row]
            if condition.gate[row] == Gate.CHANGE_DAY or state is None:
                continue
            if state is IndicatorState.CLEAR and columns.dp.flow_lpm[row] == 0.0:
                continue  # without flow there is no ΔP that could trip it
            if state is IndicatorState.TRIPPED:
                trips.append(row)
            else:
                trips.clear()
        if trips:
            found[position] = _sighting(columns, condition, position, trips)
    return found


def _warns_early(columns: PlantColumns, condition: Condition, position: int) -> bool:
    """Whether the set point lies so far below the terminal ΔP that a trip does not end the element's life."""
    terminal = condition.terminal_dp_bar[position]
    return bool(columns.positions.indicator_dp_bar[position] < NEAR_TERMINAL_SHARE * terminal)


def _sighting(columns: PlantColumns, condition: Condition, position: int, trips: list[int]) -> Sighting:
    temperature = columns.dp.oil_temperature_degC[trips]
    known = ~np.isnan(temperature)
    ratio = condition.viscosity_ratio[trips]
    warm = known & (ratio <= WARM_VISCOSITY_RATIO)
    cold = known & (ratio > COLD_VISCOSITY_RATIO)
    unknown = ~cold
    if warm.any() or unknown.sum() >= 2:
        meaning = Meaning.EARLY_WARNING if _warns_early(columns, condition, position) else Meaning.CERTAIN
    elif unknown.any():
        meaning = Meaning.UNCONFIRMED
    else:
        meaning = Meaning.COLD
    return Sighting(
        meaning,
        float(columns.dp.day[trips[0]]),
        float(columns.dp.day[trips[-1]]),
        len(trips),
        float(temperature[-1]),
    )
