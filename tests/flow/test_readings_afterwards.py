"""ΔP that can be read only when the machine runs again: added to the close-out, corrected with its history."""

from datetime import timedelta

from tests.flow.running_plant import RunningPlant, bar, iso, warm
from tests.flow.small_folder import HOURS_NOW, RETURN


def _changed(plant: RunningPlant) -> str:
    answer = plant.close(position=RETURN, hours=HOURS_NOW, element={"lot": "L-1"})
    return f"/v1/close-outs/{answer['id']}/readings"


def test_a_reading_after_the_change_becomes_the_evidence_of_the_due_date(plant: RunningPlant) -> None:
    path = _changed(plant)
    assert plant.due(RETURN)["pressure"] is None
    plant.later(hours=2)
    answer = plant.post(path, {"dp_after": warm(0.5, at=iso(plant.now))}, expect=201)
    item = answer["next_due"]
    assert item == plant.due(RETURN)
    assert item["pressure"] is not None
    assert "0.50 bar" in item["reason"]


def test_the_readings_stand_on_their_side_of_the_change(plant: RunningPlant) -> None:
    path = _changed(plant)
    changed_at = plant.now
    plant.later(hours=2)
    plant.post(path, {"dp_before": warm(1.6), "dp_after": warm(0.5, at=iso(plant.now))}, expect=201)
    kept = {row["stage"]: row for row in plant.holds_now("dp_readings", position=RETURN) if row["stage"]}
    assert (kept["before"]["at"], kept["before"]["dp_bar"]) == (changed_at, 1.6)
    assert (kept["after"]["at"], kept["after"]["dp_bar"]) == (plant.now, 0.5)
    assert "0.50 bar" in plant.due(RETURN)["reason"]


def test_a_higher_first_reading_brings_the_due_date_nearer(plant: RunningPlant) -> None:
    path = _changed(plant)
    plant.later(hours=2)
    at = iso(plant.now)
    plant.later(hours=1)
    fresh = plant.post(path, {"dp_after": warm(0.45, at=at)}, expect=201)["next_due"]
    plant.later(minutes=1)
    spent = plant.post(path, {"dp_after": warm(2.2, at=at)}, expect=201)["next_due"]
    assert spent["hours_left"] < fresh["hours_left"]


def test_a_correction_keeps_what_was_told_before(plant: RunningPlant) -> None:
    path = _changed(plant)
    plant.later(hours=2)
    first_at = plant.now
    plant.post(path, {"dp_after": warm(4.5, at=iso(first_at))}, expect=201)
    plant.later(hours=1)
    plant.post(path, {"dp_after": warm(0.45, at=iso(first_at))}, expect=201)
    versions = plant.rows("dp_readings", position=RETURN, at=first_at)
    assert [row["dp_bar"] for row in versions] == [4.5, 0.45]
    assert [row["superseded_at"] for row in versions] == [plant.now, None]


def test_the_same_reading_again_changes_nothing(plant: RunningPlant) -> None:
    path = _changed(plant)
    plant.later(hours=2)
    told = {"dp_after": warm(0.45, at=iso(plant.now))}
    plant.post(path, told, expect=201)
    before = plant.rows("dp_readings")
    plant.post(path, told, expect=201)
    assert plant.rows("dp_readings") == before


def test_the_same_key_gets_the_same_answer(plant: RunningPlant) -> None:
    path = _changed(plant)
    told = {"dp_after": warm(0.45)}
    first = plant.post(path, told, expect=201, Idempotency_Key="r")
    before = plant.dump()
    assert plant.post(path, told, expect=201, Idempotency_Key="r") == first
    assert plant.dump() == before


def test_what_cannot_be_is_refused_and_changes_nothing(plant: RunningPlant) -> None:
    path = _changed(plant)
    before = plant.dump()
    ahead = iso(plant.now + timedelta(days=1))
    behind = iso(plant.now - timedelta(hours=3))
    for told, member in (
        ({"dp_after": warm(0.5, at=ahead)}, "dp_after.at"),
        ({"dp_after": warm(0.5, at=behind)}, "dp_after.at"),
        ({"dp_after": {"dp": bar(-1)}}, "dp_after.dp"),
        ({"dp_after": {"dp": 0.5}}, "dp_after.dp"),
        ({}, "body"),
    ):
        problem = plant.post(path, told, expect=422)
        assert [error["member"] for error in problem["errors"]] == [member]
    plant.post("/v1/close-outs/999/readings", {"dp_after": warm(0.5)}, expect=404)
    assert plant.dump() == before
