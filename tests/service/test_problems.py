"""Whatever is sent, the answer is a problem document (RFC 9457) that names what is wrong, never a fault."""

import io
import json
import zipfile
from collections.abc import Iterator
from typing import Any

import anyio
import httpx
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from api_schemas.problems import ProblemDocument
from scheduler.vocabulary import Scope
from service.body_limit import READINGS
from service.problems import PROBLEMS, Problem
from service.strict_json import parse_strictly
from tests.service.route_table import Route, api_routes
from tests.service.served import Served, served
from tests.service.small_plant import close_out

WRITES = [route for route in api_routes() if route.method != "GET"]
TAKES_JSON = [route for route in WRITES if route.needs_json]
EACH_WRITE = pytest.mark.parametrize("route", WRITES, ids=str)
JSON = {"Content-Type": "application/json"}
PLACE = "LINE1-R1"
BAR = {"value": 1, "unit": "bar"}

NOT_JSON: dict[str, bytes] = {
    "not JSON": b"position = LINE1-R1",
    "cut short": b'{"position": "LINE1-R1"',
    "two values": b"{} {}",
    "a comma too many": b'{"note": "x",}',
    "not UTF-8": b'{"note": "\xff\xfe"}',
    "UTF-16": '{"note": "x"}'.encode("utf-16"),
    "nested 100,000 deep": b"[" * 100_000,
    "nested 100,000 deep and closed": b'{"note":' * 100_000 + b"1" + b"}" * 100_000,
    "nested 100 deep": b'{"note":' * 100 + b"1" + b"}" * 100,
    "a number of 10,000 digits": b'{"hours": ' + b"9" * 10_000 + b"}",
}

AMBIGUOUS: dict[str, tuple[bytes, str]] = {
    "NaN": (b'{"hours": NaN}', "hours"),
    "Infinity": (b'{"oil": [{"fluid": "A", "volume": {"value": -Infinity, "unit": "L"}}]}', "oil.0.volume.value"),
    "1e999": (b'{"dp_before": {"dp": {"value": 1e999, "unit": "bar"}}}', "dp_before.dp.value"),
    "half a surrogate pair": (b'{"note": "\\ud800"}', "note"),
    "half a surrogate pair as a name": (b'{"\\udfff": 1}', "\\udfff"),
    "NUL": (b'{"position": "LINE1\\u0000-R1"}', "position"),
    "an integer of 400 digits": (b'{"task": ' + b"7" * 400 + b"}", "task"),
    "the same name twice": (b'{"position": "LINE1-R1", "position": "LINE1-R2"}', "position"),
    "the same name twice inside": (b'{"element": {"lot": "A", "lot": "A"}}', "element.lot"),
}

UNFIT: dict[str, tuple[dict[str, Any], str]] = {
    "true for a number": ({"hours": True}, "hours"),
    "text for a number": ({"hours": "900"}, "hours"),
    "a fraction for a whole number": ({"cleanings": 1.5}, "cleanings"),
    "a bare number for a quantity": ({"dp_before": {"dp": 2.1}}, "dp_before.dp"),
    "true for a value": ({"dp_before": {"dp": {"value": True, "unit": "bar"}}}, "dp_before.dp.value"),
    "a gauge unit for a difference": ({"dp_before": {"dp": {"value": 1, "unit": "barg"}}}, "dp_before.dp"),
    "a unit that would cost a parser hours": ({"dp_before": {"dp": {"value": 1, "unit": "9**9**9"}}}, "dp_before.dp"),
    "a unit that is no text": ({"dp_before": {"dp": {"value": 1, "unit": ["bar"]}}}, "dp_before.dp"),
    "a unit that is an object": ({"dp_before": {"dp": {"value": 1, "unit": {"bar": 1}}}}, "dp_before.dp"),
    "a value of no machine": ({"dp_before": {"dp": {"value": 1e300, "unit": "bar"}}}, "dp_before.dp.value"),
    "a time without an offset": ({"at": "2025-03-02T08:00:00"}, "at"),
    "a time as a number": ({"at": 1e300}, "at"),
    "a time that is none": ({"at": "2025-02-30T08:00:00Z"}, "at"),
    "a time before any machine": ({"at": "0001-01-01T00:00:00+14:00"}, "at"),
    "a time after every calendar": ({"dp_after": {"dp": BAR, "at": "9999-12-31T23:59:59-14:00"}}, "dp_after.at"),
    "null for a time": ({"at": None}, "at"),
    "an unknown member": ({"positon": PLACE}, "positon"),
    "a member of Python": ({"__class__": "x"}, "__class__"),
    "a control character": ({"note": "a\x07b"}, "note"),
    "a code without a letter": ({"position": "   "}, "position"),
    "a code of 10,000 letters": ({"position": "P" * 10_000}, "position"),
    "101 lines of oil": ({"oil": [{"fluid": "A", "volume": {"value": 1, "unit": "L"}}] * 101}, "oil"),
    "minus hours": ({"hours": -1}, "hours"),
    "a task that is beyond the numbers": ({"task": 2**40}, "task"),
    "an object for a list": ({"oil": {}}, "oil"),
    "a list for an object": ({"element": []}, "element"),
    "an unknown reason": ({"reason": "bored"}, "reason"),
}


