"""What does it cost to change elements when the forecast says so, beside fixed intervals chosen with hindsight?

Simulated plants, each with its history. From the first day of the test every place has a new element, and every week
all that is known by then is planned from. An element is changed if it is more likely than not past its limit, or if
the probability of passing it before the next weekly decision, times what that would cost more than a planned change,
exceeds what a week of the present element is worth: `P · (Cf − Cp) > g* · D`, `g* = 1.25 · Cp / E[life]`, D the run
hours of the week and `P = (F(D) − F(0)) / (1 − F(0))`, since whatever passed its limit is changed on that day, at the
late cost (condition rule of age replacement, Barlow & Proschan 1965; the factor is the project's own). Elements that
were fitted within the test are followed to their end, so that no cost falls off it.

The fixed intervals meet the same dirt and the same elements (`elements_to_come`): the best for each place and the
best for each type, both found by trying many on that very future, which nobody can do in a plant (with the few lives
that a place has, the former all but knows the length of each), and the interval that the place had in its history.
"Foreseen" changes each element just before its limit: no way of deciding can cost less.

Priors are learned every few weeks only and kept in between. A change by decision is recorded as `early` (the element
had not reached its limit), or as `due`, which learning takes for a life that ended near its terminal.

Run: python tests/measure/closed_loop.py [seeds, e.g. 101-102] [systems a plant] [limit: terminal or bypass]
     [recorded as: early or due] [days of the test] [plants: usual or wandering]
"""

import sys
import time
from collections.abc import Callable, Iterable
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
import numpy.typing as npt

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))  # so that it also runs as a plain script
from scheduler.planning.condition import assess_condition
from scheduler.planning.duty import assess_duty, planned_ahead
from scheduler.planning.plant_columns import PlantColumns
from scheduler.statistics.condition_forecast import ElementPrior
from scheduler.vocabulary import RemovalReason
from tests.measure.simulated_plants.as_known import as_known
from tests.measure.simulated_plants.elements_to_come import ElementsToCome, Fitted, Limit
from tests.measure.simulated_plants.laws import LAWS
from tests.measure.simulated_plants.machine import FIRST_DAY, Life, SimulatedPlant, simulate
from tests.measure.simulated_plants.settings import Settings

Floats = npt.NDArray[np.float64]
EVERY_D = 7
LEARNED_EVERY = 26  # decisions
TEST_D = 700
LONGEST_LIFE_D = 1900  # what was fitted on the last day of the test is followed to its end
LATE_COSTS = (4.0, 10.0)
WORTH_FACTOR = 1.25
PLANTS = {
    "usual": Settings(),
    "wandering": Settings(
        walk_log_sd=0.45, walk_d=180.0, capacity_log_sd=0.20, bursts_per_year=1.0, largest_burst=0.25
    ),
}
"""In the second the lives of one place differ by 0.3 to 0.35 (log-sd) instead of 0.15, so that even its own best
interval misses the usual one by a fifth: where lives hardly differ, nothing that looks at them can gain much."""
INTERVAL_SHARES: Floats = np.geomspace(0.2, 2.5, 120)  # of the median life of the place


@dataclass(frozen=True, slots=True)
class Change:
    """One life that is over: run hours of it and of the whole it could have had to its limit.

    at_bypass: its bypass opened before the first weekly decision after its limit.
    """

    place: int
    run_h: float
    life_h: float
    is_late: bool
    at_bypass: bool

    def cost(self, late_cost: float) -> float:
        return late_cost if self.is_late else 1.0


@dataclass(frozen=True, slots=True)
class Trial:
    """One plant, decided over at one late cost: its changes by each way of deciding."""

    law: str
    late_cost: float
    by_forecast: list[Change]
    by_place: list[Change]
    by_type: list[Change]
    as_before: list[Change]
    foreseen: list[Change]
    reading_every_d: list[float]  # of each place


