"""Pages for a person with a browser and no internet."""

import json
import re
from collections.abc import Iterator
from contextlib import closing
from datetime import UTC, datetime
from html.parser import HTMLParser
from pathlib import Path

import httpx
import pytest

from scheduler.vocabulary import Scope
from service.app import create_app
from service.demo.cases import DUE_BY_PRESSURE
from service.demo.loading import load_demo
from service.problems import PROBLEMS
from service.settings import Settings
from tests.service.served import Served, opened, served

pytestmark = pytest.mark.one_database_is_enough

LOADS = {
    "script": "src",
    "img": "src",
    "link": "href",
    "iframe": "src",
    "object": "data",
    "source": "src",
    "form": "action",
}


class Loaded(HTMLParser):
    """What a page makes a browser fetch, and where its links lead."""

    def __init__(self, text: str) -> None:
        super().__init__()
        self.fetched: list[str] = []
        self.links: list[str] = []
        self.feed(text)
        self.fetched += re.findall(r"""(?:@import|url\()\s*["']?([^"')\s]+)""", text)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        told = dict(attrs)
        if tag == "a":
            self.links.append(told.get("href") or "")
        elif tag in LOADS and told.get(LOADS[tag]):
            self.fetched.append(told[LOADS[tag]] or "")


@pytest.fixture(scope="module")
def client(tmp_path_factory: pytest.TempPathFactory) -> Iterator[httpx.Client]:
    """Of a server with a plant that is not the demo's."""
    with served(tmp_path_factory.mktemp("pages")) as service, service.client() as opened_client:
        yield opened_client


@pytest.fixture(scope="module")
def with_demo(tmp_path_factory: pytest.TempPathFactory) -> Iterator[httpx.Client]:
    with opened(tmp_path_factory.mktemp("demo") / "plant.sqlite") as database:
        assert load_demo(database, datetime.now(UTC), "test")
        with Served(database, create_app(database, Settings(), ticks=False)).client() as opened_client:
            yield opened_client


def page(client: httpx.Client, path: str) -> str:
    answer = client.get(path)
    assert answer.status_code == 200, answer.text
    assert answer.headers["Content-Type"] == "text/html; charset=utf-8"
    return answer.text


def test_the_first_page_says_what_this_is_and_where_to_go_without_a_key(client: httpx.Client) -> None:
    text = page(client, "/")
    assert {"/docs", "/openapi.json"} <= set(Loaded(text).links)
    assert "http://127.0.0.1/v1/due" in text
    assert "isolation procedure" in " ".join(text.split())


def test_the_first_page_names_the_address_that_it_was_asked_under_and_nothing_that_a_caller_slips_in(
    client: httpx.Client,
) -> None:
    assert "http://localhost:9999/v1/due" in client.get("/", headers={"Host": "localhost:9999"}).text
    assert client.get("/", headers={"Host": "localhost/<script>"}).status_code == 400


def test_the_demo_page_is_there_only_with_the_demo_plant(client: httpx.Client, with_demo: httpx.Client) -> None:
    assert client.get("/demo").status_code == 404
    assert "/demo" not in Loaded(page(client, "/")).links
    assert "/demo" in Loaded(page(with_demo, "/")).links
    text = page(with_demo, "/demo")
    assert "invented" in text
    assert DUE_BY_PRESSURE in text


def test_no_page_holds_plant_data(client: httpx.Client) -> None:
    for path in ("/", "/docs", "/openapi.json"):
        assert "LINE1" not in client.get(path).text


@pytest.mark.parametrize("kind", PROBLEMS, ids=lambda kind: kind.slug)
def test_the_type_of_every_problem_leads_to_a_page_about_it(client: httpx.Client, kind: type) -> None:
    text = page(client, f"/problems/{kind.slug}")  # type: ignore[attr-defined]
    assert f"/problems/{kind.slug}" in text  # type: ignore[attr-defined]
    assert str(kind.status) in text  # type: ignore[attr-defined]


def test_a_problem_that_the_service_answers_has_its_page(client: httpx.Client) -> None:
    for answer in (client.get("/v1/due"), client.get("/nowhere"), client.get("/", headers={"Host": "a.example"})):
        page(client, answer.json()["type"])


@pytest.mark.parametrize("path", ["/", "/docs", "/docs/oauth2-redirect", "/problems/busy"])
def test_a_page_fetches_nothing_from_elsewhere(client: httpx.Client, path: str) -> None:
    fetched = Loaded(page(client, path)).fetched
    assert [address for address in fetched if re.match(r"[a-z]+:|//", address)] == []
    for address in fetched:
        assert client.get(address).status_code == 200


def test_the_demo_page_fetches_nothing_from_elsewhere(with_demo: httpx.Client) -> None:
    fetched = Loaded(page(with_demo, "/demo")).fetched
    assert [address for address in fetched if re.match(r"[a-z]+:|//", address)] == []


def test_a_page_that_fetches_from_elsewhere_would_be_found() -> None:
    text = (
        '<script src="https://a.example/x.js"></script><link href="//b.example/x.css"><a href="https://c.example">'
        "<style>@import 'https://d.example/x.css'; body { background: url(https://e.example/x.png) }</style>"
    )
    assert Loaded(text).fetched == [
        "https://a.example/x.js",
        "//b.example/x.css",
        "https://d.example/x.css",
        "https://e.example/x.png",
    ]


def test_the_docs_work_without_internet(client: httpx.Client) -> None:
    text = page(client, "/docs")
    assert [address for address in Loaded(text).fetched if address.endswith(".js")], "the page would be empty"
    assert '"validatorUrl": null' in text  # the page's script would show the description to a server elsewhere
    assert client.get("/redoc").status_code == 404  # its script asks a server elsewhere for a logo


def test_the_description_is_openapi_3_1_and_says_how_to_bring_a_key(client: httpx.Client) -> None:
    described = client.get("/openapi.json").json()
    assert described["openapi"].startswith("3.1.")  # OpenAPI 3.1.1, 4.8.1
    assert described["info"]["title"] == "elementdue"
    schemes = described["components"]["securitySchemes"]
    assert {(each["type"], each["scheme"]) for each in schemes.values()} == {("http", "bearer"), ("http", "basic")}
    (bearer,) = (name for name, each in schemes.items() if each["scheme"] == "bearer")
    for path, methods in described["paths"].items():
        assert path.startswith("/v1/")
        for method, operation in methods.items():
            assert {bearer: []} in operation["security"], (path, method)
            assert len(operation["security"]) == (2 if path == "/v1/calendar" else 1)
            assert operation["summary"]
    references = set(re.findall(r'"#/components/schemas/([^"]+)"', json.dumps(described)))
    assert references <= set(described["components"]["schemas"])


def test_every_path_of_the_description_is_served(tmp_path: Path) -> None:
    with served(tmp_path) as service, closing(service.client(service.key(Scope.ADMINISTER))) as client:
        for path, methods in client.get("/openapi.json").json()["paths"].items():
            for method in methods:
                answer = client.request(method, re.sub(r"\{\w+\}", "999", path))
                assert answer.status_code != 405, (method, path)
                is_json = "json" in answer.headers.get("content-type", "")  # a file is served as what it is
        assert not is_json or answer.json().get("detail") != "Not Found", (method, path)
        assert is_json or answer.status_code == 200, (method, path)
