"""`/v1/replays`: the past of the small plant gone through, kept step by step, and never knowing what came later."""

import json
from collections.abc import Iterator
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any

import pytest
import sqlalchemy as sa

from scheduler.vocabulary import Scope
from service.cli import replay as command
from service.keys.keeping import make_key
from service.plant_store.history import load_history
from service.replay import running as replay_running
from service.replay.running import ReplayRunner
from service.replay.stepping import KeptStep, blocks_of, go_through, kept_step, moments_of_steps, seen_of
from service.replay.tables import replay_steps, replays
from tests.flow.running_plant import RunningPlant, add_plant, copied, iso, make_empty, make_planned, running, warm
from tests.flow.small_folder import HOURS_NOW, RETURN, SmallPlant, moment
from tests.measure.replay_speed import measure_replay

STEP_D = 14.0
"""Two steps of a block."""


@pytest.fixture(scope="module")
def planned_file(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return make_planned(tmp_path_factory.mktemp("planned") / "plant.sqlite")


@pytest.fixture
def plant(planned_file: Path, tmp_path: Path) -> Iterator[RunningPlant]:
    with running(copied(planned_file, tmp_path / "plant.sqlite")) as service:
        yield service


def asked(of: RunningPlant, days: float = 0.0, **more: Any) -> dict[str, Any]:
    return {"from": moment(of.now, days), "to": iso(of.now), "step_days": STEP_D, **more}


def runner_of(plant: RunningPlant) -> ReplayRunner:
    found: ReplayRunner = plant.app.state.replay_runner
    return found


def steps_until(plant: RunningPlant, until: datetime, known: datetime) -> list[KeptStep]:
    """Two steps up to `until`, from the facts that were recorded by `known`."""
    with plant.database.reading() as connection:
        history = load_history(connection, known)
    moments = moments_of_steps(until - timedelta(days=STEP_D), until, STEP_D)
    return [step for block in go_through(history, blocks_of(moments, STEP_D)) for step in block]


def test_a_replay_is_taken_on_runs_behind_and_tells_what_it_found(plant: RunningPlant) -> None:
    answer = plant.client.post("/v1/replays", json=asked(plant, 28.0))
    assert answer.status_code == 202
    assert (answer.json()["steps"], answer.json()["result"]) == (3, None)
    runner_of(plant).wait()
    done = plant.get(answer.headers["Location"])
    assert (done["state"], done["steps_done"], done["error"]) == ("done", 3, None)
    assert {each["code"] for each in done["result"]["raised"]} >= {"nothing-known-fitted"}
    assert plant.rows("replay_steps") == []  # they have served
    (listed,) = plant.get("/v1/replays")["items"]
    assert (listed["id"], listed["result"]) == (done["id"], None)


def test_the_same_request_starts_one_replay(plant: RunningPlant) -> None:
    first = plant.client.post("/v1/replays", json=asked(plant), headers={"Idempotency-Key": "once"})
    again = plant.client.post("/v1/replays", json=asked(plant), headers={"Idempotency-Key": "once"})
    assert first.json() == again.json()
    assert again.headers["Idempotency-Replayed"] == "true"
    assert len(plant.rows("replays")) == 1
    runner_of(plant).wait()


@pytest.mark.parametrize(
    ("body", "member"),
    [
        ({"from_days": 7.0, "to_days": 14.0}, "from"),
        ({"from_days": 7.0, "to_days": -1.0}, "to"),
        ({"from_days": 9000.0, "to_days": 0.0, "step_days": 1.0}, "step_days"),
    ],
)
def test_what_is_no_past_or_too_long_is_refused_by_name(
    plant: RunningPlant, body: dict[str, float], member: str
) -> None:
    span = {"from": moment(plant.now, body["from_days"]), "to": moment(plant.now, body["to_days"])}
    told = plant.post("/v1/replays", span | {"step_days": body.get("step_days", 14.0)}, expect=422)
    assert [error["member"] for error in told["errors"]] == [member]
    assert plant.rows("replays") == []


def test_a_plant_that_is_not_there_is_not_found(plant: RunningPlant) -> None:
    plant.post("/v1/replays", asked(plant, plant="NOWHERE"), expect=404)


def test_pages_of_replays_are_newest_first_and_miss_none(plant: RunningPlant) -> None:
    ids = [plant.post("/v1/replays", asked(plant), expect=202)["id"] for _ in range(3)]
    runner_of(plant).wait()
    first = plant.get("/v1/replays", limit=2)
    rest = plant.get("/v1/replays", limit=2, cursor=first["next"])
    assert [each["id"] for each in first["items"] + rest["items"]] == ids[::-1]
    assert rest["next"] is None


def test_a_key_of_one_plant_sees_its_own_replays_and_no_other(plant: RunningPlant) -> None:
    own = plant.rows("plants")[0]["plant"]
    with plant.database.writing() as connection:
        add_plant(connection, "ELSEWHERE")
        scopes = [Scope.READ, Scope.PLAN]
        secrets = [
            make_key(connection, name, scopes, now=plant.now, plants=plants)
            for name, plants in (("one", [own]), ("other", ["ELSEWHERE"]), ("two", [own, "ELSEWHERE"]))
        ]
    of_all = plant.post("/v1/replays", asked(plant), expect=202)["id"]

    def ask(method: str, path: str, secret: str, **more: Any) -> Any:
        return plant.client.request(method, path, headers={"Authorization": f"Bearer {secret}"}, **more)

    one, other, two = secrets
    started = ask("POST", "/v1/replays", one, json=asked(plant)).json()
    assert started["plant"] == own
    assert [each["id"] for each in ask("GET", "/v1/replays", one).json()["items"]] == [started["id"]]
    assert ask("GET", f"/v1/replays/{of_all}", one).status_code == 404
    assert ask("GET", "/v1/replays", other).json()["items"] == []
    assert ask("POST", "/v1/replays", other, json=asked(plant, plant=own)).status_code == 403
    assert ask("POST", "/v1/replays", two, json=asked(plant)).status_code == 403  # which of the two is not said
    runner_of(plant).wait()


class _KilledError(BaseException):
    """As a power cut ends it: nothing of the runner's own runs any more."""


def test_a_replay_that_was_killed_goes_on_where_it_was_and_finds_the_same(
    plant: RunningPlant, monkeypatch: pytest.MonkeyPatch
) -> None:
    whole = plant.post("/v1/replays", asked(plant, 56.0), expect=202)["id"]
    runner = runner_of(plant)
    runner.wait()
    kept, gone_through = replay_running.keep_steps, []

    def keep_once(connection: sa.Connection, replay_id: int, first: int, steps: list[KeptStep]) -> None:
        if gone_through:
            raise _KilledError
        gone_through.append(first)
        kept(connection, replay_id, first, steps)

    monkeypatch.setattr(replay_running, "keep_steps", keep_once)
    with plant.database.writing() as connection:
        row = dict(connection.execute(sa.select(replays)).mappings().one())
        again = row | {"id": whole + 1, "state": "waiting", "steps_done": 0, "result": None, "ended_at": None}
        connection.execute(sa.insert(replays).values(**again))
    with pytest.raises(_KilledError):
        ReplayRunner(plant.database, lambda: plant.now)._run()
    (half,) = plant.rows("replays", id=whole + 1)
    assert (half["state"], half["steps_done"], len(plant.rows("replay_steps"))) == ("running", 2, 2)
    begun: list[int] = []

    def keep_and_tell(connection: sa.Connection, replay_id: int, first: int, steps: list[KeptStep]) -> None:
        begun.append(first)
        kept(connection, replay_id, first, steps)

    monkeypatch.setattr(replay_running, "keep_steps", keep_and_tell)
    restarted = ReplayRunner(plant.database, lambda: plant.now)
    restarted.wake()
    restarted.wait()
    assert begun == [2, 4]
    assert plant.get(f"/v1/replays/{whole + 1}")["result"] == plant.get(f"/v1/replays/{whole}")["result"]


def test_steps_of_a_plant_that_got_another_position_since_are_not_gone_on_with(plant: RunningPlant) -> None:
    answer = plant.post("/v1/replays", asked(plant), expect=202)
    runner_of(plant).wait()
    with plant.database.writing() as connection:
        connection.execute(sa.insert(replay_steps).values(replay_id=answer["id"], step=0, seen={}))
        stale = {"systems": ["GONE"], "positions": ["GONE"]}
        connection.execute(sa.update(replays).values(state="running", columns_of=stale, result=None))
    runner_of(plant).wake()
    runner_of(plant).wait()
    assert plant.get(f"/v1/replays/{answer['id']}")["state"] == "done"


def test_a_replay_that_fails_says_so_and_the_next_one_runs(
    plant: RunningPlant, monkeypatch: pytest.MonkeyPatch
) -> None:
    def broken(*_: Any) -> None:
        raise RuntimeError("of a test")

    with monkeypatch.context() as patched:
        patched.setattr(replay_running, "assemble", broken)
        first = plant.post("/v1/replays", asked(plant), expect=202)["id"]
        runner_of(plant).wait()
    failed = plant.get(f"/v1/replays/{first}")
    assert (failed["state"], failed["error"]) == ("failed", "RuntimeError: of a test")
    second = plant.post("/v1/replays", asked(plant), expect=202)["id"]
    runner_of(plant).wait()
    assert plant.get(f"/v1/replays/{second}")["state"] == "done"


def test_a_server_that_starts_goes_on_with_what_was_left(plant: RunningPlant) -> None:
    answer = plant.post("/v1/replays", asked(plant), expect=202)
    runner_of(plant).wait()
    with plant.database.writing() as connection:
        connection.execute(sa.update(replays).values(state="waiting", steps_done=0, result=None))
    del plant.app.state.replay_runner
    with plant.client:  # runs the application's lifespan
        runner_of(plant).wait()
        assert plant.get(f"/v1/replays/{answer['id']}")["state"] == "done"


def test_a_step_is_kept_as_it_was_seen(plant: RunningPlant) -> None:
    for step in steps_until(plant, plant.now, plant.now):
        assert kept_step(seen_of(step)) == step


def test_an_end_and_a_reading_that_are_recorded_late_change_no_step_before(plant: RunningPlant) -> None:
    """A reading of twenty days ago and an end of yesterday, both told three days later."""
    before = plant.now
    was = steps_until(plant, before, before)
    told_at = plant.later(days=3)
    reading = {"position": RETURN, "at": moment(before, 20), "dp": 2.4, "recorded_at": iso(told_at)}
    end = {
        "position": RETURN,
        "part_number": "EL-10",
        "fitted_at": moment(before, 150),
        "removed_at": moment(before, 1),
        "reason": "failure",
        "recorded_at": iso(told_at),
    }
    told = {"dp_readings": [{("dp [bar]" if name == "dp" else name): value for name, value in reading.items()}]}
    plant.take_in(SmallPlant(plant.now, told))
    now_known = steps_until(plant, before, plant.now)
    assert now_known == was
    plant.take_in(SmallPlant(plant.now, {"installations": [end]}))
    assert steps_until(plant, before, plant.now) == was
    after = steps_until(plant, plant.now, plant.now)[-1]
    row = [each["position"] for each in plant.rows("positions")].index(RETURN)
    assert after["fitted_day"][row] is None


def test_a_corrected_close_out_leaves_the_steps_before_as_they_were(plant: RunningPlant) -> None:
    closed = plant.close(position=RETURN, hours=HOURS_NOW)
    path = f"/v1/close-outs/{closed['id']}/readings"
    read_at = plant.later(hours=2)
    plant.post(path, {"dp_after": warm(1.9, at=iso(read_at))}, expect=201)
    was = steps_until(plant, read_at, plant.now)
    corrected_at = plant.later(hours=5)
    plant.post(path, {"dp_after": warm(0.45, at=iso(read_at))}, expect=201)
    assert steps_until(plant, read_at, plant.now) == was
    assert steps_until(plant, corrected_at, plant.now)[-1] != was[-1]


def test_the_command_line_finds_what_the_api_finds_and_keeps_nothing(
    plant: RunningPlant, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str], tmp_path: Path
) -> None:
    asked_for = asked(plant, 28.0)
    path = plant.client.post("/v1/replays", json=asked_for).headers["Location"]
    runner_of(plant).wait()
    before = plant.dump()
    monkeypatch.setattr(command, "open_database", lambda _url: plant.database)
    monkeypatch.setattr(command, "now_utc", lambda: plant.now)
    span = {"first": asked_for["from"], "last": asked_for["to"], "step": STEP_D}
    command.replay(**span, as_json=True, write=tmp_path / "steps.csv")
    assert json.loads(capsys.readouterr().out) == plant.get(path)["result"]
    rows = (tmp_path / "steps.csv").read_text().splitlines()
    assert len(rows) == 1 + 3 * 5  # three steps of the five positions of which is known what is fitted
    command.replay(**span)
    assert "3 steps from 2026-02-05 to 2026-03-05: 6 positions" in capsys.readouterr().out
    assert plant.dump() == before