def try_plant(
    law: str, seed: int, late_cost: float, settings: Settings, limit: Limit, reason: RemovalReason
) -> Trial:
    plant = simulate(law, seed, settings)
    to_come = ElementsToCome(plant, seed, limit)
    places = range(len(plant.places))
    by_interval = [_by_intervals(to_come, place) for place in places]
    kinds = [plant.places[place].type for place in places]
    best_of_type = {
        kind: _cheapest([found for place, found in enumerate(by_interval) if kinds[place] == kind], late_cost)
        for kind in set(kinds)
    }
    return Trial(
        law=law,
        late_cost=late_cost,
        by_forecast=_Loop(plant, to_come, late_cost, reason).run(),
        by_place=[change for found in by_interval for change in found[_cheapest([found], late_cost)]],
        by_type=[change for place, found in enumerate(by_interval) for change in found[best_of_type[kinds[place]]]],
        as_before=[change for place in places for change in _under(to_come, place, plant.places[place].interval_h)],
        foreseen=[change for place in places for change in _foreseen(to_come, place)],
        reading_every_d=[place.reading_every_d for place in plant.places],
    )


class _Loop:
    """The plant from its first test day on, a decision a week."""

    def __init__(
        self, plant: SimulatedPlant, to_come: ElementsToCome, late_cost: float, reason: RemovalReason
    ) -> None:
        self.plant, self.to_come, self.late_cost, self.reason = plant, to_come, late_cost, reason
        self.starts_d, self.ends_d = _test(plant)
        self.changes: list[Change] = []
        self.prior: ElementPrior | None = None
        ended = [_cut(life, self.starts_d, RemovalReason.OPPORTUNITY) for life in plant.lives]
        self.lives = [life for life in ended if life is not None]
        self.running: dict[int, tuple[Fitted, Life]] = {}
        for place in range(len(plant.places)):
            self._fit(place, 0, self.starts_d + 1)

    def run(self) -> list[Change]:
        """Until the last element that was fitted within the test is over."""
        for turn, day in enumerate(range(self.starts_d + EVERY_D, self.to_come.last_d, EVERY_D)):
            for fitted, _ in [each for each in self.running.values() if each[0].limit_d <= day]:
                self._change(fitted, int(np.ceil(fitted.limit_d)), is_late=True)
            for place in self._decided(day, learn=turn % LEARNED_EVERY == 0):
                if place in self.running and self.running[place][0].course.fitted < day:
                    self._change(self.running[place][0], day, is_late=False)
            if not self.running:
                break
        for fitted, _ in list(self.running.values()):  # the truth is over: whatever still runs is changed
            self._change(fitted, self.to_come.last_d, is_late=False)
        return self.changes

    def _fit(self, place: int, number: int, day: int) -> None:
        if day < self.ends_d:
            fitted = self.to_come.fitted(place, number, day)
            self.running[place] = (fitted, self.to_come.noted(fitted))

    def _change(self, fitted: Fitted, day: int, *, is_late: bool) -> None:
        life = self.running.pop(fitted.place)[1]
        reason = RemovalReason.INDICATOR if is_late else self.reason
        over = _cut(life, day, reason)
        if over is not None:
            self.lives.append(over)
        self.changes.append(_change_of(self.plant, fitted, day, is_late))
        self._fit(fitted.place, fitted.number + 1, day + 1)

    def _decided(self, day: int, *, learn: bool) -> list[int]:
        """Places whose element is to be changed now."""
        self.plant.lives = [*self.lives, *(life for _, life in self.running.values())]
        columns = as_known(self.plant, FIRST_DAY + day)
        duty = assess_duty(columns)
        condition = assess_condition(columns, duty, None if learn else self.prior)
        self.prior = condition.prior
        week_h = planned_ahead(columns, duty, np.array([0.0, EVERY_D]))[:, 1] * duty.rate_mean
        past = condition.remaining.already_reached
        passes = (condition.remaining.cdf_at(week_h) - past) / np.maximum(1.0 - past, 1e-9)
        life = condition.life
        life_h = np.exp(life.log_median + 0.5 * life.log_sd**2)
        worth = WORTH_FACTOR / life_h * week_h
        is_due = (past >= 0.5) | (passes * (self.late_cost - 1.0) > worth)
        return [int(place) for place in np.flatnonzero(_known(columns) & is_due)]


def _known(columns: PlantColumns) -> npt.NDArray[np.bool_]:
    return ~np.isnan(columns.fitted.fitted_day)


def _test(plant: SimulatedPlant) -> tuple[int, int]:
    """First and last day on which an element of the test may be fitted, after FIRST_DAY."""
    return plant.settings.history_d, plant.settings.history_d + plant.settings.test_d


