"""The job card as a page for paper and phone, and on the command line."""

import re
from base64 import b64encode
from collections.abc import Iterator
from hashlib import sha256
from html.parser import HTMLParser
from pathlib import Path

import pytest
import segno
import sqlalchemy as sa
from pydantic import ValidationError
from starlette.testclient import TestClient
from typer.testing import CliRunner

from scheduler.job_card.cautions import DENIAL
from scheduler.vocabulary import (
    DisplayUnits,
    Place,
    Scope,
    TaskKind,
)
from service.app import create_app
from service.cli import jobs
from service.settings import Settings
from service.work_orders.card_page import card_page
from service.work_orders.write_ins import FOUND, write_ins
from tests.flow.running_plant import RunningPlant, make_planned, running
from tests.flow.small_folder import BREATHER, RETURN
from tests.service.card_plant import ADDRESS, NASTY, html, of_order, told_in_full, words


@pytest.fixture(scope="module")
def plant(tmp_path_factory: pytest.TempPathFactory) -> Iterator[RunningPlant]:
    """Read by every test here, changed by none."""
    path = make_planned(tmp_path_factory.mktemp("cards") / "plant.sqlite", told_in_full())
    with running(path) as service:
        yield service


# on paper


class Page(HTMLParser):
    """Elements and their attributes, and the text outside of style."""

    def __init__(self, page: str) -> None:
        super().__init__()
        self.elements: list[tuple[str, dict[str, str | None]]] = []
        self.text = ""
        self._inside = ""
        self.feed(page)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.elements.append((tag, dict(attrs)))
        self._inside = tag

    def handle_data(self, data: str) -> None:
        if self._inside != "style":
            self.text += data + " "


def test_a_card_answers_with_a_policy_under_which_nothing_runs_and_nothing_is_kept(plant: RunningPlant) -> None:
    answer = plant.client.get(f"/v1/work-orders/{plant.order_of(RETURN)['id']}/card")
    assert answer.headers["Content-Type"] == "text/html; charset=utf-8"
    assert answer.headers["Cache-Control"] == "no-store"
    policy = answer.headers["Content-Security-Policy"]
    style = re.search(r"<style>(.*?)</style>", answer.text, re.DOTALL)
    assert style is not None
    digest = b64encode(sha256(style[1].encode()).digest()).decode()  # CSP Level 3, 2.3.1: of the element's text
    assert policy == (
        f"default-src 'none'; style-src 'sha256-{digest}'; base-uri 'none'; form-action 'none'; "
        "frame-ancestors 'none'"
    )


def test_a_card_is_whole_in_itself_and_escapes_what_the_plant_has_told(plant: RunningPlant) -> None:
    page = Page(html(plant, RETURN))
    tags = {tag for tag, _ in page.elements}
    assert not tags & {"script", "link", "img", "iframe", "object", "form", "a", "base"}
    assert not [name for _, told in page.elements for name in told if name.startswith("on") or name == "style"]
    assert NASTY in page.text
    assert "url(" not in html(plant, RETURN)
    assert "@import" not in html(plant, RETURN)


def test_a_card_never_holds_a_key(plant: RunningPlant) -> None:
    secret = plant.client.headers["Authorization"].removeprefix("Bearer ")
    for order in plant.orders():
        text = plant.client.get(f"/v1/work-orders/{order['id']}/card").text
        assert secret not in text
        assert "edk_" not in text


def test_a_card_begins_with_isolation_permit_and_what_can_hurt_and_says_what_comes_first(
    plant: RunningPlant,
) -> None:
    text = words(Page(html(plant, RETURN)).text)
    order = [
        *("ISO-17", "hot work <b>", "local codes and licensed or trained people come before", "What can hurt"),
        *(words(str(DENIAL)), "Change element: PRESS-RET", "Kit", "SK-1", "Steps", "Get the permit"),
        *("See zero pressure at MP5, tank lid", "ram down on its blocks", "name, signature"),
    ]
    at = [text.index(each) for each in order]
    assert at == sorted(at)


