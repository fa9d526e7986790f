"""How often does each diagnosis rule speak where nothing is wrong, and how often of its fault?

Healthy places are looked at every week over a year or more (samples and oil every 30 days): every span that is not
true counts, also a second one of the same place. Faulty ones are places or systems with one fault each, looked at
as often; found is what was raised within the stated days after the fault began. What is true is judged by what the
simulator knows: for ΔP, an element past its terminal may well stand at the bypass, and no element's ΔP ever falls;
for the others as `healthy_positions` and `healthy_oil` say.

Rules that only restate what somebody noted (what is fitted, what was poured or found, an event, a look at the level
that was not at rest) have nothing to measure. Those of dirty oil's causes, of service and of water: see
`cleanliness_causes`.

Run: python tests/measure/diagnosis_rules.py [faulty places] [seed] [dp, strainers, …, or all]
"""

import sys
import time
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))  # so that it also runs as a plain script
from scheduler.planning.plant_columns import Floats
from tests.measure import healthy_oil, healthy_positions, oil_loss
from tests.measure.healthy_positions import BEFORE_D, FIRST, YEAR_D, Population
from tests.measure.rule_watch import (
    Change,
    Rate,
    Says,
    Share,
    Span,
    by_hours,
    by_oil,
    by_readings,
    every,
    false_alarms,
    of_simulated,
    power,
    watch_by,
    with_fault,
    years_of,
)
from tests.measure.simulated_plants.laws import LAWS
from tests.measure.simulated_plants.machine import FIRST_DAY, Life, SimulatedPlant, simulate
from tests.measure.simulated_plants.settings import Settings
from tests.planning.small_plant import NOW

WEEK_D, MONTH_D = 7.0, 30.0
AS_IN_SERVICE = Settings(history_d=500, test_d=500, truth_d=2600)
WATCHED_D = (250.0, 980.0)
FAULTS_BEGIN_D = (560.0, 620.0)
READ_AT_LEAST_D = 30.0


@dataclass(frozen=True, slots=True)
class Measured:
    """One rule's row. `within_d`: after the fault began."""

    code: str
    alarms: Rate
    found: Share
    within_d: float
    of: str
    fault: str


def fallen(rng: np.random.Generator, plant: SimulatedPlant, life: Life, row: int) -> Life:
    """The element tears or is lifted off its seat: what is shown falls to between a tenth and a half."""
    return _shown(plant, life, row, rng.uniform(0.1, 0.5) * life.dp_bar[row:])


def plugged(rng: np.random.Generator, plant: SimulatedPlant, life: Life, row: int) -> Life:
    """Much dirt at once: from that reading on the bypass stands open; one in 80 is misread as everywhere."""
    bypass_dp_bar = plant.places[life.place].bypass_dp_bar
    shown = bypass_dp_bar * (1.0 + 0.04 * np.abs(rng.standard_normal(len(life.dp_bar) - row)))
    wrong = rng.random(len(shown)) < plant.settings.gross_error_share
    return _shown(plant, life, row, np.where(wrong, shown * rng.choice([10.0, 0.1, 2.0, 0.5], len(shown)), shown))


def _shown(plant: SimulatedPlant, life: Life, row: int, dp_bar: Floats) -> Life:
    step = plant.places[life.place].step_bar
    return replace(life, dp_bar=np.concatenate([life.dp_bar[:row], np.round(np.round(dp_bar / step) * step, 4)]))


def is_past_terminal(plant: SimulatedPlant) -> Callable[[Span], bool]:
    """Whether the element of a span held its terminal's dirt on the day it was raised."""

    def is_true(span: Span) -> bool:
        return any(
            np.interp(span.raised_day - life.fitted_day, np.arange(len(life.load_share)), life.load_share) >= 1.0
            for life in plant.lives
            if life.place == span.position and life.fitted_day < span.raised_day < life.removed_day
        )

    return is_true


