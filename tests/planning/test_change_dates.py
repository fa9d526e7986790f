"""When elements will be changed: the due date where nothing more is learned, the limit where all will be known."""

from collections.abc import Iterator

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.special import ndtr, ndtri

from scheduler.planning import change_dates as module
from scheduler.planning.change_dates import BY_THE_WEEK_D, ChangeDates, change_dates, load_cases
from scheduler.planning.condition import Condition, assess_condition
from scheduler.planning.duty import Duty, assess_duty
from scheduler.planning.indicator import sightings_of
from scheduler.planning.limit_dates import LimitDates, limit_dates
from scheduler.planning.plant_columns import Floats, PlantColumns
from scheduler.statistics.competing_triggers import fuse
from scheduler.statistics.life_model import LifePrior
from scheduler.vocabulary import Access, Status
from tests.planning.small_plant import (
    NEVER_BY_CONDITION,
    NOW,
    Life,
    Position,
    StopSpec,
    life_of,
    plant,
    prior_of_life,
    rising_readings,
)

RISK = 0.1
SCORE = float(ndtri(1.0 - RISK))
WEEKS_D: Floats = np.arange(0.0, 27.0 * 7.0, 7.0)
FEW_READINGS = rising_readings(life_d=320.0, every_d=14.0)


@pytest.fixture(autouse=True, scope="module")
def nothing_unforeseen() -> Iterator[None]:
    """So that what is certain is exactly so."""
    with pytest.MonkeyPatch.context() as patched:
        patched.setattr(module, "UNFORESEEN_PER_D", 0.0)
        yield


def known(columns: PlantColumns, life: LifePrior) -> tuple[Duty, Condition, LimitDates]:
    duty = assess_duty(columns)
    condition = assess_condition(columns, duty, prior_of_life(columns, life))
    return duty, condition, limit_dates(columns, duty, condition, sightings_of(columns, condition), {})


def changes_of(
    columns: PlantColumns,
    life: LifePrior,
    edge_d: Floats = WEEKS_D,
    planned_day: dict[int, float] | None = None,
    risk: float = RISK,
) -> ChangeDates:
    risks = np.full(len(columns.positions.code), risk)
    return change_dates(columns, *known(columns, life), risks, planned_day or {}, edge_d)


def changed_by(changes: ChangeDates, position: int = 0) -> Floats:
    """P(the first change has come by the end of each period), (cases, W)."""
    rows = np.array([position])
    return np.stack([np.cumsum(case.first_change(rows)[0]) for case in changes.cases])


def day_of_limit(dates: LimitDates, share: Floats) -> Floats:
    """Days from now by which the limit of the first position is reached with these probabilities."""
    reached = 1.0 - np.prod(1.0 - dates.causes[:, 0], axis=0)
    return np.asarray(np.interp(share, *_rising(reached, dates.day_ahead), right=np.inf))


def _rising(reached: Floats, day: Floats) -> tuple[Floats, Floats]:
    rises = np.concatenate([[True], np.diff(reached) > 0.0])
    return reached[rises], day[rises]


def watched(**more: object) -> Position:
    return Position(terminal_dp_bar=2.5, readings=FEW_READINGS, access=Access.RUNNING, **more)  # type: ignore[arg-type]


def spread_of(duty: Duty, condition: Condition) -> float:
    """Of ln life of the first position's element, from the 10 and 90 % points of its hours left."""
    early, late = (float(condition.remaining.quantile(level)[0]) for level in (0.1, 0.9))
    return float(np.log((duty.run_h[0] + late) / (duty.run_h[0] + early)) / (2.0 * ndtri(0.9)))


