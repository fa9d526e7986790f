"""A close-out that was told wrongly is put right: everything follows, and the past stays as it was known."""

from datetime import datetime, timedelta
from pathlib import Path
from typing import Any

import pytest

from scheduler.vocabulary import Scope
from tests.flow.command_line import run, said_by
from tests.flow.corrections import Told, as_of, assert_sound, correct, facts_now, moved
from tests.flow.running_plant import RunningPlant, copied, iso, oil, running, warm
from tests.flow.small_folder import BREATHER, HOURS_NOW, NOW, RETURN, STRAINER, UNKNOWN, SmallPlant, moment

pytestmark = pytest.mark.one_database_is_enough

FIRST: Told = {
    "position": RETURN,
    "hours": HOURS_NOW,
    "dp_before": warm(1.6),
    "dp_after": warm(0.45),
    "element": {"lot": "L-1", "serial": "77"},
    "oil": [oil("OIL-46", 4, through_filter=True)],
    "condition": "even dirt",
}
CONFIRMED: Told = {"confirm_mismatch": {"reason": "nothing else on the shelf"}}
EARLIER = iso(NOW - timedelta(hours=3))


def _stays(plant: RunningPlant, position: str = RETURN) -> tuple[dict[str, Any], dict[str, Any]]:
    """The stay that was ended and the one that followed it."""
    *_, ended, fitted = sorted(plant.holds_now("installations", position=position), key=lambda row: row["fitted_at"])
    return ended, fitted


CORRECTIONS: dict[str, tuple[Told, Told]] = {
    "lot": (FIRST, {"element": {"lot": "L-2"}}),
    "serial is not known": (FIRST, {"element": {"serial": None}}),
    "hours": (FIRST, {"hours": HOURS_NOW + 6}),
    "hours were not read": (FIRST, {"hours": None}),
    "time": (FIRST, {"at": EARLIER}),
    "time and hours": (FIRST, {"at": EARLIER, "hours": HOURS_NOW - 1}),
    "reason": (FIRST, {"reason": "failure", "condition": "torn"}),
    "alternate": (FIRST, {"element": {"part_number": "EL-10-FKM", "lot": None}}),
    "wrong element": (FIRST, {"element": {"part_number": "EL-25", "lot": "X-1"}, **CONFIRMED}),
    "right element": (
        FIRST | {"element": {"part_number": "EL-25", "lot": "X-1"}, **CONFIRMED},
        {"element": {"part_number": "EL-10", "lot": "L-1"}},
    ),
    "parts": (FIRST, {"parts": [{"part_number": "SK-1"}, {"part_number": "TRAY", "quantity": 3}]}),
    "no parts": (FIRST, {"parts": []}),
    "fewer than the books have": (
        FIRST | {"parts": [{"part_number": "SK-1", "quantity": 5}]},
        {"parts": [{"part_number": "SK-1", "quantity": 1}]},
    ),
    "more than the books have": (FIRST, {"parts": [{"part_number": "SK-1", "quantity": 5}]}),
    "more oil": (FIRST, {"oil": [oil("OIL-46", 110, through_filter=True)]}),
    "oil of another lot": (FIRST, {"oil": [oil("OIL-46", 4, lot="D-2")]}),
    "another oil": (FIRST, {"oil": [oil("OIL-68", 4)], **CONFIRMED}),
    "no oil": (FIRST, {"oil": []}),
    "pressure": (FIRST, {"dp_after": warm(0.95), "dp_before": None}),
    "the element stayed in": (FIRST, {"element_changed": False, "element": None, "dp_after": None}),
    "it was more than a look": (
        {"position": RETURN, "kind": "inspect", "hours": HOURS_NOW},
        {"element_changed": True, "element": {"lot": "L-2"}},
    ),
    "a strainer that was not put back": (
        {"position": STRAINER, "hours": HOURS_NOW},
        {"element": {"part_number": "STR-1", "serial": "0043"}},
    ),
    "the first that is known": ({"position": UNKNOWN}, {"element": {"lot": "X-1"}, "at": EARLIER}),
}


