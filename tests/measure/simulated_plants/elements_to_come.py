"""The elements that will be fitted in a simulated plant from its test period on, whenever somebody decides to.

The number of an element in its place settles what it is and how its readings scatter; the day on which it is fitted
settles the dirt that it meets. So two ways of deciding are held against the same elements and the same dirt.
"""

from dataclasses import dataclass
from enum import StrEnum

import numpy as np

from scheduler.vocabulary import RemovalReason
from tests.measure.simulated_plants.laws import LAWS
from tests.measure.simulated_plants.machine import (
    FIRST_DAY,
    Course,
    Element,
    Life,
    SimulatedPlant,
    course_of,
    dirt_at_dp,
    element_drawn,
    noted,
)

_DRAWN, _READ = 11, 12  # streams of random numbers apart from the plant's own


class Limit(StrEnum):
    """What an element must not reach: its terminal ΔP, or the ΔP at which the bypass opens."""

    TERMINAL = "terminal"
    BYPASS = "bypass"


@dataclass(frozen=True, slots=True)
class Fitted:
    """An element in its place; days after FIRST_DAY, infinite beyond the truth. life_h: run hours to the limit."""

    place: int
    number: int
    element: Element
    course: Course
    limit_d: float
    bypass_d: float
    life_h: float

    def run_h_at(self, plant: SimulatedPlant, day: float) -> float:
        return float(plant.run_h_between(self.place, FIRST_DAY + self.course.fitted, FIRST_DAY + day))


class ElementsToCome:
    """`limit`: what counts as the end of a life."""

    def __init__(self, plant: SimulatedPlant, seed: int, limit: Limit) -> None:
        self.plant, self.seed, self.limit = plant, seed, limit
        self._drawn: dict[tuple[int, int], tuple[Element, float, float]] = {}  # and dirt at terminal and at bypass

    @property
    def last_d(self) -> int:
        """Days after FIRST_DAY to which the truth goes."""
        return self.plant.settings.truth_d - 2

    def fitted(self, place: int, number: int, fitted_d: int) -> Fitted:
        """The place's element of that number, from 0, fitted on a day."""
        element, at_terminal, at_bypass = self._element(place, number)
        course = course_of(self.plant, place, element, fitted_d, at_terminal)
        terminal_d = fitted_d + course.terminal_d
        bypass_d = fitted_d + float(np.interp(at_bypass, course.held, np.arange(len(course.held)), right=np.inf))
        limit_d = terminal_d if self.limit is Limit.TERMINAL else bypass_d
        upto = min(limit_d, float(self.last_d))
        life_h = float(self.plant.run_h_between(place, FIRST_DAY + fitted_d, FIRST_DAY + upto))
        return Fitted(place, number, element, course, limit_d, bypass_d, life_h)

    def _element(self, place: int, number: int) -> tuple[Element, float, float]:
        key, at = (place, number), self.plant.places[place]
        if key not in self._drawn:
            element = element_drawn(self._random(_DRAWN, place, number), self.plant, place)
            at_terminal = dirt_at_dp(self.plant, place, element, at.terminal_dp_bar)
            self._drawn[key] = (element, at_terminal, dirt_at_dp(self.plant, place, element, at.bypass_dp_bar))
        return self._drawn[key]

    def noted(self, fitted: Fitted) -> Life:
        """What will be noted of it if nobody changes it before its limit."""
        until = int(min(np.ceil(fitted.limit_d), self.last_d))
        rng = self._random(_READ, fitted.place, fitted.number)
        return noted(rng, self.plant, fitted.place, fitted.element, fitted.course, until, RemovalReason.INDICATOR)

    def _random(self, stream: int, place: int, number: int) -> np.random.Generator:
        return np.random.default_rng([self.seed, list(LAWS).index(self.plant.law), stream, place, number])
