"""Simulated plants of whose systems some take in more dirt from a day on, or of whose filters some get more of it.

The plants are those of `simulated_plants`. After `test_starts_day` elements stay in until they are at their limit, so
that a life that was cut short shows. Two faults: a system's ingression is so many times what it was, for all of its
filters; or one filter gets so many times its share (a pump or a branch was added: it is too small for what it gets).
"""

from dataclasses import replace

import numpy as np

from tests.measure.simulated_plants import machine
from tests.measure.simulated_plants.machine import FIRST_DAY, Life, SimulatedPlant, course_of, element_drawn, noted
from tests.measure.simulated_plants.settings import Settings

LONG_TEST = Settings(systems=26, test_d=1100)
"""Long enough for two lives after the other, also where nothing is wrong."""


def with_more_dirt(
    plant: SimulatedPlant, systems: list[int], from_day: float, times: float, seed: int
) -> SimulatedPlant:
    """The plant in which these systems take in `times` as much from a day on."""
    at = int(from_day - FIRST_DAY)
    found = list(plant.systems)
    for system in systems:
        ingress = plant.systems[system].ingress.copy()
        ingress[at:] = ingress[at] + times * (ingress[at:] - ingress[at])
        found[system] = replace(plant.systems[system], ingress=ingress)
    changed = replace(plant, systems=found, lives=list(plant.lives))
    places = [row for row, place in enumerate(plant.places) if place.system in systems]
    return _lived_anew(changed, places, at, seed)


def with_bigger_share(
    plant: SimulatedPlant, places: list[int], from_day: float, times: float, seed: int
) -> SimulatedPlant:
    """The plant in which these places get `times` their share of the dirt, beginning with the first element fitted
    after a day."""
    at = int(from_day - FIRST_DAY)
    found = list(plant.places)
    for place in places:
        found[place] = replace(plant.places[place], share=times * plant.places[place].share)
    changed = replace(plant, places=found, lives=list(plant.lives))
    return _lived_anew(changed, places, at, seed)


def _lived_anew(plant: SimulatedPlant, places: list[int], at: int, seed: int) -> SimulatedPlant:
    """The lives of these places again from their first change after a day on."""
    rng = np.random.default_rng([seed, 77])
    settings = plant.settings
    until = settings.history_d + settings.test_d
    lives: list[Life] = [life for life in plant.lives if life.place not in places]
    for place in places:
        own = [life for life in plant.lives if life.place == place]
        lives += [life for life in own if life.removed_day <= FIRST_DAY + at]
        fitted = int(max((life.removed_day for life in own if life.removed_day <= FIRST_DAY + at), default=FIRST_DAY))
        fitted -= int(FIRST_DAY) - 1
        while fitted < until:
            element = element_drawn(rng, plant, place)
            course = course_of(plant, place, element, fitted)
            removed, reason = machine._removal(rng, plant, place, course)
            lives.append(noted(rng, plant, place, element, course, removed, reason))
            fitted = removed + 1
    return replace(plant, lives=sorted(lives, key=lambda life: (life.place, life.fitted_day)))
