"""A close-out that is told twice counts once, however it comes: repeated, after a restart, or eight times at once."""

from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from threading import Barrier
from typing import Any

import httpx
import pytest

from tests.flow.running_plant import RunningPlant, copied, iso, oil, running
from tests.flow.small_folder import HOURS_NOW, RETURN, STRAINER


def _told(plant: RunningPlant) -> dict[str, Any]:
    return {
        "task": plant.task_of(RETURN)["id"],
        "hours": HOURS_NOW,
        "element": {"lot": "L-1"},
        "oil": [oil("OIL-46", 4)],
    }


def _happened_once(plant: RunningPlant) -> None:
    assert len(plant.rows("close_outs")) == 1
    assert len(plant.rows("stock_movements", part_number="EL-10")) == 1
    assert len(plant.rows("oil_movements")) == 1
    assert len(plant.rows("stock_discrepancies")) == 0
    assert len(plant.holds_now("installations", position=RETURN, removed_at=None)) == 1
    assert len(plant.rows("meter_readings", system="PRESS", at=plant.now)) == 1
    assert len(plant.rows("top_ups")) == 1


def test_the_same_key_and_body_get_the_same_answer_and_happen_once(plant: RunningPlant) -> None:
    told = _told(plant)
    first = plant.close(key="card 7", **told)
    after_first = plant.dump()
    assert plant.close(key="card 7", **told) == first
    assert plant.dump() == after_first
    _happened_once(plant)


def test_a_repeat_says_that_it_is_one(plant: RunningPlant) -> None:
    body = _told(plant) | {"at": iso(plant.now)}
    answers = [plant.client.post("/v1/close-outs", json=body, headers={"Idempotency-Key": "k"}) for _ in range(2)]
    assert [answer.headers.get("Idempotency-Replayed") for answer in answers] == [None, "true"]


def test_a_repeat_after_a_restart_gets_the_same_answer(planned_file: Path, tmp_path: Path) -> None:
    path = copied(planned_file, tmp_path / "plant.sqlite")
    with running(path) as before:
        told, asker = _told(before), before.client.headers
        first = before.close(key="card 7", **told)
    with running(path) as after:
        after.client.headers = httpx.Headers(asker)  # the same person, with the same key of the API
        assert after.close(key="card 7", **told) == first
        _happened_once(after)


def test_the_same_key_with_another_body_is_refused(plant: RunningPlant) -> None:
    told = _told(plant)
    plant.close(key="card 7", **told)
    before = plant.dump()
    problem = plant.close(expect=422, key="card 7", **told | {"hours": HOURS_NOW + 1})
    assert problem["type"] == "/problems/idempotency-key-reused"
    assert plant.dump() == before


def test_a_key_of_the_close_outs_is_no_key_of_their_readings(plant: RunningPlant) -> None:
    answer = plant.close(key="card 7", **_told(plant))
    later = {"dp_after": {"dp": {"value": 0.4, "unit": "bar"}}}
    plant.post(f"/v1/close-outs/{answer['id']}/readings", later, expect=422, Idempotency_Key="card 7")


def test_without_a_key_the_second_telling_hears_that_the_task_is_closed(plant: RunningPlant) -> None:
    told = _told(plant)
    plant.close(**told)
    assert "was closed by close-out" in plant.close(expect=409, **told)["detail"]
    _happened_once(plant)


def test_a_refused_telling_leaves_its_key_free(plant: RunningPlant) -> None:
    told = _told(plant)
    plant.close(expect=422, key="card 7", **told | {"hours": 1})
    plant.close(key="card 7", **told)
    _happened_once(plant)


def _at_once(plant: RunningPlant, body: dict[str, Any], keys: list[str]) -> list[httpx.Response]:
    together = Barrier(len(keys))

    def tell(key: str) -> httpx.Response:
        together.wait(timeout=20)
        answer: httpx.Response = plant.client.post("/v1/close-outs", json=body, headers={"Idempotency-Key": key})
        return answer

    with ThreadPoolExecutor(len(keys)) as pool:
        return list(pool.map(tell, keys))


def test_eight_tellings_at_once_with_one_key_happen_once_and_hear_the_same_or_to_come_back(
    plant: RunningPlant,
) -> None:
    told = _told(plant) | {"at": iso(plant.now)}
    answers = _at_once(plant, told, ["card 7"] * 8)
    come_back = [answer for answer in answers if answer.status_code == 409]
    assert {answer.json()["type"] for answer in come_back} <= {"/problems/idempotency-key-in-flight"}
    assert {answer.headers["Retry-After"] for answer in come_back} <= {"1"}
    answers = [answer for answer in answers if answer not in come_back]
    answers += [plant.client.post("/v1/close-outs", json=told, headers={"Idempotency-Key": "card 7"})]
    assert {answer.status_code for answer in answers} == {201}
    assert len({answer.text for answer in answers}) == 1
    assert sum("Idempotency-Replayed" not in answer.headers for answer in answers) == 1
    _happened_once(plant)


def test_eight_tellings_at_once_with_keys_of_their_own_happen_once(plant: RunningPlant) -> None:
    answers = _at_once(plant, _told(plant) | {"at": iso(plant.now)}, [f"phone {n}" for n in range(8)])
    assert sorted(answer.status_code for answer in answers) == [201, *[409] * 7]
    _happened_once(plant)


@pytest.mark.parametrize("by", ["task", "position"])
def test_two_people_who_tell_the_same_job_at_once_are_told_apart(plant: RunningPlant, by: str) -> None:
    subject = {"task": plant.task_of(RETURN)["id"]} if by == "task" else {"position": RETURN}
    answers = _at_once(plant, subject | {"at": iso(plant.now), "hours": HOURS_NOW}, ["a", "b"])
    assert [answer.status_code < 300 for answer in answers].count(True) == 1
    assert len(plant.holds_now("installations", position=RETURN, removed_at=None)) == 1


def test_who_waited_longer_than_the_clock_says_still_sees_what_was_told_before(plant: RunningPlant) -> None:
    """Two that wait behind a long pass need not come up in the order in which they read the clock."""
    told_at = plant.later(seconds=2)
    changed = plant.close(position=RETURN, hours=HOURS_NOW)
    plant.later(seconds=-1)
    plant.close(position=STRAINER, hours=HOURS_NOW)
    assert plant.orders(position=RETURN) == []
    assert plant.due(RETURN)["due_at"] == changed["next_due"]["due_at"]
    plant.later(seconds=-1)
    plant.run_pass()
    assert plant.orders(position=RETURN) == []
    assert plant.orders(position=STRAINER) == []
    assert len(plant.rows("work_orders")) == 4
    (kept,) = plant.rows("close_outs", position=STRAINER)
    assert kept["recorded_at"] == told_at


def test_a_pass_under_a_clock_that_was_years_ahead_holds_nobody_up(plant: RunningPlant) -> None:
    plant.later(days=700)
    plant.run_pass()
    plant.later(days=-700)
    plant.close(position=RETURN, hours=HOURS_NOW)
    (kept,) = plant.rows("close_outs")
    assert kept["recorded_at"] == plant.now
    assert plant.close(expect=422, position=STRAINER, at=iso(plant.now.replace(year=2027)))["errors"]