@pytest.mark.parametrize("named", CORRECTIONS)
def test_a_corrected_close_out_leaves_what_the_right_one_would_have_left(
    planned_file: Path, tmp_path: Path, named: str
) -> None:
    told, wrong = CORRECTIONS[named]
    right: Told = told | wrong
    if told.get("element") and wrong.get("element"):
        right["element"] = told["element"] | wrong["element"]
    with running(copied(planned_file, tmp_path / "right.sqlite")) as once:
        once.close(**right)
        once.later(days=2)
        once.run_pass()
        facts, movements, due = facts_now(once), moved(once), once.get("/v1/due")["items"]
    with running(copied(planned_file, tmp_path / "corrected.sqlite")) as plant:
        answer = plant.close(**told)
        plant.later(days=2)
        correct(plant, answer["id"], **wrong)
        assert facts_now(plant) == facts
        assert moved(plant) == movements
        assert_sound(plant)
        plant.run_pass()
        assert plant.get("/v1/due")["items"] == due


@pytest.mark.parametrize("named", CORRECTIONS)
def test_what_was_known_before_a_correction_is_still_what_was_known_then(plant: RunningPlant, named: str) -> None:
    told, wrong = CORRECTIONS[named]
    answer = plant.close(**told)
    told_at = plant.now
    then = as_of(plant, told_at)
    plant.later(days=2)
    correct(plant, answer["id"], **wrong)
    assert as_of(plant, told_at) == then
    assert as_of(plant, told_at + timedelta(days=1, hours=23))  # and any day until then can be asked for


def test_the_due_date_follows_at_once_and_a_pass_of_the_whole_finds_the_same(plant: RunningPlant) -> None:
    first = plant.close(**FIRST)
    plant.later(hours=5)
    plant.run_pass()  # pools the lives anew, the one that was ended among them
    answer = correct(plant, first["id"], dp_after=warm(1.5))
    assert answer["next_due"] == plant.due(RETURN)
    assert "0.45 bar" in first["next_due"]["reason"]
    assert "1.50 bar" in answer["next_due"]["reason"]
    plant.run_pass()  # learns from what is fitted too, so that its answer may differ by a few hours
    found, told = plant.due(RETURN), answer["next_due"]
    assert found["hours_left"] == pytest.approx(told["hours_left"], rel=0.03)
    assert (found["trigger"], found["position"]) == (told["trigger"], told["position"])
    assert "1.50 bar" in found["reason"]


def test_a_correction_stands_beside_its_close_out_with_both_values(plant: RunningPlant) -> None:
    first = plant.close(**FIRST)
    assert first["corrections"] == []
    plant.later(hours=5)
    correct(plant, first["id"], why="the other press", hours=HOURS_NOW + 6, element={"lot": "L-2"})
    corrected_at = plant.now
    plant.later(hours=5)
    correct(plant, first["id"], condition="torn")
    one, two = plant.get(f"/v1/close-outs/{first['id']}")["corrections"]
    assert (datetime.fromisoformat(one["at"]), one["why"], one["undone"]) == (corrected_at, "the other press", False)
    assert one["by"] == first["recorded_by"]
    assert one["changed"] == [
        {"member": "hours", "earlier": HOURS_NOW, "new": HOURS_NOW + 6},
        {"member": "element.lot", "earlier": "L-1", "new": "L-2"},
    ]
    assert two["changed"] == [{"member": "condition", "earlier": "even dirt", "new": "torn"}]
    kept = plant.rows("close_out_corrections", close_out=first["id"])
    assert [row["earlier_told"]["element"]["lot"] for row in kept] == ["L-1", "L-2"]


def test_the_end_of_one_stay_and_the_beginning_of_the_next_move_together(plant: RunningPlant) -> None:
    answer = plant.close(**FIRST)
    plant.later(days=1)
    correct(plant, answer["id"], at=EARLIER, hours=HOURS_NOW - 1)
    ended, fitted = _stays(plant)
    at = datetime.fromisoformat(EARLIER)
    assert (ended["removed_at"], ended["removed_hours"]) == (at, HOURS_NOW - 1)
    assert (fitted["fitted_at"], fitted["fitted_hours"], fitted["lot"]) == (at, HOURS_NOW - 1, "L-1")
    assert {ended["source"], fitted["source"]} == {f"close-out {answer['id']}, correction 1"}