def test_each_step_has_a_box_and_each_figure_one_line(plant: RunningPlant) -> None:
    page = html(plant, RETURN)
    (task,) = [task for task in of_order(plant, RETURN)["tasks"] if task["position"] == RETURN]
    boxes = page.count('<input type="checkbox"')
    assert boxes >= len(task["steps"]) + len(task["picks"]) + len(task["oil"]) + len(FOUND)
    text = words(Page(page).text)
    for asked in ("hours on the meter", "ΔP before", "ΔP after", "part number fitted", "torque"):
        assert text.count(asked) == 1, asked
    (warm,) = [row for row in task["expected_after"] if row["oil_temperature"]["value"] == 50.0]
    assert f"{warm['low']['value']:.2f} to {warm['high']['value']:.2f}" in text


def test_what_is_short_says_when_it_comes(plant: RunningPlant) -> None:
    assert re.search(r"1 × BR-1 SHORT: arrives \d{4}-\d\d-\d\d with PO-9/1", words(Page(html(plant, BREATHER)).text))


def test_a_plant_with_us_gauges_writes_and_reads_their_units(plant: RunningPlant) -> None:
    order = plant.order_of(RETURN)["id"]
    with plant.database.engine.execution_options(writes=True).connect() as connection:
        connection.execute(sa.text("UPDATE plants SET display_units = 'us'"))
        text = words(Page(card_page(connection, order, public_address=None).html).text)
        connection.rollback()
    # 50 °C = 122 °F; 180 L/min = 47.55 US gpm (1 US gal = 3.785411784 L, NIST SP 811); 1 bar = 14.5038 psi
    assert "A new element shows at 47.6 gpm: oil 68 °F 86 °F 104 °F 122 °F 140 °F ΔP, psi" in text
    (low_psi, high_psi) = [float(each) for each in re.findall(r"(\d+\.\d) to (\d+\.\d)", text)[3]]
    assert low_psi == pytest.approx(14.5038 * 0.307, abs=0.1)
    assert high_psi == pytest.approx(14.5038 * 0.943, abs=0.1)
    (line,) = write_ins([["dp_after"]], TaskKind.CHANGE_ELEMENT, Place.RETURN, DisplayUnits.US)
    assert [(blank.label, blank.unit) for blank in line.blanks] == [
        ("ΔP after", "psi"),
        ("flow", "gpm"),
        ("oil", "°F"),
    ]
    (line,) = write_ins([["dp_before"]], TaskKind.SERVICE_STRAINER, Place.SUCTION, DisplayUnits.US)
    assert line.blanks[0].unit == "inHg"


def test_the_qr_code_is_the_public_address_of_the_card_and_nothing_else(plant: RunningPlant) -> None:
    order = plant.order_of(RETURN)["id"]
    page = html(plant, RETURN)
    drawn = segno.make_qr(f"{ADDRESS}/cards/{order}", error="m").svg_inline(omitsize=True)
    assert drawn in page
    assert page.count(ADDRESS) == 2  # printed beside the code, and read aloud


def test_without_a_public_address_there_is_no_code_and_the_setting_is_named(plant: RunningPlant) -> None:
    page = html(plant, RETURN, address=None)
    assert "<svg" not in page
    assert "ELEMENTDUE_PUBLIC_ADDRESS" in page


def test_the_public_address_is_a_setting(plant: RunningPlant) -> None:
    app = create_app(plant.database, Settings(public_address=f"{ADDRESS}/"), ticks=False)
    key = plant.client_with(Scope.READ, name="of the address").headers["Authorization"]
    client = TestClient(app, base_url="http://127.0.0.1", headers={"Authorization": key})
    order = plant.order_of(RETURN)["id"]
    assert f"{ADDRESS}/cards/{order}<" in client.get(f"/v1/work-orders/{order}/card").text


