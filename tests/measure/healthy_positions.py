"""Healthy places and systems beyond `simulated_plants`, and the fault of each rule on them: strainers read by their
vacuum, indicators and meters. Oil is that of `healthy_oil`.

Every one gives a `Watched`, the faults on it, and says of a span whether it was true. What people misread, mistype
and leave out is as often as in the settings of `simulated_plants`. Settled before a rule's limits were tuned on it.
"""

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np

from scheduler.engineering.viscosity import viscosity_at
from scheduler.planning.diagnoses import NEAR_VACUUM_SHARE
from scheduler.planning.plant_columns import Floats, PlantColumns
from scheduler.vocabulary import IndicatorState, Place
from tests.measure.rule_watch import Fault, Span, Watched
from tests.measure.simulated_plants.as_known import as_known
from tests.measure.simulated_plants.machine import (
    FIRST_DAY,
    GLITCHES,
    WALTHER,
    SimulatedPlant,
    simulate,
)
from tests.measure.simulated_plants.settings import Settings
from tests.planning import small_plant as sp

AS_PLANTS = Settings()
YEAR_D = 365
FIRST = sp.NOW - YEAR_D
"""Places of this module are watched from here to `sp.NOW`."""

BEFORE_D = 120.0
"""They were read for so long before."""

MAY_BE_READ_LOW = 0.95
"""A vacuum of this much of where the rule speaks is as good as there: people read a dial so (ours)."""


@dataclass(frozen=True, slots=True)
class Population:
    """Places of one kind: what is known of them, their faults (none: healthy), and which spans are true."""

    watched: Watched
    faults: list[Fault]
    is_true: Callable[[Span], bool]


def _when_read(rng: np.random.Generator) -> Floats:
    every_d = float(rng.choice([7.0, 7.0, 14.0, 30.0]))
    steps = every_d * rng.uniform(0.6, 1.4, int((YEAR_D + BEFORE_D) / every_d / 0.6))
    day = FIRST - BEFORE_D + np.cumsum(steps)
    return np.asarray(day[day <= sp.NOW])


def _temperatures(rng: np.random.Generator, count: int) -> tuple[Floats, Floats, Floats]:
    """True oil temperature, how much thicker the oil is than at 50 °C, and the temperature as noted."""
    cold = rng.random(count) < AS_PLANTS.cold_share
    true_degC = np.where(cold, rng.uniform(8.0, 25.0, count), 50.0 + 3.0 * rng.standard_normal(count))
    thicker = viscosity_at(true_degC, *WALTHER) / viscosity_at(50.0, *WALTHER)
    untold = rng.random(count) < AS_PLANTS.no_temperature_share
    return true_degC, thicker, np.where(untold, np.nan, np.round(true_degC, 0))


def _misread(rng: np.random.Generator, value: Floats) -> Floats:
    wrong = rng.random(len(value)) < AS_PLANTS.gross_error_share
    return np.where(wrong, value * rng.choice(GLITCHES, len(value)), value)


def _of_positions(positions: list[sp.Position]) -> Watched:
    """Places of one system; those of the rules here know nothing of each other."""

    def known(day: float) -> PlantColumns:
        then = [replace(each, readings=tuple(one for one in each.readings if one.day <= day)) for each in positions]
        return sp.plant(*then, now=day)

    return Watched(known, len(positions), 1)


def strainers(rng: np.random.Generator, count: int, *, faulty: bool) -> Population:
    """Suction strainers read by their vacuum. A third to six tenths of the pump's limit while warm, up to a fifth
    more over the year. The fault: the strainer clogs, so that the vacuum climbs to the limit within 30 days.

    True: the vacuum that was really there at the newest reading is as near to the limit, as it is at a cold start.
    """
    positions, faults, truth = [], [], []
    for place in range(count):
        day = _when_read(rng)
        limit = float(rng.choice([np.nan, 0.2, 0.3]))
        limit_bar = 0.34 if np.isnan(limit) else limit
        _, thicker, noted_degC = _temperatures(rng, len(day))
        grows = 1.0 + 0.2 * rng.uniform() * (day - day[0]) / (day[-1] - day[0])
        warm_bar = limit_bar * rng.uniform(0.33, 0.6) * grows
        fault_day = float(rng.uniform(FIRST, sp.NOW - 120.0)) if faulty else np.inf
        if faulty:
            clogged = np.clip((day - fault_day) / 30.0, 0.0, 1.0)
            warm_bar = warm_bar + np.maximum(limit_bar - warm_bar, 0.0) * clogged
            faults.append(Fault(0, place, fault_day))
        through = rng.normal(1.0, 0.05, len(day))
        true_bar = np.minimum(warm_bar * (0.3 + 0.7 * thicker) * through, 0.9)
        step = float(rng.choice([0.01, 0.02]))
        read = _misread(rng, true_bar * (1.0 + AS_PLANTS.gauge_noise * rng.standard_normal(len(day))))
        read = np.round(np.round(np.minimum(read, 1.0) / step) * step, 3)
        truth.append((day, true_bar, limit_bar))
        positions.append(
            sp.Position(
                code=f"P{place}",
                place=Place.SUCTION,
                part=sp.STRAINER,
                fitted=sp.STRAINER,
                fitted_day=FIRST - BEFORE_D - 10.0,
                vacuum_limit_bar=limit,
                readings=tuple(
                    sp.Reading(float(at), vacuum_bar=float(bar), oil_temperature_degC=float(degC))
                    for at, bar, degC in zip(day, read, noted_degC, strict=True)
                ),
            )
        )

    def is_true(span: Span) -> bool:
        day, true_bar, limit_bar = truth[span.position]
        newest = int(np.searchsorted(day, span.raised_day, side="right")) - 1
        return bool(true_bar[newest] >= MAY_BE_READ_LOW * NEAR_VACUUM_SHARE * limit_bar)

    return Population(_of_positions(positions), faults, is_true)


