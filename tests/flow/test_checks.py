"""Checked before the job: what was taken from the shelf is what the job needs, or it is refused and told why.

Every mistake is planted once. Which fluid attacks which seal, and which fluids never mix, is general practice of
handbooks; its sources stand beside the rules (`tests/planning/test_shelf_check.py`).
"""

import json
import sys
from collections.abc import Callable, Iterator
from datetime import timedelta
from pathlib import Path
from typing import Any

import pytest

from scheduler.vocabulary import Scope
from service.cli.main import main
from tests.flow.running_plant import RunningPlant, copied, iso, make_planned, running
from tests.flow.small_folder import BREATHER, HOURS_NOW, RETURN, STRAINER, SmallPlant, small_plant

pytestmark = pytest.mark.one_database_is_enough

AT_REST = {"at_rest": "yes", "defined_position": "yes"}


def plant_with_mistakes_on_the_shelf() -> SmallPlant:
    """Oils that do not belong into the press, a lot and a pail that are too old, and a look at the level."""
    plant = small_plant()
    plant = plant.changed("fluids", "fluid", "OIL-46", name="Bench 46")
    plant = plant.with_rows(
        "fluids",
        {"fluid": "OTHER-46", "name": "Other 46", "family": "HM", "grade": 46},
        {"fluid": "GLYCOL", "name": "Glycol 46", "family": "HFC", "grade": 46},
    )
    counted = {"store": "MAIN", "counted_at": plant.at(10)}
    old = {"part_number": "EL-10", "lot": "L-0", "on_hand": 1, "bin": "B7", "expires_at": plant.at(12), **counted}
    plant = plant.with_rows("stock", old)
    pail = {"fluid": "OIL-46", "lot": "D-0", "container [L]": 20, "on_hand": 1, "expires_at": plant.at(40), **counted}
    plant = plant.with_rows("oil_stock", pail)
    look = {"system": "PRESS", "at": plant.at(2), "volume_below_full [L]": 12, **AT_REST}
    return plant.with_rows("level_checks", look).changed("positions", "position", RETURN, housing_volume__L=5)


