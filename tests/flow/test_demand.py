"""What will be used, what runs out and what to order, asked of a served plant and by the command line.

contract.md, "The command line" and "Facts and refusals"; the distributions themselves are checked in `statistics`.
"""

import csv
import io
import xml.etree.ElementTree as ET
import zipfile
from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest

from scheduler.vocabulary import Scope
from tests.flow.command_line import run, said_by
from tests.flow.running_plant import RunningPlant, copied, iso, make_planned, oil, running
from tests.flow.small_folder import HOURS_NOW, NOW, RETURN, STRAINER, moment, small_plant

pytestmark = pytest.mark.one_database_is_enough

_LEAD_D = 20


@pytest.fixture(scope="module")
def stocked_file(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The small plant with a catalogue that tells prices and lead times, packs, and top-ups of the press."""
    plant = small_plant()
    plant = plant.changed(
        *("element_types", "part_number", "EL-10"),
        lead_time__d=_LEAD_D,
        price="80.50",
        currency="EUR",
        pack=4,
        description='=HYPERLINK("x")',
    )
    plant = plant.changed("element_types", "part_number", "BR-1", lead_time__d=5, price=19, currency="EUR")
    plant = plant.changed("parts", "part_number", "TRAY", lead_time__d=7, price=2, currency="EUR", pack=10)
    plant = plant.changed("positions", "position", RETURN, housing_volume__L=12)
    top_ups = [
        {"system": "PRESS", "at": moment(NOW, days_ago), "fluid": "OIL-46", "volume [L]": 6}
        for days_ago in (320, 250, 200, 100, 40)
    ]
    return make_planned(tmp_path_factory.mktemp("stocked") / "plant.sqlite", plant.with_rows("top_ups", *top_ups))


@pytest.fixture
def stocked(stocked_file: Path, tmp_path: Path) -> Iterator[RunningPlant]:
    with running(copied(stocked_file, tmp_path / "plant.sqlite")) as service:
        yield service


def item(found: dict[str, Any], code: str) -> dict[str, Any]:
    [one] = [each for each in found["items"] if each["item"] == code]
    return dict(one)


def test_everything_that_a_kit_takes_and_every_oil_is_forecast(stocked: RunningPlant) -> None:
    found = stocked.get("/v1/demand")
    taken = {"EL-10", "EL-25", "BR-1", "SK-1", "GK-1", "TRAY", "OIL-46", "STR-1"}
    assert {each["item"] for each in found["items"]} == taken
    # nobody knows what sits in the pilot position, so nobody can say when it is changed
    assert item(found, "EL-25")["periods"][-1]["by_end"]["mean"] == 0.0
    assert {each["item"] for each in found["items"] if each["unit"] == "L"} == {"OIL-46"}
    assert item(found, "EL-10")["positions"] == 3  # the return element and both sides of the duplex housing
    assert found["asked"]["time_zone"] == "Europe/Oslo"
    assert found["neglected"]


def test_a_change_that_is_planned_is_certain_on_its_day_and_takes_its_whole_kit(stocked: RunningPlant) -> None:
    planned = datetime.fromisoformat(stocked.order_of(RETURN)["planned_for"])
    found = stocked.get("/v1/demand", period="week", periods=26)
    trays = item(found, "TRAY")["periods"]
    [week] = [
        each
        for each in trays
        if datetime.fromisoformat(each["starts_at"]) <= planned < datetime.fromisoformat(each["ends_at"])
    ]
    assert (week["within"]["p10"], week["within"]["p90"], week["within"]["mean"]) == (2.0, 2.0, 2.0)  # kit line: 2


def test_a_strainer_is_cleaned_so_often_and_then_a_new_one_is_used(stocked: RunningPlant) -> None:
    """STR-1 may be cleaned ten times, so that one service in eleven takes a new one."""
    found = stocked.get("/v1/demand")
    services = item(found, "GK-1")["periods"][-1]["by_end"]["mean"]
    assert services >= 1.0  # every 1,000 h at 8 h a day
    assert item(found, "STR-1")["periods"][-1]["by_end"]["mean"] == pytest.approx(services / 11, abs=0.006)
    assert stocked.due(STRAINER)["part_number"] == "STR-1"


def test_oil_is_what_changes_lose_and_what_top_ups_took(stocked: RunningPlant) -> None:
    found = stocked.get("/v1/demand", period="month", periods=12)
    year = item(found, "OIL-46")["periods"][-1]["by_end"]
    changes = item(found, "TRAY")["periods"][-1]["by_end"]["mean"] / 2.0
    # four top-ups of 6 L in the 320 days since the first, and a 12 L housing at each change of the return element
    expected_L = 4 * 6.0 / 320.0 * 360.0 + 12.0 * changes
    assert year["mean"] == pytest.approx(expected_L, rel=0.25)
    assert year["p10"] < year["mean"] < year["p90"]


def test_periods_are_the_plants_calendar(stocked: RunningPlant) -> None:
    months = item(stocked.get("/v1/demand", periods=3), "EL-10")["periods"]
    assert [each["ends_at"] for each in months] == [
        "2026-04-01T00:00:00+02:00",  # summer time has begun
        "2026-05-01T00:00:00+02:00",
        "2026-06-01T00:00:00+02:00",
    ]
    assert months[0]["starts_at"] == "2026-03-05T10:00:00+01:00"
    weeks = item(stocked.get("/v1/demand", period="week", periods=2), "EL-10")["periods"]
    assert [each["ends_at"][:10] for each in weeks] == ["2026-03-09", "2026-03-16"]  # Mondays


def test_probabilities_of_at_least_so_many_are_told(stocked: RunningPlant) -> None:
    found = item(stocked.get("/v1/demand", at_least=[0, 1, 3], item="EL-10"), "EL-10")
    for period in found["periods"]:
        by_end = [chance["by_end"] for chance in period["chances"]]
        assert by_end[0] == 1.0
        assert sorted(by_end, reverse=True) == by_end
        assert all(chance["within"] <= chance["by_end"] for chance in period["chances"])
    last = found["periods"][-1]
    assert (last["chances"][1]["by_end"] > 0.9) == (last["by_end"]["p10"] >= 1)


def test_stock_runs_out_when_use_passes_it_and_supply_puts_it_off(stocked: RunningPlant) -> None:
    trays = item(stocked.get("/v1/demand"), "TRAY")
    shares = [period["run_out"] for period in trays["periods"]]
    assert shares == sorted(shares)
    assert trays["on_hand"] == 5
    assert trays["reserved"] == 2
    assert trays["periods"][-1]["by_end"]["p50"] > 5
    assert shares[-1] > 0.5
    assert trays["runs_out_at"] is not None
    stocked.take_in(
        small_plant().with_rows(
            "supply",
            {"order": "PO-10", "line": "1", "part_number": "TRAY", "quantity": 50, "expected_at": moment(NOW, -3)},
        )
    )
    stocked.later(minutes=1)
    more = item(stocked.get("/v1/demand"), "TRAY")
    assert more["on_order"] == 50
    assert more["periods"][-1]["run_out"] < 0.05
    assert more["runs_out_at"] is None


def test_the_buying_list_says_what_by_when_why_and_for_how_much(stocked: RunningPlant) -> None:
    found = stocked.get("/v1/demand/buying", level=0.95)
    orders = [line["order_by"] for line in found["items"]]
    assert orders == sorted(orders)
    trays = item(found, "TRAY")
    assert trays["quantity"] == trays["packs"] * 10
    assert trays["cost"] == f"{2 * trays['quantity']:.2f}"
    assert "On hand 5 pieces, nothing on order." in trays["reason"]
    assert "97.5 %" in trays["reason"]  # ordered at half of the risk that the level accepts
    assert found["cost"]["EUR"] == f"{sum(float(line['cost']) for line in found['items'] if line['cost']):.2f}"
    kit = item(found, "SK-1")
    assert kit["lead_time_is_assumed"]
    assert "assumed" in kit["reason"]


def test_what_if_supply_took_longer_or_more_certainty_were_wanted(stocked: RunningPlant) -> None:
    before = stocked.dump()
    usual = stocked.get("/v1/demand/buying", periods=12)
    slower = stocked.get("/v1/demand/buying", periods=12, lead_time_d=90)
    surer = stocked.get("/v1/demand/buying", periods=12, level=0.99)
    for line in usual["items"]:
        assert item(slower, line["item"])["order_by"] <= line["order_by"]
        assert item(surer, line["item"])["order_by"] <= line["order_by"]
        assert item(surer, line["item"])["reorder_level"] >= line["reorder_level"]
    assert any(item(slower, line["item"])["order_by"] < line["order_by"] for line in usual["items"])
    assert slower["asked"]["lead_time_d"] == 90.0
    assert stocked.dump() == before


def test_an_expired_lot_is_not_counted_on(stocked: RunningPlant) -> None:
    fresh = item(stocked.get("/v1/demand"), "EL-10")
    assert fresh["on_hand"] == 4
    stocked.later(days=410)  # the lot of one expires 400 days from the start
    assert item(stocked.get("/v1/demand"), "EL-10")["on_hand"] == 3


def test_an_alternate_that_nothing_else_asks_for_counts_and_is_named(stocked: RunningPlant) -> None:
    without = item(stocked.get("/v1/demand", periods=24), "EL-10")["periods"][-1]["run_out"]
    counted = {"store": "MAIN", "counted_at": moment(NOW, 5)}
    of_other_seal = {"part_number": "EL-10-FKM", "lot": "F", "on_hand": 7, **counted}
    stocked.take_in(small_plant().with_rows("stock", of_other_seal))
    stocked.later(minutes=1)
    assert item(stocked.get("/v1/demand", periods=24), "EL-10")["periods"][-1]["run_out"] < 0.5 * without
    asked = {"periods": 24, "level": 0.9999}
    [line] = [each for each in stocked.get("/v1/demand/buying", **asked)["items"] if each["item"] == "EL-10"]
    assert line["alternates"] == ["EL-10-FKM"]
    assert "7 pieces of EL-10-FKM that may stand in" in line["reason"]


def test_the_past_is_asked_as_it_was_known(stocked: RunningPlant) -> None:
    then = stocked.get("/v1/demand", as_of=iso(NOW))
    counted = {"store": "MAIN", "counted_at": moment(NOW, -1)}
    stocked.later(days=2)
    stocked.take_in(small_plant().with_rows("stock", {"part_number": "TRAY", "lot": "NEW", "on_hand": 90, **counted}))
    stocked.later(minutes=1)
    assert item(stocked.get("/v1/demand"), "TRAY")["on_hand"] == 95
    assert item(stocked.get("/v1/demand", as_of=iso(NOW)), "TRAY")["on_hand"] == 5
    assert stocked.get("/v1/demand", as_of=iso(NOW))["items"] == then["items"]


@pytest.mark.parametrize(("path", "limit"), [("/v1/demand", 4), ("/v1/demand/buying", 1)])
def test_pages_hold_every_item_once_and_belong_to_one_moment(stocked: RunningPlant, path: str, limit: int) -> None:
    whole = stocked.get(path)
    assert len(whole["items"]) > limit
    paged, cursor = [], None
    while True:
        page = stocked.get(path, limit=limit, **({"cursor": cursor} if cursor else {}))
        paged += page["items"]
        assert page["asked"]["as_of"] == whole["asked"]["as_of"]
        stocked.later(hours=30)
        cursor = page["next"]
        if cursor is None:
            break
    assert paged == whole["items"]


@pytest.mark.parametrize(
    ("query", "says"),
    [
        ({"periods": 105}, "equal to 104"),
        ({"period": "month", "periods": 25}, "more than 24"),
        ({"level": 1.0}, "0.9999"),
        ({"period": "day"}, "week"),
        ({"lead_time_d": -1}, "greater than or equal to 0"),
        ({"at_least": -1}, "greater than or equal to 0"),
        ({"cursor": "x"}, "next"),
        ({"as_of": "2026-03-05T10:00"}, "timezone"),
    ],
)
def test_what_cannot_be_asked_is_refused_by_name(stocked: RunningPlant, query: dict[str, Any], says: str) -> None:
    answer = stocked.client.get("/v1/demand", params=query)
    assert answer.status_code == 422
    problem = answer.json()
    assert says in answer.text
    assert any(name in str(problem["errors"]) for name in query)


def test_before_a_plant_is_known_it_says_what_to_do(empty_file: Path, tmp_path: Path) -> None:
    with running(copied(empty_file, tmp_path / "plant.sqlite")) as service:
        answer = service.client.get("/v1/demand")
        assert answer.status_code == 409
        assert "import a plant folder first" in answer.json()["detail"]


def test_a_reader_may_ask_and_a_technician_may_not(stocked: RunningPlant) -> None:
    for path in ("/v1/demand", "/v1/demand/buying", "/v1/demand/file", "/v1/demand/learned"):
        assert stocked.client_with(Scope.READ, name=f"reads {path}").get(path).status_code == 200
        assert stocked.client_with(Scope.WORK, name=f"works {path}").get(path).status_code == 403


def test_the_first_pass_of_a_month_keeps_its_forecast_and_use_is_held_against_it(stocked: RunningPlant) -> None:
    kept = stocked.rows("demand_forecasts")
    assert {row["starts_at"] for row in kept if row["item"] == "TRAY"} == {
        NOW,
        datetime(2026, 3, 31, 22, tzinfo=UTC),
        datetime(2026, 4, 30, 22, tzinfo=UTC),
    }
    stocked.later(hours=1)
    stocked.run_pass()
    assert stocked.rows("demand_forecasts") == kept
    assert stocked.get("/v1/demand/learned") == {"overall": None, "items": [], "newest": []}

    stocked.close(
        task=stocked.task_of(RETURN)["id"], hours=HOURS_NOW, oil=[oil("OIL-46", 14.0, lot="D-1")], at=iso(stocked.now)
    )
    stocked.later(days=30)
    stocked.run_pass()
    assert len(stocked.rows("demand_forecasts")) > len(kept)  # April's first pass
    learned = stocked.get("/v1/demand/learned")
    told = {(each["item"], each["unit"]): each["used"] for each in learned["newest"]}
    assert told["EL-10", "pieces"] == 1
    assert told["OIL-46", "L"] == 14.0
    [trays] = [each for each in learned["items"] if each["item"] == "TRAY"]
    assert (trays["forecasts"], trays["used"], trays["forecast"]) == (1, 2.0, 2.0)
    assert learned["overall"]["forecasts"] == sum(
        each["forecasts"] for each in learned["items"] if each["unit"] != "L"
    )


def test_the_file_has_units_in_its_headers_and_no_cell_that_computes(stocked: RunningPlant) -> None:
    answer = stocked.client.get("/v1/demand/file", params={"list": "buying", "level": 0.95})
    assert answer.headers["content-type"] == "text/csv; charset=utf-8"
    rows = list(csv.DictReader(io.StringIO(answer.content.decode("utf-8-sig"))))
    lines = stocked.get("/v1/demand/buying")["items"]
    assert [row["item"] for row in rows] == [line["item"] for line in lines]
    assert [float(row["quantity [unit]"]) for row in rows] == [line["quantity"] for line in lines]
    demand = stocked.client.get("/v1/demand/file").text
    assert "'=HYPERLINK" in demand
    assert not [cell for row in csv.reader(io.StringIO(demand)) for cell in row if cell.startswith(("=", "+", "@"))]


def test_the_workbook_holds_texts_as_texts_and_numbers_as_numbers(stocked: RunningPlant) -> None:
    answer = stocked.client.get("/v1/demand/file", params={"format": "xlsx"})
    with zipfile.ZipFile(io.BytesIO(answer.content)) as archive:
        sheet = ET.fromstring(archive.read("xl/worksheets/sheet1.xml"))  # noqa: S314 - we have just made it
    main = "{http://schemas.openxmlformats.org/spreadsheetml/2006/main}"
    cells = list(sheet.iter(f"{main}c"))
    assert not list(sheet.iter(f"{main}f"))
    texts = {"".join(cell.itertext()) for cell in cells if cell.get("t") == "inlineStr"}
    assert '=HYPERLINK("x")' in texts
    numbers = [float("".join(cell.itertext())) for cell in cells if cell.get("t") is None and cell.get("s") is None]
    found = stocked.get("/v1/demand")
    assert len(numbers) == 11 * sum(len(each["periods"]) for each in found["items"])
    assert item(found, "TRAY")["periods"][0]["within"]["mean"] in numbers


@pytest.mark.one_database_is_enough
def test_the_command_line_tells_the_same(stocked: RunningPlant, tmp_path: Path) -> None:
    asked = {"as_of": iso(NOW + timedelta(hours=1)), "level": 0.9, "periods": 6}
    words = ["--as-of", asked["as_of"], "--level", "0.9", "--periods", "6"]
    stocked.later(hours=2)
    assert said_by(stocked, "demand", "--json", *words) == stocked.get("/v1/demand", **asked)
    told = said_by(stocked, "demand", "--learned", "--json")["items"]  # by the true clock: all months have passed
    assert {"TRAY", "EL-10", "OIL-46"} <= {each["item"] for each in told}
    table = said_by(stocked, "demand", *words, as_json=False)
    assert "EL-10" in table
    assert "level 90%" in table
    file = tmp_path / "buying.csv"
    assert run(stocked, "demand", "--buying", "--write", str(file), *words).returncode == 0
    answer = stocked.client.get("/v1/demand/file", params=asked | {"list": "buying"})
    assert file.read_bytes().decode() == answer.text


def test_a_line_never_promises_more_than_stock_keeps(stocked: RunningPlant) -> None:
    told = set()
    for level in (0.5, 0.7, 0.8, 0.9, 0.95, 0.99, 0.999, 0.9999):
        for line in stocked.get("/v1/demand/buying", level=level, lead_time_d=60)["items"]:
            lasts = "That lasts with" in line["reason"]
            assert lasts == (line["service"] >= 1.0 - 0.5 * (1.0 - level)), (level, line["reason"], line["service"])
            told.add(lasts)
    assert told == {True, False}