def test_a_wrong_lot_goes_back_to_its_shelf_by_a_movement_of_its_own(plant: RunningPlant) -> None:
    answer = plant.close(**FIRST)
    plant.later(days=1)
    correct(plant, answer["id"], element={"lot": "L-2"})
    movements = [
        (row["lot"], row["quantity"], row["source"]) for row in plant.rows("stock_movements", part_number="EL-10")
    ]
    first, then = f"close-out {answer['id']}", f"close-out {answer['id']}, correction 1"
    assert movements == [("L-1", -1, first), ("L-1", 1, then), ("L-2", -1, then)]
    assert plant.on_hand("EL-10") == 3
    assert len(plant.rows("stock_movements", part_number="TRAY")) == 1  # nothing else moved


def test_a_lot_counted_since_the_job_keeps_its_count(plant: RunningPlant) -> None:
    answer = plant.close(**FIRST)
    plant.later(days=1)
    counted = {
        "part_number": "EL-10",
        "store": "MAIN",
        "lot": "L-2",
        "on_hand": 2,
        "counted_at": moment(plant.now, 0),
    }
    plant.take_in(SmallPlant(plant.now, {"stock": [counted]}))
    plant.later(days=1)
    correct(plant, answer["id"], element={"lot": "L-2"})
    plant.run_pass()
    assert plant.rows("stock_discrepancies") == []
    (row,) = plant.holds_now("stock", part_number="EL-10", lot="L-2")
    since = [each for each in plant.rows("stock_movements", lot="L-2") if each["at"] > row["counted_at"]]
    assert (row["on_hand"], since) == (2, [])


def test_a_correction_that_says_the_same_changes_nothing(plant: RunningPlant) -> None:
    answer = plant.close(**FIRST)
    plant.later(hours=5)
    before = plant.dump()
    same = {name: FIRST[name] for name in ("hours", "element", "oil", "condition", "dp_before", "dp_after")}
    correct(plant, answer["id"], expect=200, **same)
    correct(plant, answer["id"], expect=200, at=iso(NOW.astimezone()))
    correct(plant, answer["id"], expect=200)
    assert plant.dump() == before


def test_the_same_key_corrects_once_and_another_body_is_refused(plant: RunningPlant) -> None:
    answer = plant.close(**FIRST)
    plant.later(hours=5)
    first = correct(plant, answer["id"], key="c", hours=HOURS_NOW + 2)
    before = plant.dump()
    plant.later(hours=1)
    assert correct(plant, answer["id"], key="c", hours=HOURS_NOW + 2) == first
    assert plant.dump() == before
    problem = correct(plant, answer["id"], expect=422, key="c", hours=None)
    assert problem["type"] == "/problems/idempotency-key-reused"


def test_one_correction_after_another_leaves_what_the_last_one_says(plant: RunningPlant) -> None:
    answer = plant.close(**FIRST)
    plant.later(hours=5)
    before = (facts_now(plant), moved(plant))
    correct(plant, answer["id"], at=EARLIER, hours=HOURS_NOW - 2, element={"lot": "L-2"}, oil=[oil("OIL-46", 9)])
    correct(plant, answer["id"], parts=[])
    undone = {name: FIRST[name] for name in ("hours", "element", "oil")} | {"at": iso(NOW), "parts": None}
    correct(plant, answer["id"], **undone)
    assert (facts_now(plant), moved(plant)) == before
    assert_sound(plant)


def test_an_element_that_stayed_in_after_all_and_was_changed_after_all(plant: RunningPlant) -> None:
    answer = plant.close(**FIRST)
    plant.later(hours=5)
    before = (facts_now(plant), moved(plant))
    correct(plant, answer["id"], element_changed=False, element=None)
    (sits,) = plant.holds_now("installations", position=RETURN, removed_at=None)
    assert (sits["lot"], sits["reason"], sits["removed_hours"], sits["condition"]) == ("L-OLD", None, None, None)
    plant.later(hours=5)
    correct(plant, answer["id"], element_changed=True, element=FIRST["element"])
    assert (facts_now(plant), moved(plant)) == before
    assert_sound(plant)


