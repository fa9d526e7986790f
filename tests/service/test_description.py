"""The service describes itself in full: OpenAPI 3.1, with an example of whatever is taken and told.

Sources: OpenAPI Specification 3.1.0 (4.8.10 operationId, 4.8.14 Media Type Object), whose schemas are JSON Schema
2020-12, as an independent validator reads them; RFC 9457 for what goes wrong.
"""

from collections.abc import Iterator
from typing import Any

import jsonschema_rs
import pytest

from service.app import create_app
from service.database import Database
from service.description.completing import operations
from service.settings import Settings

pytestmark = pytest.mark.one_database_is_enough

Described = dict[str, Any]


@pytest.fixture(scope="module")
def document() -> Iterator[Described]:
    database = Database("sqlite://")
    yield create_app(database, Settings(requests_per_minute=0), ticks=False).openapi()
    database.close()


def contents(document: Described) -> Iterator[tuple[str, Described]]:
    """Everything with a media type: bodies that are taken, answers, problems."""
    for method, path, operation in operations(document):
        places = {"body": operation.get("requestBody", {})} | operation["responses"]
        for place, described in places.items():
            for media_type, content in described.get("content", {}).items():
                yield f"{method} {path} {place} {media_type}", content


def test_every_operation_has_a_readable_name_of_its_own_a_summary_and_a_description(document: Described) -> None:
    names = [operation["operationId"] for _, _, operation in operations(document)]
    assert document["openapi"].startswith("3.1.")
    assert len(set(names)) == len(names)
    assert [name for name in names if not name.replace("_", "").isalnum() or "__" in name or "v1" in name] == []
    bare = [
        operation["operationId"]
        for _, _, operation in operations(document)
        if not (operation.get("summary") and operation.get("description"))
    ]
    assert bare == []


def test_every_body_and_every_answer_has_an_example_that_its_own_schema_takes(document: Described) -> None:
    wrong = {}
    checked = 0
    for place, content in contents(document):
        given = content.get("schema", {}).get("examples") or [
            content[name] for name in ("example",) if name in content
        ]
        schema = content.get("schema", {}) | {"components": document["components"]}
        validator = jsonschema_rs.Draft202012Validator(schema, validate_formats=True)
        slips = [str(error)[:300] for example in given for error in validator.iter_errors(example)]
        checked += len(given)
        if slips or not given:
            wrong[place] = slips or ["no example"]
    assert wrong == {}
    assert checked > 100


def test_every_operation_tells_its_problems_as_problem_documents(document: Described) -> None:
    for method, path, operation in operations(document):
        told = {status: response for status, response in operation["responses"].items() if status >= "400"}
        assert {"400", "401", "403", "422", "429", "503"} <= set(told), (method, path)
        assert method == "get" or {"404", "409", "413", "415"} <= set(told), (method, path)
        for response in told.values():
            assert list(response["content"]) == ["application/problem+json"], (method, path)
    assert "HTTPValidationError" not in document["components"]["schemas"]


def test_a_verb_that_needs_if_match_tells_of_412_and_428(document: Described) -> None:
    responses = document["paths"]["/v1/work-orders/{order_id}/withdraw"]["post"]["responses"]
    assert {"412", "428"} <= set(responses)


def test_every_list_ends_with_its_next_so_that_the_link_is_found_there(document: Described) -> None:
    lists = {
        name: list(schema["properties"])
        for name, schema in document["components"]["schemas"].items()
        if "next" in schema.get("properties", {})
    }
    assert len(lists) > 5
    assert {name: members for name, members in lists.items() if members[-1] != "next"} == {}


def test_every_list_that_takes_a_cursor_tells_of_its_link(document: Described) -> None:
    for method, path, operation in operations(document):
        names = {parameter["name"] for parameter in operation.get("parameters", [])}
        answer = operation["responses"].get("200", {})
        if "cursor" in names and "application/json" in answer.get("content", {}):
            assert "Link" in answer["headers"], (method, path)
            assert "limit" in names, (method, path)


def test_every_write_takes_an_idempotency_key_but_those_of_keys(document: Described) -> None:
    """A secret is kept nowhere, so that no repeat could show it; a name that is taken and a revoked key say so."""
    without = [
        path
        for method, path, operation in operations(document)
        if method != "get"
        and "Idempotency-Key" not in {parameter["name"] for parameter in operation.get("parameters", [])}
    ]
    assert without == ["/v1/keys", "/v1/keys/{key_name}/revoke"]


def test_a_parameter_that_is_not_sent_is_described_as_missing_not_as_null(document: Described) -> None:
    for _, path, operation in operations(document):
        for parameter in operation.get("parameters", []):
            assert {"type": "null"} not in parameter["schema"].get("anyOf", []), (path, parameter["name"])


def test_a_quantity_names_its_units(document: Described) -> None:
    units = document["components"]["schemas"]["PressureDifference"]["properties"]["unit"]["enum"]
    assert "bar" in units
    assert "barg" not in units
