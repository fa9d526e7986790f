"""Refused is what cannot be true, naming what is known instead; a refusal leaves every table as it was.

contract.md, "Facts and refusals" and "HTTP".
"""

from datetime import timedelta
from typing import Any

import pytest

from scheduler.vocabulary import UNIT_SYMBOLS, QuantityKind, Scope
from tests.flow.running_plant import RunningPlant, bar, iso, oil, warm
from tests.flow.small_folder import (
    HOURS_NOW,
    NOW,
    RETURN,
    RETURN_FITTED_D,
    STRAINER,
    UNKNOWN,
    SmallPlant,
    moment,
    shown_hours,
    small_plant,
)

pytestmark = pytest.mark.one_database_is_enough

_DAY = timedelta(days=1)

NOT_TRUE = {
    "hours below an earlier reading": ({"hours": 8000}, "hours", ["8552", "2026-03-04"]),
    "more hours than time allows": ({"hours": HOURS_NOW + 100}, "hours", ["24 h a day", "8552"]),
    "a date in the future": ({"at": iso(NOW + _DAY)}, "at", ["future"]),
    "before the present element was fitted": (
        {"at": iso(NOW - (RETURN_FITTED_D + 1) * _DAY)},
        "at",
        [(NOW - RETURN_FITTED_D * _DAY).date().isoformat()],
    ),
    "the new element's ΔP in the future": ({"dp_after": warm(0.5, at=iso(NOW + _DAY))}, "dp_after.at", ["future"]),
    "the old element's ΔP after the change": (
        {"at": iso(NOW - _DAY), "dp_before": warm(2.0, at=iso(NOW))},
        "dp_before.at",
        ["when the element was changed"],
    ),
    "the new element's ΔP before the change": (
        {"dp_after": warm(0.4, at=iso(NOW - _DAY))},
        "dp_after.at",
        ["when the element was changed"],
    ),
}

NOT_SAID = {
    "a bare number for ΔP": ({"dp_before": {"dp": 2.1}}, "dp_before.dp", ["bar", "psi", "kPa"]),
    "a bare number for oil": ({"oil": [{"fluid": "OIL-46", "volume": 4}]}, "oil.0.volume", ["L", "gal"]),
    "gauge pressure for ΔP": (
        {"dp_before": {"dp": {"value": 2.1, "unit": "barg"}}},
        "dp_before.dp",
        ["barg", *UNIT_SYMBOLS[QuantityKind.PRESSURE_DIFFERENCE]],
    ),
    "a unit of another kind": ({"dp_before": {"dp": {"value": 2.1, "unit": "L"}}}, "dp_before.dp", ["bar"]),
    "an unknown member": ({"hour": 8560}, "hour", []),
    "an unknown member of a quantity": (
        {"dp_before": {"dp": {"value": 2.1, "unit": "bar", "kind": "gauge"}}},
        "dp_before.dp.kind",
        [],
    ),
    "hours as text": ({"hours": "8560"}, "hours", []),
    "hours below zero": ({"hours": -1}, "hours", []),
    "a time without an offset": ({"at": "2026-03-05T10:00:00"}, "at", []),
    "a negative ΔP": ({"dp_after": {"dp": bar(-0.5)}}, "dp_after.dp", ["0 bar"]),
    "a negative flow": ({"dp_after": warm(0.5) | {"flow": {"value": -3, "unit": "L/min"}}}, "dp_after.flow", ["0"]),
    "oil hotter than fire": (
        {"dp_after": warm(0.5) | {"oil_temperature": {"value": 900, "unit": "degF"}}},
        "dp_after.oil_temperature",
        ["250 degC"],
    ),
    "no oil": ({"oil": [oil("OIL-46", 0)]}, "oil.0.volume", ["above 0 L"]),
    "oil taken out": ({"oil": [oil("OIL-46", -4)]}, "oil.0.volume", ["above 0 L"]),
    "an element that was fitted and not": ({"element": {"lot": "L-1"}, "element_changed": False}, "element", []),
    "a reason that is none of the trade's": ({"reason": "felt like it"}, "reason", ["failure"]),
}


