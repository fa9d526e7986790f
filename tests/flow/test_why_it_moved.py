"""Every due date's history: from, to, when and because of which fact; and what changed since a moment."""

from datetime import datetime, timedelta
from typing import Any

import pytest

from tests.flow.command_line import run, said_by
from tests.flow.running_plant import RunningPlant, iso, warm
from tests.flow.small_folder import BREATHER, HOURS_NOW, RETURN, SIDE_A, STRAINER, UNKNOWN, SmallPlant

pytestmark = pytest.mark.one_database_is_enough

Move = dict[str, Any]


def _history(plant: RunningPlant, position: str) -> list[Move]:
    moves: list[Move] = plant.get(f"/v1/due/{position}/history")["items"]
    return moves


def _take_in_dp(plant: RunningPlant, dp_bar: float, days_ago: float = 0.0) -> None:
    row = {"position": RETURN, "at": iso(plant.now - timedelta(days=days_ago)), "dp [bar]": dp_bar}
    usual = {"flow [L/min]": 180, "oil_temperature [degC]": 50}
    plant.take_in(SmallPlant(plant.now, {"dp_readings": [row | usual]}))


def _read_and_plan(plant: RunningPlant, dp_bar: float = 2.1) -> Move:
    plant.later(days=2)
    _take_in_dp(plant, dp_bar)
    plant.run_pass()
    return _history(plant, RETURN)[0]


def _changes(plant: RunningPlant, since: str = "last-pass", **query: Any) -> list[Move]:
    items: list[Move] = plant.get("/v1/due/changes", since=since, **query)["items"]
    return items


def test_a_history_begins_with_the_first_pass(plant: RunningPlant) -> None:
    (first,) = _history(plant, RETURN)
    item = plant.due(RETURN)
    assert (first["movement"], first["from"], first["to"]) == ("new", None, item["due_at"])
    assert datetime.fromisoformat(first["at"]) == plant.now
    assert {row["position"] for row in plant.rows("due_moves")} == {
        *(item["position"] for item in plant.get("/v1/due")["items"])
    }


def test_a_pass_with_no_news_writes_nothing(plant: RunningPlant) -> None:
    before = plant.rows("due_moves")
    plant.run_pass()
    plant.later(hours=1)
    plant.run_pass()
    assert plant.rows("due_moves") == before


def test_a_reading_that_moves_the_date_is_named(plant: RunningPlant) -> None:
    was = plant.due(RETURN)["due_at"]
    move = _read_and_plan(plant)
    assert (move["movement"], move["from"], move["to"]) == ("earlier", was, plant.due(RETURN)["due_at"])
    assert move["because"][0]["code"] == "dp_readings"
    assert "2.10 bar" in move["because"][0]["says"]
    assert "2026-03-07" in move["because"][0]["says"]


def test_a_reading_dated_before_the_last_pass_is_news_all_the_same(plant: RunningPlant) -> None:
    """An imported row counts as known at its `at` (contract.md, "Time"), though the pass could not know it."""
    plant.later(days=2)
    plant.run_pass()
    _take_in_dp(plant, 2.2, days_ago=2.5)
    plant.later(minutes=5)
    plant.run_pass()
    assert _history(plant, RETURN)[0]["because"][0]["code"] == "dp_readings"


def test_a_correction_names_the_earlier_and_the_new_value(plant: RunningPlant) -> None:
    _read_and_plan(plant, 2.1)
    plant.later(days=1)
    _take_in_dp(plant, 1.58, days_ago=1)
    plant.run_pass()
    move = _history(plant, RETURN)[0]
    assert move["movement"] == "later"
    assert move["because"][0]["code"] == "corrected"
    assert "from 2.10 bar to 1.58 bar" in move["because"][0]["says"]


