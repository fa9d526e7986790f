"""A folder of 120 positions and 20,000 ΔP readings, written by somebody who had the contract and not the code."""

import json
import os
import subprocess
import time
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from tests.commands import run_command
from tests.databases import url_at
from tests.flow.foreign_plant import write_folder


def elementdue(database: Path, *words: str) -> subprocess.CompletedProcess[str]:
    return run_command(*words, environment=os.environ | {"ELEMENTDUE_DATABASE": url_at(database)})


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    target = tmp_path_factory.mktemp("foreign") / "plant"
    write_folder(target, today=datetime.now(UTC).date())
    return target


def test_it_imports_first_time_in_20_seconds_plans_and_lists_every_position(folder: Path, tmp_path: Path) -> None:
    database = tmp_path / "plant.sqlite"
    began = time.perf_counter()
    imported = elementdue(database, "import", str(folder), "--json")
    took_s = time.perf_counter() - began
    assert imported.returncode == 0, imported.stderr
    assert took_s < 20.0
    outcome = json.loads(imported.stdout)
    assert outcome["tables"]["dp_readings"]["added"] == 20_000

    planned = elementdue(database, "plan")
    assert planned.returncode == 0, planned.stderr
    items = json.loads(elementdue(database, "due", "--json").stdout)["items"]
    assert len(items) == len({item["position"] for item in items}) == 120
    undated = [item for item in items if item["due_at"] is None]
    assert all("rests" in item["reason"] for item in undated), "only the resting side of a duplex housing has no date"
    assert len(undated) < 5
    assert {item["trigger"] for item in items} >= {"hours", "age", "pressure", "life"}
    for item in items:
        if item["due_at"] is not None:
            assert item["due_early"] <= item["due_median"] <= (item["due_late"] or "9999")
        assert any(character.isdigit() for character in item["reason"]), item["reason"]


@pytest.mark.one_database_is_enough
def test_importing_it_again_changes_nothing(folder: Path, tmp_path: Path) -> None:
    database = tmp_path / "plant.sqlite"
    assert elementdue(database, "import", str(folder)).returncode == 0
    again = json.loads(elementdue(database, "import", str(folder), "--json").stdout)
    for table, counts in again["tables"].items():
        changed = [counts[name] for name in ("added", "updated", "corrected", "completed")]
        assert changed == [0, 0, 0, 0], table


@pytest.mark.one_database_is_enough
def test_a_past_day_is_computed_afresh_and_kept_nowhere(folder: Path, tmp_path: Path) -> None:
    database = tmp_path / "plant.sqlite"
    assert elementdue(database, "import", str(folder)).returncode == 0
    assert elementdue(database, "plan").returncode == 0
    now = elementdue(database, "due", "--json").stdout
    past_day = (datetime.now(UTC) - timedelta(days=200)).date().isoformat()
    past = json.loads(elementdue(database, "due", "--as-of", past_day, "--json").stdout)
    assert past["planned"]["id"] is None
    assert all(item["as_of"].startswith(past_day) for item in past["items"])
    assert elementdue(database, "due", "--json").stdout == now
