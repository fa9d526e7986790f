"""The job card: filled with what the plant has told, in order on the wire, and as a page for paper and phone."""

import re
from base64 import b64encode
from collections.abc import Iterator
from dataclasses import replace
from hashlib import sha256
from html.parser import HTMLParser
from pathlib import Path
from typing import Any

import pytest
import segno
import sqlalchemy as sa
from pydantic import ValidationError
from starlette.testclient import TestClient
from typer.testing import CliRunner

from scheduler.engineering.new_element import ExpectedDp, Fit, judged
from scheduler.engineering.new_oil import TransferFilter
from scheduler.job_card.cautions import DENIAL
from scheduler.job_card.job import Job
from scheduler.job_card.steps import ORDER
from scheduler.vocabulary import (
    Access,
    Answer,
    DisplayUnits,
    FluidFamily,
    IndicatorKind,
    Place,
    Scope,
    TaskKind,
)
from service.app import create_app
from service.cli import jobs
from service.settings import Settings
from service.work_orders.card_page import card_page
from service.work_orders.cards import work_order_cards
from service.work_orders.job_facts import JobFacts, job_facts
from service.work_orders.oil_facts import heaviest_lift, hours_of_clean_up, with_oil_care
from service.work_orders.picked import Kit, kits_of
from service.work_orders.tables import tasks, work_orders
from service.work_orders.write_ins import FOUND, write_ins
from tests.flow.running_plant import RunningPlant, make_planned, running
from tests.flow.small_folder import BREATHER, RETURN, SIDE_A, STRAINER, UNKNOWN, SmallPlant, small_plant

ADDRESS = "https://due.plant.example/elementdue"
NASTY = "<script>alert(1)</script> & \"R\" 'x'"


def told_in_full() -> SmallPlant:
    """The small plant with all that a card can use, and texts that would run if they were not escaped."""
    return (
        small_plant()
        .changed(
            *("systems", "system", "PRESS"),
            name=NASTY,
            hazards="accumulator,hot furnace beside it",
            permits="hot work <b>",
            level_position="ram down on its blocks",
            cleanliness_target="18/16/13",
        )
        .changed(
            *("positions", "position", RETURN),
            housing=NASTY,
            test_point="MP5, tank lid",
            housing_volume__L=8,
            indicator_kind="switch",
            access="stopped",
            quantity=1,
            **{"torque__N*m": 25},
        )
        .changed("positions", "position", STRAINER, inlet_head__m=0.4, housing="tank floor")
        .changed("positions", "position", SIDE_A, max_age__d=70, access="running", housing_volume__L=5)
    )


@pytest.fixture(scope="module")
def plant(tmp_path_factory: pytest.TempPathFactory) -> Iterator[RunningPlant]:
    """Read by every test here, changed by none."""
    path = make_planned(tmp_path_factory.mktemp("cards") / "plant.sqlite", told_in_full())
    with running(path) as service:
        yield service


def facts(plant: RunningPlant, position: str, kind: str, kit: Kit | None = None) -> JobFacts:
    with plant.database.reading() as connection:
        row = (
            connection.execute(sa.select(tasks).where(tasks.c.position == position, tasks.c.kind == kind))
            .mappings()
            .one()
        )
        kits = kits_of(connection, [row["id"]]) if kit is None else {row["id"]: kit}
        return job_facts(connection, [row], kits, with_steps=True)[row["id"]]


def html(plant: RunningPlant, position: str, kind: str | None = None, address: str | None = ADDRESS) -> str:
    order = plant.order_of(position, kind)["id"]
    with plant.database.reading() as connection:
        return card_page(connection, order, public_address=address).html


def words(text: str) -> str:
    return " ".join(text.replace("\u00a0", " ").split())


# the facts


def test_a_change_knows_everything_that_the_plant_has_told_of_it(plant: RunningPlant) -> None:
    found = facts(plant, RETURN, "change_element").job
    assert found == Job(
        task=TaskKind.CHANGE_ELEMENT,
        place=Place.RETURN,
        hazards=("accumulator", "hot furnace beside it"),
        access=Access.STOPPED,
        fluid_family=FluidFamily.HM,
        working_pressure_bar=210.0,
        working_temperature_degC=50.0,
        isolation_procedure="ISO-17",
        permits="hot work <b>",
        position=RETURN,
        system="PRESS",
        part_number="EL-10",
        quantity=1,
        alternates=("EL-10-FKM",),  # EPDM swells in mineral oil: ISO 6072, and every seal maker's table
        seals="NBR",
        seal_kit="SK-1",
        fluid="OIL-46",
        grade=46,
        housing=NASTY,
        test_point="MP5, tank lid",
        torque_Nm=25.0,
        housing_volume_L=8.0,
        reservoir_volume_L=400.0,
        bypass=Answer.YES,
        indicator_kind=IndicatorKind.SWITCH,
        # ρV with the sheet's 870 kg/m³, and a steel drum of 20 kg for 210 L (common practice, no source)
        heaviest_lift_kg=pytest.approx(208.0 * 0.87 + 20.0, abs=0.3),
        heaviest_lift="a full 208 L container of OIL-46",
        lifting_aid="a drum trolley",
        top_up_filter=found.top_up_filter,
        target_code="18/16/13",
        oil_needed_L=8.0,
        level_position="ram down on its blocks",
        dp_after=found.dp_after,
        flow_lpm=180.0,
        terminal_dp_bar=2.5,
    )


