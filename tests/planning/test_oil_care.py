"""What levels, top-ups and events say of the oil, on small plants with the fault and without."""

from collections.abc import Iterable
from dataclasses import replace

import numpy as np
import pytest

from scheduler.planning.cleanliness import Ask, SystemCleanliness, Verdict, assess_cleanliness
from scheduler.planning.diagnoses import Diagnosis
from scheduler.planning.oil_care import CHECKED_EVENTS, oil_care
from scheduler.planning.plant_columns import PlantColumns
from scheduler.vocabulary import EventKind, Place, Severity, TaskKind
from tests.planning.small_plant import NAN, NOW, OIL, Event, Level, Position, TopUp, plant

RESERVOIR_L = 400.0  # of the small plant's system


def care(columns: PlantColumns) -> dict[str, Diagnosis]:
    return {each.code: each for each in oil_care(columns, assess_cleanliness(columns))}


def codes(columns: PlantColumns) -> set[str]:
    return set(care(columns))


def with_levels(*levels: Level, top_ups: Iterable[TopUp] = ()) -> PlantColumns:
    return plant(Position("P1"), levels=levels, top_ups=top_ups)


def test_a_low_level_at_rest_asks_for_the_litres_that_are_missing() -> None:
    found = care(with_levels(Level(NOW - 2.0, level_pct=80.0)))["oil-level-low"]
    assert (found.asks_for, found.severity) == (TaskKind.TOP_UP, Severity.SOON)
    assert found.numbers["missing_L"] == pytest.approx(0.2 * RESERVOIR_L)


def test_a_level_near_full_asks_for_nothing() -> None:
    assert codes(with_levels(Level(NOW - 2.0, level_pct=93.0))) == set()


def test_what_was_poured_since_the_look_is_no_longer_missing() -> None:
    looked = Level(NOW - 9.0, level_pct=80.0)
    assert codes(with_levels(looked, top_ups=[TopUp(OIL, NOW - 3.0, 70.0)])) == set()
    before = [TopUp(OIL, NOW - 12.0, 70.0)]
    assert codes(with_levels(looked, top_ups=before)) == {"oil-level-low"}


def test_more_poured_than_was_missing_is_told_with_the_litres_too_much() -> None:
    looked = Level(NOW - 9.0, below_full_L=20.0)
    found = care(with_levels(looked, top_ups=[TopUp(OIL, NOW - 3.0, 45.0)]))["overfilled"]
    assert found.numbers["missing_L"] == pytest.approx(-25.0)
    assert found.asks_for is TaskKind.CHECK_LEVEL


@pytest.mark.parametrize(("at_rest", "defined_position"), [(False, True), (True, False), (False, False)])
def test_a_level_of_a_running_or_raised_machine_counts_for_nothing(*, at_rest: bool, defined_position: bool) -> None:
    """Common practice, no source: at rest, single-acting cylinders retracted."""
    looked = Level(NOW - 2.0, level_pct=60.0, at_rest=at_rest, defined_position=defined_position)
    found = care(with_levels(looked))
    assert set(found) == {"level-not-valid"}
    assert (found["level-not-valid"].asks_for, found["level-not-valid"].severity) == (
        TaskKind.CHECK_LEVEL,
        Severity.NOTE,
    )


def test_a_later_look_at_rest_settles_the_one_that_did_not_count() -> None:
    running = Level(NOW - 5.0, level_pct=60.0, at_rest=False)
    assert codes(with_levels(running, Level(NOW - 2.0, level_pct=95.0))) == set()


def test_a_look_of_a_season_ago_says_nothing_of_today() -> None:
    assert codes(with_levels(Level(NOW - 61.0, level_pct=50.0))) == set()


def test_more_missing_than_the_reservoir_holds_is_a_slip_of_the_pen() -> None:
    assert codes(with_levels(Level(NOW - 2.0, below_full_L=RESERVOIR_L + 1.0))) == set()


def top_ups(every_d: float, volume_L: float, since_d: float, until_d: float = 0.0) -> list[TopUp]:
    return [TopUp(OIL, NOW - ago, volume_L) for ago in np.arange(since_d, until_d, -every_d)]


def test_a_leak_is_told_with_litres_a_week_before_and_after_and_since_when() -> None:
    calm = top_ups(60.0, 10.0, 600.0, 100.0)
    leak = top_ups(10.0, 10.0, 70.0)
    found = care(with_levels(top_ups=[*calm, *leak]))["oil-loss-rising"]
    before, after = found.numbers["before"], found.numbers["after"]
    assert before[0] < 70.0 / 60.0 < before[2]  # 10 L every 60 days
    assert after[0] < 7.0 < after[2]  # 10 L every 10 days
    assert NOW - 120.0 < found.numbers["since_day"] < NOW - 55.0
    assert found.asks_for is TaskKind.INSPECT


