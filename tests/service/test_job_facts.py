"""What a job card knows: the plant's facts, the steps on the wire, and what is said of oil."""

from collections.abc import Iterator
from dataclasses import replace

import pytest
import sqlalchemy as sa

from scheduler.engineering.new_element import ExpectedDp, Fit, judged
from scheduler.engineering.new_oil import TransferFilter
from scheduler.job_card.job import Job
from scheduler.job_card.steps import ORDER
from scheduler.vocabulary import (
    Access,
    Answer,
    FluidFamily,
    IndicatorKind,
    Place,
    TaskKind,
)
from service.work_orders.cards import work_order_cards
from service.work_orders.job_facts import JobFacts, job_facts
from service.work_orders.oil_facts import heaviest_lift, hours_of_clean_up, with_oil_care
from service.work_orders.picked import Kit, kits_of
from service.work_orders.tables import tasks, work_orders
from tests.flow.running_plant import RunningPlant, make_planned, running
from tests.flow.small_folder import BREATHER, RETURN, SIDE_A, STRAINER, UNKNOWN
from tests.service.card_plant import NASTY, of_order, told_in_full


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


# of oil


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