def test_a_new_element_is_expected_to_show_what_a_calculation_by_hand_gives(plant: RunningPlant) -> None:
    # Makers' published rule: 0.4 bar stated at 180 L/min, 30 mm²/s, 860 kg/m³; oil 46/6.8 mm²/s has 30.0 mm²/s at
    # 50 °C (ASTM D341) and 870 × (1 − 0.0007 × 35) = 848.7 kg/m³, so 0.395 bar, and the housing's 0.2 bar.
    told = facts(plant, RETURN, "change_element")
    assert [row.oil_temperature_degC for row in told.expected_after] == [20.0, 30.0, 40.0, 50.0, 60.0]
    (warm,) = told.job.dp_after
    assert warm.low_bar == pytest.approx(0.6 * 0.595 - 0.05, abs=0.01)
    assert warm.high_bar == pytest.approx(1.5 * 0.595 + 0.05, abs=0.01)


def test_of_an_alternate_in_the_kit_the_alternates_own_sheet_counts(plant: RunningPlant) -> None:
    def with_picks(**pick: str | None) -> tuple[ExpectedDp, ...]:
        return facts(plant, RETURN, "change_element", Kit(parts=[pick])).expected_after  # type: ignore[list-item]

    specified = facts(plant, RETURN, "change_element").expected_after
    assert with_picks(part_number="EL-10-FKM", instead_of="EL-10") == specified  # the same figures on both sheets
    assert with_picks(part_number="STR-1", instead_of="EL-10") == specified  # in no list of alternates any more
    thicker = sa.text("UPDATE element_types SET clean_dp_bar = 0.8 WHERE part_number = 'EL-10-FKM'")
    with plant.database.engine.execution_options(writes=True).connect() as connection:
        connection.execute(thicker)
        (row,) = connection.execute(sa.select(tasks).where(tasks.c.position == RETURN)).mappings().all()
        kit = Kit(parts=[{"part_number": "EL-10-FKM", "instead_of": "EL-10"}])  # type: ignore[list-item]
        found = job_facts(connection, [row], {row["id"]: kit}, with_steps=True)[row["id"]].expected_after
        connection.rollback()
    assert found[-1].high_bar > 1.5 * specified[-1].high_bar


def test_a_strainer_brings_its_cleanings_and_no_dp(plant: RunningPlant) -> None:
    told = facts(plant, STRAINER, "service_strainer")
    assert (told.job.cleaned, told.job.cleanings, told.job.max_cleanings) == (True, 3, 10)
    assert (told.job.access, told.job.inlet_head_m) == (Access.DRAINED, 0.4)
    assert told.expected_after == ()  # known by its vacuum, which has no ΔP


def test_a_breather_is_not_expected_to_show_anything(plant: RunningPlant) -> None:
    assert facts(plant, BREATHER, "change_breather").expected_after == ()


def test_a_side_of_a_duplex_housing_keeps_its_letter(plant: RunningPlant) -> None:
    job = facts(plant, SIDE_A, "change_element").job
    assert (job.side, job.keeps_running) == ("A", True)
    assert "standby-side" in {step["key"] for step in of_order(plant, SIDE_A)["tasks"][0]["steps"]}


def test_a_look_says_first_what_was_seen(plant: RunningPlant) -> None:
    job = facts(plant, UNKNOWN, "inspect").job
    assert job.asked_by == "Nothing is known to be fitted: look, and record it."
    (task,) = of_order(plant, UNKNOWN, "inspect")["tasks"]
    assert "Nothing is known to be fitted" in next(step["says"] for step in task["steps"] if step["key"] == "why")
    assert facts(plant, RETURN, "change_element").job.asked_by is None


# on the wire


def of_order(plant: RunningPlant, position: str, kind: str | None = None) -> Any:
    return plant.get(f"/v1/work-orders/{plant.order_of(position, kind)['id']}")