def test_a_system_that_always_lost_as_much_has_no_new_leak() -> None:
    assert codes(with_levels(top_ups=top_ups(20.0, 10.0, 600.0))) == set()


def test_refills_after_changes_of_oil_are_no_leak() -> None:
    calm = top_ups(60.0, 10.0, 600.0, 50.0)
    changes = [NOW - ago for ago in (44.0, 33.0, 22.0, 11.0)]
    columns = plant(
        Position("P1"),
        top_ups=[*calm, *(TopUp(OIL, day + 0.2, 40.0) for day in changes)],
        events=[Event(EventKind.OIL_CHANGE, day) for day in changes],
    )
    assert "oil-loss-rising" not in codes(columns)


@pytest.mark.parametrize("kind", list(EventKind))
def test_only_what_can_hurt_a_machine_asks_for_checks_afterwards(kind: EventKind) -> None:
    found = care(plant(Position("P1"), events=[Event(kind, NOW - 3.0)]))
    asked = {each.asks_for for each in found.values()}
    expected = {TaskKind.CHECK_AFTER_EVENT} if kind in CHECKED_EVENTS else set()
    assert asked == ({TaskKind.FLUSH} if kind is EventKind.COMMISSIONED else expected)
    assert all(each.since_day == NOW - 3.0 for each in found.values())


def test_an_event_of_long_ago_asks_for_nothing() -> None:
    assert codes(plant(Position("P1"), events=[Event(EventKind.PUMP_FAILURE, NOW - 31.0)])) == set()


def test_a_system_that_was_flushed_since_it_was_commissioned_is_ready() -> None:
    events = [Event(EventKind.COMMISSIONED, NOW - 9.0), Event(EventKind.FLUSHED, NOW - 8.0)]
    assert codes(plant(Position("P1"), events=events)) == set()


def test_a_system_of_unknown_volume_says_nothing_of_its_level() -> None:
    columns = with_levels(Level(NOW - 2.0, level_pct=10.0))
    columns.systems.reservoir_volume_L[:] = NAN
    assert codes(columns) == set()


def missed(**facts: object) -> SystemCleanliness:
    """Counts at 14 µm(c) stand at a hundred times their limit, and no element is to blame."""
    told = {"newest_above": True, "level_per_mL": 8000.0, "limit_per_mL": 80.0, "size_um_c": 14, "target": "18/16/13"}
    return SystemCleanliness(0, Verdict.MISSED, Ask.INSPECT, -1, NOW - 4.0, told | facts)


def with_offline(flow_lpm: float = 40.0, beta: float = 200.0, rating_um: float = 10.0) -> PlantColumns:
    columns = plant(Position("P1"), Position("OFF", place=Place.OFFLINE, flow_lpm=flow_lpm))
    kind = columns.positions.specified_type[1]
    columns.types.beta[kind], columns.types.rating_um[kind] = beta, rating_um
    return columns


def clean_ups(columns: PlantColumns, judged: SystemCleanliness) -> list[Diagnosis]:
    return [each for each in oil_care(columns, [judged]) if each.asks_for is TaskKind.CLEAN_UP]


def test_dirty_oil_is_cleaned_by_the_offline_filter_in_twice_to_five_times_the_ideal_hours() -> None:
    """400 L, 40 L/min, β 200, a hundredth of the count: 46.283 min by the algebra of the well-mixed balance."""
    (found,) = clean_ups(with_offline(), missed())
    assert found.numbers["ideal_h"] == pytest.approx(46.283 / 60.0, abs=0.005)
    assert found.numbers["low_h"] == pytest.approx(2 * 46.283 / 60.0, abs=0.01)
    assert found.numbers["high_h"] == pytest.approx(5 * 46.283 / 60.0, abs=0.01)
    assert (found.numbers["through"], found.since_day) == ("OFF", NOW - 4.0)


@pytest.mark.parametrize(
    ("columns", "judged"),
    [
        pytest.param(plant(Position("P1")), missed(), id="the system has no off-line filter"),
        pytest.param(with_offline(), missed(newest_above=False), id="the newest sample is good"),
        pytest.param(with_offline(beta=NAN), missed(), id="nobody knows the filter's β"),
        pytest.param(with_offline(rating_um=20.0), missed(), id="the filter is too coarse for that size"),
        pytest.param(with_offline(), replace(missed(), position=0), id="an element is to blame"),
        pytest.param(with_offline(), replace(missed(), verdict=Verdict.ONE_BAD), id="one bad sample"),
    ],
)
def test_no_clean_up_is_asked_for_where(columns: PlantColumns, judged: SystemCleanliness) -> None:
    assert clean_ups(columns, judged) == []
