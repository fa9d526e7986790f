"""The last stop before the work is due."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from scheduler.planning.stops import Stop, last_stop_before, stops_of_system
from scheduler.vocabulary import Access
from tests.planning.small_plant import NOW, Plant, Position, StopSpec, System, plant

SATURDAYS = tuple(Stop(NOW + day, NOW + day + 1.0) for day in (3.0, 10.0, 17.0))


def test_the_last_stop_before_the_day_uses_most_of_the_element() -> None:
    assert last_stop_before(SATURDAYS, NOW + 16.9, Access.STOPPED) == SATURDAYS[1]
    assert last_stop_before(SATURDAYS, NOW + 17.0, Access.STOPPED) == SATURDAYS[2]
    assert last_stop_before(SATURDAYS, NOW + 900.0, Access.DRAINED) == SATURDAYS[2]


def test_work_due_before_the_first_stop_has_none() -> None:
    assert last_stop_before(SATURDAYS, NOW + 2.9, Access.STOPPED) is None
    assert last_stop_before((), NOW, Access.STOPPED) is None


def test_what_can_be_opened_while_the_system_runs_needs_no_stop() -> None:
    assert last_stop_before(SATURDAYS, NOW + 16.9, Access.RUNNING) is None


@given(
    st.lists(st.tuples(st.floats(0.0, 100.0), st.floats(0.1, 5.0)), max_size=8),
    st.floats(-10.0, 120.0),
    st.sampled_from([Access.STOPPED, Access.DRAINED]),
)
def test_no_other_stop_lies_between_the_chosen_one_and_the_day(
    spans: list[tuple[float, float]], due_day: float, access: Access
) -> None:
    stops = tuple(sorted((Stop(start, start + length) for start, length in spans), key=lambda stop: stop.start_day))
    found = last_stop_before(stops, due_day, access)
    in_time = [stop for stop in stops if stop.start_day <= due_day]
    assert (found is None) == (not in_time)
    if found is not None:
        assert found.start_day == max(stop.start_day for stop in in_time)


def test_a_system_has_its_own_stops_and_its_plants() -> None:
    columns = plant(
        Position("P1"),
        Position("P2", system="S2"),
        Position("P3", system="S3"),
        systems=[System(), System("S2"), System("S3", plant="OTHER")],
        plants=[Plant(), Plant("OTHER")],
        stops=[
            StopSpec(NOW + 9.0, NOW + 10.0),
            StopSpec(NOW + 5.0, NOW + 6.0, system="S2"),
            StopSpec(NOW + 1.0, NOW + 2.0, plant="OTHER"),
        ],
    )
    assert [[stop.start_day - NOW for stop in stops_of_system(columns, system)] for system in range(3)] == [
        [9.0],
        [5.0, 9.0],
        [1.0],
    ]


@pytest.mark.parametrize(("end_day", "count"), [(NOW - 1.0, 0), (NOW, 0), (NOW + 0.5, 1)])
def test_a_stop_that_is_over_takes_no_work_and_one_that_has_begun_still_does(end_day: float, count: int) -> None:
    columns = plant(Position(), stops=[StopSpec(NOW - 2.0, end_day)])
    assert len(stops_of_system(columns, 0)) == count
