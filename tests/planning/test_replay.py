"""A replay's steps against a plan of the same moment, and what became of the lives that it forecast."""

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
import pytest

from scheduler.planning.duty import assess_duty
from scheduler.planning.pipeline import Known, Shelves, plan
from scheduler.planning.plant_columns import PlantColumns
from scheduler.planning.replay import Seen, Standing, replay_block
from scheduler.planning.replay_costs import UNTOLD_LATE_RATIO, Policies, costs_of, fixed_intervals
from scheduler.planning.replay_diagnoses import FOLLOWED_D, records_of, spans_of
from scheduler.planning.replay_outcomes import (
    asked_as_expected,
    asked_at_ages,
    follow,
    past_lives,
    replayed_change_h,
)
from scheduler.statistics.forecast_outcomes import LEVELS
from scheduler.vocabulary import RemovalReason
from tests.planning.small_plant import (
    HOURS_PER_DAY,
    NOW,
    Life,
    Position,
    Reading,
    System,
    plant,
    steady_meter,
)

METER = {("S1", ""): steady_meter(from_day=NOW - 1500.0)}
FITTED, REMOVED = NOW - 400.0, NOW - 150.0
LIFE_H = HOURS_PER_DAY * (REMOVED - FITTED)
STEP_D = 10.0


def ended(reason: RemovalReason = RemovalReason.INDICATOR, **system: float) -> PlantColumns:
    """One life of 250 days at 8 h a day, and what followed it."""
    lives = [Life(FITTED, REMOVED, reason)]
    return plant(Position(fitted_day=REMOVED), lives=lives, meters=METER, systems=[System(**system)])


def seen(day: float, left_h: float, *, fitted_day: float = FITTED, due_day: float = np.inf) -> Seen:
    """A step that forecast `left_h` as the median, and no spread worth speaking of."""
    one = np.array([due_day])
    quantiles = left_h * np.linspace(0.99, 1.01, len(LEVELS))
    return Seen(
        *(day, one, one, one, one, np.array([fitted_day]), np.zeros(1), np.ones(1, dtype=bool)),
        hours_left=quantiles[None, :],
        standing=(),
    )


def right_steps(columns: PlantColumns, **more: float) -> list[Seen]:
    """Steps that knew to the hour how much was left of the life."""
    days = np.arange(FITTED + STEP_D, REMOVED, STEP_D).tolist()
    return [seen(day, HOURS_PER_DAY * (REMOVED - day), **more) for day in days]


def test_a_step_says_what_a_plan_of_the_moment_says() -> None:
    readings = tuple(Reading(NOW - 100.0 + day, 0.5 + 0.01 * day) for day in range(0, 100, 7))
    columns = plant(Position(terminal_dp_bar=2.0, readings=readings))
    planned = plan(Known(columns, None, (), (), {}, Shelves()))
    (step,) = replay_block([columns])
    assert step.due_day[0] == planned.items[0].due_day
    assert step.late_day[0] == planned.items[0].late_day
    assert step.is_read.tolist() == [True]
    assert step.hours_left[0].tolist() == [float(planned.condition.remaining.quantile(level)[0]) for level in LEVELS]
    assert np.all(np.diff(step.hours_left[0]) >= 0.0)


def test_within_a_block_nothing_is_learned_anew_until_another_type_is_fitted() -> None:
    """The second step knows of six more lives, and says what the first said of the same element's lives."""
    lives = [Life(NOW - 100.0 - 150.0 * (n + 1), NOW - 100.0 - 150.0 * n, RemovalReason.INDICATOR) for n in range(6)]
    before, after = plant(Position(), meters=METER), plant(Position(), lives=lives, meters=METER)
    other = plant(Position(fitted="EL-10-ALT"), lives=lives, meters=METER)
    first, second = replay_block([before, after])
    assert second.hours_left.tolist() == first.hours_left.tolist()
    _, changed = replay_block([before, other])
    (afresh,) = replay_block([other])
    assert changed.hours_left.tolist() == afresh.hours_left.tolist()


