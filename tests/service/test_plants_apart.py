"""A key of one plant: what another plant has does not exist for it, whichever route it asks."""

import copy
import io
import re
import string
import zipfile
from collections.abc import Iterator
from typing import Any

import httpx
import pytest

from scheduler.vocabulary import Scope
from tests.service.route_table import Route, api_routes
from tests.service.two_plants import ELEMENT, FLUID, NOWHERE, OURS, THEIRS, TwoPlants, two_plants

pytestmark = pytest.mark.one_database_is_enough

ROUTES = api_routes()


def names_in(template: str) -> list[str]:
    return [name for _, name, _, _ in string.Formatter().parse(template) if name]


OF_ALL_PLANTS = {"part_number": ELEMENT, "fluid": FLUID}
"""Names of what plants share: every key reads it, and a key of all plants alone changes it."""

SHARED = [route for route in ROUTES if OF_ALL_PLANTS.keys() & set(names_in(route.template))]
NAMED = [route for route in ROUTES if "{" in route.template and route not in SHARED]
LISTS = [route for route in ROUTES if route.method == "GET" and "{" not in route.template]
WRITES = [route for route in ROUTES if route.method != "GET"]

MAKES_WHAT_IS_MISSING = {
    "PUT /v1/systems/{system}": "told of for the first time",
    "PUT /v1/positions/{position}": "told of for the first time",
}
"""Routes that make what is nowhere, so that a foreign code cannot look as if it were free: each with its reason."""

OF_THINGS_IN_THE_BODY = {
    "POST /v1/close-outs": "a job at a place",
    "POST /v1/checks": "a job ahead at a place",
    "POST /v1/keys": "the plants of the key",
    "POST /v1/webhooks": "the plants of the webhook",
    "POST /v1/replays": "the plant whose past it is",
    "POST /v1/meter-readings": "the system of each row",
    "POST /v1/dp-readings": "the position of each row",
}
"""Writes with no thing in their address that a key of one plant may ask all the same: what their body is about."""

TOLD_ROW_BY_ROW = frozenset({"POST /v1/meter-readings", "POST /v1/dp-readings"})
"""Writes that are answered though rows of theirs are refused."""

NEEDED: dict[str, dict[str, str]] = {}
"""The query without which a list cannot be asked, by its path."""

MORE_BODIES: dict[str, list[dict[str, Any]]] = {
    "POST /v1/close-outs": [
        {"task": 1, "at": "2025-03-01T09:00:00Z"},
        {"position": "P", "at": "2025-03-01T09:00:00Z"},
        {"system": "S", "kind": "inspect", "at": "2025-03-01T09:00:00Z"},
    ],
    "POST /v1/replays": [
        {"from": "2025-01-10T08:00:00Z", "to": "2025-03-01T08:00:00Z", "step_days": 20.0, "plant": "P"}
    ],
    "POST /v1/checks": [{"task": 1, "part_number": "E-10"}, {"system": "S", "fluid": "HM46"}],
}
"""Beside the examples of the operations: names that stand in no example."""


@pytest.fixture(scope="module")
def plants(tmp_path_factory: pytest.TempPathFactory) -> Iterator[TwoPlants]:
    with two_plants(tmp_path_factory.mktemp("apart")) as both:
        yield both


@pytest.fixture(scope="module")
def of_one_scope(plants: TwoPlants) -> dict[Scope, httpx.Client]:
    return {scope: plants.service.client(plants.key(scope, name=f"ours {scope}")) for scope in Scope}


def ask(client: httpx.Client, route: Route, things: dict[str, str], **more: Any) -> httpx.Response:
    headers = {} if route.method == "GET" else {"Idempotency-Key": f"{things is NOWHERE} {route} {more}"[:200]}
    return client.request(route.method, route.template.format(**(OF_ALL_PLANTS | things)), headers=headers, **more)


def listed(client: httpx.Client, route: Route, **query: Any) -> httpx.Response:
    return client.get(route.template, params=NEEDED.get(route.template, {}) | query)


def content_of(answer: httpx.Response) -> str:
    """All of it, also of what is packed in a workbook."""
    if not answer.content.startswith(b"PK"):
        return answer.text
    with zipfile.ZipFile(io.BytesIO(answer.content)) as packed:
        return "".join(packed.read(name).decode("utf-8", "replace") for name in packed.namelist())


