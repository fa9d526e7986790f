"""The true course of a simulated plant, day by day, and everything that was noted of it."""

from dataclasses import dataclass, field

import numpy as np
import numpy.typing as npt

from scheduler.engineering.viscosity import density_at, viscosity_at, walther_constants
from scheduler.vocabulary import RemovalReason
from tests.measure.simulated_plants.laws import LAWS, dirt_at
from tests.measure.simulated_plants.settings import Settings

Floats = npt.NDArray[np.float64]

FIRST_DAY = 18_000.0
OIL_40_MM2_S, OIL_100_MM2_S, DENSITY_15 = 46.0, 6.8, 870.0
WALTHER = walther_constants(OIL_40_MM2_S, OIL_100_MM2_S)
BYPASS_OVERRIDE = 0.04
GLITCHES = (10.0, 0.1, 2.0, 0.5)


@dataclass(frozen=True, slots=True)
class ElementType:
    form: float
    life_h: float
    clean_dp_bar: float
    rated_flow_lpm: float
    sheet_factor: float


@dataclass(frozen=True, slots=True)
class SimulatedSystem:
    """Cumulative true run hours and ingression by day from FIRST_DAY, (D + 1,) each, and the meter as noted."""

    hours_per_week: float
    warm_degC: float
    run_h: Floats
    ingress: Floats
    burst: Floats
    meter_day: Floats
    meter_h: Floats
    meter_mark: npt.NDArray[np.int64]


@dataclass(frozen=True, slots=True)
class Place:
    system: int
    type: int
    flow_lpm: float
    flow_measured: bool
    housing_dp_bar: float
    housing_told: bool
    clean_dp_bar: float
    terminal_dp_bar: float
    bypass_dp_bar: float
    share: float
    interval_h: float
    reading_every_d: float
    step_bar: float
    gauge_bias: float


@dataclass(frozen=True, slots=True)
class Life:
    """A life with its truth (`terminal_day` infinite: beyond the simulated truth) and its readings as noted."""

    place: int
    fitted_day: float
    removed_day: float
    reason: RemovalReason
    terminal_day: float
    day: Floats
    dp_bar: Floats
    flow_lpm: Floats
    oil_temperature_degC: Floats
    load_share: Floats  # of the terminal's dirt, by day from fitted_day


@dataclass(frozen=True, slots=True)
class Element:
    """One element as it comes out of its box: dirt that one unit of its law's curve takes, sharpness, clean ΔP."""

    form: float
    capacity: float
    clean_dp_bar: float


@dataclass(frozen=True, slots=True)
class Course:
    """What becomes of an element from the day it is fitted: dirt held by day, and where its terminal lies."""

    fitted: int  # days after FIRST_DAY
    held: Floats
    end: float  # dirt held at the terminal
    terminal_d: float  # days after `fitted`; infinite beyond the truth


@dataclass(slots=True)
class SimulatedPlant:
    law: str
    settings: Settings
    types: list[ElementType] = field(default_factory=list)
    systems: list[SimulatedSystem] = field(default_factory=list)
    places: list[Place] = field(default_factory=list)
    lives: list[Life] = field(default_factory=list)

    @property
    def test_starts_day(self) -> float:
        return FIRST_DAY + self.settings.history_d

    @property
    def test_ends_day(self) -> float:
        return self.test_starts_day + self.settings.test_d

    def run_h_between(self, place: int, from_day: Floats | float, to_day: Floats | float) -> Floats:
        run_h = self.systems[self.places[place].system].run_h
        days = FIRST_DAY + np.arange(len(run_h))
        return np.asarray(np.interp(to_day, days, run_h) - np.interp(from_day, days, run_h))


def simulate(law: str, seed: int, settings: Settings | None = None) -> SimulatedPlant:
    rng, settings = np.random.default_rng([seed, list(LAWS).index(law)]), settings or Settings()
    plant = SimulatedPlant(law, settings)
    forms = LAWS[law][1]
    plant.types = [
        ElementType(
            form=float(rng.uniform(*forms)),
            life_h=float(settings.typical_life_h * np.exp(settings.type_life_log_sd * rng.standard_normal())),
            clean_dp_bar=float(rng.uniform(0.2, 0.5)),
            rated_flow_lpm=100.0,
            sheet_factor=float(np.exp(settings.sheet_log_sd * rng.standard_normal())),
        )
        for _ in range(settings.types)
    ]
    for system in range(settings.systems):
        plant.systems.append(_system(rng, settings))
        for _ in range(rng.integers(settings.places_per_system[0], settings.places_per_system[1] + 1)):
            plant.places.append(_place(rng, settings, plant.types, system, plant.systems[-1]))
    for place in range(len(plant.places)):
        plant.lives += _lives(rng, plant, place)
    return plant