def test_a_forecast_is_held_against_the_life_of_the_element_that_it_knew() -> None:
    """A step that still believed in the element before says nothing of this one."""
    columns = ended()
    steps = right_steps(columns)
    steps[3] = seen(steps[3].as_of_day, 1.0, fitted_day=FITTED - 200.0)
    duty = assess_duty(columns)
    lives = past_lives(columns, duty)
    (followed,) = follow(columns, duty, lives, steps)
    assert 3 not in followed.step.tolist()
    assert len(followed.step) == len(steps) - 1
    np.testing.assert_allclose(followed.run_h[:3], HOURS_PER_DAY * STEP_D * np.arange(1, 4), rtol=1e-6)


def test_who_knew_the_hours_left_has_no_error_at_any_age() -> None:
    columns = ended()
    duty, steps = assess_duty(columns), right_steps(columns)
    lives = past_lives(columns, duty)
    followed = follow(columns, duty, lives, steps)
    asked = asked_at_ages(lives, followed, steps)
    assert asked.age.tolist() == [0, 1, 2, 3]
    share = 1.0 - asked.outcomes.left_h / LIFE_H
    np.testing.assert_allclose(share, [0.24, 0.48, 0.72, 0.88])  # the last step of 10 in 250 days by each age
    np.testing.assert_allclose(asked.outcomes.hours_left[:, LEVELS.index(0.5)], asked.outcomes.left_h)
    assert lives.life_h.tolist() == pytest.approx([LIFE_H])


def test_ages_for_the_transform_are_set_by_the_first_forecast_and_not_by_the_end() -> None:
    """Expected: 4,000 h. The life ended at 2,000 h, so it is asked at a quarter of that, and then no more."""
    columns = ended()
    duty = assess_duty(columns)
    lives = past_lives(columns, duty)
    days = np.arange(FITTED, REMOVED, STEP_D)[1:]
    steps = [seen(day, 4000.0 - HOURS_PER_DAY * (day - FITTED)) for day in days.tolist()]
    asked = asked_as_expected(lives, follow(columns, duty, lives, steps), steps)
    assert asked.age.tolist() == [0]  # a step stands at 1,040 h; half of 4,000 h is the end itself
    np.testing.assert_allclose(LIFE_H - asked.outcomes.left_h, [1040.0])


@pytest.mark.parametrize(
    ("reason", "late"),
    [
        (RemovalReason.FAILURE, True),
        (RemovalReason.INDICATOR, True),
        (RemovalReason.DUE, False),
        (RemovalReason.EARLY, False),
    ],
)
def test_a_change_is_late_where_its_reason_says_that_the_limit_was_passed(reason: RemovalReason, late: bool) -> None:
    columns = ended(reason)
    assert past_lives(columns, assess_duty(columns)).is_late.tolist() == [late]


def test_a_mistake_is_no_life() -> None:
    columns = ended(RemovalReason.MISTAKE)
    assert len(past_lives(columns, assess_duty(columns))) == 0


def changed_at(columns: PlantColumns, steps: Sequence[Seen]) -> float:
    duty = assess_duty(columns)
    lives = past_lives(columns, duty)
    return float(replayed_change_h(columns, duty, lives, follow(columns, duty, lives, steps), steps)[0])


def test_who_keeps_to_the_due_dates_changes_on_the_due_day_that_falls_before_the_next_step() -> None:
    columns = ended()
    steps = right_steps(columns, due_day=FITTED + 123.0)
    assert changed_at(columns, steps) == pytest.approx(123.0 * HOURS_PER_DAY)


def test_a_due_day_that_had_passed_when_it_was_told_is_kept_at_once() -> None:
    columns = ended()
    steps = right_steps(columns)
    at = steps[4].as_of_day
    steps[4] = seen(at, 1.0, due_day=at - 30.0)
    assert changed_at(columns, steps) == pytest.approx(HOURS_PER_DAY * (at - FITTED))


def test_a_due_day_after_the_real_change_changes_nothing() -> None:
    columns = ended()
    assert changed_at(columns, right_steps(columns, due_day=REMOVED + 5.0)) == np.inf


