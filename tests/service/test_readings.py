"""Readings in bulk: each row judged by itself, by the rules of a plant folder, and kept once."""

import json
from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import httpx
import pytest
import sqlalchemy as sa

from scheduler.vocabulary import Scope
from service.imports.importing import import_folder
from service.keys.keeping import make_key
from service.plant_folder.tables import TABLE
from service.readings import bodies
from tests.service.served import Served, served
from tests.service.small_plant import LAST_READING, PLANT, POSITIONS, SYSTEMS

Rows = list[dict[str, Any]]
UNITS = {"dp": "bar", "flow": "L/min", "oil_temperature": "degC"}
PLACE, OTHER_PLACE = POSITIONS[0], POSITIONS[4]
AT = (LAST_READING + timedelta(days=1)).isoformat()


@pytest.fixture(scope="module")
def service(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Served]:
    with served(tmp_path_factory.mktemp("readings")) as running:
        yield running


@pytest.fixture(autouse=True)
def only_its_own_readings(service: Served) -> Iterator[None]:
    yield
    with service.database.writing() as connection:
        for table in ("dp_readings", "meter_readings"):
            connection.execute(sa.delete(TABLE[table]).where(TABLE[table].c.source != "import 1"))


@pytest.fixture(scope="module")
def client(service: Served) -> Iterator[httpx.Client]:
    with service.client(service.key(Scope.INTEGRATE, Scope.READ, name="logger")) as opened:
        yield opened


def dp(number: int = 0, **more: Any) -> dict[str, Any]:
    return {"position": PLACE, "at": (LAST_READING + timedelta(hours=number)).isoformat(), "dp": 1.2} | more


def send(client: httpx.Client, *rows: Any, units: dict[str, str] | None = None, **query: Any) -> dict[str, Any]:
    body = {"units": UNITS if units is None else units, "rows": list(rows)}
    answer = client.post("/v1/dp-readings", json=body, params=query)
    assert answer.status_code == 200, answer.text
    return dict(answer.json())


def kept(service: Served, table: str = "dp_readings", **where: Any) -> Rows:
    """What holds now."""
    query = sa.select(TABLE[table]).where(TABLE[table].c.superseded_at.is_(None)).filter_by(**where)
    with service.database.reading() as connection:
        return [dict(row) for row in connection.execute(query.order_by(TABLE[table].c.id)).mappings()]


def content_of(service: Served, table: str) -> Rows:
    """What holds now, but for how it came here."""
    told_by = ("id", "source", "recorded_at")
    return [{name: value for name, value in row.items() if name not in told_by} for row in kept(service, table)]


def test_rows_that_are_right_are_kept_though_others_are_refused(service: Served, client: httpx.Client) -> None:
    told = send(client, dp(1), dp(2, dp=-1), dp(3, at="yesterday"), dp(4, position="LINE1-R9"), dp(5))
    assert told["counts"] == {"new": 2, "as_before": 0, "corrected": 0, "refused": 3}
    refused = {row["row"]: [error["member"] for error in row["errors"]] for row in told["outcomes"]}
    assert refused == {2: ["dp"], 3: ["at"], 4: ["position"]}
    assert told["outcomes"][0]["errors"][0]["says"] == "-1 bar is below 0 bar"
    assert len(kept(service)) == 2


def test_a_reading_is_known_from_when_it_came_and_by_whom(service: Served, client: httpx.Client) -> None:
    before = datetime.now(UTC)
    told = send(client, dp(1))
    (row,) = kept(service)
    assert before <= row["recorded_at"] <= datetime.now(UTC)
    assert datetime.fromisoformat(told["recorded_at"]) == row["recorded_at"]
    assert row["source"] == f"import {told['import_id']}"
    with service.database.reading() as connection:
        by = connection.scalar(sa.text("SELECT by FROM imports ORDER BY id DESC"))
    assert by == "logger"


def test_the_same_again_is_as_before_and_changes_nothing(service: Served, client: httpx.Client) -> None:
    send(client, dp(1), dp(2))
    before = kept(service)
    again = send(client, dp(1), dp(2), dp(2))
    assert again["counts"] == {"new": 0, "as_before": 3, "corrected": 0, "refused": 0}
    assert again["import_id"] is None
    assert again["outcomes"] == [
        {
            "row": 3,
            "outcome": "as_before",
            "earlier": {},
            "errors": [],
            "remarks": ["the row repeats row 2 and is taken once"],
        }
    ]
    assert kept(service) == before


