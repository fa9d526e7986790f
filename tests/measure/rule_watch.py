"""A plant looked at day after day: what its diagnoses say, how often without a fault, and how often of a fault.

A `Watched` gives what was known of a plant at a day. `watch` runs the diagnosing stages of a pass on each of some
days and joins what stands into spans: one is raised on the first look that has it, and cleared on the first without.
Healthy plants give `false_alarms`, plants of which every position was given one fault (`with_fault`) give `power`.

A span that is true is no false alarm: the caller says which are, from the truth that the simulator knows.
"""

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np

from scheduler.planning.cleanliness import assess_cleanliness
from scheduler.planning.cleanliness_diagnoses import cleanliness_diagnoses
from scheduler.planning.condition import assess_condition
from scheduler.planning.diagnoses import Diagnosis, diagnose
from scheduler.planning.duty import Duty, assess_duty
from scheduler.planning.indicator import sightings_of
from scheduler.planning.oil_care import oil_care
from scheduler.planning.pipeline import judge
from scheduler.planning.plant_columns import Floats, MeterRows, PlantColumns
from scheduler.statistics.condition_forecast import ElementPrior
from tests.measure.simulated_plants.as_known import as_known
from tests.measure.simulated_plants.machine import Life, SimulatedPlant
from tests.planning.small_plant import life_of, prior_of_life

YEAR_D = 365.25
ALARM_GOAL_PER_YEAR = 0.02
"""Of one rule, a position-year (a system-year for those of a system)."""


@dataclass(frozen=True, slots=True)
class Watched:
    """What was known of a plant at a day, and what a year of it counts as."""

    known: Callable[[float], PlantColumns]
    positions: int
    systems: int


@dataclass(frozen=True, slots=True)
class Span:
    """One diagnosis from the look that first had it to the first without; `cleared_day` None: stood to the last look.

    `position` −1: of the whole system. `numbers`, `severity`: as they were when it was raised.
    """

    code: str
    system: int
    position: int
    raised_day: float
    cleared_day: float | None
    severity: str = ""
    numbers: dict[str, Any] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class Fault:
    """A fault that began at `from_day` and stayed until `until_day`; `position` −1: of the whole system."""

    system: int
    position: int
    from_day: float
    until_day: float = float("inf")


@dataclass(frozen=True, slots=True)
class Rate:
    """Spans in so many years. The standard error is Poisson's; at none the upper 95 % limit is 3 / years."""

    count: int
    years: float

    @property
    def per_year(self) -> float:
        return self.count / self.years

    @property
    def se_per_year(self) -> float:
        return float(np.sqrt(max(self.count, 1))) / self.years


@dataclass(frozen=True, slots=True)
class Share:
    """So many of so many, with the binomial standard error."""

    count: int
    of: int

    @property
    def share(self) -> float:
        return self.count / self.of

    @property
    def se(self) -> float:
        return float(np.sqrt(self.share * (1.0 - self.share) / self.of))


def of_simulated(plant: SimulatedPlant) -> Watched:
    """A plant of `simulated_plants`; places are positions."""
    return Watched(lambda day: as_known(plant, day), len(plant.places), len(plant.systems))


def every(days: float, from_day: float, until_day: float) -> Floats:
    """The days of the looks."""
    return np.asarray(np.arange(from_day, until_day, days))


Says = Callable[[PlantColumns], Sequence[Diagnosis]]
"""What stands on a day."""


def watch(
    plant: Watched, days: Iterable[float], *, prior: ElementPrior | None = None, learn_every_d: float = np.inf
) -> list[Span]:
    """What a pass would have said on each of these days, as spans in order of raising.

    What lives teach is learned at the first look, and again after `learn_every_d`: the rules hardly need it. Given a
    `prior`, nothing is learned.
    """
    known_prior, next_learning = prior, np.inf if prior is not None else -np.inf

    def says(columns: PlantColumns) -> Sequence[Diagnosis]:
        nonlocal known_prior, next_learning
        if columns.as_of_day >= next_learning:
            known_prior = judge(_all_fitted(columns), None).condition.prior
            next_learning = columns.as_of_day + learn_every_d
        return judge(columns, known_prior).diagnoses

    return watch_by(says, plant, days)


def watch_by(says: Says, plant: Watched, days: Iterable[float]) -> list[Span]:
    """The same by some of a pass's stages, where a rule needs no others: ten times as fast without forecasts."""
    return spans_of(
        (
            float(day),
            [
                Span(each.code, each.system, each.position, float(day), None, each.severity.value, each.numbers)
                for each in says(plant.known(float(day)))
            ],
        )
        for day in days
    )


def by_readings(columns: PlantColumns) -> Sequence[Diagnosis]:
    """The rules of ΔP, vacuum and indicators: no hours are told, so that nothing is forecast."""
    positions, readings, lives = len(columns.positions.code), len(columns.dp.day), len(columns.lives.removed_day)
    unknown = np.full(positions, np.nan)
    duty = Duty(
        *((), unknown, unknown, np.ones(positions, dtype=bool)),
        *(np.full(readings, np.nan), np.full(lives, np.nan), np.full(len(columns.life_dp.day), np.nan)),
        *(unknown, unknown, unknown),
    )
    no_meters = MeterRows(
        *(np.zeros(0, dtype=np.intp), (), (), np.zeros(1, dtype=np.intp), np.zeros(0), np.zeros(0)),
        *(np.zeros(0, dtype=np.intp), np.zeros(0, dtype=bool)),
    )
    return _by(replace(columns, meters=no_meters), duty)


