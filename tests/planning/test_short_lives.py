"""Two lives that run short at one place, and what looks like it. The meter of small_plant runs 8 h a day."""

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
import pytest
from scipy.stats import combine_pvalues, norm

from scheduler.planning.condition import assess_condition
from scheduler.planning.contamination import assess_contamination
from scheduler.planning.diagnoses import Diagnosis
from scheduler.planning.duty import assess_duty
from scheduler.planning.plant_columns import PlantColumns
from scheduler.planning.short_lives import short_lives
from scheduler.vocabulary import EventKind, RemovalReason, Severity, TaskKind
from tests.planning.small_plant import NOW, Event, Life, Position, life_of, plant, prior_of_life, steady_meter

USUAL_D = (150.0, 158.0, 146.0, 152.0)
SHORT_D = (60.0, 56.0)


def lives_of(position: str, *lasted_d: float, until: float = NOW - 20.0, reasons: Sequence[str] = ()) -> list[Life]:
    """One after the other, the last of them ended at `until`; each changed when the indicator showed it."""
    ends = until - np.concatenate([np.cumsum(lasted_d[::-1])[::-1][1:], [0.0]])
    told = [RemovalReason(reason) for reason in reasons] or [RemovalReason.INDICATOR] * len(lasted_d)
    return [
        Life(float(end) - lasted, float(end), reason, position)
        for end, lasted, reason in zip(ends, lasted_d, told, strict=True)
    ]


def known(*lives: Life, fitted_day: float = NOW - 20.0, events: Sequence[Event] = (), **more: object) -> PlantColumns:
    positions = [
        Position(code, fitted_day=fitted_day, **(more if code == "P1" else {}))  # type: ignore[arg-type]
        for code in ("P1", "P2", "P3")
    ]
    meter = {("S1", ""): steady_meter(from_day=NOW - 1000.0)}
    return plant(*positions, lives=lives, events=events, meters=meter)


def judged(columns: PlantColumns) -> dict[int, Diagnosis]:
    duty = assess_duty(columns)
    # spreads as a pass learns them: told outright, so that the test need not learn
    told = replace(life_of(1200.0, positions=3), within_log_sd=0.15, between_log_sd=0.3)
    condition = assess_condition(columns, duty, prior_of_life(columns, told))
    contamination = assess_contamination(columns, duty, condition, frozenset())
    return {each.position: each for each in short_lives(columns, duty, condition, contamination)}


BESIDE = [*lives_of("P2", 150.0, 155.0, 149.0, 148.0), *lives_of("P3", 152.0, 149.0, 156.0, 144.0)]


def test_two_lives_running_at_a_third_of_the_usual_are_looked_into() -> None:
    found = judged(known(*lives_of("P1", *USUAL_D, *SHORT_D), *BESIDE))
    assert list(found) == [0]
    assert (found[0].code, found[0].severity, found[0].asks_for) == (
        "lives-run-short",
        Severity.SOON,
        TaskKind.INSPECT,
    )
    assert found[0].numbers["lives_h"] == [480, 448]
    assert found[0].numbers["usual_h"] == pytest.approx(151.5 * 8.0, rel=0.05)
    assert found[0].since_day == NOW - 20.0


def test_other_filters_that_last_as_ever_say_that_it_is_this_one() -> None:
    numbers = judged(known(*lives_of("P1", *USUAL_D, *SHORT_D), *BESIDE))[0].numbers
    assert (numbers["cause"], numbers["others"], numbers["others_short"]) == ("here_only", 2, 0)


def test_other_filters_that_run_short_as_well_say_that_more_dirt_comes_in() -> None:
    every = [each for code in ("P1", "P2", "P3") for each in lives_of(code, *USUAL_D, *SHORT_D)]
    found = judged(known(*every))
    assert sorted(found) == [0, 1, 2]
    assert {each.numbers["cause"] for each in found.values()} == {"more_dirt"}


def test_a_flow_above_the_rated_says_that_the_element_is_too_small() -> None:
    """100 L/min are rated."""
    found = judged(known(*lives_of("P1", *USUAL_D, *SHORT_D), *BESIDE, flow_lpm=180.0))[0].numbers
    assert (found["cause"], found["flow_share"]) == ("too_small", 1.8)


@pytest.mark.parametrize(
    "lasted_d",
    [
        (*USUAL_D, 140.0, 161.0),
        (*USUAL_D, 60.0, 150.0),
        (*USUAL_D, 150.0, 60.0),  # one alone
        (60.0, 58.0, 61.0, 57.0, 60.0, 56.0),  # as short as ever
    ],
)
def test_usual_lives_and_a_single_short_one_say_nothing(lasted_d: tuple[float, ...]) -> None:
    assert judged(known(*lives_of("P1", *lasted_d), *BESIDE)) == {}


@pytest.mark.parametrize("reason", ["early", "opportunity", "mistake"])
def test_a_change_that_was_made_early_is_no_short_life(reason: str) -> None:
    reasons = ["indicator"] * 4 + [reason] * 2
    assert judged(known(*lives_of("P1", *USUAL_D, *SHORT_D, reasons=reasons), *BESIDE)) == {}


def test_lives_with_a_pump_failure_in_them_are_explained() -> None:
    broken = [Event(EventKind.PUMP_FAILURE, NOW - 40.0), Event(EventKind.PUMP_FAILURE, NOW - 90.0)]
    assert judged(known(*lives_of("P1", *USUAL_D, *SHORT_D), *BESIDE, events=broken)) == {}


def test_an_element_that_outlasts_both_clears_it() -> None:
    """Changed 90 days ago, 720 h: more than 1.25 times the 480 h."""
    ended = lives_of("P1", *USUAL_D, *SHORT_D, until=NOW - 90.0)
    assert judged(known(*ended, *BESIDE, fitted_day=NOW - 90.0)) == {}
    assert judged(known(*ended, *BESIDE, fitted_day=NOW - 50.0)) != {}


def test_both_chances_are_joined_as_fisher_did() -> None:
    """The first against what was usual, the second against what is expected after it, by SciPy."""
    numbers = judged(known(*lives_of("P1", *USUAL_D, 95.0, 90.0), *BESIDE))[0].numbers
    log_sd = float(np.log(numbers["usual_h"] / numbers["usual_10_h"])) / norm.ppf(0.9)
    at_most = [norm.cdf(np.log(days * 8.0 / numbers["usual_h"]) / log_sd) for days in (95.0, 90.0)]
    # what is expected after a short life is shorter, so that the second surprises less than alone
    assert numbers["chance"] > combine_pvalues(at_most, method="fisher").pvalue
    assert numbers["chance"] < 10.0 * combine_pvalues(at_most, method="fisher").pvalue


def test_a_plant_without_lives_says_nothing() -> None:
    assert judged(known()) == {}
    assert judged(replace(known(*BESIDE), as_of_day=NOW)) == {}
