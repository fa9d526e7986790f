"""How often the rules of a position's ΔP readings speak without a fault, and how often of a fault.

Simulated plants (`simulated_plants`) are looked at every 30 days through their test period. Healthy ones give the
false alarms a position-year, the same with a fault in every place (`reading_faults`) the power: the share of places
in which the code was raised within a year of the fault's beginning, and before its end. What lives teach is learned
once, from the healthy plant, as of the first look.

"Cold oil" is true of a healthy plant, and no false alarm, where by the law of its elements dirt makes less than half
of the rise that is told (as logarithms); temperatures are noted rightly there.

    PYTHONPATH=. .venv/bin/python tests/measure/reading_rules.py [plants of each law] [first seed]
"""

import sys
from collections.abc import Collection, Iterator, Sequence
from dataclasses import dataclass, field, replace

import numpy as np

from scheduler.planning.condition import assess_condition
from scheduler.planning.diagnoses import Diagnosis
from scheduler.planning.duty import Duty, assess_duty
from scheduler.planning.plant_columns import PlantColumns
from scheduler.planning.reading_diagnoses import reading_diagnoses
from scheduler.statistics.condition_forecast import ElementPrior
from tests.measure.reading_faults import FAULTS, Faulty
from tests.measure.rule_watch import (
    Fault,
    Share,
    Span,
    every,
    false_alarms,
    power,
    spans_of,
    years_of,
)
from tests.measure.simulated_plants.as_known import as_known, current_lives
from tests.measure.simulated_plants.laws import LAWS, dirt_at
from tests.measure.simulated_plants.machine import SimulatedPlant, simulate

LOOK_EVERY_D = 30.0
WITHIN_D = 365.0
CODES = tuple(dict.fromkeys(code for code, _ in FAULTS.values()))
OFTEN_READ_D = 14.0


@dataclass(slots=True)
class Measured:
    """Counts over plants. `raised` of each fault: of all its places, and of those read every two weeks at least;
    `some`: places in which any of the rules was raised."""

    years: float = 0.0
    alarms: dict[str, int] = field(default_factory=lambda: dict.fromkeys(CODES, 0))
    true: dict[str, int] = field(default_factory=lambda: dict.fromkeys(CODES, 0))
    raised: dict[str, Share] = field(default_factory=dict)
    often: dict[str, Share] = field(default_factory=dict)
    some: dict[str, Share] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class _Looks:
    """The days of the looks, and what is the same with and without a fault: hours, and what lives teach."""

    days: Sequence[float]
    duty: Sequence[Duty]
    prior: ElementPrior


def measure(
    plants: int, first_seed: int, look_every_d: float = LOOK_EVERY_D, laws: Sequence[str] = tuple(LAWS)
) -> Measured:
    into = Measured()
    for law in laws:
        for seed in range(first_seed, first_seed + plants):
            add_plant(into, simulate(law, seed), seed, look_every_d)
    return into


def add_plant(
    into: Measured, plant: SimulatedPlant, seed: int, look_every_d: float, faults: Collection[str] = tuple(FAULTS)
) -> None:
    """Watch the plant as it is, and with each of these faults in every place that can have it."""
    looks = _looks(plant, every(look_every_d, plant.test_starts_day, plant.test_ends_day))
    healthy = spans_of(_standing(plant, looks))
    into.years += years_of(np.asarray(looks.days), len(plant.places))
    for code in CODES:
        rate = false_alarms(healthy, code, 1.0, lambda span: _is_cold_oil(plant, span))
        into.alarms[code] += rate.count
        into.true[code] += sum(span.code == code for span in healthy) - rate.count
    for row, (name, (code, fault)) in enumerate(FAULTS.items()):
        if name not in faults:
            continue
        faulty = fault(plant, np.random.default_rng([seed, row]))
        spans = spans_of(_standing(faulty.plant, looks))
        begun = _faults(faulty)
        often = [each for each in begun if plant.places[each.position].reading_every_d <= OFTEN_READ_D]
        any_code = [Span("any", *(each.system, each.position, each.raised_day, each.cleared_day)) for each in spans]
        for table, share in (
            (into.raised, power(spans, code, begun, WITHIN_D)),
            (into.often, power(spans, code, often, WITHIN_D)),
            (into.some, power(any_code, "any", begun, WITHIN_D)),
        ):
            before = table.get(name, Share(0, 0))
            table[name] = Share(before.count + share.count, before.of + share.of)