def test_the_steps_of_an_order_stand_in_the_order_of_the_trade_and_the_list_leaves_them_out(
    plant: RunningPlant,
) -> None:
    for listed in plant.orders():
        shown = plant.get(f"/v1/work-orders/{listed['id']}")
        assert shown["cautions"] == listed["cautions"]
        for task, bare in zip(shown["tasks"], listed["tasks"], strict=True):
            keys = [step["key"] for step in task["steps"]]
            assert keys == sorted(keys, key=ORDER.index)
            assert (keys[0], keys[-1]) == ("permit-and-isolation", "sign-off")
            assert task | {"steps": [], "expected_after": []} == bare


def test_the_expected_range_has_units_and_judges_a_reading_off_line(plant: RunningPlant) -> None:
    (task,) = [task for task in of_order(plant, RETURN)["tasks"] if task["position"] == RETURN]
    rows = task["expected_after"]
    assert {(row["low"]["unit"], row["oil_temperature"]["unit"], row["flow"]["unit"]) for row in rows} == {
        ("bar", "degC", "L/min")
    }
    card = [ExpectedDp(row["oil_temperature"]["value"], row["low"]["value"], row["high"]["value"]) for row in rows]
    usual_lpm = rows[0]["flow"]["value"]
    assert judged(0.6, 50.0, 180.0, card, usual_lpm).fit is Fit.AS_EXPECTED
    assert judged(0.1, 50.0, 180.0, card, usual_lpm).fit is Fit.TOO_LOW
    assert judged(1.5, 50.0, 180.0, card, usual_lpm).fit is Fit.TOO_HIGH


def test_a_task_that_is_not_open_any_more_has_no_steps(plant: RunningPlant) -> None:
    with plant.database.engine.execution_options(writes=True).connect() as connection:
        connection.execute(sa.update(tasks).values(state="done"))
        rows = connection.execute(sa.select(work_orders)).mappings().all()
        cards = work_order_cards(connection, rows, with_steps=True)
        connection.rollback()
    assert all(task.state == "done" and not task.steps for card in cards for task in card.tasks)


@pytest.mark.parametrize("with_steps", [False, True])
def test_many_orders_take_as_many_queries_as_one(plant: RunningPlant, with_steps: bool) -> None:
    def queries(count: int) -> int:
        said: list[str] = []
        with plant.database.reading() as connection:
            rows = connection.execute(sa.select(work_orders).limit(count)).mappings().all()
            assert len(rows) == count
            sa.event.listen(connection, "before_cursor_execute", lambda _c, _k, text, *_: said.append(text))
            work_order_cards(connection, rows, with_steps=with_steps)
        return len(said)

    assert queries(1) == queries(4) <= 11


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


def test_new_oil_is_held_against_the_target_and_the_card_says_through_which_filter(plant: RunningPlant) -> None:
    """New oil is often no better than 20/18/15 (published handbooks); by tests/engineering/test_new_oil.py."""
    job = facts(plant, RETURN, "change_element").job
    assert job.top_up_filter is not None
    assert job.top_up_filter.startswith("The new oil's code is not known and taken as 20/18/15")
    assert "target 18/16/13" in job.top_up_filter
    through = with_oil_care(job, {"PRESS": [TransferFilter(6.0, 200.0)]}).top_up_filter
    assert through is not None
    assert "through a filter of 6 µm(c), β 200" in through
    assert with_oil_care(replace(job, target_code=None, top_up_filter=None), {}).top_up_filter is None
    assert with_oil_care(replace(job, task=TaskKind.INSPECT, top_up_filter=None), {}).top_up_filter is None


@pytest.mark.parametrize(
    ("container_L", "mass_kg", "aid"),
    [
        (20.0, 18.5, "a trolley or a second person"),
        (210.0, 202.7, "a drum trolley"),
        (1000.0, 870.0, "a hoist rated for it"),
    ],
)
def test_a_container_is_weighed_before_anybody_lifts_it(container_L: float, mass_kg: float, aid: str) -> None:
    """17.4 and 182.7 kg of oil at 870 kg/m³ (arithmetic), with the usual tares; 23 kg: NIOSH 94-110."""
    lift = heaviest_lift(container_L, 870.0, "OIL-46")
    assert lift["heaviest_lift_kg"] == pytest.approx(mass_kg, abs=0.05)
    assert lift["lifting_aid"] == aid


def test_a_clean_up_says_how_long_and_says_nothing_where_nobody_knows() -> None:
    because = {"code": "clean-up-off-line", "facts": {"low_h": 3.04, "high_h": 7.6}}
    says = hours_of_clean_up(because)
    assert says is not None
    assert says.startswith("Run it for about 3.0 to 7.6 h")
    assert hours_of_clean_up({"code": "unplanned", "facts": {}}) is None
