"""The first page and the demo's page. They hold no plant data, so they need no key."""

from pathlib import Path

import sqlalchemy as sa
from fastapi import APIRouter, Request
from jinja2 import Environment, FileSystemLoader, select_autoescape
from starlette.responses import HTMLResponse, RedirectResponse, Response

from service.database import current_rows
from service.demo.story import demo_story
from service.demo.systems import PLANT
from service.dependencies import OpenDatabase
from service.plant_folder import tables as t
from service.problems import PROBLEMS, NotFound

router = APIRouter(include_in_schema=False)

_HERE = Path(__file__).parent
_pages = Environment(
    loader=FileSystemLoader([_HERE, _HERE.parent / "demo"]), autoescape=select_autoescape(), trim_blocks=True
)
_COUNTED = {
    "systems": t.systems,
    "positions": t.positions,
    "lives and what is fitted now": t.installations,
    "ΔP readings": t.dp_readings,
    "meter readings": t.meter_readings,
    "oil samples": t.oil_samples,
    "stops": t.stops,
}


def _has_demo(connection: sa.Connection) -> bool:
    return connection.scalar(sa.select(t.plants.c.plant).where(t.plants.c.plant == PLANT)) is not None


def _count(connection: sa.Connection, table: sa.Table) -> int:
    query = sa.select(sa.func.count()).select_from(table)
    if "superseded_at" in table.c:
        query = query.where(current_rows(table))
    return connection.scalar(query) or 0


@router.get("/")
def first_page(database: OpenDatabase, request: Request) -> Response:
    """What this server is and where to go."""
    with database.reading() as connection:
        has_demo = _has_demo(connection)
    return HTMLResponse(
        _pages.get_template("first.html").render(has_demo=has_demo, base=str(request.base_url).rstrip("/"))
    )


@router.get("/demo")
def demo_page(database: OpenDatabase) -> Response:
    """The invented demo plant, described on one page; only where it is loaded."""
    with database.reading() as connection:
        if not _has_demo(connection):
            raise NotFound("this database does not hold the demo plant")
        counts = {name: _count(connection, table) for name, table in _COUNTED.items()}
    return HTMLResponse(_pages.get_template("demo.html").render(story=demo_story(), counts=counts))


@router.get("/problems/{slug}")
def problem_page(slug: str) -> Response:
    """What a problem's `type` means."""
    for kind in PROBLEMS:
        if kind.slug == slug:
            page = _pages.get_template("problem.html").render(kind=kind, says=kind.__doc__ or kind.title)
            return HTMLResponse(page)
    raise NotFound(f"there is no problem type '{slug}'")


@router.get("/favicon.ico")
def no_icon() -> Response:
    return RedirectResponse("/static-offline-docs/favicon.png")
