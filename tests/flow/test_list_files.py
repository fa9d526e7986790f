"""Lists as files for people: the same rows as the API tells, numbers as numbers, dates as dates, no formula.

CSV: RFC 4180. Formulas: OWASP, "CSV Injection". Workbooks are read back with python-calamine, which is not ours.
"""

import csv
import io
from datetime import UTC, datetime, timedelta
from decimal import Decimal
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

import pytest
from python_calamine import CalamineWorkbook

from scheduler.vocabulary import Scope
from service.exports import sheet as writing
from service.exports.sheet import Sheet, as_file, moments, numbers, texts
from service.keys.keeping import make_key
from service.problems import BadInput
from tests.flow.command_line import run_here
from tests.flow.running_plant import RunningPlant, _client, add_plant
from tests.flow.small_folder import BREATHER, RETURN, SmallPlant

OSLO = ZoneInfo("Europe/Oslo")
FORMULAS = ('=HYPERLINK("x")', "+1", "-1+2", "@SUM(A1)", "\tx", "\rx", "\n=1", "＝1")


def rows_of(content: bytes) -> list[dict[str, str]]:
    return list(csv.DictReader(io.StringIO(content.decode("utf-8-sig"), newline="")))


def cells_of(content: bytes, sheet: str) -> list[list[Any]]:
    return CalamineWorkbook.from_filelike(io.BytesIO(content)).get_sheet_by_name(sheet).to_python()


def written(kind: str, *rows: tuple[Any, ...]) -> bytes:
    return as_file(kind, [Sheet("list", (*texts("code"), *numbers("volume [L]"), *moments("at")), rows)])


@pytest.mark.parametrize("code", FORMULAS)
def test_a_text_that_begins_like_a_formula_is_a_text_in_both_kinds(code: str) -> None:
    content = written("csv", (code, -1.5, None))
    assert rows_of(content)[0] == {"code": "'" + code, "volume [L]": "-1.5", "at": ""}
    _header, row = cells_of(written("xlsx", (code, -1.5, None)), "list")
    assert row[0] == code


def test_a_text_is_quoted_and_a_number_is_not() -> None:
    """RFC 4180, 2: rules 5 to 7, and lines end with CRLF; a byte order mark tells a spreadsheet that it is UTF-8."""
    content = written("csv", ('two "words",\nand Ø', 2.4, datetime(2026, 3, 5, 9, 30, tzinfo=OSLO)))
    assert content.startswith(b"\xef\xbb\xbf")
    lines = content.decode("utf-8-sig")
    assert lines == '"code","volume [L]","at"\r\n"two ""words"",\nand Ø",2.4,"2026-03-05T09:30+01:00"\r\n'


def test_what_is_no_number_never_stands_unquoted_in_a_column_of_numbers() -> None:
    with pytest.raises(ValueError, match="=1"):
        written("csv", ("a", "=1", None))
    assert written("csv", ("a", Decimal("12.50"), None)).endswith(b'"a",12.50,\r\n')


def test_a_moment_is_a_real_date_in_the_zone_that_its_header_names() -> None:
    at = datetime(2026, 7, 1, 12, 15, tzinfo=OSLO)
    header, row = cells_of(written("xlsx", ("a", 1, at)), "list")
    assert header == ["code", "volume [L]", "at [Europe/Oslo]"]
    assert row == ["a", 1.0, datetime(2026, 7, 1, 12, 15)]  # noqa: DTZ001 - a cell has no zone


def test_moments_of_several_zones_are_told_in_utc() -> None:
    at = datetime(2026, 7, 1, 12, 15, tzinfo=OSLO)
    header, *rows = cells_of(
        written("xlsx", ("a", 1, at), ("b", 1, at.astimezone(ZoneInfo("America/New_York")))), "list"
    )
    assert header[2] == "at [UTC]"
    assert {row[2] for row in rows} == {datetime(2026, 7, 1, 10, 15)}  # noqa: DTZ001


