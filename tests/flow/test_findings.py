"""What a job found, how the level stood and how long it took: kept, judged, and looked into."""

from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from tests.flow.command_line import said_by
from tests.flow.running_plant import RunningPlant, copied, iso, running, warm
from tests.flow.small_folder import BREATHER, HOURS_NOW, RETURN

pytestmark = pytest.mark.one_database_is_enough


@pytest.fixture
def plant(planned_file: Path, tmp_path: Path) -> Iterator[RunningPlant]:
    with running(copied(planned_file, tmp_path / "plant.sqlite")) as served:
        yield served


def diagnoses_of(plant: RunningPlant, position: str) -> dict[str, str]:
    return {each["code"]: each["says"] for each in plant.due(position)["diagnoses"]}


def percent(value: float) -> dict[str, Any]:
    return {"value": value, "unit": "%"}


AT_REST = {"at_rest": True, "defined_position": True}


def test_metal_keeps_the_system_out_of_service_and_asks_for_a_look(plant: RunningPlant) -> None:
    plant.close(position=RETURN, hours=HOURS_NOW, found=["metal_bronze", "metal_steel", "silt"])
    says = diagnoses_of(plant, RETURN)["metal-found"]
    assert says.startswith("Metal was found on 2026-03-05: bronze or brass and steel.")
    assert "out of service until a competent person has assessed it" in says
    task = plant.task_of(RETURN, "inspect")
    assert task["reason"] == says
    (kept,) = plant.holds_now("findings")
    assert (kept["position"], kept["found"]) == (RETURN, ["silt", "metal_steel", "metal_bronze"])


def test_what_the_next_job_no_longer_finds_is_cleared(plant: RunningPlant) -> None:
    plant.close(position=RETURN, hours=HOURS_NOW, found=["water", "varnish"])
    assert set(diagnoses_of(plant, RETURN)) >= {"water-found", "varnish-found"}
    plant.later(days=1)
    plant.close(position=RETURN, kind="inspect", element_changed=False, found=["clean"])
    assert not set(diagnoses_of(plant, RETURN)) & {"water-found", "varnish-found"}


def test_whoever_looked_has_seen_it_and_nobody_is_sent_again(plant: RunningPlant) -> None:
    plant.close(position=RETURN, hours=HOURS_NOW, found=["fibres"])
    task = plant.task_of(RETURN, "inspect")
    plant.later(days=1)
    plant.close(task=task["id"])
    plant.run_pass()
    open_kinds = [
        each["kind"]
        for order in plant.orders()
        for each in order["tasks"]
        if each["position"] == RETURN and each["state"] == "open"
    ]
    assert "inspect" not in open_kinds
    assert "fibres-found" in diagnoses_of(plant, RETURN)


def test_a_breather_whose_desiccant_has_turned_is_changed_now_and_not_at_its_age(plant: RunningPlant) -> None:
    """Desiccant is changed when its colour has fully turned (published maker's page)."""
    plant.close(position=BREATHER, kind="inspect", element_changed=False, found=["desiccant_turned", "dust"])
    says = "The breather showed desiccant turned and dust on 2026-03-05 and was left in: change it, and clean the lid"
    assert diagnoses_of(plant, BREATHER)["breather-spent"].startswith(says)
    task = plant.task_of(BREATHER, "change_breather")
    assert task["reason"].startswith(says)
    assert task["due_at"].startswith("2026-03-05")
    plant.later(days=1)
    plant.close(task=task["id"], found=["desiccant_turned"])
    assert "breather-spent" not in diagnoses_of(plant, BREATHER)


def test_a_finding_of_half_a_year_ago_says_nothing_of_today(plant: RunningPlant) -> None:
    plant.close(position=RETURN, hours=HOURS_NOW, found=["water"])
    plant.later(days=91)
    plant.run_pass()
    assert "water-found" not in diagnoses_of(plant, RETURN)


def test_a_corrected_finding_is_what_holds_and_an_undone_job_found_nothing(plant: RunningPlant) -> None:
    closed = plant.close(position=RETURN, hours=HOURS_NOW, found=["metal"])
    plant.later(minutes=5)
    path = f"/v1/close-outs/{closed['id']}/corrections"
    corrected = plant.post(path, {"why": "it was silt", "found": ["silt"]}, expect=201)
    assert corrected["corrections"][0]["changed"] == [{"member": "found", "earlier": ["metal"], "new": ["silt"]}]
    assert "metal-found" not in diagnoses_of(plant, RETURN)
    plant.later(minutes=5)
    plant.post(path, {"why": "another press", "undo": True}, expect=201)
    assert plant.holds_now("findings") == []


