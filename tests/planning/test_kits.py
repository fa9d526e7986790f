"""Parts for each job from the shelves: nothing expired, nothing promised twice, every shortage with its supply."""

from collections import Counter
from dataclasses import replace
from itertools import pairwise

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from scheduler.planning.kits import (
    Arrival,
    KitSpec,
    Need,
    Pick,
    ShelfLot,
    TaskNeeds,
    needs_of,
    pick_all,
    without_reserved,
)
from scheduler.vocabulary import TaskKind

NOW = 20_000.0
CHANGE, STRAINER, BREATHER = TaskKind.CHANGE_ELEMENT, TaskKind.SERVICE_STRAINER, TaskKind.CHANGE_BREATHER
SPEC = KitSpec("EL-10", 2, or_else=("EL-10-ALT",), seal_kit="SK-10", lines=(("GASKET", 3), ("TRAY", 1)))
ALTERNATES = {"SK-10": ("SK-11",), "GASKET": ("GASKET-B",)}


def lot(
    part: str, quantity: int, expires_in_d: float | None = None, name: str = "L1", store: str = "MAIN"
) -> ShelfLot:
    return ShelfLot(part, store, name, "A-1", quantity, None if expires_in_d is None else NOW + expires_in_d)


def coming(part: str, quantity: int, in_d: float, line: str = "1") -> Arrival:
    return Arrival(part, "PO-7", line, quantity, NOW + in_d)


def task(*needs: Need, position: str = "P1", in_d: float = 10.0, issued: bool = False) -> TaskNeeds:
    return TaskNeeds(("S1", position, CHANGE), issued, NOW + in_d, needs)


def picked(picks: list[Pick]) -> list[tuple[str, int, str | None]]:
    return [(pick.part_number, pick.quantity, None if pick.shelf is None else pick.shelf.lot) for pick in picks]


def pick(work: list[TaskNeeds], lots: list[ShelfLot], supply: list[Arrival] | None = None) -> list[Pick]:
    return pick_all(work, lots, supply or [], NOW)


def test_a_change_takes_its_elements_a_seal_kit_and_the_plants_own_lines() -> None:
    assert needs_of(CHANGE, SPEC, ALTERNATES) == (
        Need("EL-10", 2, ("EL-10-ALT",)),
        Need("SK-10", 1, ("SK-11",)),
        Need("GASKET", 3, ("GASKET-B",)),
        Need("TRAY", 1),
    )


def test_a_strainer_that_is_cleaned_takes_its_seals_and_goes_back_in() -> None:
    cleaned = KitSpec("STR-1", 1, seal_kit="SK-10", cleaned=True)
    assert needs_of(STRAINER, cleaned, {}) == (Need("SK-10", 1),)
    worn_out = replace(cleaned, max_cleanings=5, worn_out=True)
    assert needs_of(STRAINER, worn_out, {}) == (Need("STR-1", 1), Need("SK-10", 1))
    replaced = KitSpec("STR-1", 1, seal_kit="SK-10")
    assert needs_of(STRAINER, replaced, {}) == (Need("STR-1", 1), Need("SK-10", 1))


def test_a_plant_that_lists_its_seal_kits_itself_gets_that_many() -> None:
    listed = KitSpec("EL-10", 1, seal_kit="SK-10", lines=(("SK-10", 2),))
    assert needs_of(CHANGE, listed, {}) == (Need("EL-10", 1), Need("SK-10", 2))


@pytest.mark.parametrize("kind", [TaskKind.INSPECT, TaskKind.LOOK_WHEN_WARM])
def test_to_look_takes_no_parts(kind: TaskKind) -> None:
    assert needs_of(kind, SPEC, ALTERNATES) == ()


def test_a_breather_without_seals_takes_itself_alone() -> None:
    assert needs_of(BREATHER, KitSpec("BR-1", 1), {}) == (Need("BR-1", 1),)
    assert needs_of(BREATHER, None, {}) == ()


def test_what_expires_first_is_taken_first_and_what_keeps_for_ever_last() -> None:
    lots = [lot("EL", 1, None, "FOREVER"), lot("EL", 1, 300.0, "LATE"), lot("EL", 1, 40.0, "SOON")]
    assert picked(pick([task(Need("EL", 3))], lots)) == [("EL", 1, "SOON"), ("EL", 1, "LATE"), ("EL", 1, "FOREVER")]


@pytest.mark.parametrize("expires_in_d", [-5.0, 5.0, 10.0])
def test_what_has_expired_by_the_day_of_the_job_is_never_taken(expires_in_d: float) -> None:
    [short] = pick([task(Need("EL", 1), in_d=10.0)], [lot("EL", 1, expires_in_d)])
    assert (short.shelf, short.quantity) == (None, 1)


def test_what_expired_since_overdue_work_was_planned_is_never_taken() -> None:
    """The job of 30 days ago is done today at the earliest, and the lot expired last week."""
    [short] = pick([task(Need("EL", 1), in_d=-30.0)], [lot("EL", 1, -7.0)])
    assert short.shelf is None