@pytest.fixture(scope="module")
def service(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Served]:
    with served(tmp_path_factory.mktemp("problems")) as running:
        yield running


@pytest.fixture(scope="module")
def client(service: Served) -> Iterator[httpx.Client]:
    with service.client(service.key(Scope.ADMINISTER)) as opened:
        yield opened


def the_problem(answer: httpx.Response) -> ProblemDocument:
    """The document, after what RFC 9457 says of every one has been checked."""
    assert 400 <= answer.status_code < 500, answer.text
    assert answer.headers["Content-Type"] == "application/problem+json"
    document = ProblemDocument.model_validate(answer.json())
    assert document.status == answer.status_code
    assert document.type.startswith("/problems/") or document.type == "about:blank"
    assert document.title
    assert document.detail
    return document


@EACH_WRITE
@pytest.mark.parametrize("body", NOT_JSON.values(), ids=NOT_JSON.keys())
def test_what_is_no_json_is_refused_on_every_route(client: httpx.Client, route: Route, body: bytes) -> None:
    problem = the_problem(client.request(route.method, route.path, content=body, headers=JSON))
    assert problem.status == 400
    assert [error.member for error in problem.errors if error.says]


@EACH_WRITE
@pytest.mark.parametrize(("body", "member"), AMBIGUOUS.values(), ids=AMBIGUOUS.keys())
def test_what_two_readers_would_read_differently_is_refused_on_every_route(
    client: httpx.Client, route: Route, body: bytes, member: str
) -> None:
    problem = the_problem(client.request(route.method, route.path, content=body, headers=JSON))
    assert problem.status == 400
    assert [error.member for error in problem.errors] == [member]


@pytest.mark.parametrize(("change", "member"), UNFIT.values(), ids=UNFIT.keys())
def test_a_close_out_with_one_unfit_member_is_refused_for_that_member(
    client: httpx.Client, change: dict[str, Any], member: str
) -> None:
    problem = the_problem(client.post("/v1/close-outs", json=close_out(PLACE, 1) | change))
    assert problem.status == 422
    assert [error.member for error in problem.errors] == [member]
    assert problem.errors[0].says
    assert len(problem.errors[0].value or "") < 300


@pytest.mark.parametrize("body", [b"null", b"[]", b'"x"', b"1", b"true"])
@pytest.mark.parametrize("route", TAKES_JSON, ids=str)
def test_a_body_that_is_no_object_is_refused(client: httpx.Client, route: Route, body: bytes) -> None:
    assert the_problem(client.request(route.method, route.path, content=body, headers=JSON)).status == 422


@pytest.mark.parametrize("route", TAKES_JSON, ids=str)
def test_a_body_that_is_missing_is_asked_for(client: httpx.Client, route: Route) -> None:
    problem = the_problem(client.request(route.method, route.path))
    assert problem.status == 422
    assert [error.member for error in problem.errors] == ["body"]


@EACH_WRITE
@pytest.mark.parametrize(
    "kind", ["text/plain", "application/xml", "application/x-www-form-urlencoded", "json", "", None]
)
def test_a_body_of_another_content_type_is_not_guessed_at(
    client: httpx.Client, route: Route, kind: str | None
) -> None:
    headers = {} if kind is None else {"Content-Type": kind}
    problem = the_problem(
        client.request(route.method, route.path, content=json.dumps(close_out(PLACE, 1)), headers=headers)
    )
    assert problem.status == 415
    assert [error.member for error in problem.errors] == ["Content-Type"]


