"""Systems, positions, element types and fluids told one at a time, as a folder of one row would tell them.

What is recorded is compared with the import of the same row (`read_folder`, `merge_folder`), which is the reference
here: a row by the API means what a row of a folder means.
"""

import csv
import io
from collections.abc import Iterator
from contextlib import suppress
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import httpx
import pytest
import sqlalchemy as sa
from hypothesis import HealthCheck, event, given, settings
from hypothesis import strategies as st

from api_schemas.master_data import ElementType, Fluid, Position, System
from scheduler.vocabulary import UNIT_SYMBOLS, Scope
from service.keys.keeping import Caller, make_key
from service.master.resources import ELEMENT_TYPES, FLUIDS, POSITIONS, SYSTEMS, Resource
from service.master.upserting import Conditions, upsert
from service.plant_folder import layout
from service.plant_folder.fluid_checks import check_fluids
from service.plant_folder.headers import columns_of
from service.plant_folder.known_now import known_now
from service.plant_folder.merging import merge_folder
from service.plant_folder.reading import read_folder
from service.plant_folder.refusals import FolderRefused
from service.plant_folder.tables import TABLE
from service.problems import BadInput
from tests.service.served import Served, served
from tests.service.small_plant import ELEMENT, PLANT
from tests.service.small_plant import POSITIONS as PLACES

MODELS = {"systems": System, "positions": Position, "element_types": ElementType, "fluids": Fluid}
RESOURCES = (SYSTEMS, POSITIONS, ELEMENT_TYPES, FLUIDS)
NOW = datetime(2026, 3, 5, 9, tzinfo=UTC)
EVERYBODY = Caller("asset system", frozenset({Scope.INTEGRATE}))
OTHER = "QUARRY"
SYSTEM = {"plant": PLANT, "fluid": "HM46", "reservoir_volume": {"value": 400, "unit": "L"}}
POSITION = {"system": "LINE1", "place": "return", "part_number": ELEMENT}


@pytest.fixture(scope="module")
def service(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Served]:
    with served(tmp_path_factory.mktemp("master")) as running:
        with running.database.writing() as connection:
            connection.execute(sa.insert(TABLE["parts"]).values(part_number="K-1", kind="seal_kit"))
            connection.execute(sa.insert(TABLE["plants"]).values(plant=OTHER, time_zone="Asia/Tokyo", currency="JPY"))
        yield running


@pytest.fixture(scope="module")
def client(service: Served) -> Iterator[httpx.Client]:
    with service.client(service.key(Scope.INTEGRATE, Scope.READ, name="asset system")) as opened:
        yield opened


@pytest.fixture(scope="module")
def of_the_harbour(service: Served) -> Iterator[httpx.Client]:
    with service.database.writing() as connection:
        scopes = (Scope.INTEGRATE, Scope.READ)
        key = make_key(connection, "harbour only", scopes, now=NOW, plants=[PLANT])
    with service.client(key) as opened:
        yield opened


def test_the_members_are_the_columns_of_the_plant_folder() -> None:
    for table, model in MODELS.items():
        columns = columns_of(layout.TABLE[table])
        assert list(model.model_fields) == [
            "external_ref",
            "notes",
            *(name for name in columns if name != "external_ref"),
        ]
        required = {name for name, field in model.model_fields.items() if field.is_required()}
        assert required == {column.name for column in columns.values() if column.required and not column.key}


def test_a_system_is_new_once_and_told_again_it_changes_nothing(client: httpx.Client) -> None:
    first = client.put("/v1/systems/SHEAR", json=SYSTEM)
    assert (first.status_code, first.json()["is_new"]) == (201, True)
    again = client.put("/v1/systems/SHEAR", json=SYSTEM)
    assert (again.status_code, again.json()["changed"]) == (200, {})
    assert again.headers["ETag"] == first.headers["ETag"] == client.get("/v1/systems/SHEAR").headers["ETag"]


def test_what_changes_is_told_before_and_after_and_what_is_left_out_stays(client: httpx.Client) -> None:
    client.put("/v1/positions/SHEAR-P", json=POSITION | {"flow": {"value": 30, "unit": "gpm"}, "side": "left"})
    changed = client.put("/v1/positions/SHEAR-P", json=POSITION | {"side": "right", "external_ref": "A-1"}).json()
    assert changed["changed"] == {
        "side": {"earlier": "left", "new": "right"},
        "external_ref": {"earlier": None, "new": "A-1"},
    }
    flow = changed["item"]["flow"]
    assert flow["unit"] == "L/min"
    assert flow["value"] == pytest.approx(30 * 3.785411784)  # the US gallon: NIST SP 811 (2008), B.8