def test_a_level_counts_only_at_rest_and_in_its_position(plant: RunningPlant) -> None:
    """Common practice, no source: at rest, single-acting cylinders retracted."""
    told = {"system": "PRESS", "kind": "check_level"}
    good = plant.close(**told, level={"level": percent(85), **AT_REST})
    assert good["remarks"] == []
    plant.later(hours=1)
    bad = plant.close(**told, level={"level": percent(60), "at_rest": False, "defined_position": False})
    assert bad["remarks"] == [
        "The level is kept but does not count: the system was running and cylinders were not in the defined "
        "position. Look again."
    ]
    kept = plant.holds_now("level_checks", system="PRESS")
    assert [(row["level_pct"], row["at_rest"]) for row in kept[-2:]] == [(85.0, "yes"), (60.0, "no")]


@pytest.mark.parametrize(
    ("body", "member", "says"),
    [
        ({"position": RETURN, "found": ["clean", "silt"]}, "found", "'clean' stands alone, not beside silt"),
        ({"position": RETURN, "found": ["gravel"]}, "found.0", "Input should be 'clean', "),
        (
            {"system": "PRESS", "kind": "check_level", "level": {"level": percent(180), **AT_REST}},
            "level.level",
            "180 % is above 150 %",
        ),
        ({"system": "PRESS", "kind": "check_level", "level": AT_REST}, "level", "say either level or below_full"),
        ({"system": "PRESS"}, "kind", "say what kind of work was done on the whole system"),
        (
            {"system": "PRESS", "kind": "change_breather"},
            "position",
            "change_breather is work on a position: say which",
        ),
        ({"system": "CONV", "position": RETURN}, "system", f"position '{RETURN}' is of system PRESS, not of 'CONV'"),
        ({"position": RETURN, "labour_min": -5}, "labour_min", "Input should be greater than or equal to 0"),
    ],
)
def test_what_cannot_be_meant_is_refused_by_its_member(
    plant: RunningPlant, body: dict[str, Any], member: str, says: str
) -> None:
    before = plant.dump("close_outs", "findings", "level_checks", "work_orders")
    problem = plant.close(expect=422, **body)
    assert problem["errors"][0]["member"] == member
    assert says in problem["errors"][0]["says"]
    assert plant.dump("close_outs", "findings", "level_checks", "work_orders") == before


def test_an_unknown_system_is_refused_by_name(plant: RunningPlant) -> None:
    problem = plant.close(expect=422, system="NOWHERE", kind="check_level")
    assert problem["detail"] == "there is no system 'NOWHERE'"


def test_work_on_a_whole_system_closes_the_open_task_of_its_kind(plant: RunningPlant) -> None:
    first = plant.close(system="PRESS", kind="check_level", level={"level": percent(90), **AT_REST})
    order = plant.get(f"/v1/work-orders/{first['work_order']}")
    assert (order["state"], order["note"]) == ("done", "work without a work order")
    assert first["position"] == ""
    assert first["next_due"] is None


def test_findings_go_out_and_come_back(plant: RunningPlant, tmp_path: Path) -> None:
    """import(export(x)) changes nothing (contract.md)."""
    plant.close(position=RETURN, hours=HOURS_NOW, found=["metal_steel", "water"], condition="chips in the bowl")
    before = plant.dump("findings", "level_checks", "installations")
    target = tmp_path / "folder"
    said_by(plant, "export", str(target), as_json=False)
    assert "metal_steel; water" in (target / "findings.csv").read_text()
    said_by(plant, "import", str(target), as_json=False)
    assert plant.dump("findings", "level_checks", "installations") == before


def test_the_command_line_tells_all_of_it(plant: RunningPlant) -> None:
    words = ["jobs", "close", "--system", "PRESS", "--kind", "check_level", "--at", iso(plant.now)]
    said = said_by(plant, *words, "--level", "12 L below full, at rest", "--labour", "10", as_json=False)
    assert "The level is kept but does not count: cylinders were not in the defined position. Look again." in said
    (kept,) = [row for row in plant.holds_now("level_checks", system="PRESS") if row["volume_below_full_L"] == 12.0]
    assert (kept["at_rest"], kept["defined_position"]) == ("yes", "no")


@pytest.mark.parametrize(
    ("dp_bar", "says"),
    [
        (0.05, "ΔP 0.05 bar with oil at 50 °C is less than the "),
        (0.6, None),
        (2.0, "ΔP 2 bar with oil at 50 °C is more than the "),
    ],
)
def test_a_dp_after_that_no_new_element_shows_is_told_at_once(
    plant: RunningPlant, dp_bar: float, says: str | None
) -> None:
    """New: 0.4 bar at 180 L/min and 30 mm²/s, which the oil has at 50 °C (ASTM D341); the housing 0.2 bar."""
    closed = plant.close(task=plant.task_of(RETURN)["id"], hours=HOURS_NOW, dp_after=warm(dp_bar))
    assert len(closed["remarks"]) == (says is not None)
    assert not says or closed["remarks"][0].startswith(says)
