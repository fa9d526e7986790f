"""Simulated suction sides of pumps, sound and with one fault each, of laws that the rules do not assume.

Day by day for two years: a part of the friction does not follow the viscosity, the oil level and with it the head
wanders, the strainer takes up dirt until it is cleaned, the oil is warm but for one look in eight, and the vacuum is
read weekly off a gauge in steps that shows nothing below zero; some readings are slips of the pen, some without an
oil temperature. A head is told for three in five, to a tenth of a metre.

Sound ones never pass 0.88 of their limit, not on the coldest start either. Settings were fixed before any rule was
tuned on them.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum
from itertools import pairwise

import numpy as np
import numpy.typing as npt
from scipy.signal import lfilter

from scheduler.engineering.viscosity import viscosity_at, walther_constants
from scheduler.planning.plant_columns import PlantColumns
from scheduler.vocabulary import Place, RemovalReason
from tests.planning import small_plant as sp

Floats = npt.NDArray[np.float64]

DAYS = 730
FIRST_DAY = sp.NOW - DAYS
WALTHER = walther_constants(46.0, 6.8)
BAR_PER_M = 870.0 * 9.80665 / 1e5
GAUGE_STEPS_BAR = (0.01, 0.01, 0.02, 0.02, 0.05)
SLIPS = (10.0, 0.1, 2.0, 0.5)
SOUND_SHARE = 0.88
OF_A_SYSTEM = 10
SEEN_MARKS = 2.5
"""Most gauges stand at nothing or at one mark with warm oil, where no rise of the friction can be seen: a line's
fault is one that its gauge shows with so many marks."""


class SuctionFault(StrEnum):
    NONE = "none"
    COLD = "strainer dirty: 1.3 to 1.8 of the limit on the coldest start, warm below 0.75 of it"
    LINE = "friction 1.6 to 2.2 times, seen on the gauge, within three weeks after the strainer was cleaned"


@dataclass(frozen=True)
class SuctionSide:
    """What is true of one suction side by day, (DAYS,), and what was noted of it."""

    fault: SuctionFault
    fault_day: float
    limit_bar: float
    head_m: float
    head_told: bool
    coldest_degC: float
    warm_degC: float
    cold_vacuum_bar: Floats
    fitted_day: tuple[float, ...]
    readings: tuple[sp.Reading, ...]


def simulated_suctions(
    rng: np.random.Generator, count: int, fault: SuctionFault = SuctionFault.NONE
) -> list[SuctionSide]:
    """Suction sides, `OF_A_SYSTEM` of which share their oil; a fault begins 60 to 240 days before the end."""
    found: list[SuctionSide] = []
    while len(found) < count:
        warm, coldest = float(rng.uniform(43.0, 57.0)), float(round(rng.uniform(5.0, 20.0)))
        of_one: list[SuctionSide] = []
        while len(of_one) < OF_A_SYSTEM:
            side = _drawn(rng, fault, warm, coldest)
            of_one += [] if side is None else [side]
        found += of_one
    return found[:count]


def as_plant(sides: Sequence[SuctionSide], now: float = sp.NOW) -> PlantColumns:
    """What is known of them at a day; `OF_A_SYSTEM` in order are of one system, sides are positions."""
    positions, lives = [], []
    for row, side in enumerate(sides):
        seen = [each for each in side.readings if each.day <= now]
        begun = [day for day in side.fitted_day if day <= now]
        for start, end in pairwise(begun):
            own = tuple(each for each in seen if start <= each.day < end)
            lives.append(sp.Life(start, end, RemovalReason.EARLY, f"P{row}", sp.STRAINER, own))
        positions.append(
            sp.Position(
                *(f"P{row}", f"S{row // OF_A_SYSTEM}"),
                place=Place.SUCTION,
                part=sp.STRAINER,
                fitted=sp.STRAINER,
                fitted_day=begun[-1],
                vacuum_limit_bar=side.limit_bar,
                inlet_head_m=round(side.head_m, 1) if side.head_told else sp.NAN,
                readings=tuple(each for each in seen if each.day >= begun[-1]),
            )
        )
    systems = [
        sp.System(f"S{row}", working_temperature_degC=round(side.warm_degC), coldest_start_degC=side.coldest_degC)
        for row, side in enumerate(sides[::OF_A_SYSTEM])
    ]
    return sp.plant(*positions, systems=systems, lives=lives, now=now)


def _drawn(rng: np.random.Generator, fault: SuctionFault, warm: float, coldest: float) -> SuctionSide | None:
    limit = float(rng.choice([0.2, 0.25, 0.3, 0.34]))
    head_m, rough = float(rng.uniform(-0.6, 0.8)), float(rng.uniform(0.0, 0.25))
    head = BAR_PER_M * (head_m + _wander(rng, 0.04, 40.0))
    thicker = float(viscosity_at(coldest, *WALTHER) / viscosity_at(warm, *WALTHER))
    grows = (1.0 - rough) * thicker + rough
    step = float(rng.choice(GAUGE_STEPS_BAR))
    clean = (rng.uniform(0.15, 0.65) * limit + BAR_PER_M * head_m) / grows
    if clean < 0.005:
        return None
    fault_at = int(DAYS - rng.uniform(60.0, 240.0))
    fitted, since = _services(rng, fault_at if fault is SuctionFault.LINE else None)
    share = rng.uniform(0.2, 0.5)
    dirt = rng.uniform(0.2, 1.0) * (since / 250.0) ** rng.uniform(1.0, 2.5)
    room = SOUND_SHARE * limit - float(np.max(grows * clean - head))
    if room <= 0.0:
        return None
    dirt *= min(1.0, room / max(float(np.max(grows * clean * share * dirt)), 1e-9) * 0.98)
    friction = clean * (1.0 + share * dirt)
    if fault is SuctionFault.COLD:
        wanted = (rng.uniform(1.3, 1.8) * limit + BAR_PER_M * head_m) / grows
        goes_on = np.clip((np.arange(DAYS) - fault_at) / 40.0, 0.0, 1.0)
        goes_on[fitted[-1] :] = goes_on[fitted[-1] :] if fitted[-1] <= fault_at else 0.0
        friction = friction + goes_on * np.maximum(wanted - friction, 0.0)
        if float(np.max(friction - head)) > 0.75 * limit or fitted[-1] > fault_at:
            return None
    if fault is SuctionFault.LINE:
        begins, times = fault_at + rng.uniform(0.0, 20.0), rng.uniform(1.6, 2.2)
        if (times - 1.0) * friction[fault_at] < SEEN_MARKS * step or friction[fault_at] < head[fault_at]:
            return None
        friction = np.where(np.arange(DAYS) >= begins, friction * times, friction)
    return SuctionSide(
        *(fault, FIRST_DAY + fault_at, limit, head_m, bool(rng.random() < 0.6), coldest, warm),
        cold_vacuum_bar=grows * friction - head,
        fitted_day=tuple(FIRST_DAY + each for each in fitted),
        readings=_readings(rng, friction, head, (warm, coldest), rough, step),
    )


def _services(rng: np.random.Generator, also_at: int | None) -> tuple[list[int], Floats]:
    """Days on which the strainer is cleaned, one of them `also_at`, and the days since, (DAYS,)."""
    every = rng.uniform(150.0, 300.0)
    days, day = [0], 0.0
    while (day := day + every * rng.uniform(0.8, 1.2)) < DAYS - 20:
        days.append(int(day))
    if also_at is not None:
        days = [each for each in days if each < also_at - 30] + [also_at]
    last = np.zeros(DAYS, dtype=np.intp)
    for each in days:
        last[each:] = each
    return days, (np.arange(DAYS) - last).astype(np.float64)


def _wander(rng: np.random.Generator, sd: float, over_d: float) -> Floats:
    keeps = np.exp(-1.0 / over_d)
    shocks = sd * np.sqrt(1.0 - keeps**2) * rng.standard_normal(DAYS)
    shocks[0] = 0.0
    return np.asarray(lfilter([1.0], [1.0, -keeps], shocks))


def _readings(
    rng: np.random.Generator,
    friction: Floats,
    head: Floats,
    warm_and_coldest_degC: tuple[float, float],
    rough: float,
    step: float,
) -> tuple[sp.Reading, ...]:
    (warm, coldest), bias = warm_and_coldest_degC, 1.0 + 0.03 * rng.standard_normal()
    day, found = rng.uniform(0.0, 7.0), []
    while day < DAYS - 1:
        at = int(day)
        cold = rng.random() < 0.12
        temperature = rng.uniform(coldest, 25.0) if cold else warm + 3.0 * rng.standard_normal()
        thicker = float(viscosity_at(temperature, *WALTHER) / viscosity_at(warm, *WALTHER))
        vacuum = friction[at] * ((1.0 - rough) * thicker + rough) - head[at]
        vacuum *= bias * (1.0 + 0.03 * rng.standard_normal())
        vacuum = max(round(vacuum / step) * step, 0.0)
        vacuum *= float(rng.choice(SLIPS)) if rng.random() < 0.012 else 1.0
        told = rng.random() < 0.85
        found.append(
            sp.Reading(
                day=FIRST_DAY + day,
                vacuum_bar=round(vacuum, 4),
                flow_lpm=sp.NAN,
                oil_temperature_degC=round(temperature) if told else sp.NAN,
            )
        )
        day += 7.0 * rng.uniform(0.6, 1.4)
    return tuple(found)