def test_what_was_read_can_be_told_back_as_it_is(client: httpx.Client) -> None:
    client.put("/v1/systems/FOLD", json=SYSTEM | {"stop_cost": 1250.5, "notes": {"x_bay": "7"}, "hazards": ["heat"]})
    stands = client.get("/v1/systems/FOLD").json()
    assert (stands["stop_cost"], stands["notes"], stands["hazards"]) == (1250.5, {"x_bay": "7"}, ["heat"])
    assert client.put("/v1/systems/FOLD", json=stands).json()["changed"] == {}


def test_money_has_the_digits_of_the_plants_currency(client: httpx.Client) -> None:
    yen = SYSTEM | {"plant": OTHER, "stop_cost": 125000}  # ISO 4217: the yen has no minor unit
    assert client.put("/v1/systems/KILN", json=yen).json()["item"]["stop_cost"] == 125000
    assert client.put("/v1/systems/KILN", json=yen | {"stop_cost": 12.5}).status_code == 422


@pytest.mark.parametrize(
    ("change", "member"),
    [
        ({"flow": {"value": 30, "unit": "bar"}}, "flow"),
        ({"flow": 30}, "flow"),
        ({"flow": None}, "flow"),
        ({"side": None}, "side"),
        ({"terminal_dp": {"value": 2, "unit": "barg"}}, "terminal_dp"),
        ({"terminal_dp": {"value": 0, "unit": "bar"}}, "terminal_dp"),
        ({"part_number": "E-11"}, "part_number"),
        ({"system": "LINE9"}, "system"),
        ({"place": "attic"}, "place"),
        ({"quantity": 0}, "quantity"),
        ({"position": "ANOTHER"}, "position"),
        ({"hose": "x"}, "hose"),
        ({"notes": {"bay": "7"}}, "notes.bay.[key]"),
        ({"side": "a\x85b"}, "side"),
    ],
)
def test_what_cannot_be_is_refused_for_its_member_and_nothing_is_kept(
    client: httpx.Client, change: dict[str, Any], member: str
) -> None:
    refused = client.put("/v1/positions/NEVER", json=POSITION | change)
    assert refused.status_code == 422
    assert [error["member"] for error in refused.json()["errors"]] == [member]
    assert refused.json()["errors"][0]["says"]
    assert client.get("/v1/positions/NEVER").status_code == 404


def test_a_fluid_is_held_against_what_is_recorded_of_it(client: httpx.Client) -> None:
    told = {"grade": 46, "viscosity_100": {"value": 6.8, "unit": "mm2/s"}}
    assert client.put("/v1/fluids/F1", json=told).status_code == 201
    contradicts = client.put("/v1/fluids/F1", json={"grade": 46, "viscosity_40": {"value": 5, "unit": "mm2/s"}})
    assert contradicts.status_code == 422
    assert "with what is recorded of 'F1'" in contradicts.json()["detail"]
    assert client.get("/v1/fluids/F1").json() == {"fluid": "F1"} | told


def test_conditions_hold_a_change_to_the_version_that_was_read(client: httpx.Client) -> None:
    first = client.put("/v1/fluids/F2", json={"grade": 46}, headers={"If-None-Match": "*"})
    assert first.status_code == 201
    assert client.put("/v1/fluids/F2", json={"grade": 46}, headers={"If-None-Match": "*"}).status_code == 412
    client.put("/v1/fluids/F2", json={"grade": 46, "name": "oil"})
    stale = client.put("/v1/fluids/F2", json={"grade": 46, "name": "A"}, headers={"If-Match": first.headers["ETag"]})
    assert stale.status_code == 412
    fresh = {"If-Match": client.get("/v1/fluids/F2").headers["ETag"]}
    assert client.put("/v1/fluids/F2", json={"grade": 46, "name": "B"}, headers=fresh).status_code == 200
    assert client.put("/v1/fluids/F9", json={"grade": 46}, headers={"If-Match": "*"}).status_code == 412


def test_the_etag_of_an_answer_that_came_compressed_is_the_version_that_was_read(client: httpx.Client) -> None:
    notes = {f"x_{number}": "it is long enough to be compressed" for number in range(40)}
    told = {"grade": 46, "notes": notes}
    assert client.put("/v1/fluids/F4", json=told).status_code == 201
    read = client.get("/v1/fluids/F4")
    assert read.headers["Content-Encoding"] == "gzip"
    etag = read.headers["ETag"]
    weak = client.put("/v1/fluids/F4", json=told | {"name": "A"}, headers={"If-Match": f"W/{etag}"})
    assert weak.status_code == 412  # RFC 9110, 13.1.1: If-Match compares strongly
    assert client.put("/v1/fluids/F4", json=told | {"name": "A"}, headers={"If-Match": etag}).status_code == 200
    assert client.put("/v1/fluids/F4", json=told | {"name": "B"}, headers={"If-Match": etag}).status_code == 412