def told(answer: httpx.Response, things: dict[str, str]) -> tuple[int, str]:
    """Status and words; of a problem, whatever the thing is called."""
    text = content_of(answer)
    if "outcomes" in text:
        text = re.sub(r"; did you mean '[^']*'\?", "", str([each["errors"] for each in answer.json()["outcomes"]]))
    if not answer.is_success:
        document = answer.json()
        text = str([document.get(member) for member in ("type", "title", "detail", "errors")])
    for name in things.values():
        text = re.sub(rf"(?<![\w-])(?<!\d\.){re.escape(name)}(?![\w-]|\.\d)", "…", text)
    return answer.status_code, text


def operation(plants: TwoPlants, route: Route) -> dict[str, Any]:
    found: dict[str, Any] = plants.service.app.openapi()["paths"][route.template][route.method.lower()]
    return found


def examples(plants: TwoPlants, route: Route) -> list[Any]:
    """Every example body of the operation, as its description has it."""
    body = operation(plants, route).get("requestBody", {}).get("content", {}).get("application/json", {})
    schema = body.get("schema", {})
    name = schema.get("$ref", "").rpartition("/")[2]
    component = plants.service.app.openapi()["components"]["schemas"].get(name, {})
    found = [each["value"] for each in body.get("examples", {}).values()]
    found += [body["example"]] if "example" in body else []
    return [*found, *schema.get("examples", ()), *component.get("examples", ()), *MORE_BODIES.get(str(route), ())]


def with_names(body: Any, things: dict[str, str]) -> tuple[Any, int]:
    """The body with every name in it replaced by the thing's, and how many there were."""
    count = 0

    def replaced(value: Any) -> Any:
        nonlocal count
        if isinstance(value, list):
            return [replaced(each) for each in value]
        if not isinstance(value, dict):
            return value
        made = {}
        for key, each in value.items():
            if key in things and isinstance(each, str | int):
                count += 1
                made[key] = int(things[key]) if isinstance(each, int) else things[key]
            elif key == "plants":
                count += 1
                made[key] = [things["plant"]]
            else:
                made[key] = replaced(each)
        return made

    return replaced(copy.deepcopy(body)), count


def test_everything_that_a_path_names_has_an_example_of_another_plant(plants: TwoPlants) -> None:
    missing = {name: str(route) for route in NAMED for name in names_in(route.template) if name not in plants.theirs}
    assert not missing, f"add to `things` in two_plants.py what each plant has of these: {missing}"
    assert set(plants.theirs) | set(OF_ALL_PLANTS) == set(NOWHERE)


@pytest.mark.parametrize("route", [each for each in NAMED if each.method == "GET"], ids=str)
def test_the_things_are_there(plants: TwoPlants, route: Route) -> None:
    for things in plants.things.values():
        assert ask(plants.office, route, things).status_code == 200
    own = ask(plants.ours, route, plants.things[OURS])
    assert own.status_code in (200, 403)
    assert THEIRS not in content_of(own)


@pytest.mark.parametrize("route", NAMED, ids=str)
def test_a_foreign_thing_is_answered_as_one_that_is_nowhere_and_nothing_changes(
    plants: TwoPlants, route: Route
) -> None:
    for body in [None, *examples(plants, route)]:
        more = {} if body is None else {"json": body}
        before = plants.everything_kept()
        foreign = ask(plants.ours, route, plants.theirs, **more)
        assert plants.everything_kept() == before
        if str(route) in MAKES_WHAT_IS_MISSING:
            assert 400 <= foreign.status_code < 500
            continue
        nowhere = ask(plants.ours, route, NOWHERE, **more)
        assert told(foreign, plants.theirs) == told(nowhere, NOWHERE)
        assert foreign.status_code in (403, 404), (
            f"{route} looks at its body before it looks whether the thing is there: take it as a Seen… of "
            "service/seen_by_caller.py, or give the operation an example of its body"
        )


@pytest.mark.parametrize("route", WRITES, ids=str)
def test_a_body_that_names_foreign_things_is_answered_as_if_they_were_nowhere_and_nothing_changes(
    plants: TwoPlants, route: Route
) -> None:
    for body in examples(plants, route):
        named, count = with_names(body, plants.theirs)
        if count == 0:
            continue
        before = plants.everything_kept()
        foreign = ask(plants.ours, route, plants.things[OURS], json=named)
        after = plants.everything_kept()
        if str(route) in TOLD_ROW_BY_ROW:
            assert set(foreign.json()["counts"].items()) >= {("new", 0), ("corrected", 0), ("as_before", 0)}
            after["kept_answers"] = before["kept_answers"]  # that each row was refused is an answer to keep
        else:
            assert 400 <= foreign.status_code < 500, (named, foreign.text)
        assert after == before
        if str(route) not in MAKES_WHAT_IS_MISSING:
            lost, _ = with_names(body, NOWHERE)
            nowhere = ask(plants.ours, route, plants.things[OURS], json=lost)
            assert told(foreign, plants.theirs) == told(nowhere, NOWHERE)


