"""Checked before the job: part, seals, media, lot and fluid. What stands what is general practice of handbooks."""

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from scheduler.engineering.oil import Fluid
from scheduler.engineering.oil_level import LevelSeen
from scheduler.planning.shelf_check import (
    LOOK_HOLDS_D,
    Finding,
    Look,
    Mistake,
    Objection,
    Scanned,
    Wanted,
    check,
    element_findings,
    pour_findings,
)
from scheduler.vocabulary import FluidFamily as F

DAY = 20_000.0
OIL = Fluid("OIL-46", "Bench 46", F.HM, 46)


def wanted(family: F | None = F.HM) -> Wanted:
    fluid = Fluid("OIL-46", "Bench 46", family, 46)
    return Wanted("E-10", ("E-11",), fluid, seal_kit="K-10", kit_parts=("G-1",))


def told(scanned: Scanned, family: F | None = F.HM) -> list[tuple[str, str]]:
    return [(str(each.mistake), str(each.severity)) for each in check(scanned, wanted(family), DAY)]


def alternate(seals: str | None = "NBR", media: str | None = "glass fibre") -> Scanned:
    return Scanned("E-11", seals=seals, media=media)


@pytest.mark.parametrize("part", ["E-10", "E-11", "K-10", "G-1"])
def test_the_specified_parts_and_a_listed_alternate_pass(part: str) -> None:
    assert told(Scanned(part, seals="NBR", media="glass fibre", lot_expires_day=DAY + 1.0, fluid=OIL)) == []


def test_a_part_that_is_not_of_the_job_is_refused_by_name() -> None:
    (found,) = check(Scanned("E-99", seals="NBR"), wanted(), DAY)
    assert (found.mistake, found.severity, found.found) == (Mistake.WRONG_PART, Objection.REFUSE, "E-99")
    assert "neither the specified E-10" in found.says


@pytest.mark.parametrize(
    ("family", "seals"),
    [
        (F.HM, "EPDM"),  # mineral oil swells EPDM: handbooks
        (F.HFDR, "NBR"),  # phosphate ester attacks NBR: handbooks
        (F.HFAE, "EPDM"),  # the oil of the emulsion swells it: from memory
        (F.HFB, "EPDM"),  # the same
    ],
)
def test_an_alternate_whose_seals_the_fluid_attacks_is_refused(family: F, seals: str) -> None:
    assert told(alternate(seals=seals, media=None), family) == [("unsuitable_seal", "refuse")]


@pytest.mark.parametrize(
    ("family", "seals"),
    [
        (F.HFC, "NBR"),  # water glycol: NBR or EPDM, handbooks
        (F.HFC, "EPDM"),
        (F.HFDR, "EPDM"),  # phosphate ester: EPDM, handbooks
        (F.HFAE, "NBR"),  # emulsion: NBR, from memory
    ],
)
def test_seals_that_stand_water_and_phosphate_ester_pass(family: F, seals: str) -> None:
    assert told(alternate(seals=seals, media="stainless steel"), family) == []


@pytest.mark.parametrize(
    ("family", "media"),
    [
        *((family, "paper") for family in (F.HFAE, F.HFAS, F.HFB, F.HFC)),  # paper swells in water: from memory
        (F.HFC, "glass fibre on galvanised mesh"),  # glycol dissolves zinc: from memory
        (F.HFDR, "painted support tube"),  # phosphate ester strips paint: from memory
    ],
)
def test_an_alternate_whose_media_the_fluid_attacks_is_refused(family: F, media: str) -> None:
    scanned = alternate(seals="EPDM" if family is F.HFDR else "NBR", media=media)
    assert ("unsuitable_media", "refuse") in told(scanned, family)


def test_a_specified_element_that_the_fluid_attacks_puts_the_specification_in_doubt() -> None:
    assert told(Scanned("E-10", seals="EPDM", media="glass fibre")) == [("unsuitable_seal", "ask")]


def test_seals_of_an_alternate_of_which_nothing_is_known_are_asked_about_and_the_specified_ones_are_not() -> None:
    assert told(alternate(seals=None)) == [("cannot_tell", "ask")]
    assert told(alternate(), None) == [("cannot_tell", "ask"), ("cannot_tell", "ask")]
    assert told(Scanned("E-10")) == []


def test_a_lot_is_refused_from_the_day_on_which_it_expires() -> None:
    assert told(Scanned("E-10", lot="L-7", lot_expires_day=DAY + 0.1)) == []
    (found,) = check(Scanned("E-10", lot="L-7", lot_expires_day=DAY - 12.0), wanted(), DAY)
    assert (found.mistake, found.severity) == (Mistake.EXPIRED_LOT, Objection.REFUSE)
    assert found.says == "Lot L-7 of E-10 expired 12 days before the day of the job: do not fit it."
    assert told(Scanned("E-10", lot_expires_day=DAY)) == [("expired_lot", "refuse")]


def oil(poured: Fluid, specified: F = F.HM) -> list[Finding]:
    return check(Scanned(fluid=poured), wanted(specified), DAY)