@pytest.mark.parametrize(("told", "member", "named"), NOT_TRUE.values(), ids=NOT_TRUE)
def test_what_cannot_be_true_is_refused_and_changes_nothing(
    plant: RunningPlant, told: dict[str, Any], member: str, named: list[str]
) -> None:
    _refused(plant, "/problems/cannot-be-true", told, member, named)


@pytest.mark.parametrize(("told", "member", "named"), NOT_SAID.values(), ids=NOT_SAID)
def test_what_cannot_be_understood_is_refused_and_changes_nothing(
    plant: RunningPlant, told: dict[str, Any], member: str, named: list[str]
) -> None:
    _refused(plant, "/problems/bad-input", told, member, named)


def _refused(plant: RunningPlant, type_: str, told: dict[str, Any], member: str, named: list[str]) -> None:
    before = plant.dump()
    problem = plant.close(expect=422, key="k", position=RETURN, **told)
    assert problem["type"] == type_
    assert [error["member"] for error in problem["errors"]] == [member]
    says = problem["errors"][0]["says"]
    assert [word for word in named if word not in says] == []
    assert plant.dump() == before


def test_an_unknown_position_is_refused_by_its_name(plant: RunningPlant) -> None:
    before = plant.dump()
    problem = plant.close(expect=422, position="PRESS-RTE")
    assert problem["type"] == "/problems/cannot-be-true"
    assert "PRESS-RTE" in problem["detail"]
    assert plant.dump() == before


def test_neither_task_nor_position_is_refused(plant: RunningPlant) -> None:
    assert plant.close(expect=422)["errors"][0]["member"] == "position"


def test_an_unknown_task_is_not_found(plant: RunningPlant) -> None:
    plant.close(expect=404, task=999)


def test_a_task_of_another_position_or_kind_is_refused(plant: RunningPlant) -> None:
    task = plant.task_of(RETURN)["id"]
    before = plant.dump()
    assert RETURN in plant.close(expect=422, task=task, position=STRAINER)["detail"]
    assert "change_element" in plant.close(expect=422, task=task, kind="inspect")["detail"]
    assert plant.dump() == before


def test_a_task_that_is_closed_names_its_close_out(plant: RunningPlant) -> None:
    task = plant.task_of(RETURN)["id"]
    answer = plant.close(task=task, hours=HOURS_NOW)
    before = plant.dump()
    problem = plant.close(expect=409, task=task, hours=HOURS_NOW)
    assert problem["close_out"] == answer["id"]
    assert f"close-out {answer['id']}" in problem["detail"]
    assert plant.dump() == before


def test_the_same_change_told_again_without_a_key_is_refused(plant: RunningPlant) -> None:
    """By position there is no task to name; the element fitted at that moment is already there."""
    told: dict[str, Any] = {"position": RETURN, "hours": HOURS_NOW}
    plant.close(**told)
    before = plant.dump()
    problem = plant.close(expect=422, **told)
    assert problem["errors"][0]["member"] == "at"
    assert plant.dump() == before


def test_a_change_before_the_last_element_was_taken_out_is_refused(plant: RunningPlant) -> None:
    life = {"position": UNKNOWN, "part_number": "EL-25", "fitted_at": moment(NOW, 50), "removed_at": moment(NOW, 10)}
    plant.take_in(SmallPlant(NOW, {"installations": [life]}))
    before = plant.dump()
    problem = plant.close(expect=422, position=UNKNOWN, at=moment(NOW, 20))
    assert problem["errors"][0]["member"] == "at"
    assert (NOW - 10 * _DAY).date().isoformat() in problem["detail"]
    assert plant.dump() == before
    plant.close(position=UNKNOWN, at=moment(NOW, 10))  # at that very moment is how it is usually done


