"""The oil of each system: a planted leak and a planted overfill are found and told with their numbers."""

from collections.abc import Iterator
from datetime import date
from pathlib import Path

import pytest

from tests.flow.command_line import said_by
from tests.flow.running_plant import RunningPlant, copied, make_planned, oil, running
from tests.flow.small_folder import HOURS_NOW, RETURN, SmallPlant, small_plant

pytestmark = pytest.mark.one_database_is_enough

LITRES = 10


def plant_that_leaks() -> SmallPlant:
    """10 L every eight weeks for two years, then every ten days since ten weeks ago."""
    plant = small_plant()
    days_ago = [*range(700, 100, -56), *range(70, 0, -10)]
    rows = [{"system": "PRESS", "at": plant.at(each), "fluid": "OIL-46", "volume [L]": LITRES} for each in days_ago]
    return plant.with_rows("top_ups", *rows)


@pytest.fixture(scope="module")
def leaking_file(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return make_planned(tmp_path_factory.mktemp("leak") / "plant.sqlite", plant_that_leaks())


@pytest.fixture
def plant(leaking_file: Path, tmp_path: Path) -> Iterator[RunningPlant]:
    with running(copied(leaking_file, tmp_path / "plant.sqlite")) as served:
        yield served


def test_a_leak_is_told_in_litres_a_week_and_since_when_and_somebody_is_sent(plant: RunningPlant) -> None:
    (press,) = plant.get("/v1/oil", system="PRESS")["items"]
    rise = press["loss"]["rise"]
    assert rise["before"]["p10"] < LITRES / 8 < rise["before"]["p90"]
    assert rise["after"]["p10"] < LITRES / 10 * 7 < rise["after"]["p90"]
    assert date(2025, 11, 1) < date.fromisoformat(rise["since"][:10]) < date(2026, 1, 15)
    (task,) = [
        each
        for order in plant.orders(system="PRESS")
        for each in order["tasks"]
        if each["kind"] == "inspect" and not each["position"]
    ]
    assert task["reason"].startswith("The system loses ")
    assert " L a week since about " in task["reason"]
    assert "never by hand" in task["reason"]


def test_more_oil_than_was_missing_is_told_with_the_litres_too_much(plant: RunningPlant) -> None:
    level = {"below_full": {"value": 12, "unit": "L"}, "at_rest": True, "defined_position": True}
    plant.close(system="PRESS", kind="check_level", level=level)
    plant.later(hours=2)
    plant.close(system="PRESS", kind="top_up", oil=[oil("OIL-46", 60)])
    assert plant.get("/v1/oil", system="PRESS")["items"][0]["missing"] == {"value": -48.0, "unit": "L"}
    (task,) = [
        each for order in plant.orders(system="PRESS") for each in order["tasks"] if each["kind"] == "check_level"
    ]
    assert task["reason"].startswith(
        "48 L too much are in the reservoir of 400 L (level of 2026-03-05, 60 L poured since)"
    )


def test_a_low_level_raises_a_top_up_with_the_oil_for_it(plant: RunningPlant) -> None:
    level = {"level": {"value": 80, "unit": "%"}, "at_rest": True, "defined_position": True}
    plant.close(system="PRESS", kind="check_level", level=level)
    (task,) = [each for order in plant.orders(system="PRESS") for each in order["tasks"] if each["kind"] == "top_up"]
    assert [(pick["fluid"], pick["volume"]["value"]) for pick in task["oil"]] == [("OIL-46", 80.0)]
    plant.later(hours=2)
    plant.close(task=task["id"], oil=[oil("OIL-46", 78)])
    assert "oil-level-low" not in [row["code"] for row in plant.rows("diagnoses", cleared_at=None)]


def test_what_a_change_lost_and_got_back_is_no_loss(plant: RunningPlant) -> None:
    before = plant.get("/v1/oil", system="PRESS")["items"][0]["loss"]["top_ups"]
    plant.close(position=RETURN, hours=HOURS_NOW, oil=[oil("OIL-46", 6)])
    assert plant.get("/v1/oil", system="PRESS")["items"][0]["loss"]["top_ups"] == before


def test_a_system_of_which_nothing_was_told_says_so(plant: RunningPlant) -> None:
    (conveyor,) = plant.get("/v1/oil", system="CONV")["items"]
    assert (conveyor["last_look"], conveyor["missing"], conveyor["loss"]) == (None, None, None)
    assert plant.client.get("/v1/oil", params={"system": "NOWHERE"}).status_code == 404


def test_the_command_line_tells_the_same(plant: RunningPlant) -> None:
    said = said_by(plant, "oil", as_json=False)
    assert "too few top-ups" in said
    assert " %" in said
    told = said_by(plant, "oil", "PRESS", "--json")
    asked = plant.get("/v1/oil", system="PRESS")
    assert [each["system"] for each in told["items"]] == [each["system"] for each in asked["items"]] == ["PRESS"]
