"""How often the rules of suction sides, cold starts, short lives and open bypasses speak without their fault, and of
it.

Sound and faulty plants of `suction_positions`, `cold_starting`, `simulated_plants` with `shortened_lives`, and
`contaminated_systems`; looked at by the stages of a pass that the rules need. Rules were tuned on seeds 11 to 13.

Run: python tests/measure/system_faults.py [all, suction, cold, lives or dirty] [positions a fault] [seed]
"""

import sys
import time
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))  # so that it also runs as a plain script
from scheduler.planning.cold_bypass import cold_bypasses
from scheduler.planning.condition import assess_condition
from scheduler.planning.diagnoses import Diagnosis
from scheduler.planning.duty import Duty
from scheduler.planning.indicator import sightings_of
from scheduler.planning.plant_columns import Floats, PlantColumns
from scheduler.planning.suction_diagnoses import suction_diagnoses
from scheduler.statistics.contamination_causes import Cause
from tests.measure import cold_starting, contaminated_systems, suction_positions
from tests.measure.rule_watch import (
    Fault,
    Rate,
    Share,
    Span,
    Watched,
    every,
    false_alarms,
    of_simulated,
    power,
    watch,
    watch_by,
    years_of,
)
from tests.measure.shortened_lives import LONG_TEST, with_bigger_share, with_more_dirt
from tests.measure.simulated_plants.laws import LAWS
from tests.measure.simulated_plants.machine import SimulatedPlant, simulate
from tests.measure.suction_positions import SuctionFault
from tests.planning.small_plant import NOW, life_of, prior_of_life

SEED = 901
POSITIONS_OF_A_PLANT = 100
"""About so many a simulated plant has."""

TIMES = 2.5
"""So much more dirt than before, in a system or in one filter."""


@dataclass(frozen=True)
class Row:
    """One line of the table."""

    code: str
    of: str
    found: Rate | Share

    def __str__(self) -> str:
        if isinstance(self.found, Rate):
            told = f"{self.found.per_year:.4f} ± {self.found.se_per_year:.4f} | {self.found.years:.0f} years"
        else:
            told = f"{self.found.share:.2f} ± {self.found.se:.2f} | {self.found.of} faults"
        return f"| `{self.code}` | {self.of} | {told} |"


def by_readings_alone(columns: PlantColumns) -> Sequence[Diagnosis]:
    """The rules of suction sides and cold starts: no hours are told, so that nothing is forecast."""
    unknown = [np.full(many, np.nan) for many in (len(columns.positions.code), len(columns.dp.day))]
    of_lives = [np.full(many, np.nan) for many in (len(columns.lives.position), len(columns.life_dp.day))]
    flows = np.ones(len(columns.positions.code), dtype=bool)
    duty = Duty((), unknown[0], unknown[0], flows, unknown[1], *of_lives, *([unknown[0]] * 3))
    told = prior_of_life(columns, life_of(3000.0, positions=len(flows)))
    condition = assess_condition(columns, duty, told)
    return suction_diagnoses(columns, condition) + cold_bypasses(columns, condition, sightings_of(columns, condition))


