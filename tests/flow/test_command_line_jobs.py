"""A technician who closes jobs on the command line: the same routes and refusals, exit codes that scripts trust.

contract.md, "The command line": results on stdout alone; exit codes 0 done, 1 refused, 2 usage.
"""

import pytest

from tests.flow.command_line import run, said_by
from tests.flow.running_plant import RunningPlant, iso
from tests.flow.small_folder import HOURS_NOW, RETURN

pytestmark = pytest.mark.one_database_is_enough


def test_a_mismatch_is_refused_in_words_and_taken_with_a_reason(plant: RunningPlant) -> None:
    told = ["jobs", "close", "--position", RETURN, "--at", iso(plant.now), "--element", "EL-25", "--json"]
    before = plant.dump()
    refused = run(plant, *told)
    assert (refused.returncode, refused.stdout) == (1, "")
    assert "EL-25 is neither the specified EL-10" in refused.stderr
    assert plant.dump() == before
    answer = said_by(plant, *told, "--confirm", "nothing else on the shelf")
    assert [mismatch["found"] for mismatch in answer["mismatches"]] == ["EL-25"]


def test_a_look_told_by_position_leaves_the_planned_change_open(plant: RunningPlant) -> None:
    answer = said_by(
        *(plant, "jobs", "close", "--position", RETURN, "--at", iso(plant.now), "--unchanged"),
        *("--hours", str(HOURS_NOW), "--dp-before", "1.6 bar, 180 L/min, 50 degC", "--json"),
    )
    assert plant.order_of(RETURN)["tasks"][0]["id"] != answer["task"]
    (kept,) = plant.rows("dp_readings", position=RETURN, at=plant.now)
    assert (kept["dp_bar"], kept["flow_lpm"], kept["oil_temperature_degC"]) == (1.6, 180.0, 50.0)


def test_a_job_told_twice_with_one_key_is_one(plant: RunningPlant) -> None:
    told = ["jobs", "close", "--position", RETURN, "--at", iso(plant.now), "--hours", str(HOURS_NOW), "--json"]
    first = said_by(plant, *told, "--idempotency-key", "card 7")
    assert said_by(plant, *told, "--idempotency-key", "card 7") == first
    assert len(plant.rows("close_outs")) == 1


def test_what_cannot_be_read_is_a_matter_of_usage(plant: RunningPlant) -> None:
    ended = run(plant, "jobs", "close", "--position", RETURN, "--dp-before", "2.1")
    assert (ended.returncode, ended.stdout) == (2, "")
    assert plant.rows("close_outs") == []
