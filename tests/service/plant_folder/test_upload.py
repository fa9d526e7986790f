"""A workbook through the API and the command line, as what it is and not as what it is called."""

import json
from collections.abc import Iterator
from pathlib import Path

import httpx
import pytest

from scheduler.vocabulary import Scope
from tests.service.plant_folder.written_workbook import dp_rows, rows, write_workbook
from tests.service.served import run, served


@pytest.fixture
def client(tmp_path: Path) -> Iterator[httpx.Client]:
    (tmp_path / "served").mkdir()
    with served(tmp_path / "served") as service, service.client(service.key(Scope.INTEGRATE)) as opened:
        yield opened


@pytest.mark.parametrize("name", ["plant.xlsx", "plant.zip", "march"])
def test_an_uploaded_workbook_is_imported_whatever_its_name(tmp_path: Path, client: httpx.Client, name: str) -> None:
    workbook = write_workbook(tmp_path / "plant.xlsx", {})
    answer = client.post("/v1/imports", files={"file": (name, workbook.read_bytes())})
    assert answer.status_code == 201, answer.text
    assert answer.json()["tables"]["dp_readings"]["added"] == 1


def test_an_uploaded_workbooks_errors_name_it_its_sheet_and_excels_row(tmp_path: Path, client: httpx.Client) -> None:
    sheets = {"dp_readings": dp_rows(("PRESS-R1", "2026-03-05", 1.5), ("PRESS-R1", "2026-03-06", "a lot"))}
    workbook = write_workbook(tmp_path / "plant.xlsx", sheets)
    answer = client.post("/v1/imports", files={"file": ("march.xlsx", workbook.read_bytes())})
    assert answer.status_code == 422
    (error,) = answer.json()["errors"]
    assert (error["member"], error["value"]) == ("march.xlsx, sheet dp_readings, row 3, dp [bar]", "a lot")


def test_a_workbook_goes_in_and_comes_out_by_the_command_line(tmp_path: Path) -> None:
    database = tmp_path / "plant.sqlite"
    workbook = write_workbook(tmp_path / "plant.xlsx", {"x_plot": rows((1, 2))})
    imported = run("import", str(workbook), "--json", database=database)
    assert imported.returncode == 0, imported.stderr
    told = json.loads(imported.stdout)
    assert told["tables"]["positions"]["added"] == 2
    assert [remark["file"] for remark in told["remarks"]] == ["plant.xlsx, sheet x_plot"]
    exported = run("export", str(tmp_path / "out.xlsx"), database=database)
    assert exported.returncode == 0, exported.stderr
    again = run("import", str(tmp_path / "out.xlsx"), "--json", database=database)
    counts = json.loads(again.stdout)["tables"]
    assert set(counts) == set(told["tables"])
    assert all(table["unchanged"] and not table["added"] and not table["corrected"] for table in counts.values())