def test_a_close_out_is_done_and_new(plant: RunningPlant) -> None:
    was = plant.due(RETURN)["due_at"]
    plant.later(days=1)
    plant.close(position=RETURN, hours=HOURS_NOW + 8, element={"lot": "L-1"}, dp_after=warm(0.5))
    (move,) = _history(plant, RETURN)[:1]
    is_now = plant.due(RETURN)["due_at"]
    assert (move["movement"], move["from"], move["to"]) == ("done", was, is_now)
    assert move["because"][0]["code"] == "element_changed"
    assert "EL-10 (lot L-1)" in move["because"][0]["says"]
    mine = {each["movement"]: each for each in _changes(plant) if each["position"] == RETURN}
    assert set(mine) == {"done", "new"}
    assert (mine["done"]["from"], mine["done"]["to"]) == (was, None)
    assert (mine["new"]["from"], mine["new"]["to"]) == (None, is_now)


def test_time_passing_alone_is_told_as_such(plant: RunningPlant) -> None:
    """The conveyor's element is known by the lives before: that it still runs makes it likely to run longer."""
    for _ in range(6):
        plant.later(days=10)
        plant.run_pass()
    newest = _history(plant, SIDE_A)[0]
    assert newest["movement"] == "later"
    assert [cause["code"] for cause in newest["because"]] == ["time"]
    assert "only time passed" in newest["because"][0]["says"]


def test_a_changed_limit_is_named_with_both_values(plant: RunningPlant) -> None:
    strainer = {"position": STRAINER, "system": "PRESS", "place": "suction", "part_number": "STR-1"}
    plant.later(hours=1)
    plant.take_in(SmallPlant(plant.now, {"positions": [strainer | {"max_hours [h]": 1400}]}))
    plant.run_pass()
    says = _history(plant, STRAINER)[0]["because"][0]["says"]
    assert "from 1,000 h to 1,400 h" in says


def test_a_position_that_leaves_and_comes_back_begins_anew(plant: RunningPlant) -> None:
    breather = {"position": BREATHER, "system": "PRESS", "place": "breather", "part_number": "BR-1"}
    for status in ("retired", "in_service"):
        plant.later(hours=1)
        plant.take_in(SmallPlant(plant.now, {"positions": [breather | {"status": status}]}))
        plant.run_pass()
    assert [move["movement"] for move in _history(plant, BREATHER)] == ["new", "left", "new"]
    assert BREATHER not in {each["position"] for each in _changes(plant, since=iso(plant.now + timedelta(hours=1)))}


def test_each_line_begins_where_the_one_before_ended(plant: RunningPlant) -> None:
    for days, dp_bar in enumerate((1.7, 2.0, 2.3), start=1):
        plant.later(days=days)
        _take_in_dp(plant, dp_bar)
        plant.run_pass()
    moves = _history(plant, RETURN)
    assert len(moves) > 2
    assert [move["from"] for move in moves[:-1]] == [move["to"] for move in moves[1:]]


def test_a_pass_that_fails_leaves_no_line(plant: RunningPlant) -> None:
    before = plant.rows("due_moves")
    plant.later(days=1)
    plant.close(position=RETURN, hours=1.0, expect=422)  # the meter cannot run backwards
    assert plant.rows("due_moves") == before


def test_pages_of_a_history_follow_each_other(plant: RunningPlant) -> None:
    _read_and_plan(plant)
    whole = _history(plant, RETURN)
    first = plant.get(f"/v1/due/{RETURN}/history", limit=1)
    second = plant.get(f"/v1/due/{RETURN}/history", limit=1, cursor=first["next"])
    assert first["items"] + second["items"] == whole
    assert second["next"] is None


def test_pages_of_the_changes_follow_each_other_up_to_the_same_pass(plant: RunningPlant) -> None:
    whole = _changes(plant, since="last-week")
    first = plant.get("/v1/due/changes", since="last-week", limit=2)
    _read_and_plan(plant)
    rest = plant.get("/v1/due/changes", since="last-week", cursor=first["next"])
    assert first["items"] + rest["items"] == whole