def suction(count: int, seed: int, *, step_d: float = 10.0) -> Iterator[Row]:
    cold, line = "vacuum-too-high-when-cold", "vacuum-up-strainer-clean"
    sound, days = _suction(count, seed, SuctionFault.NONE, every(step_d, NOW - 500.0, NOW + 1.0))
    for code in (cold, line):
        yield Row(code, "sound", false_alarms(sound[1], code, years_of(days, count)))
    for code, fault, within_d in ((cold, SuctionFault.COLD, 120.0), (line, SuctionFault.LINE, 60.0)):
        # of those whose strainer gets dirty half are too new to have been looked at for so long
        many = 2 * count if fault is SuctionFault.COLD else count
        (sides, spans), _ = _suction(many, seed + 1, fault, every(step_d, NOW - 245.0, NOW + 1.0))
        faults = [
            Fault(row // suction_positions.OF_A_SYSTEM, row, side.fault_day)
            for row, side in enumerate(sides)
            if side.fault_day + within_d <= NOW
        ]
        told = [each for each in faults if sides[each.position].head_told]
        yield Row(code, f"{fault.value}, within {within_d:.0f} d", power(spans, code, faults, within_d))
        yield Row(code, "of these with the head told", power(spans, code, told, within_d))


def _suction(
    count: int, seed: int, fault: SuctionFault, days: Floats
) -> tuple[tuple[list[suction_positions.SuctionSide], list[Span]], Floats]:
    sides = suction_positions.simulated_suctions(np.random.default_rng([seed, 1]), count, fault)
    systems = -(-count // suction_positions.OF_A_SYSTEM)
    watched = Watched(lambda day: suction_positions.as_plant(sides, day), count, systems)
    return (sides, watch_by(by_readings_alone, watched, days)), days


def cold(count: int, seed: int, *, step_d: float = 14.0) -> Iterator[Row]:
    code, days = "bypass-opens-when-cold-only", every(step_d, NOW - 365.0, NOW + 1.0)
    for bypasses in (False, True):
        rng = np.random.default_rng([seed, 2, bypasses])
        many = 3 * count // 2 if bypasses else count
        filters = cold_starting.simulated_filters(rng, many, bypasses=bypasses)
        known = Watched(
            lambda day, filters=filters: cold_starting.as_plant(filters, day),  # type: ignore[misc]
            many,
            -(-many // cold_starting.OF_A_SYSTEM),
        )
        spans = watch_by(by_readings_alone, known, days)

        def opened(span: Span, filters: list[cold_starting.ColdStarting] = filters) -> bool:
            return any(
                span.raised_day - 60.0 <= day <= span.raised_day for day in filters[span.position].opened_cold_day
            )

        if not bypasses:
            yield Row(
                code, "starts that stay below the setting", false_alarms(spans, code, years_of(days, count), opened)
            )
            continue
        first = [
            min((day for day in each.opened_cold_day if day >= each.begins_day), default=np.inf) for each in filters
        ]
        faults = [
            Fault(row // cold_starting.OF_A_SYSTEM, row, day - 1e-6)
            for row, day in enumerate(first)
            if day + 60.0 <= NOW
        ]
        yield Row(code, "bypassing at starts, within 60 d of the first seen", power(spans, code, faults, 60.0))


def lives(count: int, seed: int, *, step_d: float = 50.0) -> Iterator[Row]:
    """As many sound plants as hold `count` positions, and as many with faults as hold `count` of each."""
    code, sound, years = "lives-run-short", 0, 0.0
    laws = list(LAWS)
    for turn in range(-(-count // POSITIONS_OF_A_PLANT)):
        plant = simulate(laws[turn % len(laws)], seed + turn, LONG_TEST)
        spans, days = _watched(plant, step_d)
        years += years_of(days, len(plant.places))
        sound += false_alarms(spans, code, 1.0).count
    yield Row(code, "sound plants", Rate(sound, years))
    raised, asked, beside, beside_years, turn = {"dirt": 0, "share": 0}, {"dirt": 0, "share": 0}, 0, 0.0, 0
    named: dict[str, dict[str, int]] = {"dirt": {}, "share": {}}
    while min(asked.values()) < count:
        plant, faulty = _faulty(laws[turn % len(laws)], seed + 100 + turn)
        turn += 1
        spans, days = _watched(plant, step_d)
        for fault, places in faulty.items():
            ends = [
                end for place in places if (end := _second_end(plant, place)) is not None and end <= days[-1] - 60.0
            ]
            at = [
                place for place in places if (end := _second_end(plant, place)) is not None and end <= days[-1] - 60.0
            ]
            faults = [
                Fault(plant.places[place].system, place, _start(plant), end + 60.0)
                for place, end in zip(at, ends, strict=True)
            ]
            told = power(spans, code, faults, np.inf)
            raised[fault] += told.count
            asked[fault] += told.of
            for span in spans:
                if span.code == code and span.position in at and span.raised_day > _start(plant):
                    cause = str(span.numbers["cause"])
                    named[fault][cause] = named[fault].get(cause, 0) + 1
        spared = set(range(len(plant.places))) - set(faulty["dirt"]) - set(faulty["share"])
        beside += sum(span.code == code and span.position in spared for span in spans)
        beside_years += years_of(days, len(spared))
    yield Row(code, "sound filters of plants with faulty ones", Rate(beside, beside_years))
    names = {"dirt": f"{TIMES:g} times the dirt in the system", "share": f"{TIMES:g} times the dirt in this filter"}
    for fault, name in names.items():
        yield Row(code, f"{name}, until 60 d after the second life's end", Share(raised[fault], asked[fault]))
        total = max(sum(named[fault].values()), 1)
        for cause, times in sorted(named[fault].items()):
            yield Row(code, f"of its findings called {cause}", Share(times, total))


def _start(plant: SimulatedPlant) -> float:
    return plant.test_starts_day + 60.0


def _watched(plant: SimulatedPlant, step_d: float) -> tuple[list[Span], Floats]:
    days = every(step_d, plant.test_starts_day, plant.test_ends_day)
    return watch(of_simulated(plant), days), days


def _faulty(law: str, seed: int) -> tuple[SimulatedPlant, dict[str, list[int]]]:
    """Of each three systems one takes in more, and of each three one has a single filter that gets more."""
    plant = simulate(law, seed, LONG_TEST)
    dirty = [system for system in range(len(plant.systems)) if system % 3 == 0]
    first = {place.system: row for row, place in reversed(list(enumerate(plant.places)))}
    more = [row for system, row in first.items() if system % 3]
    plant = with_more_dirt(plant, dirty, _start(plant), TIMES, seed)
    plant = with_bigger_share(plant, more, _start(plant), TIMES, seed + 1)
    return plant, {"dirt": [row for row, at in enumerate(plant.places) if at.system in dirty], "share": more}


def _second_end(plant: SimulatedPlant, place: int) -> float | None:
    """When the second life that began after the fault ended."""
    ends = sorted(life.removed_day for life in plant.lives if life.place == place and life.fitted_day > _start(plant))
    return float(ends[1]) if len(ends) > 1 else None


def dirty(count: int, seed: int, *, step_d: float = 30.0) -> Iterator[Row]:
    code = "dirty-oil-clean-element"
    for downstream, seen in ((False, "ΔP and counts"), (True, "ΔP, counts and samples behind the element")):
        for fault in (Cause.NOTHING_WRONG, Cause.INGRESSION, Cause.UNDER_FILTRATION, Cause.BYPASS):
            rng = np.random.default_rng([seed, 4, list(Cause).index(fault), downstream])
            systems = [contaminated_systems.simulated_system(rng, fault, downstream=downstream) for _ in range(count)]
            known = Watched(
                lambda day, systems=systems: contaminated_systems.as_plant(systems, day),  # type: ignore[misc]
                count,
                count,
            )
            back_d = 360.0 if fault is Cause.NOTHING_WRONG else 90.0
            days = every(step_d, NOW - back_d, NOW + 1.0)
            spans = watch(known, days)
            if fault is Cause.NOTHING_WRONG:
                yield Row(code, f"nothing wrong, {seen}", false_alarms(spans, code, years_of(days, count)))
                continue
            told = {span.system for span in spans if span.code == code}
            yield Row(code, f"{fault.value}, {seen}, 75 to 125 d on", Share(len(told), count))
            if fault is Cause.BYPASS:
                by_dp = {span.system for span in spans if span.code in ("bypass-open-warm", "dp-fell-without-change")}
                yield Row(
                    code, "of these where the ΔP rules are silent", Share(len(told - by_dp), count - len(by_dp))
                )


PARTS: dict[str, Callable[[int, int], Iterator[Row]]] = {
    "suction": suction,
    "cold": cold,
    "lives": lives,
    "dirty": dirty,
}


def main(arguments: Sequence[str]) -> None:
    part = arguments[0] if arguments else "all"
    count = int(arguments[1]) if len(arguments) > 1 else 500
    seed = int(arguments[2]) if len(arguments) > 2 else SEED
    for name, measure in PARTS.items():
        if part in ("all", name):
            began = time.perf_counter()
            for row in measure(count, seed):
                print(row, flush=True)  # noqa: T201
            print(f"{name}: {count} a fault, seed {seed}, {time.perf_counter() - began:.0f} s", flush=True)  # noqa: T201


if __name__ == "__main__":
    main(sys.argv[1:])
