"""Which due dates and findings ask for work, of which kind, in which stop."""

import pytest

from scheduler.planning.kits import Subject
from scheduler.planning.stops import Stop
from scheduler.planning.wanted_work import task_kind_of, wanted_work
from scheduler.planning.work_orders import KEEPS_DRAFT_FOR_D, WantedTask
from scheduler.vocabulary import Access, ElementKind, IndicatorState, Place, TaskKind, Trigger
from tests.planning.small_plant import (
    BREATHER,
    NAN,
    NOW,
    OTHER_OIL,
    STRAINER,
    STRANGER,
    Plant,
    Position,
    Reading,
    StopSpec,
    TopUp,
    assess,
    life_of,
    plant,
)

HORIZON_D = 42.0


def wanted(*positions: Position, open_work: frozenset[Subject] = frozenset(), **more: object) -> list[WantedTask]:
    columns = plant(*positions, **more)  # type: ignore[arg-type]
    found = assess(columns, life_of(1e6, 0.1, positions=len(positions)))
    return wanted_work(columns, found.items, found.diagnoses, open_work)


def due_in(days: float, **more: object) -> Position:
    return Position(max_age_d=100.0 + days, **more)  # type: ignore[arg-type]


def test_what_falls_due_within_the_horizon_is_work_and_what_falls_due_later_is_not() -> None:
    [task] = wanted(due_in(HORIZON_D))
    assert (task.plant, task.system, task.position, task.kind) == ("PLANT", "S1", "P1", TaskKind.CHANGE_ELEMENT)
    assert (task.due_day, task.trigger) == (NOW + HORIZON_D, Trigger.AGE)
    assert task.because["code"] == "age"
    assert wanted(due_in(HORIZON_D + 0.1)) == []


def test_the_horizon_is_that_of_the_plant() -> None:
    assert len(wanted(due_in(80.0), plants=[Plant(horizon_d=90.0)])) == 1


def test_open_work_stays_until_it_is_due_a_week_beyond_the_horizon() -> None:
    is_open = frozenset({("S1", "P1", TaskKind.CHANGE_ELEMENT)})
    assert len(wanted(due_in(HORIZON_D + KEEPS_DRAFT_FOR_D - 0.1), open_work=is_open)) == 1
    assert wanted(due_in(HORIZON_D + KEEPS_DRAFT_FOR_D + 0.1), open_work=is_open) == []
    of_another = frozenset({("S1", "P2", TaskKind.CHANGE_ELEMENT)})
    assert wanted(due_in(HORIZON_D + 0.1), open_work=of_another) == []


@pytest.mark.parametrize(
    ("position", "kind"),
    [
        (due_in(5.0), TaskKind.CHANGE_ELEMENT),
        (due_in(5.0, place=Place.SUCTION, part=STRAINER, fitted=STRAINER), TaskKind.SERVICE_STRAINER),
        (due_in(5.0, place=Place.BREATHER, part=BREATHER, fitted=BREATHER), TaskKind.CHANGE_BREATHER),
    ],
)
def test_each_kind_of_element_has_its_own_kind_of_work(position: Position, kind: TaskKind) -> None:
    assert [task.kind for task in wanted(position)] == [kind]


def test_every_kind_of_element_has_a_kind_of_work() -> None:
    assert len({task_kind_of(kind) for kind in ElementKind}) == len(ElementKind)


def test_the_work_goes_into_the_last_stop_before_it_is_due() -> None:
    stops = [StopSpec(NOW + day, NOW + day + 0.5) for day in (6.0, 13.0, 20.0)]
    assert wanted(due_in(15.0), stops=stops)[0].stop == Stop(NOW + 13.0, NOW + 13.5)
    assert wanted(due_in(15.0, access=Access.RUNNING), stops=stops)[0].stop is None
    assert wanted(due_in(5.0), stops=stops)[0].stop is None


def test_overdue_work_keeps_its_past_day() -> None:
    [task] = wanted(due_in(-10.0))
    assert task.due_day == NOW - 10.0


def test_nothing_fitted_asks_for_a_look_and_for_no_change() -> None:
    [task] = wanted(Position(fitted=None, max_age_d=1.0))
    assert (task.kind, task.trigger, task.due_day) == (TaskKind.INSPECT, None, NOW)
    assert task.because == {"code": "nothing-known-fitted", "facts": {}}


def test_a_trip_of_unknown_temperature_asks_for_a_look_when_warm() -> None:
    trip = Reading(NOW - 1.0, NAN, NAN, NAN, IndicatorState.TRIPPED)
    assert [task.kind for task in wanted(Position(readings=(trip,)))] == [TaskKind.LOOK_WHEN_WARM]


def test_a_cold_trip_asks_for_nothing() -> None:
    cold = Reading(NOW - 1.0, NAN, NAN, 10.0, IndicatorState.TRIPPED)
    assert wanted(Position(readings=(cold,))) == []


def test_several_findings_of_one_position_are_one_look() -> None:
    at_bypass = Reading(NOW, 3.2)
    tasks = wanted(Position(fitted=STRANGER, bypass_dp_bar=3.0, readings=(at_bypass,)))
    looks = [task for task in tasks if task.kind is TaskKind.INSPECT]
    assert len(looks) == 1
    assert looks[0].because["code"] == "wrong-element-fitted"


def test_a_finding_of_the_whole_system_is_work_without_a_position() -> None:
    [task] = wanted(Position(), top_ups=[TopUp(OTHER_OIL, NOW - 3.0)])
    assert (task.system, task.position, task.kind) == ("S1", "", TaskKind.INSPECT)


def test_a_position_that_nothing_makes_due_is_left_alone() -> None:
    assert wanted(Position()) == []
