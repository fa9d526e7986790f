"""The routes of the API as the application has them, with the scope that each one asks for."""

import inspect
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from typing import Any

from fastapi.dependencies.models import Dependant
from fastapi.params import Body, Form
from fastapi.routing import APIRoute

from scheduler.vocabulary import Scope
from service.app import ROUTERS

IN_A_PATH = {
    "order_id": "999",
    "close_out_id": "999",
    "import_id": "999",
    "file_id": "999",
    "position": "NOWHERE",
    "system": "NOWHERE",
    "part_number": "NOWHERE",
    "fluid": "NOWHERE",
    "key_name": "nobody",
    "webhook_id": "999",
    "replay_id": "999",
    "diagnosis_id": "999",
}
"""For each path parameter something that does not exist, so that a granted request changes nothing."""


@dataclass(frozen=True, slots=True)
class Route:
    """One method of one path."""

    method: str
    template: str
    needs: Scope | None
    needs_json: bool

    @property
    def path(self) -> str:
        return self.template.format(**IN_A_PATH)

    def __str__(self) -> str:
        return f"{self.method} {self.template}"


def api_routes() -> list[Route]:
    """Every route under `/v1`."""
    return [
        Route(method, f"/v1{route.path}", _scope_of(route), _needs_json(route))
        for router in ROUTERS
        for route in router.routes
        if isinstance(route, APIRoute)
        for method in sorted(route.methods)
    ]


def _needs_json(route: APIRoute) -> bool:
    """Whether it cannot do without a body of JSON."""
    told = None if route.body_field is None else route.body_field.field_info
    return isinstance(told, Body) and not isinstance(told, Form) and told.is_required()


def _scope_of(route: APIRoute) -> Scope | None:
    """The scope that stands in the closure of the one dependency that grants it."""
    scopes = {
        scope
        for call in _calls(route.dependant)
        if inspect.isfunction(call)
        for scope in inspect.getclosurevars(call).nonlocals.values()
        if isinstance(scope, Scope)
    }
    return scopes.pop() if len(scopes) == 1 else None


def _calls(dependant: Dependant) -> Iterator[Callable[..., Any] | None]:
    yield dependant.call
    for inner in dependant.dependencies:
        yield from _calls(inner)