@pytest.mark.parametrize(
    "told",
    [
        *("due.plant.example", "ftp://due.plant.example", "https://edk_secret@due.plant.example", "https://"),
        *(
            "https://due.plant.example/?key=edk_secret",
            "https://due.plant.example/#edk_secret",
            "javascript:alert(1)",
        ),
    ],
)
def test_an_address_that_is_none_or_holds_more_than_an_address_is_refused(told: str) -> None:
    with pytest.raises(ValidationError, match="expected an address like"):
        Settings(public_address=told)


def test_no_address_is_no_address() -> None:
    assert Settings(public_address=" ").public_address is None


# the page that the code opens


def test_the_page_behind_the_code_needs_no_key_and_holds_no_plant_data(plant: RunningPlant) -> None:
    client = TestClient(plant.app, base_url="http://127.0.0.1")
    order = plant.order_of(RETURN)["id"]
    pages = [client.get(f"/cards/{number}") for number in (order, 999_999)]
    assert {page.status_code for page in pages} == {200}
    assert pages[0].text == pages[1].text  # whether there is such an order is told with a key only
    for named in ("PRESS", "EL-10", "ISO-17", "MILL", str(order)):
        assert named not in pages[0].text
    assert client.get("/cards/one").status_code == 404


def test_the_page_behind_the_code_runs_its_own_script_only(plant: RunningPlant) -> None:
    client = TestClient(plant.app, base_url="http://127.0.0.1")
    answer = client.get("/cards/1")
    policy = answer.headers["Content-Security-Policy"]
    assert "default-src 'none'; script-src 'self'; style-src 'self'; connect-src 'self'" in policy
    assert "unsafe" not in policy
    assert not re.search(r"<script(?![^>]*\ssrc=)|<style|\son\w+=|style=", answer.text)
    fetched = [told["src"] or "" for tag, told in Page(answer.text).elements if tag == "script"]
    fetched += [told["href"] or "" for _, told in Page(answer.text).elements if told.get("rel") == "stylesheet"]
    assert fetched == ["card.js", "card.css"]  # relative: the same behind a proxy's prefix
    for name, media_type in zip(fetched, ("text/javascript", "text/css"), strict=True):
        found = client.get(f"/cards/{name}")
        assert found.status_code == 200
        assert found.headers["Content-Type"].startswith(media_type)
        assert found.headers["X-Content-Type-Options"] == "nosniff"


def test_the_key_is_kept_for_the_tab_alone_and_what_is_answered_is_put_in_as_text() -> None:
    script = (Path(__file__).parents[2] / "service" / "pages" / "card.js").read_text(encoding="utf-8")
    assert "sessionStorage" in script
    assert not re.search(r"localStorage|cookie|innerHTML|insertAdjacentHTML|document\.write|eval\(|console", script)
    assert not re.search(r"https?:|//[a-z]+\.", script)


# on the command line


def test_the_command_line_writes_the_page_and_prints_the_steps(
    plant: RunningPlant, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("service.cli.asking.open_database", lambda _url: plant.database)
    order, at = plant.order_of(RETURN)["id"], tmp_path / "card.html"
    ended = CliRunner().invoke(jobs.app, ["card", str(order), "--write", str(at)])
    assert (ended.exit_code, ended.stdout) == (0, "")
    assert at.read_text(encoding="utf-8") == html(plant, RETURN, address=None)
    shown = CliRunner().invoke(jobs.app, ["show", str(order)]).stdout
    assert re.search(r"^ +1\. Get the permit \(hot work <b>\)", shown, re.MULTILINE)
    assert shown.index("Cautions") < shown.index("Get the permit")
    assert re.search(r"50 °C +0\.\d\d to 0\.\d\d bar +180 L/min", shown)
    missing = CliRunner().invoke(jobs.app, ["card", "999", "--write", str(tmp_path / "none.html")])
    assert "there is no work order 999" in str(missing.exception)
    assert not (tmp_path / "none.html").exists()