def _cut(life: Life, day: int, reason: RemovalReason) -> Life | None:
    """The life as it is when it ends on a day at the latest; None for one that was not yet fitted by then."""
    removed_day = FIRST_DAY + day
    if life.removed_day <= removed_day:
        return life if life.removed_day < removed_day else replace(life, reason=reason)
    if life.fitted_day >= removed_day:
        return None
    read = life.day < removed_day
    columns = {name: getattr(life, name)[read] for name in ("day", "dp_bar", "flow_lpm", "oil_temperature_degC")}
    return replace(life, removed_day=removed_day, reason=reason, **columns)


def _change_of(plant: SimulatedPlant, fitted: Fitted, day: float, is_late: bool) -> Change:
    run_h = fitted.life_h if is_late else min(fitted.run_h_at(plant, day), fitted.life_h)
    next_decision = (
        EVERY_D * np.ceil((fitted.limit_d - plant.settings.history_d) / EVERY_D) + plant.settings.history_d
    )
    return Change(fitted.place, run_h, fitted.life_h, is_late, is_late and fitted.bypass_d <= next_decision)


def _one_after_the_other(to_come: ElementsToCome, place: int, due_d: Callable[[Fitted], float]) -> list[Change]:
    """The place's lives if each is changed on `due_d`, days after FIRST_DAY, or at its limit before."""
    starts_d, ends_d = _test(to_come.plant)
    day, changes = starts_d + 1, list[Change]()
    while day < ends_d:
        fitted = to_come.fitted(place, len(changes), day)
        due = min(due_d(fitted), to_come.last_d)
        is_late = fitted.limit_d <= due
        removed = fitted.limit_d if is_late else due
        changes.append(_change_of(to_come.plant, fitted, removed, is_late))
        day = int(np.ceil(removed)) + 1
    return changes


def _by_intervals(to_come: ElementsToCome, place: int) -> list[list[Change]]:
    """The place's lives under each of the intervals tried; the same hours for places of one type."""
    typical_h = to_come.plant.types[to_come.plant.places[place].type].life_h
    return [_under(to_come, place, typical_h * share) for share in INTERVAL_SHARES]


def _under(to_come: ElementsToCome, place: int, interval_h: float) -> list[Change]:
    run_h = to_come.plant.systems[to_come.plant.places[place].system].run_h
    days = np.arange(len(run_h))
    return _one_after_the_other(
        to_come, place, lambda fitted: float(np.interp(run_h[fitted.course.fitted] + interval_h, run_h, days))
    )


def _foreseen(to_come: ElementsToCome, place: int) -> list[Change]:
    return _one_after_the_other(to_come, place, lambda fitted: np.nextafter(fitted.limit_d, 0.0))


def _cheapest(by_interval: list[list[list[Change]]], late_cost: float) -> int:
    """Which of the intervals costs some places least."""
    rates = [
        cost_rate([change for found in by_interval for change in found[which]], late_cost)
        for which in range(len(INTERVAL_SHARES))
    ]
    return int(np.argmin(rates))


def cost_rate(changes: Iterable[Change], late_cost: float) -> float:
    """Planned changes' cost per 1,000 run hours."""
    every = list(changes)
    return 1000.0 * sum(each.cost(late_cost) for each in every) / sum(each.run_h for each in every)


def trials(
    seeds: Iterable[int], settings: Settings, limit: Limit, reason: RemovalReason, laws: Iterable[str] = LAWS
) -> list[Trial]:
    """Every law, seed and late cost, each in a process of its own."""
    asked = [(law, seed, cost, settings, limit, reason) for cost in LATE_COSTS for law in laws for seed in seeds]
    with ProcessPoolExecutor(max_workers=2) as pool:
        return list(pool.map(try_plant, *zip(*asked, strict=True)))


WAYS = ("by_forecast", "by_place", "by_type", "as_before", "foreseen")