def indicators(rng: np.random.Generator, count: int, *, faulty: bool) -> Population:
    """Indicators looked at, which trip while the ΔP is above their set point, and no gauge. Warm it is a tenth to
    four tenths of that at first and up to six tenths after a year. The fault: from a day on it is above while warm,
    and nobody notes the temperature.

    True: tripped while warm.
    """
    positions, faults, truth = [], [], []
    for place in range(count):
        day = _when_read(rng)
        _, thicker, noted_degC = _temperatures(rng, len(day))
        share = rng.uniform(0.1, 0.4) * (1.0 + 0.5 * rng.uniform() * (day - day[0]) / (day[-1] - day[0]))
        if faulty:
            fault_day = float(rng.uniform(FIRST, sp.NOW - 120.0))
            share = np.where(day > fault_day, 1.1, share)
            noted_degC = np.full(len(day), np.nan)
            faults.append(Fault(0, place, fault_day))
        tripped = share * thicker >= 1.0
        truth.append((day, share))
        positions.append(
            sp.Position(
                code=f"P{place}",
                fitted_day=FIRST - BEFORE_D - 10.0,
                indicator_dp_bar=2.0,
                readings=tuple(
                    sp.Reading(
                        day=float(at),
                        flow_lpm=sp.NAN,
                        oil_temperature_degC=float(degC),
                        indicator=IndicatorState.TRIPPED if is_tripped else IndicatorState.CLEAR,
                    )
                    for at, degC, is_tripped in zip(day, noted_degC, tripped, strict=True)
                ),
            )
        )

    def is_true(span: Span) -> bool:
        day, share = truth[span.position]
        return bool(share[np.searchsorted(day, span.raised_day, side="right") - 1] >= 1.0)

    return Population(_of_positions(positions), faults, is_true)


MeterFault = Callable[[np.random.Generator, Floats, int], Floats]
"""What a meter shows, changed from a reading on (or of that reading alone)."""


def mistyped(rng: np.random.Generator, shown_h: Floats, row: int) -> Floats:
    """One reading with a digit too many or too few, or with its thousands and hundreds changed round."""
    wrong = shown_h.copy()
    hours = int(wrong[row])
    thousands, hundreds = hours // 1000 % 10, hours // 100 % 10
    swapped = hours + (hundreds - thousands) * 900
    wrong[row] = float(rng.choice([hours * 10, hours // 10, swapped if abs(swapped - hours) > 500 else hours * 10]))
    return wrong


def stuck(_rng: np.random.Generator, shown_h: Floats, row: int) -> Floats:
    """It shows the same from that reading on."""
    return np.where(np.arange(len(shown_h)) >= row, shown_h[row], shown_h)


METERED = replace(
    AS_PLANTS,
    systems=125,
    places_per_system=(1, 1),
    history_d=200,
    test_d=500,
    truth_d=2200,
    meter_replaced_share=0.0,
    meter_mistyped_share=0.0,
)
"""Systems with a place each whose meters are right: whatever is said against one is false."""


def meters(seed: int, fault: MeterFault | None = None, settings: Settings = METERED) -> Population:
    """Meters of simulated systems, right but for the one fault."""
    rng = np.random.default_rng([seed, 7])
    plant = simulate("gentle", seed, settings)
    watched_d = float(settings.history_d), float(settings.history_d + settings.test_d)
    systems, faults = [], []
    for number, system in enumerate(plant.systems):
        if fault is None:
            systems.append(system)
            continue
        since_d = system.meter_day - FIRST_DAY
        may = np.flatnonzero((since_d > watched_d[0]) & (since_d < watched_d[1] - 120.0))
        row = int(rng.choice(may))
        systems.append(replace(system, meter_h=fault(rng, system.meter_h, row)))
        faults.append(Fault(number, -1, float(system.meter_day[row]) - 1e-6))
    changed = replace(plant, systems=systems)
    return Population(_of_meters(changed), faults, lambda _span: False)


def _of_meters(plant: SimulatedPlant) -> Watched:
    return Watched(lambda day: as_known(plant, day), len(plant.places), len(plant.systems))