def test_a_key_without_the_scope_closes_nothing(plant: RunningPlant) -> None:
    reader = plant.client_with(Scope.READ, name="screen in the hall")
    before = plant.dump()
    answer = reader.post("/v1/close-outs", json={"position": RETURN, "at": iso(plant.now)})
    assert answer.status_code == 403
    assert reader.get("/v1/due").status_code == 200
    assert plant.dump() == before


@pytest.mark.parametrize(
    ("days_ago", "hours"),
    [(50, 81600.0), (50, 860.0), (3, 85360.0), (1, 85520.0), (0.5, 8.5)],
    ids=["a digit too many", "a digit too few", "three days ago", "the newest reading", "a low newest reading"],
)
def test_a_typing_error_in_the_readings_refuses_no_true_close_out(
    plant: RunningPlant, days_ago: float, hours: float
) -> None:
    wrong = {"system": "PRESS", "at": moment(NOW, days_ago), "hours [h]": hours}
    plant.take_in(SmallPlant(NOW, {"meter_readings": [wrong]}))  # a day ago it corrects the reading of that time
    plant.run_pass()
    answer = plant.close(position=RETURN, hours=HOURS_NOW)
    assert answer["mismatches"] == []


def test_a_meter_that_rolls_over_is_believed(nothing_yet: RunningPlant) -> None:
    near_the_top = small_plant().without("meter_readings").without("installations")
    # five digits: after 99,999 h comes 0
    readings = [
        {"system": "PRESS", "at": moment(NOW, day), "hours [h]": 99_990 - 8 * day} for day in (60, 40, 20, 10, 1)
    ]
    fitted = {"position": RETURN, "part_number": "EL-10", "fitted_at": moment(NOW, 60)}
    nothing_yet.take_in(near_the_top.with_rows("meter_readings", *readings).with_rows("installations", fitted))
    nothing_yet.run_pass()
    nothing_yet.later(days=2)
    answer = nothing_yet.close(position=RETURN, hours=6.0)
    assert answer["position"] == RETURN
    nothing_yet.later(days=2)
    nothing_yet.run_pass()
    assert "meter-reading-doubtful" not in [note["code"] for note in nothing_yet.due(RETURN)["diagnoses"]]
    nothing_yet.close(position=RETURN, hours=22.0)
    problem = nothing_yet.client.post(
        "/v1/close-outs", json={"position": RETURN, "at": iso(nothing_yet.later(hours=1)), "hours": 5.0}
    )
    assert problem.status_code == 422


def test_hours_above_a_later_reading_are_refused_by_that_reading(plant: RunningPlant) -> None:
    before = plant.dump()
    problem = plant.close(expect=422, position=RETURN, at=iso(NOW - 10 * _DAY), hours=shown_hours(6))
    assert "8504" in problem["detail"]  # a week ago
    assert plant.dump() == before


def test_a_meter_that_was_not_read_is_no_reason_to_refuse(plant: RunningPlant) -> None:
    assert plant.close(position=RETURN)["next_due"] is not None


def test_facts_of_a_position_are_refused_for_work_on_a_whole_system(plant: RunningPlant) -> None:
    plant.close(position=RETURN, oil=[oil("OIL-68", 5)], confirm_mismatch={"reason": "wrong drum"})
    task = plant.task_of("", "inspect")["id"]
    before = plant.dump()
    problem = plant.close(expect=422, task=task, element={"lot": "L-1"}, dp_after=warm(0.4))
    assert [error["member"] for error in problem["errors"]] == ["dp_after", "element"]
    assert plant.dump() == before
    plant.close(task=task, hours=HOURS_NOW, note="oil sampled")
    (kept,) = plant.rows("meter_readings", system="PRESS", at=plant.now)
    assert kept["hours"] == HOURS_NOW
