"""A plant that has told all that a job card can use, and how its cards are asked for."""

from typing import Any

from service.work_orders.card_page import card_page
from tests.flow.running_plant import RunningPlant
from tests.flow.small_folder import RETURN, SIDE_A, STRAINER, SmallPlant, small_plant

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


def html(plant: RunningPlant, position: str, kind: str | None = None, address: str | None = ADDRESS) -> str:
    order = plant.order_of(position, kind)["id"]
    with plant.database.reading() as connection:
        return card_page(connection, order, public_address=address).html


def words(text: str) -> str:
    return " ".join(text.replace("\u00a0", " ").split())


def of_order(plant: RunningPlant, position: str, kind: str | None = None) -> Any:
    return plant.get(f"/v1/work-orders/{plant.order_of(position, kind)['id']}")