def test_the_same_idempotency_key_gets_the_same_answer(client: httpx.Client) -> None:
    key = {"Idempotency-Key": "fluid 3"}
    first = client.put("/v1/fluids/F3", json={"grade": 32}, headers=key)
    client.put("/v1/fluids/F3", json={"grade": 46})
    again = client.put("/v1/fluids/F3", json={"grade": 32}, headers=key)
    assert (again.status_code, again.json()) == (201, first.json())
    assert again.headers["Idempotency-Replayed"] == "true"
    assert client.get("/v1/fluids/F3").json()["grade"] == 46
    assert client.put("/v1/fluids/F3", json={"grade": 68}, headers=key).status_code == 422


def test_a_list_is_read_page_by_page_though_rows_come_meanwhile(client: httpx.Client) -> None:
    first = client.get("/v1/positions", params={"limit": 2, "system": "LINE2"}).json()
    client.put("/v1/positions/AAA", json=POSITION | {"system": "LINE2"})  # before the page that was read
    client.put("/v1/positions/LINE2-R22", json=POSITION | {"system": "LINE2"})  # after it
    rest = client.get("/v1/positions", params={"limit": 50, "system": "LINE2", "cursor": first["next"]}).json()
    read = [item["position"] for item in first["items"] + rest["items"]]
    assert read == ["LINE2-R1", "LINE2-R2", "LINE2-R22", "LINE2-R3"]
    assert rest["next"] is None
    assert client.get("/v1/positions", params={"cursor": "no cursor"}).status_code == 422


def test_another_systems_code_finds_its_thing(client: httpx.Client) -> None:
    client.put(f"/v1/positions/{PLACES[0]}", json=POSITION | {"external_ref": "A-77"})
    client.put(f"/v1/element-types/{ELEMENT}", json={"kind": "element", "external_ref": "M-77"})
    for path, key, code in (("positions", "position", PLACES[0]), ("element-types", "part_number", ELEMENT)):
        found = client.get(f"/v1/{path}", params={"external_ref": "A-77" if path == "positions" else "M-77"}).json()
        assert [item[key] for item in found["items"]] == [code]


def test_what_is_in_another_plant_does_not_exist_for_a_key_of_one(
    client: httpx.Client, of_the_harbour: httpx.Client
) -> None:
    there = SYSTEM | {"plant": OTHER}
    client.put("/v1/systems/PIT", json=there)
    client.put("/v1/positions/PIT-R", json=POSITION | {"system": "PIT"})
    for kind, code in (("system", "PIT"), ("position", "PIT-R")):
        foreign = of_the_harbour.get(f"/v1/{kind}s/{code}")
        missing = of_the_harbour.get(f"/v1/{kind}s/NOT{code}")
        assert foreign.status_code == 404
        assert foreign.json()["detail"].replace(code, "") == missing.json()["detail"].replace(f"NOT{code}", "")
        assert code not in of_the_harbour.get(f"/v1/{kind}s", params={"limit": 1000}).text
    assert of_the_harbour.put("/v1/systems/PIT", json=SYSTEM).status_code == 404
    assert of_the_harbour.put("/v1/positions/PIT-R", json=POSITION).status_code == 404
    into_it = of_the_harbour.put("/v1/positions/HARBOUR-X", json=POSITION | {"system": "PIT"})
    unknown = of_the_harbour.put("/v1/positions/HARBOUR-X", json=POSITION | {"system": "TIP"})
    assert into_it.status_code == unknown.status_code == 422
    assert into_it.json()["detail"].replace("PIT", "") == unknown.json()["detail"].replace("TIP", "")
    assert of_the_harbour.put("/v1/systems/LINE1", json=there).status_code == 422  # moving needs both plants
    assert of_the_harbour.get("/v1/systems", params={"plant": OTHER}).status_code == 403
    assert client.get("/v1/systems/PIT").json()["plant"] == OTHER
    assert client.put("/v1/systems/PIT", json=SYSTEM).json()["changed"] == {"plant": {"earlier": OTHER, "new": PLANT}}


def test_what_plants_share_is_read_by_every_key_and_changed_by_keys_of_all_plants(
    of_the_harbour: httpx.Client,
) -> None:
    assert of_the_harbour.get("/v1/fluids/HM46").status_code == 200
    for path, body in (("fluids/HM46", {"grade": 46}), (f"element-types/{ELEMENT}", {"kind": "element"})):
        refused = of_the_harbour.put(f"/v1/{path}", json=body)
        assert refused.status_code == 403
        assert "all plants" in refused.json()["detail"]


def test_who_told_what_is_kept_like_an_import(service: Served, client: httpx.Client) -> None:
    client.put("/v1/fluids/F5", json={"grade": 32})
    client.put("/v1/fluids/F5", json={"grade": 32})
    with service.database.reading() as connection:
        kept = connection.execute(sa.text("SELECT name, by FROM imports WHERE name LIKE '%F5'")).all()
    assert kept == [("PUT /v1/fluids/F5", "asset system")]  # the repeat changed nothing


