"""What the client of a plant's other systems says and follows, each thing told to the service over a bad network."""

from collections.abc import Iterator

import httpx
import pytest

from api_schemas.client import Integrator
from api_schemas.close_outs import CloseOutIn
from api_schemas.master_data import ElementType, Fluid, Position, System
from api_schemas.quantities import Flow, PressureDifference, Volume
from api_schemas.readings import RowOutcome
from scheduler.vocabulary import ElementKind, Place, Scope
from service.keys.keeping import make_key
from tests.client.technician import SERVER, Network, answer_lost
from tests.flow.running_plant import RunningPlant, iso
from tests.flow.small_folder import BREATHER, RETURN
from tests.service.served import InProcess


class EveryOtherAnswerIsLost:
    """Each request is done twice: the first answer is lost."""

    def __init__(self) -> None:
        self._number = 0

    def __call__(self, network: Network, request: httpx.Request) -> httpx.Response:
        self._number += 1
        return answer_lost(network, request) if self._number % 2 else network.through(request)


@pytest.fixture
def other_system(plant: RunningPlant) -> Iterator[Integrator]:
    with plant.database.writing() as connection:
        scopes = [Scope.INTEGRATE, Scope.READ, Scope.WORK]
        key = make_key(connection, "other system", scopes, now=plant.now)
    network = Network(InProcess(plant.app), lambda: plant.now, EveryOtherAnswerIsLost())
    with Integrator(SERVER, key, transport=network, sleep=lambda _: None, draw=lambda: 1.0) as client:
        yield client


def test_master_data_is_told_and_read_back_and_a_repeat_changes_nothing(other_system: Integrator) -> None:
    fluid = other_system.tell_fluid("OIL-100", Fluid(grade=100, external_ref="M-100"))
    assert (fluid.is_new, fluid.item.grade) == (True, 100)
    kind = ElementType(kind=ElementKind.ELEMENT, clean_dp=PressureDifference(value=0.3, unit="bar"))
    assert other_system.tell_element_type("EL-77", kind).item.clean_dp == kind.clean_dp
    told = System(
        plant=next(other_system.systems()).plant,
        fluid="OIL-100",
        reservoir_volume=Volume(value=250, unit="L"),
        external_ref="EQ-1",
    )
    assert other_system.tell_system("SAW", told).is_new
    assert other_system.tell_system("SAW", told).changed == {}
    place = Position(system="SAW", place=Place.RETURN, part_number="EL-77", flow=Flow(value=30, unit="gpm"))
    assert other_system.tell_position("SAW-RET", place).is_new
    assert [each.system for each in other_system.systems(external_ref="EQ-1")] == ["SAW"]
    (found,) = other_system.positions(system="SAW")
    assert (found.position, found.part_number, found.place) == ("SAW-RET", "EL-77", Place.RETURN)


def test_readings_are_told_once_each(plant: RunningPlant, other_system: Integrator) -> None:
    system = plant.rows("positions", position=RETURN)[0]["system"]
    before = {table: len(plant.rows(table)) for table in ("meter_readings", "dp_readings")}
    hours = other_system.tell_hours([{"system": system, "at": iso(plant.now), "hours": 8561}])
    assert hours.counts[RowOutcome.NEW] == 1
    rows = [{"position": place, "at": iso(plant.now), "dp": 21} for place in (RETURN, "NOWHERE")]
    dp = other_system.tell_dp(rows, {"dp": "psi"})
    assert (dp.counts[RowOutcome.NEW], dp.counts[RowOutcome.REFUSED]) == (1, 1)
    assert [(row.row, row.errors[0].member) for row in dp.outcomes] == [(2, "position")]
    assert {table: len(plant.rows(table)) for table in before} == {
        table: count + 1 for table, count in before.items()
    }


def test_an_order_is_taken_over_done_and_heard_of_in_the_feed(plant: RunningPlant, other_system: Integrator) -> None:
    newest = other_system.feed(limit=1).newest
    order, other = plant.order_of(RETURN)["id"], plant.order_of(BREATHER)["id"]
    for number in {order, other}:
        plant.post(f"/v1/work-orders/{number}/issue")
    taken = other_system.acknowledge(order, "WO-1")
    assert (taken.external_ref, taken.acknowledged_by) == ("WO-1", "other system")
    assert other_system.give_back(order, "WO-1", "no crew").external_ref is None
    task = plant.task_of(RETURN)["id"]
    told = CloseOutIn.model_validate_json(f'{{"task": {task}, "at": "{iso(plant.now)}", "external_ref": "WO-1-A"}}')
    closed = other_system.close(told)
    (seen,) = other_system.close_outs(external_ref="WO-1-A")
    assert (seen.id, seen.work_order) == (closed.id, order)
    lines = other_system.feed(newest).items
    assert [line.number for line in lines] == list(range(newest + 1, newest + 1 + len(lines)))
    of_order = [line.data for line in lines if line.subject == f"work-order/{order}" and "state" in line.data]
    states = [data["external_ref"] for data in of_order]
    assert states[:3] == [None, "WO-1", None]
    assert [line.subject for line in lines if line.type == "close_out.recorded"] == [f"close-out/{closed.id}"]