def tables(found: list[Trial]) -> str:
    """Two tables of Markdown: costs per 1,000 h by law, all plants of a row together, and by the gauge rounds."""
    heads = (
        *("late cost", "law", "lives", "lives a place", "cost by forecast", "best interval per place", "per type"),
        *("as in its history", "foreseen", "to per place", "to per type", "to foreseen"),
        *("late", "bypass before the next look", "life used", "late by place's interval", "life used by it"),
    )
    lines = [f"| {' | '.join(heads)} |", "|" + "---|" * len(heads)]
    costs = sorted({trial.late_cost for trial in found})
    of_cost = {cost: [trial for trial in found if trial.late_cost == cost] for cost in costs}
    for cost, some in of_cost.items():
        for law in (*dict.fromkeys(trial.law for trial in some), "all"):
            lines.append(_row(law, cost, [trial for trial in some if law in {trial.law, "all"}]))
    lines += ["", "| late cost | read every, d | lives | to per place | to foreseen | late | life used |"]
    lines.append("|" + "---|" * 7)
    for cost, some in of_cost.items():
        for every_d in sorted({every_d for trial in some for every_d in trial.reading_every_d}):
            ours, place, foreseen = (
                [change for change, read_d in _with_rounds(some, way) if read_d == every_d]
                for way in ("by_forecast", "by_place", "foreseen")
            )
            rate, *others = (cost_rate(each, cost) for each in (ours, place, foreseen))
            against = " | ".join(f"{rate / other:.2f}" for other in others)
            lines.append(
                f"| {cost:.0f} | {every_d:.0f} | {len(ours)} | {against} | {late_share(ours):.1f} % "
                f"| {life_used(ours):.0f} % |"
            )
    return "\n".join(lines)


def _with_rounds(some: list[Trial], way: str) -> list[tuple[Change, float]]:
    return [(change, trial.reading_every_d[change.place]) for trial in some for change in getattr(trial, way)]


def _row(law: str, cost: float, some: list[Trial]) -> str:
    changes = {way: [change for trial in some for change in getattr(trial, way)] for way in WAYS}
    rate = {way: cost_rate(each, cost) for way, each in changes.items()}
    ours, place = changes["by_forecast"], changes["by_place"]
    places = sum(len(trial.reading_every_d) for trial in some)
    cells = (
        *(f"{cost:.0f}", law, str(len(ours)), f"{len(ours) / places:.1f}"),
        *(f"{rate[way]:.3f}" for way in WAYS),
        *(f"{rate['by_forecast'] / rate[way]:.2f}" for way in ("by_place", "by_type", "foreseen")),
        *(f"{late_share(ours):.1f} %", f"{100.0 * float(np.mean([each.at_bypass for each in ours])):.1f} %"),
        *(f"{life_used(ours):.0f} %", f"{late_share(place):.1f} %", f"{life_used(place):.0f} %"),
    )
    return f"| {' | '.join(cells)} |"


def late_share(changes: list[Change]) -> float:
    """In %, of the lives."""
    return 100.0 * float(np.mean([each.is_late for each in changes]))


def life_used(changes: list[Change]) -> float:
    """In %, of the run hours that the elements had in them; those that ran to their limit used all."""
    return 100.0 * sum(each.run_h for each in changes) / sum(each.life_h for each in changes)


def main() -> None:
    first, _, last = (sys.argv[1] if len(sys.argv) > 1 else "101").partition("-")
    seeds = range(int(first), int(last or first) + 1)
    systems = int(sys.argv[2]) if len(sys.argv) > 2 else 6
    limit = Limit(sys.argv[3]) if len(sys.argv) > 3 else Limit.TERMINAL
    reason = RemovalReason(sys.argv[4]) if len(sys.argv) > 4 else RemovalReason.EARLY
    days = int(sys.argv[5]) if len(sys.argv) > 5 else TEST_D
    plants = sys.argv[6] if len(sys.argv) > 6 else "usual"
    began = time.perf_counter()
    truth_d = max(PLANTS[plants].truth_d, PLANTS[plants].history_d + days + LONGEST_LIFE_D)
    settings = replace(PLANTS[plants], systems=systems, test_d=days, truth_d=truth_d)
    found = trials(seeds, settings, limit, reason)
    sys.stdout.write(tables(found) + "\n")
    sys.stdout.write(
        f"\nseeds {seeds[0]} to {seeds[-1]}, {systems} systems a plant, limit {limit}, changes recorded as {reason}, "
        f"{days} days, {plants} plants, {time.perf_counter() - began:.0f} s\n"
    )


if __name__ == "__main__":
    main()