@pytest.mark.parametrize("route", [each for each in WRITES if each not in [*NAMED, *SHARED]], ids=str)
def test_a_write_that_is_of_no_thing_of_a_plant_needs_a_key_of_all(plants: TwoPlants, route: Route) -> None:
    before = plants.everything_kept()
    answer = ask(plants.ours, route, {})
    assert plants.everything_kept() == before
    if str(route) in OF_THINGS_IN_THE_BODY:
        tried = sum(with_names(body, NOWHERE)[1] for body in examples(plants, route))
        assert tried, "give the operation an example that names a thing, so that a foreign one is tried in it"
        assert answer.status_code in (415, 422)
    else:
        assert answer.status_code == 403, (
            f"{route}: take …OfAll of service/dependencies.py, or say here what it is of"
        )
        assert "a key of all plants" in answer.json()["detail"]


@pytest.mark.parametrize("route", SHARED, ids=str)
def test_what_plants_share_is_read_by_every_key_and_changed_by_one_of_all_plants(
    plants: TwoPlants, route: Route
) -> None:
    before = plants.everything_kept()
    for body in examples(plants, route) or [None]:
        answer = ask(plants.ours, route, {}, json=body)
        assert answer.status_code == (200 if route.method == "GET" else 403), answer.text
    assert plants.everything_kept() == before


@pytest.mark.parametrize("route", LISTS, ids=str)
def test_a_list_shows_nothing_of_another_plant(plants: TwoPlants, route: Route) -> None:
    names = {each["name"] for each in operation(plants, route).get("parameters", ())}
    answers = [listed(plants.ours, route)]
    if "as_of" in names:
        answers.append(listed(plants.ours, route, as_of="2100-01-01T00:00:00Z"))
    if {"limit", "cursor"} <= names:
        page = listed(plants.office, route, limit=1).json()
        if page.get("next"):
            answers.append(listed(plants.ours, route, limit=500, cursor=page["next"]))
    for answer in answers:
        assert answer.status_code in (200, 403), answer.text
        assert THEIRS not in content_of(answer)
    of_all = content_of(listed(plants.office, route))
    if THEIRS in of_all and answers[0].status_code == 200:
        assert OURS in of_all
        assert OURS in content_of(answers[0])


def test_the_lists_have_something_to_hide(plants: TwoPlants) -> None:
    telling = {route.template for route in LISTS if THEIRS in content_of(listed(plants.office, route))}
    assert telling >= {"/v1/due", "/v1/due/changes", "/v1/work-orders", "/v1/checks", "/v1/oil", "/v1/keys"}


@pytest.mark.parametrize("route", [each for each in ROUTES if each.method == "GET"], ids=str)
def test_a_list_asked_for_a_foreign_thing_answers_as_if_it_were_nowhere(plants: TwoPlants, route: Route) -> None:
    of_query = {each["name"] for each in operation(plants, route).get("parameters", ()) if each["in"] == "query"}
    for name in sorted(of_query & set(plants.theirs)):
        foreign = ask(plants.ours, route, plants.things[OURS], params={name: plants.theirs[name]})
        nowhere = ask(plants.ours, route, plants.things[OURS], params={name: NOWHERE[name]})
        assert told(foreign, plants.theirs) == told(nowhere, NOWHERE)
        if name == "plant":
            assert foreign.status_code == 403
            assert f"'{plants.theirs[name]}'" in foreign.json()["detail"]


@pytest.mark.parametrize("route", ROUTES, ids=str)
def test_no_scope_of_a_key_of_one_plant_opens_another_plant(
    plants: TwoPlants, of_one_scope: dict[Scope, httpx.Client], route: Route
) -> None:
    with plants.service.client() as nobody:
        assert ask(nobody, route, plants.theirs).status_code == 401
    for scope, client in of_one_scope.items():
        foreign = ask(client, route, plants.theirs)
        if scope not in (route.needs, Scope.ADMINISTER):
            assert foreign.status_code == 403
            assert f"'{route.needs}'" in foreign.json()["detail"]
        elif route in NAMED and str(route) not in MAKES_WHAT_IS_MISSING:
            assert foreign.status_code in (403, 404)
            assert told(foreign, plants.theirs) == told(ask(client, route, NOWHERE), NOWHERE)