@pytest.mark.parametrize("rho", [0.0, 0.2, 0.5, 0.8])
def test_a_watched_element_is_changed_when_the_forecast_that_it_will_have_by_then_says_so(
    rho: float, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Monte Carlo: a normal score of the limit is M + E, M will be known; due is M less z times the spread of E."""
    columns, life = plant(watched()), life_of(2200.0)
    duty, condition, dates = known(columns, life)
    in_a_life = float(np.exp(life.log_median[0])) * len(FEW_READINGS) / float(duty.run_h[0])
    monkeypatch.setattr(module, "LEFT_AT_CHANGE_LOG_SD", rho * spread_of(duty, condition) * np.sqrt(in_a_life))
    found = changed_by(changes_of(columns, life))

    rng = np.random.default_rng(5)
    learned = np.sqrt(1.0 - rho**2) * rng.standard_normal(200_000)
    due_d = day_of_limit(dates, ndtr(learned - SCORE * rho))
    for row, (_, load) in zip(found, load_cases(), strict=True):
        drawn = (due_d[:, None] / load <= WEEKS_D[None, 1:]).mean(axis=0)
        np.testing.assert_allclose(row, drawn, atol=0.012)
    assert 0.1 < found[1, 12] < 0.9  # the quarter lies in the middle of what is compared


def test_what_may_fail_before_it_is_due_hardly_moves_the_changes_of_a_watched_element() -> None:
    """The docstring leaves out limits that are passed before the due date: min(−z ρ, e) instead of −z ρ."""
    rng = np.random.default_rng(6)
    for rho in (0.2, 0.5):
        learned = np.sqrt(1.0 - rho**2) * rng.standard_normal(400_000)
        left = rho * rng.standard_normal(400_000)
        shift = np.mean(np.minimum(learned - SCORE * rho, learned + left)) - np.mean(learned - SCORE * rho)
        assert -0.06 * rho < shift < 0.0


def test_an_element_that_nobody_watches_is_changed_on_its_due_date_or_at_its_limit_before() -> None:
    """Monte Carlo of the log-normal life, given its age: min(limit, due)."""
    columns = plant(Position(access=Access.RUNNING))
    life = life_of(1900.0, 0.25)
    found = changed_by(changes_of(columns, life))
    duty, _, dates = known(columns, life)

    due_d = float(fuse(dates.day_ahead, dates.causes, dates.steps, np.array([RISK])).due_day[0])
    draws_h = 1900.0 * np.exp(0.25 * np.random.default_rng(7).standard_normal(200_000))
    left_h = draws_h[draws_h > duty.run_h[0]] - duty.run_h[0]
    changed_d = np.minimum(left_h / 8.0, due_d)  # 8 h a day: tests/planning/small_plant.py
    for row, (_, load) in zip(found, load_cases(), strict=True):
        drawn = (changed_d[:, None] / load <= WEEKS_D[None, 1:]).mean(axis=0)
        apart = np.abs(WEEKS_D[1:] - due_d / load) > 1.0  # not at the step itself
        np.testing.assert_allclose(row[apart], drawn[apart], atol=0.012)
        assert row[-1] == 1.0
        assert 0.0 < row[row < 1.0].max() <= RISK + 1e-9


def test_an_element_that_was_only_just_fitted_is_watched_like_the_one_before_it() -> None:
    fresh = Position(terminal_dp_bar=2.5, fitted_day=NOW - 2.0, access=Access.RUNNING)
    before = Life(NOW - 250.0, NOW - 2.0, readings=rising_readings(fitted_day=NOW - 250.0, until_day=NOW - 3.0))
    edge_d = np.arange(0.0, 500.0, 7.0)
    with_gauge = changed_by(changes_of(plant(fresh, lives=[before]), life_of(2000.0), edge_d))[1]
    never_read = changed_by(changes_of(plant(fresh), life_of(2000.0), edge_d))[1]
    assert np.diff(never_read).max() > 0.8  # on a day that can be told already
    assert np.diff(with_gauge).max() < 0.2


def test_an_element_that_is_read_more_often_is_used_longer() -> None:
    often = Position(terminal_dp_bar=2.5, access=Access.RUNNING, readings=rising_readings(life_d=320.0, every_d=2.0))
    seldom = Position(terminal_dp_bar=2.5, access=Access.RUNNING, readings=often.readings[9::10])
    columns = plant(often)
    duty, condition, dates = known(columns, life_of(2200.0))
    thinned = plant(seldom)
    found = [
        np.cumsum(
            change_dates(each, duty, condition, dates, np.array([RISK]), {}, WEEKS_D)
            .cases[1]
            .first_change(np.array([0]))[0]
        )
        for each in (columns, thinned)
    ]  # the same forecast, read more or less often from now on
    assert np.sum(found[0]) < np.sum(found[1])


def test_planned_work_is_certain_on_its_day_whatever_the_forecast_says() -> None:
    edge_d = np.array([0.0, 10.0, 21.0, 60.0])
    for life in (life_of(900.0), NEVER_BY_CONDITION):
        found = changed_by(changes_of(plant(Position()), life, edge_d, {0: NOW + 20.0}))
        np.testing.assert_array_equal(found, [[0.0, 1.0, 1.0]] * len(found))


def test_work_that_was_planned_for_yesterday_is_done_in_the_first_period() -> None:
    found = changed_by(changes_of(plant(Position()), NEVER_BY_CONDITION, WEEKS_D, {0: NOW - 1.0}))
    np.testing.assert_array_equal(found, 1.0)


def test_a_stop_takes_everything_that_is_due_before_the_next_stop() -> None:
    stops = [StopSpec(NOW + day, NOW + day + 1.0) for day in (10.0, 40.0, 70.0)]
    life = life_of(1200.0, 0.3)
    edge_d = np.array([0.0, 9.0, 11.0, 39.0, 41.0])
    stopped = changed_by(changes_of(plant(Position(access=Access.STOPPED), stops=stops), life, edge_d))
    running = changed_by(
        changes_of(
            plant(Position(access=Access.RUNNING), stops=stops),
            life,
            np.array([0.0, 9.0, 40.0, 70.0]),
        )
    )
    np.testing.assert_allclose(stopped[:, 1], running[:, 1])  # the stop of day 10 took what was due by day 40
    np.testing.assert_allclose(stopped[:, 2], stopped[:, 1])  # nothing more until the next stop
    np.testing.assert_allclose(stopped[:, 3], running[:, 2])
    assert (stopped[:, 1] > running[:, 0] + 0.1).any()


def test_an_element_is_changed_at_its_age_limit_at_the_latest() -> None:
    young = Position(fitted_day=NOW - 100.0, max_age_d=130.0, access=Access.RUNNING)
    changes = changes_of(plant(young), NEVER_BY_CONDITION)
    found = changed_by(changes)
    np.testing.assert_array_equal(found[:, :3], 0.0)
    np.testing.assert_array_equal(found[:, 4:], 1.0)  # day 30 lies in the fifth week
    for case in changes.cases:
        later = case.next_change[changes.later_class[0]]
        stays_d = 130.0 - BY_THE_WEEK_D
        early, late = int((28.0 + stays_d) // 7.0) - 1, int((35.0 + stays_d) // 7.0) + 1
        assert later[4, 5:early].sum() == pytest.approx(0.0, abs=1e-12)
        assert later[4, early : late + 1].sum() == pytest.approx(1.0)  # from the fifth week a whole stay later


def test_an_element_past_its_hours_is_changed_in_the_first_period() -> None:
    late = Position(fitted_day=NOW - 100.0, max_hours=700.0)
    np.testing.assert_array_equal(changed_by(changes_of(plant(late), NEVER_BY_CONDITION)), 1.0)


@pytest.mark.parametrize(
    "still", [Position(fitted=None), Position(status=Status.LAID_UP)], ids=["nothing known", "laid up"]
)
def test_a_position_out_of_service_or_with_nothing_known_is_never_changed(still: Position) -> None:
    np.testing.assert_array_equal(changed_by(changes_of(plant(still), life_of(500.0))), 0.0)


def test_load_cases_have_the_mean_of_one_and_the_spread_that_they_stand_for() -> None:
    share, load = np.array(load_cases()).T
    assert share.sum() == pytest.approx(1.0)
    assert share @ load == pytest.approx(1.0, abs=1e-5)
    assert np.sqrt(share @ (load - 1.0) ** 2) == pytest.approx(module.LOAD_LOG_SD, rel=0.01)


@settings(max_examples=15, deadline=None)  # a plant is planned in each
@given(
    median_h=st.floats(300.0, 6000.0),
    log_sd=st.floats(0.05, 0.8),
    age_d=st.floats(1.0, 400.0),
    risk=st.floats(0.001, 0.5),
    is_read=st.booleans(),
)
def test_a_higher_load_never_makes_the_use_smaller(
    median_h: float, log_sd: float, age_d: float, risk: float, is_read: bool
) -> None:
    read = FEW_READINGS if is_read else ()
    position = Position(terminal_dp_bar=2.5, readings=read, fitted_day=NOW - 100.0 if is_read else NOW - age_d)
    changes = changes_of(plant(position), life_of(median_h, log_sd), risk=risk)
    first = changed_by(changes)
    assert (np.diff(first, axis=0) >= -1e-9).all()
    later = np.stack([np.cumsum(case.next_change[changes.later_class[0]], axis=1) for case in changes.cases])
    assert (np.diff(later, axis=0) >= -1e-9).all()


def test_what_nobody_foresees_changes_an_element_that_is_good_for_years(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(module, "UNFORESEEN_PER_D", 0.001)
    changes = changes_of(plant(Position(fitted_day=NOW - 5.0)), NEVER_BY_CONDITION)
    np.testing.assert_allclose(changed_by(changes), np.tile(1.0 - np.exp(-0.001 * WEEKS_D[1:]), (3, 1)), atol=1e-9)
    planned = changes_of(plant(Position()), NEVER_BY_CONDITION, np.array([0.0, 10.0, 30.0]), {0: NOW + 20.0})
    np.testing.assert_array_equal(changed_by(planned), [[0.0, 1.0]] * 3)  # a change whose day is settled stays so