def _looks(plant: SimulatedPlant, days: Sequence[float] | np.ndarray) -> _Looks:
    columns = [as_known(plant, float(day)) for day in days]
    duty = [assess_duty(each) for each in columns]
    return _Looks([float(day) for day in days], duty, assess_condition(columns[0], duty[0]).prior)


def _standing(plant: SimulatedPlant, looks: _Looks) -> Iterator[tuple[float, list[Span]]]:
    for day, duty in zip(looks.days, looks.duty, strict=True):
        yield (
            day,
            [
                Span(each.code, each.system, each.position, day, None, each.severity.value, each.numbers)
                for each in _found(as_known(plant, day), duty, looks.prior)
            ],
        )


def _found(columns: PlantColumns, duty: Duty, prior: ElementPrior) -> list[Diagnosis]:
    """The rules ask for no hours left: without run hours none are forecast, which takes most of the time."""
    unforecast = replace(duty, run_h=np.full(len(duty.run_h), np.nan))
    return reading_diagnoses(columns, duty, assess_condition(columns, unforecast, prior))


def _faults(faulty: Faulty) -> list[Fault]:
    return [
        Fault(
            faulty.plant.places[place].system, place, float(faulty.begins_day[place]), float(faulty.until_day[place])
        )
        for place in np.flatnonzero(~np.isnan(faulty.begins_day)).tolist()
    ]


def _is_cold_oil(plant: SimulatedPlant, span: Span) -> bool:
    if span.code != "oil-cold-not-dirt":
        return False
    life = current_lives(plant, span.raised_day)[span.position]
    if life is None:
        return False
    place = plant.places[span.position]
    law, form = LAWS[plant.law][0], plant.types[place.type].form
    end = dirt_at(law, form, float(np.log((place.terminal_dp_bar - place.housing_dp_bar) / place.clean_dp_bar)))
    days = np.array([span.numbers["before_day"], span.numbers["at_day"]]) - life.fitted_day
    load = end * np.interp(days, np.arange(len(life.load_share)), life.load_share)
    dirt_log = float(np.diff(law(load, form))[0])
    return dirt_log < 0.5 * float(np.log(span.numbers["now_bar"] / span.numbers["before_bar"]))


def lines_of(measured: Measured) -> Iterator[str]:
    yield f"{measured.years:.0f} position-years without a fault"
    yield "| code | spans | true | false a position-year |"
    yield "|---|---|---|---|"
    for code in CODES:
        count, true = measured.alarms[code], measured.true[code]
        rate, se = count / measured.years, np.sqrt(max(count, 1)) / measured.years
        yield f"| `{code}` | {count + true} | {true} | {rate:.4f} ± {se:.4f} |"
    yield ""
    yield "| fault | code | places | raised | of those read every 14 d or oftener | any of these codes |"
    yield "|---|---|---|---|---|---|"
    for name, (code, _) in FAULTS.items():
        shares = (measured.raised[name], measured.often[name], measured.some[name])
        told = " | ".join(f"{each.share:.2f} ± {each.se:.2f}" for each in shares)
        yield f"| {name} | `{code}` | {shares[0].of} | {told} |"


if __name__ == "__main__":
    plants, first_seed = (int(told) for told in [*sys.argv[1:], *("3", "901")[len(sys.argv) - 1 :]])
    sys.stdout.writelines(f"{line}\n" for line in lines_of(measure(plants, first_seed)))