def _system(rng: np.random.Generator, settings: Settings) -> SimulatedSystem:
    days = settings.truth_d
    per_week = float(rng.choice(settings.hours_per_week))
    weekly = np.exp(settings.week_log_sd * rng.standard_normal(days // 7 + 1))
    hours = np.minimum(0.8 * per_week / 7.0 * np.repeat(weekly, 7)[:days], 24.0)
    for year in range(days // 365):
        start = 365 * year + int(rng.integers(0, 350))
        hours[start : start + 12] = 0.0
    walk = np.zeros(days)
    walk[0] = settings.walk_log_sd * rng.standard_normal()
    keeps = np.exp(-1.0 / settings.walk_d)
    shocks = settings.walk_log_sd * np.sqrt(1.0 - keeps**2) * rng.standard_normal(days)
    for day in range(1, days):
        walk[day] = keeps * walk[day - 1] + shocks[day]
    season = settings.season * np.sin(2.0 * np.pi * (np.arange(days) / 365.25 + rng.uniform()))
    bursts = (rng.random(days) < settings.bursts_per_year / 365.25) * rng.uniform(0.0, settings.largest_burst, days)
    run_h = np.concatenate([[0.0], np.cumsum(hours)])
    meter_day, meter_h, mark = _meter(rng, settings, run_h)
    return SimulatedSystem(
        hours_per_week=per_week,
        warm_degC=float(rng.uniform(43.0, 57.0)),
        run_h=run_h,
        ingress=np.concatenate([[0.0], np.cumsum(hours * np.exp(walk + season - 0.5 * settings.walk_log_sd**2))]),
        burst=np.concatenate([[0.0], np.cumsum(bursts)]),
        meter_day=meter_day,
        meter_h=meter_h,
        meter_mark=mark,
    )


def _meter(
    rng: np.random.Generator, settings: Settings, run_h: Floats
) -> tuple[Floats, Floats, npt.NDArray[np.int64]]:
    every_d = float(rng.choice([7.0, 14.0, 30.0]))
    day = np.arange(1.0, len(run_h) - 1.0, every_d) + rng.uniform(0.0, 0.9)
    shown = rng.uniform(500.0, 9000.0) + np.interp(day, np.arange(len(run_h)), run_h)
    mark = np.zeros(len(day), dtype=np.int64)
    if rng.random() < settings.meter_replaced_share:
        at = int(rng.integers(2, int((settings.history_d + settings.test_d) / every_d)))
        shown[at:] -= shown[at] - rng.uniform(0.0, 20.0)
    wrong = rng.random(len(day)) < settings.meter_mistyped_share
    shown = np.where(wrong, np.round(shown) * rng.choice([10.0, 0.1], len(day)), shown)
    return FIRST_DAY + day, np.round(shown, 0), mark


def _place(
    rng: np.random.Generator, settings: Settings, types: list[ElementType], system: int, of: SimulatedSystem
) -> Place:
    kind = int(rng.integers(len(types)))
    element = types[kind]
    flow = float(rng.uniform(50.0, 110.0))
    warm = viscosity_at(of.warm_degC, *WALTHER) / 30.0 * density_at(of.warm_degC, DENSITY_15) / 860.0
    clean = element.clean_dp_bar * element.sheet_factor * flow / element.rated_flow_lpm * float(warm)
    housing = float(rng.uniform(0.05, 0.25)) * clean
    terminal = clean * float(rng.uniform(4.0, 9.0)) + housing
    share = float(np.exp(settings.place_log_sd * rng.standard_normal()))
    own_life_h = element.life_h / share
    return Place(
        system=system,
        type=kind,
        flow_lpm=flow,
        flow_measured=bool(rng.random() < settings.flow_measured_share),
        housing_dp_bar=housing,
        housing_told=bool(rng.random() < 0.5),
        clean_dp_bar=clean,
        terminal_dp_bar=terminal,
        bypass_dp_bar=terminal / float(rng.uniform(0.70, 0.80)),
        share=share,
        interval_h=own_life_h * float(rng.uniform(*settings.interval_share)),
        reading_every_d=float(rng.choice(settings.reading_every_d)),
        step_bar=float(rng.choice(settings.dial_steps_bar)),
        gauge_bias=float(np.exp(settings.gauge_bias * rng.standard_normal())),
    )


def _lives(rng: np.random.Generator, plant: SimulatedPlant, place: int) -> list[Life]:
    """One life after the other until the test period is over; the last is followed to its end."""
    settings, lives = plant.settings, []
    fitted = int(rng.integers(0, 60))
    while fitted < settings.history_d + settings.test_d:
        element = element_drawn(rng, plant, place)
        course = course_of(plant, place, element, fitted)
        removed, reason = _removal(rng, plant, place, course)
        lives.append(noted(rng, plant, place, element, course, removed, reason))
        fitted = removed + 1
    return lives


def element_drawn(rng: np.random.Generator, plant: SimulatedPlant, place: int) -> Element:
    """A new element for a place."""
    settings, at = plant.settings, plant.places[place]
    kind = plant.types[at.type]
    usual = kind.life_h / dirt_at(LAWS[plant.law][0], kind.form, float(np.log(6.5)))
    return Element(
        form=kind.form * float(np.exp(settings.form_log_sd * rng.standard_normal())),
        capacity=usual * float(np.exp(settings.capacity_log_sd * rng.standard_normal())),
        clean_dp_bar=at.clean_dp_bar * float(np.exp(settings.clean_log_sd * rng.standard_normal())),
    )


def course_of(plant: SimulatedPlant, place: int, element: Element, fitted: int, end: float | None = None) -> Course:
    """The element fitted `fitted` days after FIRST_DAY, as long as the truth goes; `end` if it is known already."""
    at = plant.places[place]
    system = plant.systems[at.system]
    dirt = at.share * (system.ingress[fitted:] + plant.types[at.type].life_h * system.burst[fitted:])
    held = (dirt - dirt[0]) / element.capacity
    end = dirt_at_dp(plant, place, element, at.terminal_dp_bar) if end is None else end
    return Course(fitted, held, end, float(np.interp(end, held, np.arange(len(held)), right=np.inf)))


def dirt_at_dp(plant: SimulatedPlant, place: int, element: Element, assembly_dp_bar: float) -> float:
    """Dirt held when the warm assembly ΔP is `assembly_dp_bar`."""
    log_ratio = np.log((assembly_dp_bar - plant.places[place].housing_dp_bar) / element.clean_dp_bar)
    return dirt_at(LAWS[plant.law][0], element.form, float(log_ratio))


def _removal(
    rng: np.random.Generator, plant: SimulatedPlant, place: int, course: Course
) -> tuple[int, RemovalReason]:
    settings, at, fitted = plant.settings, plant.places[place], course.fitted
    run_h = plant.systems[at.system].run_h
    due_h = run_h[fitted] + at.interval_h * np.exp(settings.interval_log_sd * rng.standard_normal())
    by_interval = int(np.searchsorted(run_h, due_h))
    seen = rng.random() < settings.trip_seen
    by_trip = fitted + course.terminal_d + rng.uniform(0.0, settings.trip_delay_d) if seen else np.inf
    if min(by_interval, by_trip) < settings.history_d:
        if by_trip < by_interval:
            return int(np.ceil(by_trip)), RemovalReason.INDICATOR
        return by_interval, RemovalReason(rng.choice([RemovalReason.EARLY, RemovalReason.OPPORTUNITY]))
    past = course.end * (1.0 + settings.overrun * rng.uniform())
    over = fitted + int(np.searchsorted(course.held, past))
    return max(min(over, len(run_h) - 2), settings.history_d), RemovalReason.DUE


def noted(
    rng: np.random.Generator,
    plant: SimulatedPlant,
    place: int,
    element: Element,
    course: Course,
    removed: int,
    reason: RemovalReason,
) -> Life:
    """The readings of a life up to its removal, with all that is wrong with them."""
    settings, at = plant.settings, plant.places[place]
    fitted, held = course.fitted, course.held
    steps = at.reading_every_d * rng.uniform(0.6, 1.4, int((removed - fitted) / at.reading_every_d / 0.6) + 2)
    after = np.cumsum(steps)
    after = after[after < removed - fitted - 0.5]
    gap = rng.uniform(0.0, max(removed - fitted, 1.0))
    if rng.random() < settings.gap_share:
        after = after[np.abs(after - gap) > 60.0]
    count = len(after)
    warm = plant.systems[at.system].warm_degC
    cold = rng.random(count) < settings.cold_share
    temperature = np.where(cold, rng.uniform(8.0, 25.0, count), warm + 3.0 * rng.standard_normal(count))
    flow = at.flow_lpm * (
        rng.uniform(*settings.flow_spread, count) if at.flow_measured else rng.normal(1.0, 0.05, count)
    )
    thicker = viscosity_at(temperature, *WALTHER) / viscosity_at(warm, *WALTHER)
    denser = density_at(temperature, DENSITY_15) / density_at(warm, DENSITY_15)
    through = flow / at.flow_lpm
    rise = np.exp(LAWS[plant.law][0](np.interp(after, np.arange(len(held)), held), element.form))
    dp = element.clean_dp_bar * rise * thicker * denser * through + at.housing_dp_bar * denser * through**2
    opens = at.bypass_dp_bar * (1.0 + BYPASS_OVERRIDE * np.abs(rng.standard_normal(count)))
    dp = np.minimum(dp, opens) * at.gauge_bias * (1.0 + settings.gauge_noise * rng.standard_normal(count))
    dp = np.round(dp / at.step_bar) * at.step_bar
    wrong = rng.random(count) < settings.gross_error_share
    dp = np.where(wrong, dp * rng.choice(GLITCHES, count), dp)
    untold = rng.random(count) < settings.no_temperature_share
    return Life(
        place=place,
        fitted_day=FIRST_DAY + fitted,
        removed_day=FIRST_DAY + removed,
        reason=reason,
        terminal_day=FIRST_DAY + fitted + course.terminal_d,
        day=FIRST_DAY + fitted + after,
        dp_bar=np.round(dp, 4),
        flow_lpm=flow * (1.0 + 0.03 * rng.standard_normal(count)) if at.flow_measured else np.full(count, np.nan),
        oil_temperature_degC=np.where(untold, np.nan, np.round(temperature, 0)),
        load_share=held[: removed - fitted + 2] / course.end,
    )
