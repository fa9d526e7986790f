"""Faults of gauges, sensors, oil and elements, put into what was noted of a simulated plant from a day on.

Sizes were settled before any limit of a rule was tuned: change one only with a reason here. A fault of an element
lasts one life, that of an instrument or of the machine to the end. Each takes the plant as it was noted and gives
it with the fault in every place that can have it; the truth about the elements stays what it was.
"""

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np

from scheduler.engineering.viscosity import density_at, viscosity_at
from tests.measure.simulated_plants.machine import DENSITY_15, WALTHER, Floats, Life, Place, SimulatedPlant

TOO_LITTLE_SHARE = (0.25, 0.45)
"""Of the element's ΔP that is left where oil passes an element that is not seated, or its seal is missing."""

TOO_MUCH_SHARE = (2.0, 2.5)
"""An element some two steps of fineness too fine, or half blocked from the start."""

COLDER_K, COLD_FOR_D = (16.0, 22.0), 150.0
"""A tank heater that is out for a winter, or a cooler valve that is stuck open."""

STICKS_AT_NOTHING = 0.0
AMBIENT_degC = (8.0, 38.0)
"""A sensor that hangs in the air of a hall through the year."""

TANK_SWING = 0.4
"""A sensor in a big tank follows this much of what the oil at the filter does."""

IDLE_SHARE, IDLE_FLOW = 0.4, (0.40, 0.60)
"""A pump that goes back to a part of its flow when nobody moves anything: in two of five readings."""

TURBULENT_SHARE = 0.85
"""Of the ΔP between two tappings that a half-shut valve or a wrong fitting takes, as the square of the flow."""

OTHER_LINE_SPREAD = (0.75, 1.05)
"""The flow that was noted is that of another line: as spread as our own, and nothing to do with it."""


@dataclass(frozen=True, slots=True)
class Faulty:
    """A plant with a fault. `begins_day` (P,) in each place, NaN: none there; `until_day` (P,) its end."""

    plant: SimulatedPlant
    begins_day: Floats
    until_day: Floats


Fault = Callable[[SimulatedPlant, np.random.Generator], Faulty]
_Change = Callable[[Life, Place, np.ndarray, np.random.Generator], Life]


def oil_passes_the_new_element(plant: SimulatedPlant, rng: np.random.Generator) -> Faulty:
    return _one_new_life(plant, rng, _times_the_element(*TOO_LITTLE_SHARE))


def new_element_takes_too_much(plant: SimulatedPlant, rng: np.random.Generator) -> Faulty:
    return _one_new_life(plant, rng, _times_the_element(*TOO_MUCH_SHARE))


def gauge_sticks(plant: SimulatedPlant, rng: np.random.Generator) -> Faulty:
    """At what it showed last: its needle, its transmitter."""

    def change(life: Life, place: Place, wrong: np.ndarray, _rng: np.random.Generator) -> Life:
        first = int(np.flatnonzero(wrong)[0])
        stuck = shown.setdefault(life.place, float(life.dp_bar[max(first - 1, 0)]))
        return replace(life, dp_bar=np.where(wrong, stuck, life.dp_bar))

    shown: dict[int, float] = {}
    return _from_a_day_on(plant, rng, change)


def gauge_shows_zero(plant: SimulatedPlant, rng: np.random.Generator) -> Faulty:
    """A tapping that is shut or plugged."""

    def change(life: Life, place: Place, wrong: np.ndarray, _rng: np.random.Generator) -> Life:
        return replace(life, dp_bar=np.where(wrong, STICKS_AT_NOTHING, life.dp_bar))

    return _from_a_day_on(plant, rng, change)


def oil_runs_colder(plant: SimulatedPlant, rng: np.random.Generator) -> Faulty:
    def change(life: Life, place: Place, wrong: np.ndarray, own: np.random.Generator) -> Life:
        colder_K = own.uniform(*COLDER_K)
        warm = np.where(np.isnan(life.oil_temperature_degC), _warm_degC(plant, place), life.oil_temperature_degC)
        cold = np.maximum(warm - colder_K, 5.0)
        element, housing = _parts(life, place, warm)
        thicker = viscosity_at(cold, *WALTHER) / viscosity_at(warm, *WALTHER)
        shown = np.minimum(element * thicker + housing, 1.04 * place.bypass_dp_bar)
        return replace(
            life,
            dp_bar=np.where(wrong, _on_marks(shown, place), life.dp_bar),
            oil_temperature_degC=np.where(wrong, np.round(cold), life.oil_temperature_degC),
        )

    return _from_a_day_on(plant, rng, change, COLD_FOR_D)


def sensor_hangs_in_the_air(plant: SimulatedPlant, rng: np.random.Generator) -> Faulty:
    def change(life: Life, place: Place, wrong: np.ndarray, own: np.random.Generator) -> Life:
        noted = np.round(own.uniform(*AMBIENT_degC, len(wrong)))
        return replace(life, oil_temperature_degC=np.where(wrong, noted, life.oil_temperature_degC))

    return _from_a_day_on(plant, rng, change)


def sensor_sits_in_the_tank(plant: SimulatedPlant, rng: np.random.Generator) -> Faulty:
    def change(life: Life, place: Place, wrong: np.ndarray, _rng: np.random.Generator) -> Life:
        warm_degC = _warm_degC(plant, place)
        noted = np.round(warm_degC + TANK_SWING * (life.oil_temperature_degC - warm_degC))
        return replace(life, oil_temperature_degC=np.where(wrong, noted, life.oil_temperature_degC))

    return _from_a_day_on(plant, rng, change)