# the same as a row of a folder


def _values(column: layout.Column) -> st.SearchStrategy[Any]:
    """Values that mostly fit."""
    match column.cell:
        case layout.Quantity(kind=kind):
            numbers = st.one_of(st.sampled_from([*(1, 2.5, 40, 46) * 3, 0, -3]), st.floats(0.001, 20))
            units = st.sampled_from(UNIT_SYMBOLS[kind])
            return st.fixed_dictionaries({"value": numbers, "unit": st.one_of(st.just(UNIT_SYMBOLS[kind][0]), units)})
        case layout.Choice(options=options):
            return st.sampled_from([option.value for option in options])
        case _:
            texts = st.sampled_from(_CODES.get(column.name, _TEXTS))
            return _FIT.get(type(column.cell), texts)


_FIT: dict[type, st.SearchStrategy[Any]] = {
    layout.Pieces: st.sampled_from([32, 46, 46, 68, 0, 47]),
    layout.Number: st.one_of(st.floats(0, 150), st.just(-10.0)),
    layout.Money: st.sampled_from([0, 10, 12.5, 12.55]),
    layout.WordList: st.lists(st.sampled_from(["heat", "pressure", "own word"]), min_size=1, max_size=3),
    layout.CleanlinessCode: st.sampled_from(["18/16/13", "20/18/15", "18/16/13", "18/16"]),
}
_TEXTS = ["left", "ÅÄÖ µm", "a, b; c", '"quoted"']
_CODES = {
    "plant": [PLANT, PLANT, OTHER],
    "system": ["LINE1", "LINE2", "LINE2", "LINE9"],
    "fluid": ["HM46"],
    "part_number": [ELEMENT],
    "seal_kit": ["K-1", "K-1", "K-2"],
    "currency": ["NOK", "NOK", "JPY"],
}
_CODE_OF = {"systems": ["LINE1", "NEW"], "positions": [PLACES[0], "NEW"]}
_CODE_OF |= {"element_types": [ELEMENT, "NEW"], "fluids": ["HM46", "NEW"]}


@st.composite
def one_row(draw: st.DrawFn) -> tuple[Resource, str, dict[str, Any]]:
    resource = draw(st.sampled_from(RESOURCES))
    told: dict[str, Any] = {}
    for column in resource.layout.columns:
        if not column.key and (column.required or draw(st.integers(0, 3)) == 0):
            told[column.name] = draw(_values(column))
    if draw(st.booleans()):
        told["external_ref"] = "A-1"
    return resource, draw(st.sampled_from(_CODE_OF[resource.layout.name])), told


@given(row=one_row())
@settings(max_examples=60, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
def test_telling_a_row_and_importing_it_come_to_the_same(
    service: Served, tmp_path: Path, row: tuple[Resource, str, dict[str, Any]]
) -> None:
    resource, code, told = row
    by_put = _outcome(
        service, lambda connection: upsert(connection, resource, code, told, Conditions(), caller=EVERYBODY, now=NOW)
    )
    (tmp_path / f"{resource.layout.name}.csv").write_text(_as_csv(resource, code, told), encoding="utf-8")
    by_import = _outcome(service, lambda connection: _imported(connection, tmp_path))
    (tmp_path / f"{resource.layout.name}.csv").unlink()
    event("refused" if by_import == "refused" else "taken")
    assert by_put == by_import


class _Undo(Exception):
    pass


def _outcome(service: Served, change: Any) -> dict[str, Any] | str:
    """Every master table after the change, which is undone; 'refused' where it was refused."""
    found: dict[str, Any] | str = "refused"
    with suppress(_Undo, BadInput, FolderRefused), service.database.writing() as connection:
        change(connection)
        found = {
            table.name: [dict(each) for each in connection.execute(sa.select(table)).mappings()]
            for table in map(TABLE.__getitem__, MODELS)
        }
        raise _Undo
    return found


def _imported(connection: sa.Connection, folder: Path) -> None:
    read = read_folder(folder, known_now(connection), now=NOW)
    merge_folder(connection, read, recorded_now=NOW, source="test")
    check_fluids(connection, read)


def _as_csv(resource: Resource, code: str, told: dict[str, Any]) -> str:
    """Written by the rules of the guide for plant folders, without the code under test."""
    row: dict[str, str] = {resource.key: code}
    for name, value in told.items():
        if isinstance(value, dict):
            row[f"{name} [{value['unit']}]"] = repr(value["value"])
        elif isinstance(value, list):
            row[name] = "; ".join(value)
        else:
            row[name] = str(value)
    text = io.StringIO(newline="")
    out = csv.DictWriter(text, list(row))
    out.writeheader()
    out.writerow(row)
    return text.getvalue()