@EACH_WRITE
def test_30_megabytes_are_refused_before_they_are_read(service: Served, client: httpx.Client, route: Route) -> None:
    body = b'{"note": "' + b"x" * 30_000_000 + b'"}'
    assert the_problem(client.request(route.method, route.path, content=body, headers=JSON)).status == 413


@EACH_WRITE
def test_30_megabytes_that_come_in_pieces_of_unsaid_length_are_refused_while_they_come(
    service: Served, route: Route
) -> None:
    pieces = iter([{"type": "http.request", "body": b"x" * 1_000_000, "more_body": True}] * 30)
    start, body = ask_raw(service, route.path, pieces, route.method)
    if READINGS.fullmatch(route.path):  # they may be larger, so that a key is asked for before any of it is read
        assert (start["status"], len(list(pieces))) == (401, 30)
        return
    assert start["status"] == 413
    assert json.loads(body["body"])["type"] == "/problems/too-large"
    assert len(list(pieces)) > 25


def test_a_client_that_leaves_in_the_middle_of_a_body_is_no_fault(service: Served) -> None:
    leaves = [{"type": "http.request", "body": b'{"a', "more_body": True}, {"type": "http.disconnect"}]
    assert ask_raw(service, "/v1/close-outs", iter(leaves)) == []


def ask_raw(service: Served, path: str, received: Iterator[dict[str, Any]], method: str = "POST") -> list[Any]:
    """What the application sends to a client that sends these messages, without a client library between."""
    sent: list[Any] = []

    async def receive() -> dict[str, Any]:
        return next(received)

    async def send(message: Any) -> None:
        sent.append(message)

    scope = {
        "type": "http",
        "method": method,
        "path": path,
        "raw_path": path.encode(),
        "query_string": b"",
        "headers": [(b"host", b"localhost"), (b"content-type", b"application/json")],
        "scheme": "http",
        "http_version": "1.1",
    }
    anyio.run(service.app, scope, receive, send)
    return sent


def test_a_length_that_no_body_has_is_refused(client: httpx.Client) -> None:
    answer = client.post("/v1/passes", content=b"{}", headers=JSON | {"Content-Length": "9" * 4000})
    assert the_problem(answer).status == 413


@pytest.mark.parametrize(
    ("form", "member"),
    [
        ({}, "file"),
        ({"file": ("plant.zip", b"not a zip")}, None),
        ({"file": ("plant.zip", b"")}, None),
        ({"file": ("\x00\n.zip", b"PK\x03\x04 and then nothing")}, None),
    ],
)
def test_an_upload_that_is_no_plant_folder_is_refused(
    client: httpx.Client, form: dict[str, Any], member: str | None
) -> None:
    problem = the_problem(client.post("/v1/imports", files=form or None, data={"dry_run": "true"}))
    assert problem.status in (415, 422)
    if problem.status == 422 and member:
        assert [error.member for error in problem.errors] == [member]


@pytest.mark.parametrize("separator", ['"', "\n", "\r", "1", ".", "é", "\x00", ",,"])
def test_a_separator_that_separates_nothing_is_refused(client: httpx.Client, separator: str) -> None:
    files = {"file": ("plant.zip", _zip({"plants.csv": "plant,time_zone\nNORTH,Europe/Oslo\n"}))}
    problem = the_problem(client.post("/v1/imports", files=files, data={"separator": separator, "dry_run": "true"}))
    assert problem.status == 422


def _zip(members: dict[str, str]) -> bytes:
    written = io.BytesIO()
    with zipfile.ZipFile(written, "w") as archive:
        for name, text in members.items():
            archive.writestr(name, text)
    return written.getvalue()


@pytest.mark.parametrize(
    ("path", "status"),
    [
        ("/v1/work-orders/99999999999999999999999999", 422),
        ("/v1/close-outs/-1", 422),
        ("/v1/imports/0x1", 422),
        ("/v1/close-outs/1e3", 422),
        ("/v1/work-orders/2147483647", 404),
        ("/v1/due/%00", 404),
        ("/v1/due?system=LINE1%00", 422),
        ("/v1/due/%FF%ED%A0%80", 404),
        ("/v1/due?as_of=2025-03-01T08:00:00", 422),
        ("/v1/due?as_of=9999-12-31T23:59:59Z", 422),
        ("/v1/due?as_of=0001-01-01T00:00:00%2B14:00", 422),
        ("/v1/due?limit=0", 422),
        ("/v1/due?limit=99999999999999999999", 422),
        ("/v1/due?cursor=%C3%A9", 422),
        ("/v1/due?cursor=W1tbW1tbW1tb", 422),
        ("/v1/work-orders?cursor=-5", 422),
        ("/v1/work-orders?cursor=%D9%A3", 422),
        ("/v1/work-orders?state=asleep", 422),
        ("/v1/nowhere", 404),
        ("/nowhere", 404),
        ("/problems/nowhere", 404),
    ],
)
def test_an_address_that_cannot_be_meant_is_refused(client: httpx.Client, path: str, status: int) -> None:
    client.post("/v1/passes")
    problem = the_problem(client.get(path))
    assert problem.status == status