def test_two_processes_find_what_one_finds(plant: RunningPlant) -> None:
    with plant.database.reading() as connection:
        history = load_history(connection, plant.now)
    blocks = blocks_of(moments_of_steps(plant.now - timedelta(days=28.0), plant.now, STEP_D), STEP_D)
    assert list(go_through(history, blocks, processes=2)) == list(go_through(history, blocks))


def test_before_anything_was_known_and_without_a_plant_nothing_is_found(plant: RunningPlant, tmp_path: Path) -> None:
    body = asked(plant, 4000.0) | {"to": moment(plant.now, 3990.0)}
    path = plant.client.post("/v1/replays", json=body).headers["Location"]
    runner_of(plant).wait()
    found = plant.get(path)["result"]
    assert (found["positions"], found["lives"], found["costs"]) == (6, 0, [])
    assert {each["code"] for each in found["diagnoses"]} == {"nothing-known-fitted"}
    with running(make_empty(tmp_path / "empty.sqlite")) as nothing:
        path = nothing.client.post("/v1/replays", json=asked(nothing, 28.0)).headers["Location"]
        runner_of(nothing).wait()
        empty = nothing.get(path)
        assert (empty["state"], empty["error"]) == ("done", None)
        assert (empty["result"]["positions"], empty["result"]["types"]) == (0, [])


@pytest.mark.one_database_is_enough
def test_the_measurement_of_its_speed_goes_through_the_steps_that_it_names() -> None:
    """Seven weeks of a plant of two systems: a block of four steps and one of four."""
    found = measure_replay(systems=2, years=49.5 / 365.25, processes=1)
    assert found.steps == 8
    assert 6 <= found.positions <= 10
    assert 0.0 < found.replay_s < 120.0
