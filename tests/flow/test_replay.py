"""Any past day can be replayed from what was known then, and asking stores nothing.

contract.md, "Time": each fact has `at` and `recorded_at`; an end of life is invisible before it was recorded.
"""

from datetime import datetime, timedelta
from typing import Any

from tests.flow.command_line import run, said_by
from tests.flow.running_plant import RunningPlant, iso, warm
from tests.flow.small_folder import HOURS_NOW, RETURN, SmallPlant, moment

_HOUR = timedelta(hours=1)


def _as_of(plant: RunningPlant, at: datetime, position: str = RETURN) -> dict[str, Any]:
    items = plant.get("/v1/due", as_of=iso(at))["items"]
    (item,) = [item for item in items if item["position"] == position]
    return dict(item)


def _without_as_of(item: dict[str, Any]) -> dict[str, Any]:
    return {name: value for name, value in item.items() if name != "as_of"}


def test_asking_for_a_past_day_stores_nothing(plant: RunningPlant) -> None:
    before = plant.dump()
    answer = plant.get("/v1/due", as_of=moment(plant.now, 20))
    assert answer["planned"]["id"] is None
    assert answer["items"]
    assert plant.dump() == before


def test_asking_for_the_moment_of_the_last_pass_computes_what_it_found(plant: RunningPlant) -> None:
    found = plant.get("/v1/due")["items"]
    for item in found:  # a diagnosis has its number where it is kept
        item["diagnoses"] = [note | {"id": None} for note in item["diagnoses"]]
    assert plant.get("/v1/due", as_of=iso(plant.now))["items"] == found


def test_a_past_day_knows_no_later_reading(plant: RunningPlant) -> None:
    """The last reading ten days before now is 1.45 bar, the last one of all 1.55 bar."""
    then = _as_of(plant, plant.now - timedelta(days=5))
    assert "1.45 bar" in then["reason"]
    assert "1.55 bar" in _as_of(plant, plant.now)["reason"]
    assert datetime.fromisoformat(then["as_of"]) == plant.now - timedelta(days=5)


def test_a_change_is_invisible_before_it_was_recorded(plant: RunningPlant) -> None:
    before = plant.now
    old = _as_of(plant, before)
    done_at = plant.later(days=2)
    told_at = plant.later(days=3)
    plant.close(position=RETURN, at=iso(done_at), hours=HOURS_NOW + 16, dp_after=warm(0.45))
    assert _as_of(plant, before) == old
    between = _as_of(plant, done_at + timedelta(days=1))
    assert "1.55 bar" in between["reason"]  # the change had been made, but nobody had said so
    assert "0.45 bar" in _as_of(plant, told_at)["reason"]


def test_an_end_of_life_that_is_imported_late_is_invisible_before(plant: RunningPlant) -> None:
    recorded_at = plant.later(days=4)
    ended = {
        "position": RETURN,
        "part_number": "EL-10",
        "fitted_at": moment(plant.now, 154),
        "removed_at": moment(plant.now, 3),
        "reason": "early",
        "recorded_at": iso(recorded_at),
    }
    plant.take_in(SmallPlant(plant.now, {"installations": [ended]}))
    assert _as_of(plant, recorded_at - _HOUR)["part_number"] == "EL-10"
    assert _as_of(plant, recorded_at)["part_number"] is None


def test_a_correction_leaves_the_past_as_it_was_known(plant: RunningPlant) -> None:
    answer = plant.close(position=RETURN, hours=HOURS_NOW)
    path = f"/v1/close-outs/{answer['id']}/readings"
    read_at = plant.later(hours=2)
    plant.post(path, {"dp_after": warm(1.9, at=iso(read_at))}, expect=201)
    wrong = _as_of(plant, read_at)
    corrected_at = plant.later(hours=5)
    plant.post(path, {"dp_after": warm(0.45, at=iso(read_at))}, expect=201)
    assert _as_of(plant, read_at) == wrong
    assert _as_of(plant, corrected_at)["hours_left"] > wrong["hours_left"]


def test_before_the_plant_was_known_nothing_is_known_to_be_fitted(plant: RunningPlant) -> None:
    item = _as_of(plant, plant.now - timedelta(days=4000))
    assert (item["part_number"], item["due_at"]) == (None, None)
    assert [note["code"] for note in item["diagnoses"]] == ["nothing-known-fitted"]


def test_the_command_line_replays_the_same_moment(plant: RunningPlant) -> None:
    at = iso(plant.now - timedelta(days=5))
    assert said_by(plant, "due", "--json", "--as-of", at)["items"] == plant.get("/v1/due", as_of=at)["items"]


def test_a_bare_date_is_the_end_of_that_day_in_the_plant(plant: RunningPlant) -> None:
    """The plant is in Europe/Oslo, one hour ahead of UTC in winter."""
    answer = said_by(plant, "due", "--json", "--as-of", "2026-02-20")
    at = datetime.fromisoformat(answer["items"][0]["as_of"])
    assert (at.date().isoformat(), at.hour, at.minute) == ("2026-02-20", 23, 59)
    assert at.utcoffset() == _HOUR


def test_a_time_without_an_offset_is_refused_as_usage(plant: RunningPlant) -> None:
    ended = run(plant, "due", "--json", "--as-of", "2026-02-20T10:00")
    assert (ended.returncode, ended.stdout) == (2, "")
    assert "offset" in ended.stderr
    assert plant.client.get("/v1/due", params={"as_of": "2026-02-20T10:00"}).status_code == 422


def test_a_replay_does_not_depend_on_what_was_replayed_before(plant: RunningPlant) -> None:
    first = _as_of(plant, plant.now)
    plant.get("/v1/due", as_of=moment(plant.now, 100))
    assert _without_as_of(_as_of(plant, plant.now)) == _without_as_of(first)
