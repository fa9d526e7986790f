"""The oil of kits: opened containers first, then the lot that expires first; never another fluid, never expired."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from scheduler.planning.kits import KitSpec
from scheduler.planning.oil_kits import OilArrival, OilNeed, OilPick, OilShelf, oil_need, pick_oil
from scheduler.vocabulary import TaskKind

NOW = 20_000.0


def need(
    volume_L: float, position: str = "P1", in_d: float = 10.0, *, issued: bool = False, **more: float
) -> OilNeed:
    subject = ("S1", position, TaskKind.CHANGE_ELEMENT)
    return OilNeed(subject, issued, NOW + in_d, "OIL-46", volume_L, **more)


def shelf(lot: str, left_L: float, expires_in_d: float | None = None, *, opened: bool = False) -> OilShelf:
    expires_day = None if expires_in_d is None else NOW + expires_in_d
    return OilShelf("OIL-46", "MAIN", lot, 20.0, left_L, opened, expires_day)


def taken(picks: list[OilPick]) -> list[tuple[str, float]]:
    return [("short" if pick.shelf is None else pick.shelf.lot, pick.volume_L) for pick in picks]


def test_the_opened_container_is_used_up_before_one_that_expires_earlier_is_opened() -> None:
    lots = [shelf("keeps", 40.0), shelf("soon", 20.0, 60.0), shelf("open", 3.0, 300.0, opened=True)]
    assert taken(pick_oil([need(8.0)], lots, [], NOW)) == [("open", 3.0), ("soon", 5.0)]


def test_oil_that_has_expired_by_the_day_of_the_job_is_left() -> None:
    lots = [shelf("gone by then", 20.0, 9.0, opened=True), shelf("good", 20.0, 11.0)]
    assert taken(pick_oil([need(8.0)], lots, [], NOW)) == [("good", 8.0)]


def test_another_fluid_never_stands_in() -> None:
    other = OilShelf("OIL-68", "MAIN", "L1", 20.0, 20.0, False, None)
    assert taken(pick_oil([need(8.0)], [other], [], NOW)) == [("short", 8.0)]


def test_issued_work_comes_before_a_draft_that_is_planned_earlier() -> None:
    picks = pick_oil([need(6.0, "P1", 1.0), need(6.0, "P2", 5.0, issued=True)], [shelf("L", 8.0)], [], NOW)
    assert [(pick.subject[1], *got) for pick, got in zip(picks, taken(picks), strict=True)] == [
        ("P2", "L", 6.0),
        ("P1", "L", 2.0),
        ("P1", "short", 4.0),
    ]


def test_a_shortage_names_the_supply_that_covers_the_last_of_it() -> None:
    coming = [OilArrival("OIL-46", "PO-2", "1", 20.0, NOW + 9.0), OilArrival("OIL-46", "PO-1", "1", 5.0, NOW + 3.0)]
    (short,) = pick_oil([need(8.0)], [], coming, NOW)
    assert short.arrival is not None
    assert short.arrival.order == "PO-2"
    (too_much,) = pick_oil([need(26.0)], [], coming, NOW)
    assert too_much.arrival is None


def test_what_is_reserved_is_not_taken_again() -> None:
    assert taken(pick_oil([need(8.0, reserved_L=6.0)], [shelf("L", 20.0)], [], NOW)) == [("L", 2.0)]
    assert pick_oil([need(8.0, reserved_L=8.0)], [shelf("L", 20.0)], [], NOW) == []


@pytest.mark.parametrize(
    ("kind", "volume_L"),
    [(TaskKind.CHANGE_ELEMENT, 6.0), (TaskKind.SERVICE_STRAINER, 6.0), (TaskKind.INSPECT, 0.0)],
)
def test_a_housing_that_is_opened_loses_what_it_holds(kind: TaskKind, volume_L: float) -> None:
    assert oil_need(kind, KitSpec("EL", 1, oil_lost_L=6.0, fluid="OIL-46"), {})[1] == volume_L
    assert oil_need(kind, KitSpec("EL", 1, fluid="OIL-46"), {})[1] == 0.0


def test_a_top_up_takes_what_the_level_lacks() -> None:
    because = {"code": "oil-level-low", "facts": {"fluid": "OIL-46", "missing_L": 70.0}}
    assert oil_need(TaskKind.TOP_UP, None, because) == ("OIL-46", 70.0)
    assert oil_need(TaskKind.TOP_UP, None, {"code": "unplanned", "facts": {}}) == (None, 0.0)


@given(
    st.lists(st.floats(0.01, 30.0), min_size=1, max_size=6),
    st.lists(st.tuples(st.floats(0.0, 30.0), st.booleans()), max_size=6),
)
def test_no_litre_is_promised_twice_and_none_is_forgotten(
    volumes_L: list[float], lots: list[tuple[float, bool]]
) -> None:
    needs = [need(volume_L, f"P{number}") for number, volume_L in enumerate(volumes_L)]
    shelves = [shelf(f"L{number}", left_L, opened=opened) for number, (left_L, opened) in enumerate(lots)]
    picks = pick_oil(needs, shelves, [], NOW)
    for lot in shelves:
        assert sum(pick.volume_L for pick in picks if pick.shelf == lot) <= lot.left_L + 1e-9
    for asked in needs:
        got_L = sum(pick.volume_L for pick in picks if pick.subject == asked.subject)
        assert got_L == pytest.approx(asked.volume_L, abs=0.01)
