"""A simulated plant that is run by its plan, a decision a week: what was known at each, and what was changed.

From the first day of the test every place keeps the element that its history left in it. Every week all that is known
by then is planned from. An element is changed at once if its due date, at the plant's risk, comes before the next
weekly decision, and at its limit where that came first. Priors are learned every half year and kept in between, so
that between two learnings only what is fitted now is learned of. A change by the plan is told as due, as its job
card would; one at the limit as shown by the indicator.
"""

from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from scheduler.planning.condition import Condition, assess_condition
from scheduler.planning.duty import Duty, assess_duty
from scheduler.planning.limit_dates import LimitDates, limit_dates
from scheduler.planning.plant_columns import PlantColumns
from scheduler.statistics.competing_triggers import fuse
from scheduler.statistics.condition_forecast import ElementPrior
from scheduler.vocabulary import RemovalReason
from tests.measure.simulated_plants.as_known import as_known
from tests.measure.simulated_plants.elements_to_come import ElementsToCome, Limit
from tests.measure.simulated_plants.machine import FIRST_DAY, Life, SimulatedPlant

Floats = npt.NDArray[np.float64]

WEEK_D = 7
LEARNED_EVERY = 26  # decisions
RISK = 0.1
_FOUND_BEFORE_D = 2  # a limit reached in the last days before a decision is found by it


@dataclass(frozen=True, slots=True)
class Look:
    """What is known at a decision, `day` days after FIRST_DAY, before anything is changed by it."""

    day: int
    columns: PlantColumns
    duty: Duty
    condition: Condition
    dates: LimitDates


@dataclass(frozen=True, slots=True)
class Use:
    """A place took a new element on a day after FIRST_DAY, in the week that begins with decision number `week`."""

    place: int
    day: int
    week: int
    is_late: bool


@dataclass(frozen=True, slots=True)
class PlannedPlant:
    """A plant after its test: every decision, and every change in it."""

    plant: SimulatedPlant
    looks: list[Look]
    uses: list[Use]
    before: list[tuple[int, float]]
    """Changes of the history: place, and days after FIRST_DAY."""


@dataclass(frozen=True, slots=True)
class _Running:
    life: Life  # as it will be if nobody changes it before its limit
    limit_d: float


def run_by_plan(plant: SimulatedPlant, seed: int) -> PlannedPlant:
    """All weeks of the plant's test."""
    return _Weeks(plant, ElementsToCome(plant, seed, Limit.TERMINAL)).run()


class _Weeks:
    def __init__(self, plant: SimulatedPlant, to_come: ElementsToCome) -> None:
        self.plant, self.to_come = plant, to_come
        self.starts_d = plant.settings.history_d
        start_day = FIRST_DAY + self.starts_d
        self.over = [life for life in plant.lives if life.removed_day < start_day]
        self.before = [(life.place, life.removed_day - FIRST_DAY) for life in self.over]
        self.running = {
            life.place: _Running(life, life.terminal_day - FIRST_DAY)
            for life in plant.lives
            if life.fitted_day < start_day <= life.removed_day
        }
        self.taken = dict.fromkeys(range(len(plant.places)), 0)
        for place in self.taken:
            if place not in self.running:
                self._fit(place, self.starts_d - 1)
        self.looks: list[Look] = []
        self.uses: list[Use] = []
        self.prior: ElementPrior | None = None

    def run(self) -> PlannedPlant:
        for week in range(self.plant.settings.test_d // WEEK_D):
            day = self.starts_d + WEEK_D * week
            for place, now in list(self.running.items()):
                if now.limit_d <= day - _FOUND_BEFORE_D:
                    self._change(place, int(np.ceil(now.limit_d)), week - 1)
            self.looks.append(self._look(day, learn=week % LEARNED_EVERY == 0))
            for place in self._due():
                self._change(place, day, week)
        return PlannedPlant(self.plant, self.looks, self.uses, self.before)

    def _look(self, day: int, *, learn: bool) -> Look:
        self.plant.lives = [*self.over, *(now.life for now in self.running.values())]
        columns = as_known(self.plant, FIRST_DAY + day)
        duty = assess_duty(columns)
        condition = assess_condition(columns, duty, None if learn else self.prior)
        self.prior = condition.prior
        return Look(day, columns, duty, condition, limit_dates(columns, duty, condition, {}, {}))

    def _due(self) -> list[int]:
        look = self.looks[-1]
        risk = np.full(len(self.plant.places), RISK)
        due = fuse(look.dates.day_ahead, look.dates.causes, look.dates.steps, risk).due_day
        return [int(place) for place in np.flatnonzero((look.columns.fitted.type >= 0) & (due < WEEK_D))]

    def _fit(self, place: int, day: int) -> None:
        fitted = self.to_come.fitted(place, self.taken[place], day)
        self.taken[place] += 1
        self.running[place] = _Running(self.to_come.noted(fitted), fitted.limit_d)

    def _change(self, place: int, day: int, week: int) -> None:
        now = self.running.pop(place)
        is_late = now.limit_d <= day
        self.over.append(ended(now.life, day, RemovalReason.INDICATOR if is_late else RemovalReason.DUE))
        self.uses.append(Use(place, day, week, is_late))
        self._fit(place, day + 1)


def ended(life: Life, day: int, reason: RemovalReason) -> Life:
    """The life, ended on a day after FIRST_DAY: nothing was read from then on."""
    read = life.day < FIRST_DAY + day
    columns = {name: getattr(life, name)[read] for name in ("day", "dp_bar", "flow_lpm", "oil_temperature_degC")}
    return replace(life, removed_day=float(FIRST_DAY + day), reason=reason, **columns)