@pytest.mark.parametrize(
    ("wrong", "member"),
    [
        ({"hours": 1}, "hours"),
        ({"hours": HOURS_NOW + 500}, "hours"),
        ({"at": iso(NOW + timedelta(days=9))}, "at"),
        ({"at": iso(NOW - timedelta(days=400))}, "at"),
        ({"at": None}, "at"),
        ({"dp_after": warm(0.4, at=EARLIER)}, "dp_after.at"),
        ({"dp_after": {"dp": {"value": -1, "unit": "bar"}}}, "dp_after.dp"),
        ({"element_changed": False}, "element"),
        ({"task": 3}, "task"),
        ({"why": ""}, "why"),
        ({"undo": True, "hours": 5}, "hours"),
    ],
)
def test_what_cannot_be_true_is_refused_as_at_the_close_out(plant: RunningPlant, wrong: Told, member: str) -> None:
    answer = plant.close(**FIRST)
    plant.later(days=1)
    before = plant.dump()
    problem = correct(plant, answer["id"], expect=422, **wrong)
    assert member in [error["member"] for error in problem["errors"]]
    assert plant.dump() == before


def test_a_new_mismatch_is_asked_about_and_an_old_one_is_not_asked_about_twice(plant: RunningPlant) -> None:
    answer = plant.close(**FIRST | {"element": {"part_number": "EL-25", "lot": "X-1"}}, **CONFIRMED)
    plant.later(days=1)
    assert len(correct(plant, answer["id"], condition="torn")["mismatches"]) == 1
    before = plant.dump()
    problem = correct(plant, answer["id"], expect=409, oil=[oil("OIL-68", 2)])
    assert [mismatch["about"] for mismatch in problem["mismatches"]] == ["oil"]
    assert plant.dump() == before
    both = correct(plant, answer["id"], oil=[oil("OIL-68", 2)], **CONFIRMED)
    assert [mismatch["about"] for mismatch in both["mismatches"]] == ["element", "oil"]
    right = correct(plant, answer["id"], oil=[], element={"part_number": None, "lot": "L-1"})
    assert (right["mismatches"], right["next_due"]["diagnoses"]) == ([], [])


def test_readings_that_were_added_later_move_with_the_job_or_hold_it(plant: RunningPlant) -> None:
    answer = plant.close(position=RETURN, hours=HOURS_NOW)
    path = f"/v1/close-outs/{answer['id']}/readings"
    plant.later(hours=2)
    plant.post(path, {"dp_before": warm(1.6), "dp_after": warm(0.5, at=iso(plant.now))}, expect=201)
    read_at = plant.now
    plant.later(hours=2)
    late = correct(plant, answer["id"], expect=422, at=iso(read_at + timedelta(hours=1)))
    assert [error["member"] for error in late["errors"]] == ["dp_after.at"]
    correct(plant, answer["id"], at=EARLIER)
    kept = {row["stage"]: row["at"] for row in plant.holds_now("dp_readings", position=RETURN) if row["stage"]}
    assert kept == {"before": datetime.fromisoformat(EARLIER), "after": read_at}
    answer = correct(plant, answer["id"], dp_after=warm(0.9))
    (changed,) = answer["corrections"][-1]["changed"]
    assert (changed["member"], changed["earlier"]["dp"]["value"]) == ("dp_after", 0.5)
    (after,) = plant.holds_now("dp_readings", position=RETURN, stage="after")
    assert (after["at"], after["dp_bar"]) == (read_at, 0.9)


def test_who_may_not_work_may_not_correct(plant: RunningPlant) -> None:
    answer = plant.close(**FIRST)
    reader = plant.client_with(Scope.READ, name="reader")
    body = {"why": "because", "hours": 1}
    assert reader.post(f"/v1/close-outs/{answer['id']}/corrections", json=body).status_code == 403
    correct(plant, 999, expect=404, hours=1)


@pytest.mark.one_database_is_enough
def test_the_command_line_corrects_in_the_same_words(plant: RunningPlant) -> None:
    answer = plant.close(position=BREATHER)
    told = ["jobs", "correct", str(answer["id"]), "--why", "the card was found", "--at", EARLIER]
    shown = said_by(plant, *told, "--done-by", "shift B", as_json=False)
    assert "done_by: nothing → shift B" in shown
    assert f"{BREATHER}: next due" in shown
    _, fitted = _stays(plant, BREATHER)
    assert fitted["fitted_at"] == datetime.fromisoformat(EARLIER)
    refused = run(plant, "jobs", "correct", str(answer["id"]), "--why", "wrong", "--at", "2019-01-01T00:00+00:00")
    assert (refused.returncode, refused.stdout) == (1, "")
    assert "was fitted" in refused.stderr
    assert run(plant, "jobs", "correct", str(answer["id"]), "--hours", "1").returncode == 2