def test_an_alternate_is_taken_where_the_part_itself_is_not_there_the_best_first() -> None:
    need = Need("EL", 1, ("ALT-1", "ALT-2"))
    [first] = pick([task(need)], [lot("ALT-2", 5), lot("ALT-1", 5)])
    assert (first.part_number, first.instead_of) == ("ALT-1", "EL")
    [itself] = pick([task(need)], [lot("ALT-1", 5), lot("EL", 1)])
    assert (itself.part_number, itself.instead_of) == ("EL", None)


def test_parallel_elements_are_of_one_part_number() -> None:
    need = Need("EL", 3, ("ALT-1", "ALT-2"))
    lots = [lot("EL", 2), lot("ALT-1", 2), lot("ALT-2", 2, 90.0, "L1"), lot("ALT-2", 2, 50.0, "L2")]
    assert picked(pick([task(need)], lots)) == [("ALT-2", 2, "L2"), ("ALT-2", 1, "L1")]


def test_where_no_part_number_covers_all_what_is_there_of_the_part_is_kept_and_the_rest_is_short() -> None:
    found = pick([task(Need("EL", 3, ("ALT",)))], [lot("EL", 2), lot("ALT", 2)], [coming("EL", 5, 20.0)])
    assert picked(found) == [("EL", 2, "L1"), ("EL", 1, None)]
    assert found[1].arrival == coming("EL", 5, 20.0)


def test_issued_work_is_served_before_drafts_and_earlier_work_before_later() -> None:
    work = [
        task(Need("EL", 1), position="DRAFT-EARLY", in_d=1.0),
        task(Need("EL", 1), position="ISSUED-LATE", in_d=30.0, issued=True),
        task(Need("EL", 1), position="DRAFT-LATE", in_d=20.0),
    ]
    found = pick(work, [lot("EL", 2)])
    assert {each.subject[1] for each in found if each.shelf is None} == {"DRAFT-LATE"}


def test_a_shortage_tells_the_supply_that_covers_it() -> None:
    supply = [coming("EL", 1, 5.0, "1"), coming("EL", 2, 12.0, "2"), coming("EL", 9, 30.0, "3")]
    [short] = pick([task(Need("EL", 3))], [], supply)
    assert (short.quantity, short.arrival) == (3, supply[1])


def test_a_shortage_that_nothing_covers_has_no_date() -> None:
    [short] = pick([task(Need("EL", 3))], [], [coming("EL", 2, 5.0), coming("OTHER", 9, 1.0)])
    assert short.arrival is None


def test_the_supply_of_the_part_itself_goes_before_that_of_an_alternate() -> None:
    need = Need("EL", 1, ("ALT",))
    itself, alternate = coming("EL", 1, 30.0), coming("ALT", 1, 5.0, "2")
    assert pick([task(need)], [], [alternate, itself])[0].arrival == itself
    assert pick([task(need)], [], [alternate])[0].arrival == alternate


def test_supply_is_promised_once() -> None:
    work = [task(Need("EL", 1), position=f"P{number}", in_d=number) for number in range(3)]
    found = pick(work, [], [coming("EL", 2, 9.0)])
    assert [each.arrival is not None for each in found] == [True, True, False]


def test_supply_that_is_too_little_for_one_task_is_left_for_the_next() -> None:
    work = [task(Need("EL", 3), position="BIG", in_d=1.0), task(Need("EL", 1), position="SMALL", in_d=2.0)]
    found = pick(work, [], [coming("EL", 1, 9.0)])
    assert [(each.subject[1], each.arrival is not None) for each in found] == [("BIG", False), ("SMALL", True)]


PARTS = ["EL", "ALT-1", "ALT-2", "SK"]
NEEDS = st.builds(
    Need,
    part_number=st.sampled_from(PARTS),
    quantity=st.integers(1, 4),
    or_else=st.lists(st.sampled_from(PARTS), max_size=2, unique=True).map(tuple),
)
WORK = st.lists(
    st.builds(
        TaskNeeds,
        subject=st.tuples(st.just("S1"), st.sampled_from([f"P{n}" for n in range(20)]), st.just(CHANGE)),
        issued=st.booleans(),
        planned_day=st.floats(NOW - 30.0, NOW + 60.0),
        needs=st.lists(NEEDS, max_size=3).map(tuple),
    ),
    max_size=8,
    unique_by=lambda work: work.subject,
)
LOTS = st.lists(
    st.builds(
        ShelfLot,
        part_number=st.sampled_from(PARTS),
        store=st.sampled_from(["MAIN", "VAN"]),
        lot=st.sampled_from(["L1", "L2", "L3"]),
        bin=st.just(""),
        quantity=st.integers(0, 5),
        expires_day=st.none() | st.floats(NOW - 10.0, NOW + 80.0),
    ),
    max_size=10,
    unique_by=lambda each: (each.part_number, each.store, each.lot),
)
SUPPLY = st.lists(
    st.builds(
        Arrival,
        part_number=st.sampled_from(PARTS),
        order=st.just("PO-1"),
        line=st.integers(1, 99).map(str),
        quantity=st.integers(1, 5),
        arrives_day=st.floats(NOW - 5.0, NOW + 60.0),
    ),
    max_size=6,
    unique_by=lambda each: each.line,
)


