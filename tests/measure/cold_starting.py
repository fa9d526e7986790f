"""Simulated filters that are read at starts too: some bypass while the oil is cold, and are sound when it is warm.

Day by day for a year and a half: one life after the other by a late knee or an exponential, an oil that is as cold at
a start as the hall is (with the season), readings every ten days or so of which a third are at a start, a gauge in
steps, slips of the pen, temperatures not noted. A bypass holds its ΔP within a few percent. Where a filter bypasses
at starts, it begins with the first cold days after `begins_day`; where not, every start is warm enough for its
element. Settings were fixed before any rule was tuned on them.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from scheduler.engineering.viscosity import viscosity_at, walther_constants
from scheduler.planning.plant_columns import PlantColumns
from scheduler.vocabulary import RemovalReason
from tests.planning import small_plant as sp

DAYS = 540
FIRST_DAY = sp.NOW - DAYS
WALTHER = walther_constants(46.0, 6.8)
SLIPS = (10.0, 0.1, 2.0, 0.5)
OF_A_SYSTEM = 10


@dataclass(frozen=True)
class ColdStarting:
    """What is true of one filter, and what was noted. opened_day: of the readings at which its bypass truly stood
    open with cold oil, and of those with warm oil."""

    bypass_bar: float
    warm_degC: float
    housing_bar: float
    begins_day: float
    opened_cold_day: tuple[float, ...]
    opened_warm_day: tuple[float, ...]
    fitted_day: tuple[float, ...]
    readings: tuple[sp.Reading, ...]


def simulated_filters(rng: np.random.Generator, count: int, *, bypasses: bool) -> list[ColdStarting]:
    """Filters, `OF_A_SYSTEM` of which share their oil."""
    warm = [float(each) for each in rng.uniform(43.0, 57.0, count // OF_A_SYSTEM + 1)]
    return [_simulated(rng, warm[row // OF_A_SYSTEM], bypasses=bypasses) for row in range(count)]


def _simulated(rng: np.random.Generator, warm: float, *, bypasses: bool) -> ColdStarting:
    bypass = float(rng.uniform(1.7, 3.5))
    housing = float(rng.uniform(0.03, 0.1)) * bypass
    life_d = rng.uniform(180.0, 400.0)
    fitted = [0, *np.cumsum(life_d * rng.uniform(0.8, 1.2, 4)).astype(int).tolist()]
    fitted = [each for each in fitted if each < DAYS - 10]
    # warm ΔP: from a fifth or less of the bypass setting to a third at the change, which is made in good time
    clean, knee = bypass * rng.uniform(0.08, 0.18), rng.uniform(1.5, 5.0)
    begins = int(DAYS - rng.uniform(60.0, 200.0)) if bypasses else DAYS
    thickest = float(rng.uniform(1.1, 1.6)) if bypasses else np.inf
    step = float(rng.choice([0.05, 0.05, 0.1]))
    day, found, cold_day, warm_day = rng.uniform(0.0, 10.0), [], [], []
    while day < DAYS - 1:
        start = max(each for each in fitted if each <= day)
        element = clean * (1.0 + rng.uniform(0.95, 1.05) * min((day - start) / life_d, 1.2) ** knee)
        at_start = rng.random() < 0.33
        temperature = warm + 3.0 * rng.standard_normal()
        if at_start:
            # as thick at the start as makes the element take so much of the bypass setting
            share = thickest * rng.uniform(0.95, 1.3) if day >= begins else rng.uniform(0.35, 0.85)
            temperature = _temperature_of(warm, share * bypass / element)
        thicker = float(viscosity_at(temperature, *WALTHER) / viscosity_at(warm, *WALTHER))
        true = element * thicker + housing
        opens = bypass * (1.0 + 0.04 * abs(rng.standard_normal())) + housing
        if true >= opens:
            (cold_day if thicker > 1.5 else warm_day).append(FIRST_DAY + day)
        shown = min(true, opens) * (1.0 + 0.02 * rng.standard_normal())
        shown = round(shown / step) * step * (float(rng.choice(SLIPS)) if rng.random() < 0.012 else 1.0)
        told = rng.random() < 0.85
        found.append(
            sp.Reading(
                FIRST_DAY + day,
                round(shown, 3),
                oil_temperature_degC=round(temperature) if told else sp.NAN,
                flow_lpm=round(100.0 * (1.0 + 0.03 * rng.standard_normal()), 1) if rng.random() < 0.5 else sp.NAN,
            )
        )
        day += 10.0 * rng.uniform(0.5, 1.5)
    return ColdStarting(
        *(bypass, warm, housing, FIRST_DAY + begins, tuple(cold_day), tuple(warm_day)),
        fitted_day=tuple(FIRST_DAY + each for each in fitted),
        readings=tuple(found),
    )


def as_plant(filters: Sequence[ColdStarting], now: float = sp.NOW) -> PlantColumns:
    """What is known of them at a day; `OF_A_SYSTEM` in order are of one system, filters are positions."""
    positions, lives = [], []
    for row, each in enumerate(filters):
        seen = [one for one in each.readings if one.day <= now]
        begun = [day for day in each.fitted_day if day <= now]
        for start, end in pairwise(begun):
            own = tuple(one for one in seen if start <= one.day < end)
            lives.append(sp.Life(start, end, RemovalReason.EARLY, f"P{row}", sp.ELEMENT, own))
        positions.append(
            sp.Position(
                *(f"P{row}", f"S{row // OF_A_SYSTEM}"),
                fitted_day=begun[-1],
                terminal_dp_bar=round(0.75 * each.bypass_bar + each.housing_bar, 2),
                bypass_dp_bar=round(each.bypass_bar, 2),
                housing_dp_bar=round(each.housing_bar, 2) if row % 2 else sp.NAN,
                readings=tuple(one for one in seen if one.day >= begun[-1]),
            )
        )
    systems = [
        sp.System(f"S{row}", working_temperature_degC=round(each.warm_degC))
        for row, each in enumerate(filters[::OF_A_SYSTEM])
    ]
    return sp.plant(*positions, systems=systems, lives=lives, now=now)


def _temperature_of(warm_degC: float, thicker: float) -> float:
    """The oil temperature at which the oil is so many times as viscous, between −5 °C and warm."""
    degC = np.linspace(-5.0, warm_degC, 400)
    ratio = viscosity_at(degC, *WALTHER) / viscosity_at(warm_degC, *WALTHER)
    return float(np.interp(-thicker, -ratio, degC))