@pytest.mark.parametrize("header", ['"x"', '"1", "2"', "1", "-1", "9" * 40, 'W/"1"'])
def test_an_if_match_that_is_no_version_is_refused(client: httpx.Client, header: str) -> None:
    problem = the_problem(client.post("/v1/work-orders/1/issue", headers={"If-Match": header}))
    assert problem.status == 422
    assert "If-Match" in problem.errors[0].member


@pytest.mark.parametrize("key", ["", "k" * 201])
def test_an_idempotency_key_of_no_length_or_too_much_is_refused(client: httpx.Client, key: str) -> None:
    answer = client.post("/v1/close-outs", json=close_out(PLACE, 1), headers={"Idempotency-Key": key})
    assert the_problem(answer).status == 422


def test_a_method_that_a_path_does_not_take_is_refused_with_those_it_takes(client: httpx.Client) -> None:
    answer = client.delete("/v1/due")
    problem = the_problem(answer)
    assert answer.headers["Allow"] == "GET"  # RFC 9110, 15.5.6
    assert (problem.status, problem.type, problem.title) == (
        405,
        "about:blank",
        "Method Not Allowed",
    )  # RFC 9457, 4.2.1


def test_a_fault_of_ours_is_a_problem_document_that_shows_nothing_of_the_inside(
    service: Served, client: httpx.Client, monkeypatch: pytest.MonkeyPatch
) -> None:
    def fail(*_: object, **__: object) -> None:
        raise RuntimeError("inside /srv/secret")

    monkeypatch.setattr("service.due.routes.run_pass", fail)
    answer = client.post("/v1/passes")
    assert answer.status_code == 500
    assert answer.headers["Content-Type"] == "application/problem+json"
    assert answer.json()["type"] == "/problems/internal-fault"
    assert "secret" not in answer.text


def test_every_problem_has_a_name_of_its_own_and_a_status_of_an_error() -> None:
    assert len({kind.slug for kind in PROBLEMS}) == len(PROBLEMS)
    assert all(400 <= kind.status < 600 for kind in PROBLEMS)
    assert {kind for kind in PROBLEMS if kind.title == Problem.title} == {Problem}


@settings(max_examples=100, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(
    st.recursive(
        st.none()
        | st.booleans()
        | st.floats()
        | st.integers()
        | st.text()
        | st.sampled_from(list(close_out(PLACE, 1))),
        lambda inner: (
            st.lists(inner, max_size=3)
            | st.dictionaries(
                st.sampled_from([*close_out(PLACE, 1), "dp_before", "oil"]) | st.text(), inner, max_size=4
            )
        ),
        max_leaves=8,
    )
)
def test_no_json_at_all_makes_a_fault(client: httpx.Client, told: Any) -> None:
    content = json.dumps(told if isinstance(told, dict) else {"oil": told}).encode()
    the_problem(client.post("/v1/close-outs", content=content, headers=JSON))


def test_strict_json_takes_what_is_in_order_as_it_stands() -> None:
    text = '{"a": [1, -2.5e-3, 9007199254740992, true, null, "é\\n😀"], "b": {"a": {}}}'
    assert parse_strictly(text.encode()) == json.loads(text)
    assert parse_strictly(b"\xef\xbb\xbf{}") == {}  # RFC 8259, 8.1: a reader may ignore a byte order mark
    assert parse_strictly(b'{"a": "\\ud83d\\ude00"}') == {"a": "😀"}  # a whole pair is a character


def test_many_names_given_twice_are_found_without_waiting() -> None:
    pairs = ",".join(f'"n{number}": 1' for number in range(20_000))
    with pytest.raises(Problem) as refused:
        parse_strictly(f"{{{pairs},{pairs}}}".encode())
    assert len(refused.value.errors) == 100
