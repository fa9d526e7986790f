"""What a close-out may not say, what of it is not as specified, and why a life ended where nobody said."""

import pytest

from scheduler.engineering.oil import Fluid
from scheduler.planning.close_out import (
    CLOCKS_DIFFER_D,
    EARLY_BY_D,
    Fitted,
    MeterSeen,
    Specified,
    Told,
    departures,
    removal_reason,
    take_from_lots,
    untruths,
)
from scheduler.vocabulary import FluidFamily, RemovalReason, Trigger

NOW = 20_000.0
OIL = Fluid("OIL-46", "Bench 46", FluidFamily.HM, 46)
ESTER = Fluid("OIL-46E", "Bench 46 E", FluidFamily.HEES, 46)


def told(**said: object) -> Told:
    usual = {
        "at_day": NOW - 0.1,
        "hours": 5000.0,
        "changed": True,
        "part_number": "E-10",
        "lot_expires_day": None,
        "fluids": (),
    }
    return Told(**(usual | said))  # type: ignore[arg-type]


def specified(**said: object) -> Specified:
    usual = {"part_number": "E-10", "alternates": ("E-11",), "seals": "NBR", "fluid": OIL}
    return Specified(**(usual | said))  # type: ignore[arg-type]


def codes(statement: Told, before: MeterSeen | None = None, after: MeterSeen | None = None) -> list[str]:
    fitted = Fitted("E-10", NOW - 200.0)
    return [found.code for found in untruths(statement, fitted, before, after, NOW)]


def test_a_true_statement_is_not_doubted() -> None:
    assert codes(told(), MeterSeen(NOW - 1.0, 4990.0), MeterSeen(NOW - 0.05, 5000.5)) == []


def test_a_job_of_tomorrow_is_refused_and_a_clock_a_few_minutes_ahead_is_not() -> None:
    assert codes(told(at_day=NOW + 1.0)) == ["in-the-future"]
    assert codes(told(at_day=NOW + 0.9 * CLOCKS_DIFFER_D)) == []


def test_an_element_cannot_come_out_before_it_went_in() -> None:
    assert codes(told(at_day=NOW - 201.0)) == ["before-the-fitting"]
    assert codes(told(at_day=NOW - 201.0, changed=False)) == []


def test_hours_below_an_earlier_reading_name_that_reading() -> None:
    found = untruths(told(hours=4000.0), None, MeterSeen(NOW - 3.0, 4990.0), None, NOW)
    assert [(each.code, each.known, each.known_day) for each in found] == [
        ("below-earlier-reading", 4990.0, NOW - 3.0)
    ]


def test_hours_above_a_later_reading_or_beyond_24_a_day_are_refused() -> None:
    assert codes(told(), None, MeterSeen(NOW - 0.05, 4999.0)) == ["above-later-reading"]
    assert codes(told(), MeterSeen(NOW - 2.1, 4900.0)) == ["more-than-time-allows"]


def test_a_counter_that_began_again_at_zero_is_believed() -> None:
    before = MeterSeen(NOW - 2.1, 9990.0, wraps_at_h=10_000.0)
    assert codes(told(hours=20.0), before) == []
    assert codes(told(hours=900.0), before) == ["below-earlier-reading"]


def test_the_specified_element_and_a_listed_alternate_depart_from_nothing() -> None:
    assert departures(told(), specified()) == []
    assert departures(told(part_number="E-11"), specified()) == []


def test_a_foreign_element_departs_and_its_seals_are_looked_at() -> None:
    found = departures(told(part_number="E-99"), specified(seals="EPDM"))
    assert [each.about for each in found] == ["element", "seals"]
    assert "EPDM" in found[1].says


def test_an_alternate_whose_seals_the_oil_attacks_departs() -> None:
    assert [each.about for each in departures(told(part_number="E-11"), specified(seals="EPDM"))] == ["seals"]


def test_the_specified_element_does_not_depart_for_seals_that_the_plant_chose_itself() -> None:
    assert departures(told(), specified(seals="EPDM")) == []


def test_a_lot_that_had_expired_departs_and_an_element_left_in_does_not() -> None:
    assert [each.about for each in departures(told(lot_expires_day=NOW - 5.0), specified())] == ["expiry"]
    assert departures(told(lot_expires_day=NOW - 5.0, changed=False), specified()) == []


def test_an_oil_of_another_family_departs_and_the_specified_one_does_not() -> None:
    assert departures(told(fluids=(OIL,)), specified()) == []
    found = departures(told(fluids=(OIL, ESTER)), specified())
    assert [(each.about, each.found) for each in found] == [("oil", "OIL-46E")]
    assert "HEES" in found[0].says


@pytest.mark.parametrize(
    ("said", "trigger", "ordered", "before_due_d", "reason"),
    [
        (RemovalReason.FAILURE, Trigger.HOURS, True, 0.0, RemovalReason.FAILURE),
        (None, Trigger.HOURS, True, 0.0, RemovalReason.DUE),
        (None, Trigger.INDICATOR, True, 0.0, RemovalReason.INDICATOR),
        (None, Trigger.PRESSURE, True, EARLY_BY_D + 1.0, RemovalReason.EARLY),
        (None, Trigger.LIFE, True, 0.0, RemovalReason.EARLY),
        (None, None, True, 0.0, RemovalReason.UNKNOWN),
        (None, None, False, 0.0, RemovalReason.UNKNOWN),
    ],
)
def test_a_life_ends_for_the_reason_told_or_for_what_raised_the_work(
    said: RemovalReason | None, trigger: Trigger | None, ordered: bool, before_due_d: float, reason: RemovalReason
) -> None:
    assert removal_reason(said, trigger, ordered=ordered, before_due_d=before_due_d) is reason


def test_lots_are_taken_in_order_and_what_is_not_there_is_missing() -> None:
    assert take_from_lots(5, [("A", 2), ("B", 0), ("C", 9)]) == ([("A", 2), ("C", 3)], 0)
    assert take_from_lots(5, [("A", 2), ("B", -1)]) == ([("A", 2)], 3)