@pytest.mark.parametrize(
    ("specified", "poured"),
    [(F.HM, F.HFC), (F.HFC, F.HM), (F.HM, F.HFDR), (F.HFDR, F.HM), (F.HFC, F.HFAE), (F.HEES, F.HM)],
)
def test_a_fluid_of_another_family_is_refused_with_what_it_would_do(specified: F, poured: F) -> None:
    # ISO 6743-4 families; that these never mix: ISO 7745 and ISO 15380, annex A, from memory
    (found,) = oil(Fluid("DRUM", family=poured, grade=46), specified)
    assert (found.mistake, found.severity) == (Mistake.WRONG_FAMILY, Objection.REFUSE)
    assert f"{poured} instead of {specified}" in found.says
    assert "Do not pour" in found.says


def test_another_grade_is_refused_and_another_name_is_asked_about() -> None:
    (grade,) = oil(Fluid("OIL-68", "Bench 68", F.HM, 68))
    assert (grade.mistake, grade.severity) == (Mistake.WRONG_GRADE, Objection.REFUSE)
    assert "ISO VG 68 instead of ISO VG 46" in grade.says
    (name,) = oil(Fluid("OIL-46-B", "Other 46", F.HM, 46))
    assert (name.mistake, name.severity) == (Mistake.OTHER_NAME, Objection.ASK)


def test_a_fluid_of_unknown_family_and_grade_is_asked_about_twice() -> None:
    assert told(Scanned(fluid=Fluid("DRUM"))) == [("cannot_tell", "ask"), ("cannot_tell", "ask")]


def test_a_printed_name_that_the_plant_lists_passes_and_another_cannot_be_told() -> None:
    assert told(Scanned(maker_name=" bench  46")) == []
    (found,) = check(Scanned(maker_name="Bench 68"), wanted(), DAY)
    assert (found.mistake, found.severity) == (Mistake.CANNOT_TELL, Objection.ASK)
    assert "'Bench 68'" in found.says


def test_a_container_past_its_date_is_refused() -> None:
    (found,) = check(Scanned(fluid=OIL, container_L=20.0, fluid_expires_day=DAY - 1.0), wanted(), DAY)
    assert (found.mistake, found.severity) == (Mistake.EXPIRED_OIL, Objection.REFUSE)
    assert (
        found.says
        == "The 20 L container of OIL-46 (Bench 46) expired 1 day before the day of the job: do not pour it."
    )


def test_a_label_that_nobody_could_read_is_no_consent() -> None:
    assert told(Scanned()) == [("cannot_tell", "ask")]
    with pytest.raises(ValueError, match="no part was scanned"):
        element_findings(Scanned(), wanted(), DAY)


def test_refusals_come_before_questions() -> None:
    scanned = Scanned("E-99", lot_expires_day=DAY - 1.0, fluid=Fluid("X", family=F.HM, grade=46))
    assert [severity for _, severity in told(scanned)] == ["refuse", "refuse", "ask", "ask"]


def poured(pour_L: float, look: Look, let_out_L: float = 0.0) -> list[tuple[str, str]]:
    found = pour_findings(pour_L, look, reservoir_volume_L=400.0, let_out_L=let_out_L, day=DAY)
    return [(str(each.mistake), str(each.severity)) for each in found]


def looked(missing_L: float | None, d_ago: float = 1.0, poured_since_L: float = 0.0) -> Look:
    return Look(LevelSeen(True, missing_L, None), DAY - d_ago, poured_since_L)


@given(
    missing_L=st.floats(-100.0, 400.0),
    since_L=st.floats(0.0, 100.0),
    let_out_L=st.floats(0.0, 100.0),
    pour_L=st.floats(0.1, 600.0),
)
def test_a_pour_is_refused_just_where_the_oil_would_stand_above_full(
    missing_L: float, since_L: float, let_out_L: float, pour_L: float
) -> None:
    """Litres in against litres out, by hand: 400 − missing + poured − let out, a thousandth of a litre apart."""
    stands_at_L = 400.0 - missing_L + since_L - let_out_L + pour_L
    assume(abs(stands_at_L - 400.0) > 0.01)
    refused = poured(pour_L, looked(missing_L, poured_since_L=since_L), let_out_L) == [("overfill", "refuse")]
    assert refused == (stands_at_L > 400.0)


def test_a_look_forbids_for_a_week_and_then_asks_for_another() -> None:
    assert poured(13.0, looked(12.0, LOOK_HOLDS_D)) == [("overfill", "refuse")]
    assert poured(13.0, looked(12.0, LOOK_HOLDS_D + 0.1)) == [("overfill", "ask")]
    assert poured(401.0, looked(12.0, 300.0)) == [("overfill", "refuse")]  # no level makes room for that


def test_without_a_look_that_counts_only_what_the_job_lets_out_is_poured() -> None:
    running = Look(LevelSeen(False, None, "the system was running"), DAY - 1.0)
    for look in (running, Look(LevelSeen(False, None, "nobody has looked")), looked(None)):
        assert poured(5.0, look, let_out_L=5.0) == []
        assert poured(6.0, look, let_out_L=5.0) == [("cannot_tell", "ask")]
        assert poured(401.0, look) == [("overfill", "refuse")]


def test_an_overfull_system_takes_nothing() -> None:
    (found,) = pour_findings(2.0, looked(-3.0), reservoir_volume_L=400.0, let_out_L=0.0, day=DAY)
    assert "0 L are missing to full, 5 L would be too much" in found.says
    assert "The level was 3 L above full 1 day before the day of the job." in found.says