def of_dp(count: int, seed: int, settings: Settings = AS_IN_SERVICE) -> Iterator[Measured]:
    """The rules of ΔP readings, on one plant of each law; as many more as it takes for the faults."""
    days = every(WEEK_D, FIRST_DAY + WATCHED_D[0], FIRST_DAY + WATCHED_D[1])
    alarms = dict.fromkeys(("dp-fell-without-change", "bypass-open-warm"), Rate(0, 0.0))
    for law in LAWS:
        plant = simulate(law, seed, settings)
        spans = watch_by(by_readings, of_simulated(plant), days)
        for code in alarms:
            is_true = is_past_terminal(plant) if code == "bypass-open-warm" else lambda _span: False
            own = false_alarms(spans, code, years_of(days, len(plant.places)), is_true)
            alarms[code] = Rate(alarms[code].count + own.count, alarms[code].years + own.years)
    told = (
        ("dp-fell-without-change", fallen, 120.0, "ΔP falls to 10 to 50 %, read at least monthly"),
        ("bypass-open-warm", plugged, 60.0, "the bypass stands open from one day to the next, read at least monthly"),
    )
    for code, change, within_d, words in told:
        yield Measured(
            *(code, alarms[code], found_in_plants(code, change, count, seed, within_d, settings), within_d),
            *("position", words),
        )


def found_in_plants(
    code: str, change: Change, count: int, seed: int, within_d: float, settings: Settings = AS_IN_SERVICE
) -> Share:
    """Power over plants until there are `count` faults."""
    first, last = (FIRST_DAY + day for day in FAULTS_BEGIN_D)
    days = every(WEEK_D, first - WEEK_D, last + within_d + WEEK_D)
    raised, of, more = 0, 0, 0
    while of < count:
        law = list(LAWS)[more % len(LAWS)]
        plant, faults = with_fault(
            simulate(law, seed + 10_000 + more, settings),
            change,
            seed + more,
            between=(first, last),
            once=_often_read,
        )
        share = power(watch_by(by_readings, of_simulated(plant), days), code, faults, within_d)
        raised, of, more = raised + share.count, of + share.of, more + 1
    return Share(raised, of)


def _often_read(plant: SimulatedPlant, life: Life, _row: int) -> bool:
    return plant.places[life.place].reading_every_d <= READ_AT_LEAST_D


def of_population(
    says: Says,
    make: Callable[[bool], Population],
    days: Floats,
    of: str,
    told: Sequence[tuple[str, float, str]],
) -> Iterator[Measured]:
    """Rules (code, within how many days, fault) on places that are all alike: healthy ones, and as many faulty."""
    healthy, faulty = make(False), make(True)
    many = healthy.watched.positions if of == "position" else healthy.watched.systems
    healthy_spans, faulty_spans = (watch_by(says, each.watched, days) for each in (healthy, faulty))
    for code, within_d, words in told:
        alarms = false_alarms(healthy_spans, code, years_of(days, many), healthy.is_true)
        found = power(faulty_spans, code, faulty.faults, within_d)
        yield Measured(code, alarms, found, within_d, of, words)


def of_strainers(count: int, seed: int) -> Iterator[Measured]:
    yield from of_population(
        by_readings,
        lambda faulty: healthy_positions.strainers(np.random.default_rng([seed, faulty]), count, faulty=faulty),
        every(WEEK_D, FIRST, NOW + 1.0),
        "position",
        [("inlet-vacuum-near-limit", 60.0, "the vacuum climbs to its limit in 30 days")],
    )


def of_indicators(count: int, seed: int) -> Iterator[Measured]:
    yield from of_population(
        by_readings,
        lambda faulty: healthy_positions.indicators(np.random.default_rng([seed, faulty]), count, faulty=faulty),
        every(WEEK_D, FIRST, NOW + 1.0),
        "position",
        [("trip-unconfirmed", 60.0, "trips while warm, no temperature noted")],
    )