@settings(max_examples=300, deadline=None)
@given(WORK, LOTS, SUPPLY)
def test_no_piece_is_promised_twice_and_every_need_is_met_or_short(
    work: list[TaskNeeds], lots: list[ShelfLot], supply: list[Arrival]
) -> None:
    found = pick(work, lots, supply)
    taken: Counter[ShelfLot] = Counter()
    for each in found:
        assert each.quantity > 0
        if each.shelf is not None:
            taken[each.shelf] += each.quantity
            assert each.part_number == each.shelf.part_number
            assert each.arrival is None
    assert all(count <= lot.quantity for lot, count in taken.items())
    day_of = {each.subject: max(each.planned_day, NOW) for each in work}
    for each in found:
        if each.shelf is not None and each.shelf.expires_day is not None:
            assert each.shelf.expires_day > day_of[each.subject]
    needed = Counter({each.subject: sum(need.quantity for need in each.needs) for each in work})
    met: Counter[tuple[str, str, TaskKind]] = Counter()
    for each in found:
        met[each.subject] += each.quantity
    assert +met == +needed
    promised = Counter[str]()
    for each in found:
        if each.arrival is not None:
            promised[each.arrival.part_number] += each.quantity
    on_order = Counter[str]()
    for arrival in supply:
        on_order[arrival.part_number] += arrival.quantity
    assert all(count <= on_order[part] for part, count in promised.items())


@settings(max_examples=200, deadline=None)
@given(st.integers(1, 6), LOTS, st.floats(NOW - 20.0, NOW + 60.0))
def test_of_a_part_the_lots_are_taken_in_the_order_of_their_expiry(
    quantity: int, lots: list[ShelfLot], planned_day: float
) -> None:
    found = pick([TaskNeeds(("S1", "P1", CHANGE), True, planned_day, (Need("EL", quantity),))], lots)
    shelves = [each.shelf for each in found if each.shelf is not None]
    expiry = [float("inf") if each.expires_day is None else each.expires_day for each in shelves]
    assert all(first <= second for first, second in pairwise(expiry))
    # a lot is left behind only when the need was met before it or it had expired
    for each in lots:
        is_usable = each.expires_day is None or each.expires_day > max(planned_day, NOW)
        if each.part_number == "EL" and each.quantity and is_usable and each not in shelves:
            assert sum(one.quantity for one in found if one.shelf is not None) == quantity


def test_an_alternate_brings_its_own_seal_kit() -> None:
    """FKM for FKM: the specified element's seals may not stand what the alternate was chosen for."""
    spec = KitSpec("EL-10", 1, ("EL-10F",), "SK-10", {"EL-10F": "SK-10F"}, lines=(("TRAY", 1),))
    shelf = [lot("EL-10F", 1), lot("SK-10", 5), lot("SK-10F", 5), lot("TRAY", 5)]
    picks = pick([task(*needs_of(CHANGE, spec, {}))], shelf)
    assert [(each.part_number, each.instead_of) for each in picks] == [
        *(("EL-10F", "EL-10"), ("SK-10F", "SK-10"), ("TRAY", None)),
    ]
    picks = pick([task(*needs_of(CHANGE, spec, {}))], [lot("EL-10", 1), *shelf])
    assert [each.part_number for each in picks] == ["EL-10", "SK-10", "TRAY"]


def test_where_the_alternates_own_seal_kit_is_not_there_it_is_short_and_no_other_is_taken() -> None:
    spec = KitSpec("EL-10", 1, ("EL-10F",), "SK-10", {"EL-10F": "SK-10F"})
    picks = pick([task(*needs_of(CHANGE, spec, {}))], [lot("EL-10F", 1), lot("SK-10", 5)])
    assert [(each.part_number, each.shelf is None) for each in picks] == [("EL-10F", False), ("SK-10F", True)]


def test_an_alternates_seal_kit_that_is_reserved_is_not_needed_again() -> None:
    spec = KitSpec("EL-10", 1, ("EL-10F",), "SK-10", {"EL-10F": "SK-10F"})
    assert without_reserved(needs_of(CHANGE, spec, {}), {"EL-10": 1, "SK-10": 1}) == ()
    rest = without_reserved(needs_of(CHANGE, spec, {}), {"EL-10": 1})
    held = TaskNeeds(("S1", "P1", CHANGE), False, NOW + 10.0, rest, held="EL-10F")
    (kit,) = pick([held], [lot("SK-10", 5), lot("SK-10F", 5)])
    assert (kit.part_number, kit.instead_of) == ("SK-10F", "SK-10")