def test_what_changed_since_is_the_net_of_all_moves(plant: RunningPlant) -> None:
    was, begun = plant.due(RETURN)["due_at"], plant.now
    _read_and_plan(plant, 2.0)
    _read_and_plan(plant, 2.3)
    since = iso(begun + timedelta(minutes=1))
    (mine,) = [each for each in _changes(plant, since=since) if each["position"] == RETURN]
    assert (mine["movement"], mine["from"], mine["to"]) == ("earlier", was, plant.due(RETURN)["due_at"])
    assert mine["moves"] == 2
    # of the conveyor nothing was read: it moves, if at all, by what this element of its type taught
    others = _changes(plant, since=since, system="CONV")
    assert {cause["code"] for each in others for cause in each["because"]} <= {"lives"}


def test_a_date_counts_from_its_start_in_the_plant(plant: RunningPlant) -> None:
    """The first pass ran at 10:00 of 5 March in Oslo."""
    assert {each["movement"] for each in _changes(plant, since="2026-03-05")} == {"new"}
    assert _changes(plant, since="2026-03-06") == []


def test_what_cannot_be_read_or_is_not_there_is_refused(plant: RunningPlant) -> None:
    for since in ("yesterday", "2026-03-05T10:00", "0001-01-01", "\u0000"):
        assert plant.client.get("/v1/due/changes", params={"since": since}).status_code == 422
    assert plant.client.get("/v1/due/NOWHERE/history").status_code == 404
    assert plant.client.get(f"/v1/due/{RETURN}/history", params={"cursor": "x"}).status_code == 422


def test_nothing_changed_before_the_first_pass(nothing_yet: RunningPlant) -> None:
    assert nothing_yet.client.get("/v1/due/changes").status_code == 409


@pytest.mark.one_database_is_enough
def test_the_command_line_tells_the_changes_in_words(plant: RunningPlant) -> None:
    _read_and_plan(plant)
    table = said_by(plant, "due", "--since", "last-pass", as_json=False)
    (line,) = [line for line in table.splitlines() if RETURN in line]
    assert line.split()[0] == "earlier"
    assert "d earlier" in line
    assert "ΔP reading" in line
    assert "1 earlier" in table.splitlines()[-1]
    assert said_by(plant, "due", "--since", "last-pass", "--json") == plant.get("/v1/due/changes", since="last-pass")


@pytest.mark.one_database_is_enough
def test_the_command_line_explains_a_position(plant: RunningPlant) -> None:
    _read_and_plan(plant)
    plant.later(hours=1)
    plant.take_in(
        SmallPlant(
            plant.now,
            {"dp_readings": [{"position": RETURN, "at": iso(plant.now), "dp [bar]": 0.3, "flow [L/min]": 0}]},
        )
    )
    plant.run_pass()
    text, item = said_by(plant, "due", "--explain", RETURN, as_json=False), plant.due(RETURN)
    assert item["reason"] in text
    assert "11 count, 1 do not" in text  # ten of the folder and the one above; one at a standstill
    assert "left out: no flow" in text
    assert "Life prior: half such lives end before" in text
    lines = text.split("History, newest first")[1]
    assert lines.index("earlier:") < lines.index("new:")
    told = said_by(plant, "due", "--explain", RETURN, "--json")
    assert told["item"] == item
    assert told["history"] == _history(plant, RETURN)


def test_an_explanation_says_what_was_recorded_since_its_pass(plant: RunningPlant) -> None:
    plant.later(days=1)
    _take_in_dp(plant, 1.9)
    assert said_by(plant, "due", "--explain", RETURN, "--json")["news_since"] == ["dp_readings", "imports"]


def test_a_position_of_which_nothing_is_known_is_explained_too(plant: RunningPlant) -> None:
    text = said_by(plant, "due", "--explain", UNKNOWN, as_json=False)
    assert "nothing known to be fitted" in text
    assert "Due: no date" in text


@pytest.mark.one_database_is_enough
def test_the_command_line_takes_one_question_at_a_time(plant: RunningPlant) -> None:
    for words in (("--explain", RETURN, "--since", "last-pass"), ("--since", "yesterday")):
        ended = run(plant, "due", *words)
        assert (ended.returncode, ended.stdout) == (2, "")
    assert run(plant, "due", "--explain", "NOWHERE").returncode == 1