def test_more_rows_than_a_file_holds_are_refused_with_the_number(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(writing, "MOST_ROWS", 2)
    assert written("csv", *[("a", 1, None)] * 2)
    with pytest.raises(BadInput, match="at most 2 rows"):
        written("csv", *[("a", 1, None)] * 3)


def test_the_due_file_tells_what_the_due_list_tells(plant: RunningPlant) -> None:
    items = plant.get("/v1/due")["items"]
    answer = plant.client.get("/v1/due/file")
    assert answer.headers["content-type"] == "text/csv; charset=utf-8"
    as_of = plant.now.astimezone(UTC)
    assert answer.headers["content-disposition"] == f'attachment; filename="due-{as_of:%Y%m%dT%H%M%SZ}.csv"'
    rows = rows_of(answer.content)
    assert [row["position"] for row in rows] == [item["position"] for item in items]
    for row, item in zip(rows, items, strict=True):
        assert (row["due_at"] == "") == (item["due_at"] is None)
        if item["due_at"]:
            at, told = datetime.fromisoformat(row["due_at"]), datetime.fromisoformat(item["due_at"])
            assert timedelta(0) <= told - at < timedelta(minutes=1)
            assert at.utcoffset() == told.utcoffset()
        if item["hours_left"] is not None:
            assert float(row["hours_left [h]"]) == pytest.approx(item["hours_left"], rel=1e-9)
    only = rows_of(plant.client.get("/v1/due/file", params={"system": "CONV"}).content)
    assert {row["system"] for row in only} == {"CONV"}


def test_the_work_file_has_a_line_a_task_and_a_sheet_of_picks(plant: RunningPlant) -> None:
    orders = plant.orders()
    book = plant.client.get("/v1/work-orders/file", params={"format": "xlsx"}).content
    header, *rows = cells_of(book, "work-orders")
    told = [dict(zip(header, row, strict=True)) for row in rows]
    assert [(row["work_order"], row["task"]) for row in told] == [
        (order["id"], task["id"]) for order in orders for task in order["tasks"]
    ]
    of = {row["position"]: row for row in told}
    planned = datetime.fromisoformat(plant.order_of(RETURN)["planned_for"])
    shown = of[RETURN]["planned_for [Europe/Oslo]"]
    assert abs(shown - planned.replace(tzinfo=None)) < timedelta(seconds=1)
    assert "1 × EL-10 from MAIN bin A1 lot L-1" in of[RETURN]["parts"]
    assert of[BREATHER]["shortage"].startswith("1 × BR-1, arrives 2026-03-13 with PO-9/1")
    assert of[RETURN]["shortage"] == ""
    header, *picks = cells_of(book, "picks")
    assert len(picks) == sum(len(task["picks"]) + len(task["oil"]) for order in orders for task in order["tasks"])
    assert "volume [L]" in header


def test_the_work_file_takes_the_filters_of_the_list(plant: RunningPlant) -> None:
    for chosen in ({"position": BREATHER}, {"system": "CONV"}, {"state": "withdrawn"}, {"plant": "MILL"}):
        listed = {order["id"] for order in plant.orders(**chosen)}
        rows = rows_of(plant.client.get("/v1/work-orders/file", params=chosen).content)
        assert {int(row["work_order"]) for row in rows} == listed
    picks = rows_of(plant.client.get("/v1/work-orders/file", params={"sheet": "picks"}).content)
    assert {row["item"] for row in picks} >= {"EL-10", "SK-1", "TRAY"}


def test_volumes_of_a_plant_in_us_units_are_gallons(plant: RunningPlant) -> None:
    plant.take_in(
        SmallPlant(
            plant.now, {"plants": [{"plant": "MILL", "time_zone": "Europe/Oslo", "display_units": "us"}]}
        ).with_rows("positions", _with_oil())
    )
    plant.run_pass()
    (oil,) = plant.task_of(RETURN)["oil"]
    rows = rows_of(plant.client.get("/v1/work-orders/file", params={"sheet": "picks"}).content)
    (row,) = [row for row in rows if row["item"] == "OIL-46"]
    gallons = oil["volume"]["value"] / 3.785412  # US gallon, NIST SP 811, app. B
    assert float(row["volume [gal]"]) == pytest.approx(gallons, abs=1e-3)


def _with_oil() -> dict[str, Any]:
    place: dict[str, Any] = {"position": RETURN, "system": "PRESS", "place": "return", "part_number": "EL-10"}
    return place | {"housing_volume [L]": 10}


def test_a_key_of_another_plant_gets_none_of_the_rows_and_may_not_ask_for_the_plant(plant: RunningPlant) -> None:
    with plant.database.writing() as connection:
        add_plant(connection, "OTHER")
        key = make_key(connection, "elsewhere", [Scope.READ], now=plant.now, plants=["OTHER"])
    other = _client(plant.app, key)
    for path in ("/v1/due/file", "/v1/work-orders/file"):
        assert rows_of(other.get(path).content) == []
        refused = other.get(path, params={"plant": "MILL"})
        assert (refused.status_code, refused.json()["type"]) == (403, "/problems/not-allowed")


@pytest.mark.one_database_is_enough
def test_the_command_line_writes_the_same_files(plant: RunningPlant, tmp_path: Path) -> None:
    due, work = tmp_path / "due.csv", tmp_path / "work.csv"
    assert run_here(plant, "due", "--write", str(due)).exit_code == 0
    assert due.read_bytes() == plant.client.get("/v1/due/file").content
    assert run_here(plant, "jobs", "list", "--write", str(work)).exit_code == 0
    assert work.read_bytes() == plant.client.get("/v1/work-orders/file").content
    refused = run_here(plant, "due", "--write", str(tmp_path / "due.ods"))
    assert refused.exit_code == 2
    assert ".xlsx" in refused.stderr