def of_meters(count: int, seed: int) -> Iterator[Measured]:
    settings = replace(healthy_positions.METERED, systems=count)
    from_day = FIRST_DAY + settings.history_d
    for code, fault, within_d, words in (
        ("meter-reading-doubtful", healthy_positions.mistyped, 45.0, "one reading mistyped"),
        ("meter-stands-still", healthy_positions.stuck, 90.0, "the meter is stuck, ΔP is read on"),
    ):
        yield from of_population(
            by_hours,
            lambda faulty, fault=fault: healthy_positions.meters(  # type: ignore[misc]
                seed + faulty, fault if faulty else None, settings
            ),
            every(WEEK_D, from_day, from_day + settings.test_d),
            "system",
            [(code, within_d, words)],
        )


def of_levels(count: int, seed: int) -> Iterator[Measured]:
    """Once more with misread looks."""
    for misread, words in ((0.0, ""), (0.012, "; one look in 80 misread")):
        yield from of_population(
            by_oil,
            lambda faulty, misread=misread: healthy_oil.reservoirs(  # type: ignore[misc]
                np.random.default_rng([seed, faulty]), count, faulty=faulty, misread_share=misread
            ),
            every(WEEK_D, FIRST, NOW + 1.0),
            "system",
            [("oil-level-low", 45.0, f"a fifth of the oil is lost in ten days{words}")],
        )


def of_samples(count: int, seed: int) -> Iterator[Measured]:
    yield from of_population(
        by_oil,
        lambda faulty: healthy_oil.sampled(np.random.default_rng([seed, faulty]), count, faulty=faulty),
        every(MONTH_D, NOW - 365.0, NOW + 1.0),
        "system",
        [
            ("cleanliness-missed", 150.0, "the usual count rises to 1.5 times the target's limit or more"),
            ("cleanliness-one-bad-sample", 60.0, "the same"),
        ],
    )


def of_losses(count: int, seed: int) -> Iterator[Measured]:
    """Through the whole pass; `oil_loss` tells by habit and number of top-ups."""
    habits = [oil_loss.at_the_mark, oil_loss.on_rounds, oil_loss.whole_pails]
    years = every(MONTH_D, FIRST + BEFORE_D, FIRST + 3.0 * YEAR_D)
    healthy = healthy_oil.topped_up(np.random.default_rng([seed, 0]), oil_loss.constant, habits, count)
    alarms = false_alarms(watch_by(by_oil, healthy.watched, years), "oil-loss-rising", years_of(years, count))
    faulty = healthy_oil.topped_up(
        np.random.default_rng([seed, 1]),
        lambda rng, habit, per_year: oil_loss.risen(rng, habit, per_year, 8),
        habits,
        count,
    )
    days = every(MONTH_D, FIRST + 200.0, FIRST + 440.0)
    found = power(watch_by(by_oil, faulty.watched, days), "oil-loss-rising", faulty.faults, 150.0)
    yield Measured(
        "oil-loss-rising", alarms, found, 150.0, "system", "the loss triples after 8 top-ups, a month apart"
    )


RULES: dict[str, Callable[[int, int], Iterator[Measured]]] = {
    "dp": of_dp,
    "strainers": of_strainers,
    "indicators": of_indicators,
    "meters": of_meters,
    "levels": of_levels,
    "samples": of_samples,
    "losses": of_losses,
}


def row_of(measured: Measured) -> str:
    alarms, found = measured.alarms, measured.found
    return (
        f"| {measured.code} | {alarms.per_year:.3f} ± {alarms.se_per_year:.3f} ({alarms.count} in {alarms.years:.0f} "
        f"{measured.of}-years) | {found.share:.2f} ± {found.se:.2f} (of {found.of}, by {measured.within_d:.0f} d) "
        f"| {measured.fault} |"
    )


def say(line: str) -> None:
    sys.stdout.write(f"{line}\n")
    sys.stdout.flush()


def main(told: Sequence[str]) -> None:
    count, seed = int(told[0]) if told else 500, int(told[1]) if len(told) > 1 else 901
    began = time.perf_counter()
    say("| rule | false alarms a year | found | fault |")
    say("|---|---|---|---|")
    for name, rules in RULES.items():
        if len(told) < 3 or told[2] in (name, "all"):
            for measured in rules(count, seed):
                say(row_of(measured))
    say(f"\n{time.perf_counter() - began:.0f} s")


if __name__ == "__main__":
    main(sys.argv[1:])
