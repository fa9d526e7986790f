"""`/v1/lives` and `elementdue lives`: the small plant's lives by hand, page by page, and of one's plants only."""

import json
from collections.abc import Iterator
from typing import Any

import pytest

from scheduler.vocabulary import Scope
from service.cli import lives as command
from service.keys.keeping import Caller
from service.lives.answering import Only, lives_page
from tests.flow.running_plant import RunningPlant, make_planned, running
from tests.flow.small_folder import NOW, RETURN, STRAINER, small_plant

BOUND = Caller("bound", frozenset({Scope.READ}), frozenset({"MILL"}))
ELSEWHERE = Caller("elsewhere", frozenset({Scope.READ}), frozenset({"YARD"}))

HOURS = {"early": 480.0, "first": 640.0, "second": 800.0, "running": 960.0}
"""Of the strainer at 8 h a day: 60, 80 and 100 days that ended, and 120 days so far."""


@pytest.fixture(scope="module")
def plant(tmp_path_factory: pytest.TempPathFactory) -> Iterator[RunningPlant]:
    """The small plant with three lives of its strainer before the present one."""
    base = small_plant(NOW)
    told = [(360.0, 280.0, "indicator"), (280.0, 220.0, "early"), (220.0, 120.0, "indicator")]
    rows = [
        {
            "position": STRAINER,
            "part_number": "STR-1",
            "fitted_at": base.at(fitted),
            "removed_at": base.at(removed),
            "reason": reason,
        }
        for fitted, removed, reason in told
    ]
    path = make_planned(tmp_path_factory.mktemp("lives") / "plant.sqlite", base.with_rows("installations", *rows))
    with running(path) as service:
        yield service


def records(plant: RunningPlant, **query: Any) -> dict[tuple[str, str | None], dict[str, Any]]:
    return {(item["part_number"], item["position"]): item for item in plant.get("/v1/lives", **query)["items"]}


def test_the_strainers_curve_is_kaplan_and_meiers_by_hand(plant: RunningPlant) -> None:
    """480 h cut short, then 2/3 of the three left beyond 640 h and half of these beyond 800 h; 960 h still run."""
    strainer = records(plant)["STR-1", STRAINER]
    assert (strainer["lives"], strainer["running"], strainer["at_limit"]) == (3, 1, 2)
    assert strainer["reasons"] == {"indicator": 2, "early": 1}
    points = [(point["hours"], point["at_risk"], point["ends"], point["survival"]) for point in strainer["curve"]]
    assert points == [(HOURS["first"], 3, 1, 0.6667), (HOURS["second"], 2, 1, 0.3333)]
    assert strainer["median"]["hours"] == HOURS["second"]
    assert all(point["low"] < point["survival"] < point["high"] for point in strainer["curve"])


def test_beside_the_curve_stands_what_the_last_pass_learned(plant: RunningPlant) -> None:
    strainer = records(plant)["STR-1", STRAINER]
    (kept,) = plant.rows("life_priors", position=STRAINER)
    assert strainer["median"]["model"] == pytest.approx(2.718281828 ** kept["log_median_h"], abs=0.1)
    shares = [point["model"] for point in strainer["curve"]]
    assert 1.0 > shares[0] > shares[1] > 0.0


def test_the_type_is_the_sum_of_its_positions(plant: RunningPlant) -> None:
    found = records(plant)
    for (part_number, position), whole in found.items():
        parts = [each for (part, at), each in found.items() if part == part_number and at is not None]
        if position is None:
            for count in ("lives", "running", "at_limit"):
                assert whole[count] == sum(each[count] for each in parts)


def test_an_early_change_is_told_with_what_it_threw_away(plant: RunningPlant) -> None:
    found = records(plant)
    early = found["STR-1", STRAINER]["early"]
    assert early["changes"] == 1
    assert 0.1 < early["thrown_away"] < 0.9
    assert early["cost"] == []  # the plant tells no price
    assert found["EL-10", RETURN]["early"] == {"changes": 0, "thrown_away": None, "cost": []}


def test_pages_miss_nothing_and_tell_nothing_twice(plant: RunningPlant) -> None:
    whole = plant.get("/v1/lives")["items"]
    paged, query = [], {"limit": 3}
    while True:
        page = plant.get("/v1/lives", **query)
        paged += page["items"]
        if page["next"] is None:
            break
        query = {"limit": 3, "cursor": page["next"]}
    assert paged == whole
    keys = [(item["part_number"], item["position"] or "") for item in whole]
    assert keys == sorted(set(keys))
    assert len(keys) > 3


def test_filters_leave_what_was_asked_for(plant: RunningPlant) -> None:
    assert {item["system"] for item in records(plant, system="PRESS").values()} == {None, "PRESS"}
    assert set(records(plant, position=STRAINER)) == {("STR-1", None), ("STR-1", STRAINER)}
    assert {part for part, _ in records(plant, part_number="EL-10")} == {"EL-10"}
    alone = records(plant, position=STRAINER)["STR-1", STRAINER]
    assert alone["shorter"] == records(plant)["STR-1", STRAINER]["shorter"]


@pytest.mark.parametrize("name", ["plant", "system", "part_number", "position"])
def test_what_is_not_there_is_not_found(plant: RunningPlant, name: str) -> None:
    answer = plant.client.get("/v1/lives", params={name: "NOWHERE"})
    assert (answer.status_code, "'NOWHERE'" in answer.json()["detail"]) == (404, True)


def test_a_cursor_of_ones_own_making_is_refused(plant: RunningPlant) -> None:
    assert plant.client.get("/v1/lives", params={"cursor": "nonsense"}).status_code == 422


def test_a_key_of_one_plant_is_told_of_no_other(plant: RunningPlant) -> None:
    with plant.database.reading() as connection:
        own = lives_page(connection, BOUND, plant.now, Only())
        others = lives_page(connection, ELSEWHERE, plant.now, Only())
    assert [item.model_dump(mode="json") for item in own.items] == plant.get("/v1/lives")["items"]
    assert others.items == []


def test_the_command_line_tells_the_same_lives(
    plant: RunningPlant, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setattr(command, "open_database", lambda _url: plant.database)
    monkeypatch.setattr(command, "now_utc", lambda: plant.now)
    command.lives(part="STR-1", as_json=True)
    assert json.loads(capsys.readouterr().out)["items"] == list(records(plant, part_number="STR-1").values())
    command.lives(part="STR-1")
    (line,) = [each for each in capsys.readouterr().out.splitlines() if STRAINER in each]
    assert line.split()[:3] == [STRAINER, "3", "2"]
    assert "2 indicator, 1 early" in line
