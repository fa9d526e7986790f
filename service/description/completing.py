"""What the framework cannot know of an operation: its problems, its headers and an example of all that it takes and
tells."""

from collections.abc import Iterator
from http import HTTPStatus
from typing import Any

from fastapi import FastAPI
from fastapi.routing import APIRoute

from api_schemas.problems import ProblemDocument
from service.description.examples import Examples
from service.problems import PROBLEMS, Problem
from service.request_ids import HEADER

Described = dict[str, Any]

_REF = "#/components/schemas/{model}"
NEEDED = "x-needed"
"""With this a route names the parameters that it cannot do without, though it is the route that says so: with 428."""

_OF_THE_FRAMEWORK = ("HTTPValidationError", "ValidationError")
_BY_ALL = (400, 401, 403, 422, 429, 503)
_BY_WRITES = (404, 409, 413, 415)
_NAMING = {"cursor", "plant", "system", "position", "task", "item"}
"""Parameters that name something, which may not be there."""
_TEXT = {"schema": {"type": "string"}}
_HEADERS: dict[str, Described] = {
    HEADER: {"description": "The caller's own, or one that was made for it."},
    "ETag": {"description": "To be sent with `If-None-Match`: 304 while the answer is the same."},
    "Link": {"description": 'With rel="next": where the next page is, as long as there is one.'},
    "Retry-After": {"description": "After how many seconds to ask again."},
    "WWW-Authenticate": {"description": "`Bearer`."},
    "Idempotency-Replayed": {"description": "`true` where this is the kept answer of an earlier request."},
}


def operation_id(route: APIRoute) -> str:
    """The resource and the name of the function: both are ours, and are kept when an address changes."""
    tag = str(route.tags[0]) if route.tags else "pages"
    return f"{tag}_{route.name}".replace(" ", "_").replace("-", "_")


def install(app: FastAPI) -> None:
    """Let `app` describe itself in full; made once, when it is first asked for."""
    of_the_framework = app.openapi

    def described() -> Described:
        if app.openapi_schema is None:
            complete(of_the_framework())
        assert app.openapi_schema is not None  # noqa: S101 - the framework has set it
        return app.openapi_schema

    app.openapi = described  # type: ignore[method-assign]  # the framework's own way to extend it


def complete(document: Described) -> None:
    """Add to the framework's description, in place."""
    schemas = document["components"]["schemas"]
    for name in _OF_THE_FRAMEWORK:
        schemas.pop(name, None)
    problem = ProblemDocument.model_json_schema(ref_template=_REF)
    schemas |= problem.pop("$defs")
    schemas["ProblemDocument"] = problem
    examples = Examples(schemas)
    for schema in schemas.values():
        if "examples" in schema:
            schema["examples"] = [examples.whole(schema, given) for given in schema["examples"]]
    for method, path, operation in operations(document):
        _parameters(method, operation)
        _problems(method, path, operation)
        _headers(operation)
        for media_type, content in _contents(operation):
            if media_type == "multipart/form-data":
                schemas[content["schema"]["$ref"].rpartition("/")[2]]["additionalProperties"] = False
            if "example" not in content and "examples" not in content.get("schema", {}):
                content["example"] = examples.of(content.get("schema", {}), media_type)
            elif "example" in content:
                content["example"] = examples.whole(content.get("schema", {}), content["example"])


def operations(document: Described) -> Iterator[tuple[str, str, Described]]:
    """Method, path and operation, in the order of the document."""
    for path, methods in document["paths"].items():
        for method, operation in methods.items():
            yield method, path, operation


def _contents(operation: Described) -> Iterator[tuple[str, Described]]:
    """Each content that is taken, or told where all went well."""
    yield from operation.get("requestBody", {}).get("content", {}).items()
    for status, response in operation["responses"].items():
        if status.startswith("2"):
            yield from response.get("content", {}).items()


def _parameters(method: str, operation: Described) -> None:
    """A parameter that is not sent is not null: no address and no header can say null."""
    parameters = operation.setdefault("parameters", [])
    needed = operation.pop(NEEDED, ())
    for parameter in parameters:
        parameter["required"] = parameter["required"] or parameter["name"] in needed
        schema = parameter["schema"]
        choices = [each for each in schema.get("anyOf", []) if each != {"type": "null"}]
        if len(choices) == 1:
            del schema["anyOf"]
            schema |= choices[0]
    names = {parameter["name"].lower() for parameter in parameters}
    if method == "get" and "if-none-match" not in names and _is_json(operation):
        parameters.append(
            {
                "name": "If-None-Match",
                "in": "header",
                "required": False,
                "schema": {"type": "string"},
                "description": "The ETag of the answer that the caller has.",
            }
        )
    if not parameters:
        del operation["parameters"]


def _is_json(operation: Described) -> bool:
    return "application/json" in operation["responses"].get("200", {}).get("content", {})


def _problems(method: str, path: str, operation: Described) -> None:
    names = {parameter["name"] for parameter in operation.get("parameters", [])}
    statuses = set(_BY_ALL) | (set() if method == "get" else set(_BY_WRITES))
    if "{" in path or names & _NAMING:
        statuses.add(404)
    if "cursor" in names:
        statuses.add(409)
    if "If-Match" in names:
        statuses |= {412, 428}
    responses = operation["responses"]
    told = {int(status) for status in responses if status.startswith("4")}
    for status in sorted(statuses | told):
        kinds = [kind for kind in PROBLEMS if kind.status == status]
        response = responses.setdefault(str(status), {})
        if response.get("description", "Validation Error") == "Validation Error":
            response["description"] = ", or ".join(kind.title for kind in kinds) or HTTPStatus(status).phrase
        response["content"] = {
            "application/problem+json": {
                "schema": {"$ref": _REF.format(model="ProblemDocument")},
                "example": _example(kinds[0]),
            }
        }
    if method == "get" and _is_json(operation):
        responses.setdefault("304", {"description": "It is the one that If-None-Match names"})
    operation["responses"] = dict(sorted(responses.items()))


def _example(kind: type[Problem]) -> Described:
    return {
        "type": f"/problems/{kind.slug}",
        "title": kind.title,
        "status": kind.status,
        "detail": (kind.__doc__ or kind.title).split(".")[0].replace("\n    ", " "),
        "errors": [],
        "request_id": "5b0f0c6a",
    }


def _headers(operation: Described) -> None:
    names = {parameter["name"] for parameter in operation.get("parameters", [])}
    for status, response in operation["responses"].items():
        named = [HEADER]
        if status in ("200", "304") and "If-None-Match" in names:
            named.append("ETag")
        if status == "200" and "cursor" in names:
            named.append("Link")
        if status in ("429", "503") or (status == "409" and "Idempotency-Key" in names):
            named.append("Retry-After")
        if status == "401":
            named.append("WWW-Authenticate")
        if status.startswith("2") and "Idempotency-Key" in names:
            named.append("Idempotency-Replayed")
        response.setdefault("headers", {}).update({name: _HEADERS[name] | _TEXT for name in named})
