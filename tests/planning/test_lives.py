"""The life prior from finished lives: which of them ended at the element's limit and which say only "at least"."""

from dataclasses import replace

import numpy as np
import pytest

from scheduler.planning.comparable_readings import instruments
from scheduler.planning.duty import assess_duty
from scheduler.planning.learning import learn_from_lives
from scheduler.planning.lives import WITHOUT_HISTORY_H
from scheduler.planning.plant_columns import PlantColumns
from scheduler.statistics.life_model import LifePrior
from scheduler.vocabulary import EventKind, RemovalReason
from tests.planning.small_plant import (
    ALTERNATE,
    HOURS_PER_DAY,
    NOW,
    Event,
    Life,
    Position,
    Reading,
    plant,
    steady_meter,
)

LONG_METER = {("S1", ""): steady_meter(from_day=NOW - 2100.0)}
LIFE_D = 150.0


def lives(reason: RemovalReason, count: int = 6, life_d: float = LIFE_D, position: str = "P1") -> list[Life]:
    """Lives one after the other, the last of them until the present element was fitted."""
    ends = [NOW - 100.0 - life_d * number for number in range(count)]
    return [Life(end - life_d, end, reason, position) for end in ends]


def learned(columns: PlantColumns) -> LifePrior:
    return learn_from_lives(columns, assess_duty(columns), instruments(columns)).prior.life


def prior_of(*finished: Life, position: Position | None = None, events: tuple[Event, ...] = ()) -> LifePrior:
    columns = plant(position or Position(), lives=finished, events=events, meters=LONG_METER)
    return learned(columns)


def median_h(prior: LifePrior) -> float:
    return float(np.exp(prior.log_median[0]))


def test_without_any_life_the_guess_is_wide_and_says_that_nothing_was_seen() -> None:
    prior = prior_of()
    assert median_h(prior) == pytest.approx(WITHOUT_HISTORY_H)
    assert prior.log_sd[0] > 0.8
    assert prior.lives_seen.tolist() == [0]


def test_a_stated_interval_is_taken_for_less_than_most_lives() -> None:
    """The chance to reach a stated interval is well over a half (common practice, no source)."""
    prior = prior_of(position=Position(max_hours=1000.0))
    assert prior.log_median[0] - 0.5 * prior.log_sd[0] > np.log(1000.0)


def test_lives_that_ended_at_the_limit_become_the_expected_life() -> None:
    prior = prior_of(*lives(RemovalReason.INDICATOR))
    assert median_h(prior) == pytest.approx(LIFE_D * HOURS_PER_DAY, rel=0.1)
    assert (prior.lives_seen[0], prior.at_limit_seen[0], prior.own_lives_seen[0]) == (6, 6, 6)
    assert prior.log_sd[0] < prior_of().log_sd[0]


@pytest.mark.parametrize("reason", [RemovalReason.EARLY, RemovalReason.OPPORTUNITY, RemovalReason.UNKNOWN])
def test_an_early_change_says_only_that_the_element_lasted_so_long(reason: RemovalReason) -> None:
    early, at_limit = prior_of(*lives(reason)), prior_of(*lives(RemovalReason.FAILURE))
    assert median_h(early) > 1.25 * median_h(at_limit)
    assert early.lives_seen.tolist() == [6]
    assert early.at_limit_seen.tolist() == [0]


@pytest.mark.parametrize("limits", [{"max_hours": 1250.0}, {"max_age_d": 155.0}])
def test_a_change_due_by_the_interval_is_no_end_of_the_element(limits: dict[str, float]) -> None:
    """1,200 h in 150 d: within a tenth of the limit, so it was the calendar or the counter that ended it."""
    position = Position(**limits)  # type: ignore[arg-type]
    by_interval = prior_of(*lives(RemovalReason.DUE), position=position)
    early = prior_of(*lives(RemovalReason.EARLY), position=position)
    assert by_interval.at_limit_seen.tolist() == [0]
    assert by_interval.log_median.tolist() == early.log_median.tolist()


@pytest.mark.parametrize("limits", [{}, {"max_hours": 2000.0}, {"max_age_d": 365.0}])
def test_a_change_due_long_before_the_interval_was_due_by_condition(limits: dict[str, float]) -> None:
    prior = prior_of(*lives(RemovalReason.DUE), position=Position(**limits))  # type: ignore[arg-type]
    assert prior.at_limit_seen.tolist() == [6]


def test_an_indicator_that_trips_near_the_interval_ended_the_element_all_the_same() -> None:
    prior = prior_of(*lives(RemovalReason.INDICATOR), position=Position(max_hours=1250.0))
    assert prior.at_limit_seen.tolist() == [6]


def test_an_element_taken_out_by_mistake_is_no_life() -> None:
    assert prior_of(*lives(RemovalReason.MISTAKE)).lives_seen.tolist() == [0]


@pytest.mark.parametrize("kind", [EventKind.COMMISSIONED, EventKind.PUMP_FAILURE])
def test_a_life_with_a_commissioning_or_a_lost_pump_is_no_ordinary_life(kind: EventKind) -> None:
    short, ordinary = Life(NOW - 130.0, NOW - 100.0), lives(RemovalReason.DUE)
    trouble = (Event(kind, NOW - 115.0),)
    assert prior_of(short, *ordinary[1:]).lives_seen.tolist() == [6]
    with_trouble = prior_of(short, *ordinary[1:], events=trouble)
    assert with_trouble.lives_seen.tolist() == [5]
    assert with_trouble.log_median[0] == prior_of(*ordinary[1:]).log_median[0]


def test_trouble_in_another_system_or_another_life_takes_nothing_away() -> None:
    after_the_removal = (Event(EventKind.PUMP_FAILURE, NOW - 50.0),)
    assert prior_of(*lives(RemovalReason.DUE), events=after_the_removal).lives_seen.tolist() == [6]


def test_a_life_of_unknown_hours_is_left_out() -> None:
    columns = plant(Position(), lives=lives(RemovalReason.DUE), meters={("S1", ""): ()})
    assert learned(columns).lives_seen.tolist() == [0]


def test_a_position_with_short_lives_is_told_from_its_neighbour_of_the_same_type() -> None:
    columns = plant(
        Position("P1"),
        Position("P2"),
        lives=[*lives(RemovalReason.DUE, life_d=80.0), *lives(RemovalReason.DUE, life_d=220.0, position="P2")],
        meters=LONG_METER,
    )
    short, long = np.exp(learned(columns).log_median)
    assert short == pytest.approx(640.0, rel=0.15)
    assert long == pytest.approx(1760.0, rel=0.15)


def test_the_prior_is_that_of_the_type_which_is_fitted_now() -> None:
    prior = prior_of(*lives(RemovalReason.DUE), position=Position(fitted=ALTERNATE))
    assert prior.lives_seen.tolist() == [0]


@pytest.mark.parametrize(("last_bar", "at_limit"), [(0.9, 0), (2.4, 6)])
def test_a_change_told_as_due_ended_at_the_limit_only_if_its_readings_stood_there(
    last_bar: float, at_limit: int
) -> None:
    """The service's own dates keep a margin: counted as ends at the limit they would shorten every next life."""
    read = [
        replace(life, readings=tuple(Reading(life.removed_day - day, last_bar) for day in (3.0, 2.0, 1.0)))
        for life in lives(RemovalReason.DUE)
    ]
    prior = prior_of(*read, position=Position(terminal_dp_bar=2.5))
    assert prior.at_limit_seen.tolist() == [at_limit]
    assert prior.lives_seen.tolist() == [6]