def flow_comes_and_goes(plant: SimulatedPlant, rng: np.random.Generator) -> Faulty:
    """Where nobody measures the flow."""

    def change(life: Life, place: Place, wrong: np.ndarray, own: np.random.Generator) -> Life:
        idle = wrong & (own.random(len(wrong)) < IDLE_SHARE)
        share = own.uniform(*IDLE_FLOW)
        element, housing = _parts(life, place, life.oil_temperature_degC)
        return replace(
            life, dp_bar=np.where(idle, _on_marks(element * share + housing * share**2, place), life.dp_bar)
        )

    return _from_a_day_on(plant, rng, change, where=lambda place: not place.flow_measured)


def a_restriction_takes_most(plant: SimulatedPlant, rng: np.random.Generator) -> Faulty:
    """Where the flow is measured: the rest of the ΔP is left, and the restriction is added on top of it."""

    def change(life: Life, place: Place, wrong: np.ndarray, _rng: np.random.Generator) -> Life:
        usual_bar = float(np.median(life.dp_bar))
        through = life.flow_lpm / place.flow_lpm
        restriction = TURBULENT_SHARE / (1.0 - TURBULENT_SHARE) * usual_bar * through**2
        return replace(life, dp_bar=np.where(wrong, _on_marks(life.dp_bar + restriction, place), life.dp_bar))

    return _from_a_day_on(plant, rng, change, where=lambda place: place.flow_measured)


def flow_of_another_line(plant: SimulatedPlant, rng: np.random.Generator) -> Faulty:
    def change(life: Life, place: Place, wrong: np.ndarray, own: np.random.Generator) -> Life:
        noted = place.flow_lpm * own.uniform(*OTHER_LINE_SPREAD, len(wrong))
        return replace(life, flow_lpm=np.where(wrong, noted, life.flow_lpm))

    return _from_a_day_on(plant, rng, change, where=lambda place: place.flow_measured)


FAULTS: dict[str, tuple[str, Fault]] = {
    "oil passes the new element": ("new-element-shows-too-little", oil_passes_the_new_element),
    "new element takes too much": ("new-element-shows-too-much", new_element_takes_too_much),
    "gauge sticks": ("gauge-shows-nothing", gauge_sticks),
    "gauge shows zero": ("gauge-shows-nothing", gauge_shows_zero),
    "oil runs colder": ("oil-cold-not-dirt", oil_runs_colder),
    "sensor hangs in the air": ("restated-dp-follows-viscosity", sensor_hangs_in_the_air),
    "sensor sits in the tank": ("restated-dp-follows-viscosity", sensor_sits_in_the_tank),
    "flow comes and goes": ("dp-jumps-between-two-levels", flow_comes_and_goes),
    "a restriction takes most": ("dp-follows-flow-squared", a_restriction_takes_most),
    "flow of another line": ("dp-ignores-flow", flow_of_another_line),
}
"""By name: the code that should be raised, and the fault."""


def _times_the_element(least: float, most: float) -> _Change:
    def change(life: Life, place: Place, wrong: np.ndarray, own: np.random.Generator) -> Life:
        element, housing = _parts(life, place, life.oil_temperature_degC)
        shown = np.minimum(element * own.uniform(least, most) + housing, 1.04 * place.bypass_dp_bar)
        return replace(life, dp_bar=np.where(wrong, _on_marks(shown, place), life.dp_bar))

    return change


def _one_new_life(plant: SimulatedPlant, rng: np.random.Generator, change: _Change) -> Faulty:
    """In the first life of each place that begins in the test period."""
    begins, until = np.full((2, len(plant.places)), np.nan)
    lives = list(plant.lives)
    for row, life in enumerate(plant.lives):
        if plant.test_starts_day < life.fitted_day and np.isnan(begins[life.place]) and len(life.day):
            begins[life.place], until[life.place] = life.fitted_day, life.removed_day
            lives[row] = change(life, plant.places[life.place], np.ones(len(life.day), dtype=bool), rng)
    return Faulty(replace(plant, lives=lives), begins, until)


def _from_a_day_on(
    plant: SimulatedPlant,
    rng: np.random.Generator,
    change: _Change,
    lasts_d: float = np.inf,
    where: Callable[[Place], bool] = lambda _place: True,
) -> Faulty:
    """From a day in the first quarter of the test period on, in what is fitted then and in what comes after."""
    here = np.array([where(place) for place in plant.places])
    begins = plant.test_starts_day + rng.uniform(0.0, 0.25, len(here)) * plant.settings.test_d
    begins = np.where(here, begins, np.nan)
    until = begins + lasts_d
    lives = []
    for life in plant.lives:
        wrong = (life.day > begins[life.place]) & (life.day < until[life.place])
        lives.append(change(life, plant.places[life.place], wrong, rng) if wrong.any() else life)
    return Faulty(replace(plant, lives=lives), begins, until)


def _parts(life: Life, place: Place, temperature_degC: Floats) -> tuple[Floats, Floats]:
    """The element's and the housing's part of each reading, by the truth."""
    told = np.where(np.isnan(temperature_degC), 50.0, temperature_degC)
    through = np.where(np.isnan(life.flow_lpm), 1.0, life.flow_lpm / place.flow_lpm)
    housing = place.housing_dp_bar * density_at(told, DENSITY_15) / density_at(50.0, DENSITY_15) * through**2
    return np.maximum(life.dp_bar - housing, 0.0), np.minimum(housing, life.dp_bar)


def _on_marks(dp_bar: Floats, place: Place) -> Floats:
    return np.round(np.round(dp_bar / place.step_bar) * place.step_bar, 4)


def _warm_degC(plant: SimulatedPlant, place: Place) -> float:
    return plant.systems[place.system].warm_degC