@pytest.fixture(scope="module")
def shelf_file(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return make_planned(tmp_path_factory.mktemp("shelf") / "plant.sqlite", plant_with_mistakes_on_the_shelf())


@pytest.fixture(scope="module")
def shelf(shelf_file: Path, tmp_path_factory: pytest.TempPathFactory) -> Iterator[RunningPlant]:
    """Shared by whoever only checks: a check changes nothing for the next one."""
    with running(copied(shelf_file, tmp_path_factory.mktemp("shared") / "plant.sqlite")) as served:
        yield served


@pytest.fixture
def plant(shelf_file: Path, tmp_path: Path) -> Iterator[RunningPlant]:
    with running(copied(shelf_file, tmp_path / "plant.sqlite")) as served:
        yield served


def litres(value: float) -> dict[str, Any]:
    return {"value": value, "unit": "L"}


def check(plant: RunningPlant, expect: int = 200, key: str | None = None, **body: Any) -> Any:
    headers = {} if key is None else {"Idempotency_Key": key}
    return plant.post("/v1/checks", body, expect=expect, **headers)


def mistakes(answer: Any) -> list[tuple[str, str]]:
    return [(each["mistake"], each["severity"]) for each in answer["findings"]]


PLANTED: dict[str, tuple[dict[str, Any], str, str, str]] = {
    "wrong part": (
        {"position": RETURN, "part_number": "EL-25"},
        "wrong_part",
        "EL-25 is neither the specified EL-10 nor a listed alternate.",
        "Put EL-25 back. Take EL-10 lot L-1 from MAIN A1.",
    ),
    "wrong seal": (
        {"position": RETURN, "part_number": "EL-10-EPDM"},
        "unsuitable_seal",
        "EPDM seals do not suit HM fluid by general practice: EPDM swells in mineral oil; do not fit.",
        "Put EL-10-EPDM back. Take EL-10 lot L-1 from MAIN A1.",
    ),
    "expired lot": (
        {"position": RETURN, "part_number": "EL-10", "lot": "L-0"},
        "expired_lot",
        "Lot L-0 of EL-10 expired 12 days before the day of the job: do not fit it.",
        "Put EL-10 back. Take EL-10 lot L-1 from MAIN A1.",
    ),
    "other grade": (
        {"position": RETURN, "fluid": "OIL-68"},
        "wrong_grade",
        "OIL-68 is not the specified OIL-46 (Bench 46). Viscosity grade ISO VG 68 instead of ISO VG 46.",
        "Take OIL-46 (Bench 46) lot D-1 from MAIN: 104 L in 208 L containers.",
    ),
    "other family, by the name on the label": (
        {"system": "PRESS", "label": " glycol  46"},
        "wrong_family",
        "Fluid family HFC instead of HM (ISO 6743-4). Do not pour GLYCOL (Glycol 46) into OIL-46 (Bench 46): HFC "
        "contains water",
        "Take OIL-46 (Bench 46) lot D-1 from MAIN: 104 L in 208 L containers.",
    ),
    "expired oil": (
        {"position": RETURN, "fluid": "OIL-46", "fluid_lot": "D-0", "container": litres(20)},
        "expired_oil",
        "The 20 L container of OIL-46 (Bench 46) expired 40 days before the day of the job: do not pour it.",
        "Take OIL-46 (Bench 46) lot D-1 from MAIN: 104 L in 208 L containers.",
    ),
    "overfill": (
        {"system": "PRESS", "fluid": "OIL-46", "volume": litres(20)},
        "overfill",
        "Do not pour 20 L: 12 L are missing to full, 8 L would be too much; warm oil and returning cylinders need "
        "room. The level was 12 L below full 2 days before the day of the job.",
        "Pour at most 12 L, slowly, and look at the level again, at rest and in the defined position.",
    ),
}


@pytest.mark.parametrize("planted", PLANTED)
def test_each_planted_mistake_is_refused_in_a_sentence_with_its_numbers(shelf: RunningPlant, planted: str) -> None:
    body, mistake, says, instead = PLANTED[planted]
    refused = check(shelf, expect=409, **body)
    assert refused["type"] == "/problems/not-as-specified"
    assert mistakes(refused) == [(mistake, "refuse")]
    assert says in refused["findings"][0]["says"]
    assert says in refused["detail"]
    assert instead in refused["cautions"][0]
    assert refused["verdict"] == "refused"


def test_what_the_job_needs_is_as_specified(shelf: RunningPlant) -> None:
    task = shelf.task_of(RETURN)["id"]
    answer = check(shelf, task=task, part_number="EL-10", lot="L-1", label="bench 46", volume=litres(5))
    assert (answer["verdict"], answer["findings"], answer["cautions"]) == ("as_specified", [], [])
    assert (answer["task"], answer["position"], answer["system"]) == (task, RETURN, "PRESS")
    for part in ("EL-10-FKM", "SK-1", "TRAY"):  # an alternate that mineral oil does not attack, and the kit
        assert check(shelf, position=RETURN, part_number=part)["verdict"] == "as_specified"


def test_another_makers_name_and_an_unknown_oil_are_asked_about(shelf: RunningPlant) -> None:
    other = check(shelf, position=RETURN, fluid="OTHER-46")
    assert (other["verdict"], mistakes(other)) == ("ask", [("other_name", "ask")])
    assert "ask the fluid makers about mixing" in other["findings"][0]["says"]
    assert mistakes(check(shelf, position=RETURN, label="Red drum")) == [("cannot_tell", "ask")]
    unknown = check(shelf, position=RETURN, fluid="NO-SUCH")
    assert mistakes(unknown) == [("cannot_tell", "ask")] * 2
    assert "NO-SUCH (not in the catalogue)" in unknown["findings"][0]["says"]


def test_a_part_that_no_catalogue_knows_is_an_answer_and_no_error(shelf: RunningPlant) -> None:
    refused = check(shelf, expect=409, position=RETURN, part_number="NO-SUCH")
    assert mistakes(refused) == [("wrong_part", "refuse"), ("cannot_tell", "ask")]


def test_everything_that_is_wrong_is_told_at_once_refusals_first(shelf: RunningPlant) -> None:
    told = {"part_number": "EL-10", "lot": "L-0", "fluid": "OTHER-46", "volume": litres(500)}
    refused = check(shelf, expect=409, position=RETURN, **told)
    assert mistakes(refused) == [("expired_lot", "refuse"), ("overfill", "refuse"), ("other_name", "ask")]
    assert len(refused["cautions"]) == 2


def test_a_lot_that_will_have_expired_by_the_day_of_the_job_is_refused(shelf: RunningPlant) -> None:
    """Lot L-1 is good for 400 days, as the store has counted it."""
    told = {"position": RETURN, "part_number": "EL-10", "lot": "L-1"}
    assert check(shelf, **told)["verdict"] == "as_specified"
    refused = check(shelf, expect=409, at=iso(shelf.now + timedelta(days=401)), **told)
    assert mistakes(refused) == [("expired_lot", "refuse")]
    assert "lot L-2 from" in refused["cautions"][0]


# how much may be poured


def test_what_a_housing_lets_out_has_room_and_no_more(shelf: RunningPlant) -> None:
    """12 L were missing, and the housing of 5 L is emptied: 17 L."""
    assert check(shelf, position=RETURN, volume=litres(17))["verdict"] == "as_specified"
    refused = check(shelf, expect=409, position=RETURN, volume=litres(18))
    assert "17 L are missing to full, 1 L would be too much" in refused["detail"]
    assert "the job lets out 5 L" in refused["detail"]


def test_a_drained_reservoir_has_room_for_its_whole_charge(shelf: RunningPlant) -> None:
    """400 L, and the 12 L that were missing; a strainer in the tank is reached when that is drained."""
    assert check(shelf, position=STRAINER, volume=litres(412))["verdict"] == "as_specified"
    assert mistakes(check(shelf, expect=409, position=STRAINER, volume=litres(413))) == [("overfill", "refuse")]


def test_what_was_poured_since_the_look_has_taken_its_room(plant: RunningPlant) -> None:
    assert check(plant, system="PRESS", volume=litres(9))["verdict"] == "as_specified"
    plant.close(system="PRESS", kind="top_up", oil=[{"fluid": "OIL-46", "volume": litres(8)}])
    plant.later(hours=1)
    refused = check(plant, expect=409, system="PRESS", volume=litres(9))
    assert "4 L are missing to full, 5 L would be too much" in refused["detail"]
    assert "8 L have been poured since" in refused["detail"]


def test_an_old_look_forbids_nothing_but_asks_for_another(plant: RunningPlant) -> None:
    plant.later(days=30)
    answer = check(plant, system="PRESS", volume=litres(20))
    assert mistakes(answer) == [("overfill", "ask")]
    assert answer["findings"][0]["says"].endswith("32 days before the day of the job. That is long ago: look again.")


def test_where_nobody_looked_only_what_the_job_lets_out_may_be_poured(shelf: RunningPlant) -> None:
    (found,) = check(shelf, system="CONV", volume=litres(3))["findings"]
    assert (found["mistake"], found["severity"]) == ("cannot_tell", "ask")
    assert found["says"].startswith("Pour nothing yet: nobody has looked at the level")
    refused = check(shelf, expect=409, system="CONV", volume=litres(121))
    assert "the whole reservoir holds 120 L" in refused["detail"]


def test_a_look_at_a_running_system_does_not_take_the_place_of_one_that_counts(plant: RunningPlant) -> None:
    """Common practice, no source: the level is read at rest and in the defined position."""
    plant.close(
        system="PRESS",
        kind="check_level",
        level={"below_full": litres(60), "at_rest": False, "defined_position": True},
    )
    refused = check(plant, expect=409, system="PRESS", volume=litres(50))
    assert "12 L are missing to full" in refused["detail"]


# who sets a refusal aside, and what is kept


def test_a_refusal_is_set_aside_by_a_key_of_that_scope_with_a_reason(plant: RunningPlant) -> None:
    body = {"position": RETURN, "part_number": "EL-25", "override": {"reason": "agreed with the maker"}}
    refused = check(plant, expect=403, **body)  # the administrator's key: no scope implies this one
    assert "'override'" in refused["detail"]
    for scope, status in ((Scope.WORK, 403), (Scope.OVERRIDE, 403)):  # an override alone checks nothing
        client = plant.client_with(scope, name=f"only {scope}")
        assert client.post("/v1/checks", json=body).status_code == status
    assert plant.rows("checks") == []
    client = plant.client_with(Scope.WORK, Scope.OVERRIDE, name="engineer")
    answer = client.post("/v1/checks", json=body)
    assert (answer.status_code, answer.json()["verdict"]) == (200, "overridden")
    (kept,) = plant.rows("checks")
    assert (kept["recorded_by"], kept["override_reason"]) == ("engineer", "agreed with the maker")
    assert [each["mistake"] for each in kept["findings"]] == ["wrong_part"]


def test_a_reason_where_nothing_is_refused_overrides_nothing(shelf: RunningPlant) -> None:
    client = shelf.client_with(Scope.WORK, Scope.OVERRIDE, name="engineer")
    body = {"position": RETURN, "part_number": "EL-10", "override": {"reason": "to be sure"}}
    assert client.post("/v1/checks", json=body).json()["verdict"] == "as_specified"


@pytest.mark.parametrize(("part", "status"), [("EL-10", 200), ("EL-25", 409)])
def test_a_repeat_gets_the_first_answer_and_is_kept_once(plant: RunningPlant, part: str, status: int) -> None:
    first = check(plant, expect=status, key="tablet-1", position=RETURN, part_number=part)
    plant.later(minutes=5)
    again = plant.client.post(
        "/v1/checks", json={"position": RETURN, "part_number": part}, headers={"Idempotency-Key": "tablet-1"}
    )
    assert (again.status_code, again.json()) == (status, first)
    assert again.headers["Idempotency-Replayed"] == "true"
    assert again.headers["Content-Type"].startswith("application/problem+json") == (status == 409)
    assert len(plant.rows("checks")) == 1
    other = check(plant, expect=422, key="tablet-1", position=RETURN, part_number="SK-1")
    assert other["type"] == "/problems/idempotency-key-reused"


def test_a_check_changes_nothing_of_stock_work_or_due_dates(plant: RunningPlant) -> None:
    names = [name for name in plant.dump() if name != "checks"]
    before = plant.dump(*names)
    check(plant, expect=409, position=RETURN, part_number="EL-25", fluid="GLYCOL", volume=litres(300))
    check(plant, task=plant.task_of(RETURN)["id"], part_number="EL-10", lot="L-1")
    assert plant.dump(*names) == before


def test_the_list_says_who_checked_what_the_newest_first(plant: RunningPlant) -> None:
    task = plant.task_of(RETURN)["id"]
    check(plant, task=task, part_number="EL-10", lot="L-1", container=None)
    check(plant, expect=409, position=RETURN, part_number="EL-25")
    check(plant, position=BREATHER, part_number="BR-1")
    client = plant.client_with(Scope.WORK, name="shift B")
    client.post("/v1/checks", json={"system": "PRESS", "fluid": "OIL-46", "container": litres(20)})
    items = plant.get("/v1/checks")["items"]
    assert [(each["by"], each["position"], each["verdict"]) for each in items] == [
        ("shift B", "", "as_specified"),
        ("tester 1", BREATHER, "as_specified"),
        ("tester 1", RETURN, "refused"),
        ("tester 1", RETURN, "as_specified"),
    ]
    assert items[0]["scanned"]["container"] == litres(20)
    assert [each["id"] for each in plant.get("/v1/checks", position=RETURN)["items"]] == [2, 1]
    assert [each["id"] for each in plant.get("/v1/checks", task=task)["items"]] == [1]
    page = plant.get("/v1/checks", limit=3)
    check(plant, position=BREATHER, part_number="BR-1")  # while somebody turns the page
    rest = plant.get("/v1/checks", limit=3, cursor=page["next"])
    assert [each["id"] for each in page["items"] + rest["items"]] == [4, 3, 2, 1]
    assert rest["next"] is None


@pytest.mark.parametrize(
    ("body", "status", "says"),
    [
        ({"task": 999, "part_number": "EL-10"}, 404, "there is no task 999"),
        ({"position": "NOWHERE", "part_number": "EL-10"}, 422, "there is no position 'NOWHERE'"),
        ({"system": "NOWHERE", "fluid": "OIL-46"}, 422, "there is no system 'NOWHERE'"),
        ({"part_number": "EL-10"}, 422, "say one of task, position and system"),
        ({"position": RETURN, "system": "PRESS", "fluid": "OIL-46"}, 422, "say one of task, position and system"),
        ({"position": RETURN}, 422, "say at least one of part_number, fluid, label and volume"),
        ({"position": RETURN, "fluid": "OIL-46", "label": "Bench 46"}, 422, "not both"),
        ({"position": RETURN, "fluid": "OIL-46", "lot": "L-1"}, 422, "say the part_number that the lot is of"),
        ({"position": RETURN, "part_number": "EL-10", "fluid_lot": "D-1"}, 422, "say the fluid or the label"),
        ({"system": "PRESS", "part_number": "EL-10"}, 422, "a part belongs to a position: say which"),
        ({"system": "PRESS", "volume": litres(-3)}, 422, "volume: -3 L must be above 0 L"),
        ({"position": RETURN, "part_number": "EL-10", "at": "2026-03-01T09:00:00Z"}, 422, "more than a day ago"),
    ],
)
def test_what_cannot_be_checked_is_refused_by_name_and_not_kept(
    shelf: RunningPlant, body: dict[str, Any], status: int, says: str
) -> None:
    before = shelf.rows("checks")
    assert says in check(shelf, expect=status, **body)["detail"]
    assert shelf.rows("checks") == before


def test_what_is_done_is_checked_no_more(plant: RunningPlant) -> None:
    task = plant.task_of(RETURN)["id"]
    plant.close(task=task, hours=HOURS_NOW)
    refused = check(plant, expect=409, task=task, part_number="EL-10")
    assert refused["type"] == "/problems/state-in-the-way"


# the command line


@pytest.fixture
def ended(
    plant: RunningPlant, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> Callable[..., tuple[Any, str, str]]:
    """A command beside the database, in this process: its exit code, and what it said on stdout and stderr."""
    monkeypatch.setenv("ELEMENTDUE_DATABASE", plant.url)

    def ends(*words: str) -> tuple[Any, str, str]:
        monkeypatch.setattr(sys, "argv", ["elementdue", *words])
        with pytest.raises(SystemExit) as end:
            main()
        return (end.value.code, *capsys.readouterr())

    return ends


OIL = ("--fluid", "OIL-46", "--fluid-lot", "D-2", "--container", "20 L")


def test_the_command_line_says_what_is_right_and_what_is_not(ended: Callable[..., tuple[Any, str, str]]) -> None:
    words = ("jobs", "check", "--position", RETURN, *OIL)
    code, said, _ = ended(*words, "--part", "SK-1", "--lot", "K-1")
    assert code == 0
    assert said.splitlines() == [
        f"check 1, {RETURN}: as specified",
        "  right: SK-1, lot K-1",
        "  right: OIL-46, lot D-2",
    ]
    code, said, _ = ended(*words, "--part", "EL-10-EPDM", "--volume", "500 L")
    assert code == 1
    lines = said.splitlines()
    assert lines[0] == f"check 2, {RETURN}: refused"
    assert [line.split()[0] for line in lines[1:]] == ["right:", "wrong:", "wrong:", "instead:", "instead:"]
    assert "EPDM swells in mineral oil" in said
    assert "Do not pour 500 L" in said


def test_a_refusal_on_the_command_line_is_json_too_and_no_account_may_set_it_aside(
    ended: Callable[..., tuple[Any, str, str]], plant: RunningPlant
) -> None:
    words = ("jobs", "check", "--position", RETURN, "--part", "EL-25")
    code, said, _ = ended(*words, "--json")
    assert (code, json.loads(said)["type"]) == (1, "/problems/not-as-specified")
    code, said, error = ended(*words, "--override", "agreed with the maker")
    assert (code, said) == (1, "")
    assert "an override needs a key with scope 'override'" in error
    assert [each["verdict"] for each in plant.rows("checks")] == ["refused"]