def test_a_repeat_far_below_is_still_a_repeat(client: httpx.Client, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(bodies, "_ROWS_IN_BLOCK", 2)
    told = send(client, *(dp(number) for number in (1, 2, 3, 4, 1, 5, 2)))
    assert told["counts"] == {"new": 5, "as_before": 2, "corrected": 0, "refused": 0}


def test_another_value_corrects_and_the_earlier_one_stays_on_record(service: Served, client: httpx.Client) -> None:
    send(client, dp(1))
    told = send(client, dp(1, dp=1.4, flow=180))
    (row,) = told["outcomes"]
    assert (row["outcome"], row["earlier"]) == ("corrected", {"dp": {"value": 1.2, "unit": "bar"}, "flow": None})
    assert [each["dp_bar"] for each in kept(service)] == [1.4]
    with service.database.reading() as connection:
        versions = connection.scalars(sa.select(TABLE["dp_readings"].c.dp_bar).order_by(TABLE["dp_readings"].c.id))
        assert list(versions) == [1.2, 1.4]


def test_two_rows_that_contradict_each_other_are_told_and_the_first_is_kept(
    service: Served, client: httpx.Client
) -> None:
    told = send(client, dp(1), dp(1, dp=1.3))
    assert told["counts"]["refused"] == 1
    assert "row 1 has the same key" in told["outcomes"][0]["errors"][0]["says"]
    assert [row["dp_bar"] for row in kept(service)] == [1.2]


def test_a_right_row_is_not_held_against_a_refused_one_of_its_key(service: Served, client: httpx.Client) -> None:
    assert send(client, dp(1, dp=-3), dp(1))["counts"] == {"new": 1, "as_before": 0, "corrected": 0, "refused": 1}
    assert [row["dp_bar"] for row in kept(service)] == [1.2]


def test_every_row_is_told_of_where_that_is_asked_for(client: httpx.Client) -> None:
    told = send(client, dp(1), dp(2, dp=None), outcomes="all")
    assert [(row["row"], row["outcome"]) for row in told["outcomes"]] == [(1, "new"), (2, "refused")]


def test_all_or_nothing_keeps_nothing_where_one_row_is_refused(service: Served, client: httpx.Client) -> None:
    body = {"units": UNITS, "rows": [dp(1), dp(2, dp=-1)]}
    refused = client.post("/v1/dp-readings", json=body, params={"all_or_nothing": True})
    assert refused.status_code == 422
    assert [error["member"] for error in refused.json()["errors"]] == ["row 2: dp"]
    assert kept(service) == []
    body["rows"].pop()
    assert client.post("/v1/dp-readings", json=body, params={"all_or_nothing": True}).status_code == 200
    assert len(kept(service)) == 1


@pytest.mark.parametrize(
    ("row", "member"),
    [
        (dp(dp="1.2"), "dp"),
        (dp(dp=True), "dp"),
        (dp(external_ref=7), "external_ref"),
        (dp(vacuum=0.2), "vacuum"),
        (dp(pressure=1), "pressure"),
        (dp(at=7), "at"),
        (dp(at="2099-01-01T00:00Z"), "at"),
        (dp(at=None), "at"),
        (dp(stage="during"), "stage"),
        ({"position": PLACE, "at": AT}, "dp, upstream, vacuum, indicator"),
        ([1, 2], "body"),
        (dp(dp=5000), "dp"),
    ],
    ids=str,
)
def test_a_row_that_cannot_be_is_refused_for_its_member(
    service: Served, client: httpx.Client, row: Any, member: str
) -> None:
    told = send(client, row, dp(9))
    assert told["counts"]["refused"] == 1
    assert [error["member"] for error in told["outcomes"][0]["errors"]][:1] == [member]
    assert len(kept(service)) == 1


@pytest.mark.parametrize(
    ("body", "member"),
    [
        ({"units": UNITS}, "rows"),
        ({"rows": [dp()]}, "units.dp"),
        ({"units": UNITS, "rows": {}}, "rows"),
        ({"units": [], "rows": []}, "units"),
        ({"units": {"dp": "barg"}, "rows": []}, "units.dp"),
        ({"units": {"dp": 1}, "rows": []}, "units"),
        ({"units": {"at": "h"}, "rows": []}, "units.at"),
        ({"units": UNITS, "rows": [], "unit": 1}, "unit"),
        ([], "body"),
    ],
    ids=str,
)
def test_a_body_of_another_shape_is_refused_as_a_whole(client: httpx.Client, body: Any, member: str) -> None:
    refused = client.post("/v1/dp-readings", json=body)
    if member == "units.dp" and "rows" in body and body["rows"]:
        assert refused.json()["outcomes"][0]["errors"][0]["says"] == "the unit of dp is not said in units"
        return
    assert refused.status_code == 422, refused.text
    assert refused.json()["errors"][0]["member"] == member


def test_hours_need_their_unit(client: httpx.Client) -> None:
    refused = client.post("/v1/meter-readings", json={"units": {}, "rows": []})
    assert (refused.status_code, refused.json()["errors"][0]["member"]) == (422, "units.hours")


LOCAL_HOURS = [
    {"system": SYSTEMS[0], "at": "2025-03-05", "hours": 52000},
    {"system": SYSTEMS[0], "at": "2025-03-06T07:30", "hours": 52480.5, "external_ref": "S-9"},
    {"system": SYSTEMS[1], "meter": "pump 2", "at": "2025-03-06T07:30+02:00", "hours": 90, "kind": "first"},
]


def as_lines(rows: Rows, units: dict[str, str]) -> bytes:
    return "\n".join(map(json.dumps, [{"units": units}, *rows])).encode()


def as_csv(rows: Rows, units: dict[str, str]) -> bytes:
    names = list(dict.fromkeys(name for row in rows for name in row))
    header = ",".join(f"{name} [{units[name]}]" if name in units else name for name in names)
    lines = [",".join(str(row.get(name, "")) for name in names) for row in rows]
    return "\n".join([header, *lines]).encode()


def test_json_lines_and_csv_say_what_a_folder_says(service: Served, client: httpx.Client, tmp_path: Path) -> None:
    """The reference is the import of the same table."""
    units = {"hours": "min"}
    folder = tmp_path / "folder"
    folder.mkdir()
    (tmp_path / "other").mkdir()
    (folder / "meter_readings.csv").write_bytes(as_csv(LOCAL_HOURS, units))
    with served(tmp_path / "other") as other:
        import_folder(other.database, folder, name="folder", now=datetime.now(UTC), by="test")
        expected = content_of(other, "meter_readings")
    for media_type, write in (("application/x-ndjson", as_lines), ("text/csv", as_csv)):
        headers = {"Content-Type": media_type}
        told = client.post("/v1/meter-readings", content=write(LOCAL_HOURS, units), headers=headers)
        assert told.status_code == 200, told.text
        assert told.json()["counts"]["refused"] == 0
        assert content_of(service, "meter_readings") == expected
    assert told.json()["counts"] == {"new": 0, "as_before": 3, "corrected": 0, "refused": 0}
    assert client.post("/v1/meter-readings", json={"units": units, "rows": LOCAL_HOURS}).json()["import_id"] is None


def test_rows_of_a_csv_are_counted_without_its_header(client: httpx.Client) -> None:
    content = as_csv([dp(1), dp(2, dp="much"), dp(3)], UNITS) + b",,,,,\n"
    told = client.post("/v1/dp-readings", content=content, headers={"Content-Type": "text/csv; charset=utf-8"})
    assert [row["row"] for row in told.json()["outcomes"]] == [2]


@pytest.mark.parametrize(
    ("media_type", "content", "status", "says"),
    [
        ("text/csv", b"", 422, "is empty"),
        ("text/csv", b"position;at;dp [bar]\n", 422, "semicolons"),
        ("text/csv", b"position,at,dp\n", 422, "unit"),
        ("text/csv", b"position,dp [bar]\n", 422, "'at' is missing"),
        ("text/csv", "position,at,dp [bar]\nø".encode("cp1252"), 422, "UTF-8"),
        ("application/x-ndjson", b"", 422, "units"),
        ("application/x-ndjson", b'{"units": {"dp": "bar"}}\n{"dp": NaN}\n', 400, "line 2"),
        ("application/x-ndjson", b'{"units": {"dp": "bar"}}\n{"dp": 1, "dp": 2}\n', 400, "twice"),
        ("application/x-ndjson", b'{"units": {"dp": "bar"}}\n{"dp": 1\n', 400, "not JSON"),
        ("application/json", b'{"units": {}, "rows": [], "rows": []}', 400, "twice"),
        ("application/xml", b"<dp/>", 415, "Content-Type"),
        ("", b"x", 415, "Content-Type"),
    ],
)
def test_what_cannot_be_read_is_refused_as_a_whole(
    client: httpx.Client, media_type: str, content: bytes, status: int, says: str
) -> None:
    refused = client.post("/v1/dp-readings", content=content, headers={"Content-Type": media_type})
    assert refused.status_code == status, refused.text
    assert refused.headers["Content-Type"] == "application/problem+json"
    assert says in refused.text


@pytest.mark.parametrize("media_type", bodies.MEDIA_TYPES)
def test_more_rows_than_a_call_may_have_are_refused_and_none_is_kept(
    service: Served, client: httpx.Client, monkeypatch: pytest.MonkeyPatch, media_type: str
) -> None:
    monkeypatch.setattr(bodies, "MOST_ROWS", 3)
    rows = [dp(number) for number in range(4)]
    content = {
        "application/json": json.dumps({"units": UNITS, "rows": rows}).encode(),
        "application/x-ndjson": as_lines(rows, UNITS),
        "text/csv": as_csv(rows, UNITS),
    }[media_type]
    refused = client.post("/v1/dp-readings", content=content, headers={"Content-Type": media_type})
    assert refused.status_code == 413
    assert "3 rows" in refused.json()["detail"]
    assert kept(service) == []


def test_more_bytes_than_a_call_may_have_are_refused(tmp_path: Path) -> None:
    with (
        served(tmp_path, largest_readings_bytes=2000) as service,
        service.client(service.key(Scope.INTEGRATE)) as client,
    ):
        body = {"units": UNITS, "rows": [dp(1, external_ref="x" * 2000)]}
        assert client.post("/v1/dp-readings", json=body).status_code == 413


def test_the_same_idempotency_key_gets_the_same_answer_and_another_body_is_refused(
    service: Served, client: httpx.Client
) -> None:
    key = {"Idempotency-Key": "night 12"}
    first = client.post("/v1/dp-readings", json={"units": UNITS, "rows": [dp(1)]}, headers=key)
    again = client.post("/v1/dp-readings", json={"units": UNITS, "rows": [dp(1)]}, headers=key)
    assert (again.json(), again.headers["Idempotency-Replayed"]) == (first.json(), "true")
    other = client.post("/v1/dp-readings", json={"units": UNITS, "rows": [dp(2)]}, headers=key)
    assert other.json()["type"] == "/problems/idempotency-key-reused"
    assert len(kept(service)) == 1


def test_a_position_of_another_plant_is_unknown_to_a_key_of_one(service: Served) -> None:
    with service.database.writing() as connection:
        connection.execute(sa.insert(TABLE["plants"]).values(plant="QUARRY", time_zone="Asia/Tokyo"))
        connection.execute(
            sa.update(TABLE["systems"]).where(TABLE["systems"].c.system == SYSTEMS[1]).values(plant="QUARRY")
        )
        key = make_key(connection, "one plant", [Scope.INTEGRATE], now=datetime.now(UTC), plants=[PLANT])
    with service.client(key) as client:
        told = send(client, dp(1), dp(2, position=OTHER_PLACE), dp(3, position="LINE9-R2"))
    assert told["counts"] == {"new": 1, "as_before": 0, "corrected": 0, "refused": 2}
    foreign, missing = (row["errors"][0] for row in told["outcomes"])
    assert foreign["says"].replace(OTHER_PLACE, "") == missing["says"].replace("LINE9-R2", "")