def policies(columns: PlantColumns, replayed_h: float) -> list[Policies]:
    lives = past_lives(columns, assess_duty(columns))
    chosen = np.ones(len(lives), dtype=bool)
    return list(costs_of(columns, lives, fixed_intervals(columns, lives), np.full(len(lives), replayed_h), chosen))


def test_costs_are_in_the_plants_money_where_it_tells_both_and_in_planned_changes_where_not() -> None:
    """A stop 400, labour 100, the element 40; late 3,000. The tripped life cost 3,000, changed earlier 540."""
    paid = policies(ended(stop_cost=400.0, labour_cost=100.0, late_cost=3000.0), 0.5 * LIFE_H)
    assert [(each.currency, each.type) for each in paid] == [("EUR", 0), ("EUR", -1)]
    assert paid[1].actual.cost == 3000.0
    assert paid[1].replayed.cost == 540.0
    untold = policies(ended(stop_cost=400.0), 0.5 * LIFE_H)
    assert untold[1].currency is None
    assert untold[1].actual.cost == UNTOLD_LATE_RATIO


def test_a_stated_interval_stands_for_what_the_position_was_changed_by() -> None:
    lives = [Life(FITTED, REMOVED, RemovalReason.INDICATOR)]
    by_age = plant(Position(fitted_day=REMOVED, max_hours=1500.0, max_age_d=100.0), lives=lives, meters=METER)
    found = fixed_intervals(by_age, past_lives(by_age, assess_duty(by_age)))
    assert found.stated.tolist() == [True]
    assert found.change_h.tolist() == pytest.approx([100.0 * HOURS_PER_DAY])
    unstated = ended()
    used = fixed_intervals(unstated, past_lives(unstated, assess_duty(unstated)))
    assert (used.stated.tolist(), used.change_h.tolist()) == ([False], pytest.approx([LIFE_H]))


def standing_on(*days: float, code: str = "of-a-test", position: int = 0) -> list[Seen]:
    each = Standing(code, 0, position, "soon")
    steps = [seen(day, 1.0) for day in np.arange(FITTED, NOW, STEP_D).tolist()]
    return [replace(step, standing=(each,)) if step.as_of_day - FITTED in days else step for step in steps]


def test_a_diagnosis_is_raised_at_its_first_step_and_cleared_at_the_first_without_it() -> None:
    spans = spans_of(ended(), standing_on(30.0, 40.0, 50.0, 100.0))
    days = [(span.raised_day - FITTED, (span.cleared_day or np.nan) - FITTED) for span in spans]
    assert days == [(30.0, 60.0), (100.0, 110.0)]


def test_what_stood_at_the_last_step_is_not_cleared() -> None:
    steps = standing_on(390.0)
    assert steps[-1].as_of_day - FITTED == 390.0
    (span,) = spans_of(ended(), steps)
    assert span.cleared_day is None
    assert span.next_change_day is None


def test_a_failure_soon_after_is_held_to_have_followed_and_a_later_one_is_not() -> None:
    columns = ended(RemovalReason.FAILURE)
    soon, before = 250.0 - FOLLOWED_D + 10.0, 100.0
    steps = standing_on(before, soon)
    first, second = spans_of(columns, steps)
    assert (first.failed_within, second.failed_within) == (False, True)
    assert first.next_change_day == second.next_change_day == REMOVED
    (record,) = records_of(columns, [first, second], steps, np.ones(1, dtype=bool))
    assert (record.raised, record.cleared, record.failed_within, record.stood_d) == (2, 2, 1, STEP_D)
    # 6 of the 40 steps, from the 190th to the 240th day, lie within 60 days before the failure on the 250th
    assert record.by_chance == pytest.approx(2 * 6 / 40)


def test_a_diagnosis_of_a_system_is_followed_by_the_change_of_any_of_its_positions() -> None:
    (span,) = spans_of(ended(), standing_on(30.0, position=-1))
    assert (span.next_change_day, span.reason) == (REMOVED, RemovalReason.INDICATOR)