def by_hours(columns: PlantColumns) -> Sequence[Diagnosis]:
    """The rules of meters, and those of the readings that are taken with them."""
    duty = assess_duty(columns)
    return _by(columns, replace(duty, run_h=np.full(len(duty.run_h), np.nan)))


def _by(columns: PlantColumns, duty: Duty) -> Sequence[Diagnosis]:
    prior = prior_of_life(columns, life_of(3000.0, positions=len(columns.positions.code)))
    condition = assess_condition(columns, duty, prior)
    return diagnose(columns, duty, condition, sightings_of(columns, condition))


def by_oil(columns: PlantColumns) -> Sequence[Diagnosis]:
    """The rules of samples against their target, of levels and of top-ups."""
    cleanliness = assess_cleanliness(columns)
    return cleanliness_diagnoses(cleanliness) + oil_care(columns, cleanliness)


def _all_fitted(columns: PlantColumns) -> PlantColumns:
    """On the day of a change a place holds nothing; what is learned has to serve what is fitted the day after."""
    fitted, specified = columns.fitted, columns.positions.specified_type
    day = np.where(fitted.type < 0, columns.as_of_day, fitted.fitted_day)
    return replace(
        columns, fitted=replace(fitted, type=np.where(fitted.type < 0, specified, fitted.type), fitted_day=day)
    )


def spans_of(looks: Iterable[tuple[float, Sequence[Span]]]) -> list[Span]:
    """Spans of what stood at each look, in order of raising."""
    done: list[Span] = []
    open_now: dict[tuple[str, int, int], Span] = {}
    for day, found in looks:
        standing = {(each.code, each.system, each.position): each for each in found}
        for key in [key for key in open_now if key not in standing]:
            done.append(replace(open_now.pop(key), cleared_day=day))
        for key, each in standing.items():
            open_now.setdefault(key, each)
    return sorted(
        [*done, *open_now.values()], key=lambda each: (each.raised_day, each.code, each.system, each.position)
    )


def years_of(days: Floats, many: int) -> float:
    """Years that so many positions (or systems) were watched."""
    return many * float(days[-1] - days[0]) / YEAR_D


def false_alarms(
    spans: Sequence[Span], code: str, years: float, is_true: Callable[[Span], bool] = lambda _: False
) -> Rate:
    """Spans of a code that were raised on a healthy plant; those that are true are none. `code` also stands for its
    forms with a name after a colon."""
    own = [span for span in spans if span.code.split(":")[0] == code and not is_true(span)]
    return Rate(len(own), years)


def power(spans: Sequence[Span], code: str, faults: Sequence[Fault], within_d: float) -> Share:
    """The share of the faults of which the code was raised within `within_d` after they began.

    Where it stood already when the fault began, it says nothing of the fault: such a one is not counted.
    """
    own = [span for span in spans if span.code.split(":")[0] == code]
    raised, of = 0, 0
    for fault in faults:
        here = [each for each in own if (each.system, each.position) == (fault.system, fault.position)]
        stood = [each for each in here if each.raised_day <= fault.from_day < (each.cleared_day or np.inf)]
        if stood:
            continue
        of += 1
        until = min(fault.from_day + within_d, fault.until_day)
        raised += any(fault.from_day < each.raised_day <= until for each in here)
    return Share(raised, of)


Change = Callable[[np.random.Generator, SimulatedPlant, Life, int], Life]
"""A fault: the life with other readings from that row on; the rows before stay as they were noted."""


def with_fault(
    plant: SimulatedPlant,
    change: Change,
    seed: int,
    *,
    between: tuple[float, float],
    before: int = 8,
    after: int = 4,
    once: Callable[[SimulatedPlant, Life, int], bool] = lambda _plant, _life, _row: True,
) -> tuple[SimulatedPlant, list[Fault]]:
    """The same plant with one fault on each place where there is room for it.

    A fault begins at a reading between two days that has at least `before` readings on its element before it and
    `after` from it on, and of which `once` holds (say: late in life). Which of them is drawn by chance.
    """
    rng = np.random.default_rng(seed)
    lives, faults = list(plant.lives), []
    for place in range(len(plant.places)):
        rooms = [
            (index, row)
            for index, life in enumerate(plant.lives)
            if life.place == place
            for row in range(before, len(life.day) - after + 1)
            if between[0] <= life.day[row] < between[1] and once(plant, life, row)
        ]
        if not rooms:
            continue
        index, row = rooms[int(rng.integers(len(rooms)))]
        life = plant.lives[index]
        lives[index] = change(rng, plant, life, row)
        start_day = float(life.day[row]) - 1e-6
        faults.append(Fault(plant.places[place].system, place, start_day, life.removed_day))
    return replace(plant, lives=lives), faults


def scaled(factor: float) -> Change:
    """ΔP shown is so many times what it would be, from that reading on: of one part as of a half, 0.5."""

    def change(_rng: np.random.Generator, plant: SimulatedPlant, life: Life, row: int) -> Life:
        step = plant.places[life.place].step_bar
        dp = life.dp_bar.copy()
        dp[row:] = np.round(np.round(factor * dp[row:] / step) * step, 4)
        return replace(life, dp_bar=dp)

    return change
