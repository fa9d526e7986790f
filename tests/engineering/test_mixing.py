"""What may be poured into what. Sources stand beside each rule; all are general practice, from memory."""

from itertools import product

import pytest

from scheduler.engineering.mixing import FIRE_RESISTANT, WATER_CONTAINING, MixFit, mixing
from scheduler.engineering.oil import MINERAL_FAMILIES, Fluid
from scheduler.vocabulary import FluidFamily as F


def fluid(family: F | None, grade: int | None = 46, code: str = "") -> Fluid:
    return Fluid(code or f"{family}-{grade}", family=family, grade=grade)


def fit(held: F, poured: F) -> MixFit:
    return mixing(fluid(held, code="HELD"), fluid(poured, code="POURED")).fit


@pytest.mark.parametrize(("oil", "watery"), [*product(sorted(MINERAL_FAMILIES), sorted(WATER_CONTAINING))])
def test_mineral_oil_and_a_fluid_with_water_in_it_are_never_mixed_either_way(oil: F, watery: F) -> None:
    # ISO 7745 (guidelines for fire-resistant fluids): types are kept apart
    assert fit(oil, watery) is fit(watery, oil) is MixFit.NEVER


@pytest.mark.parametrize("oil", sorted(MINERAL_FAMILIES | {F.HFDU, F.HEES, F.HEPR, F.HFC}))
def test_phosphate_ester_is_mixed_with_nothing_else(oil: F) -> None:
    # its seals (EPDM) are those that mineral oil and other esters swell, and it attacks paints: handbooks
    assert fit(oil, F.HFDR) is fit(F.HFDR, oil) is MixFit.NEVER


@pytest.mark.parametrize("other", [F.HM, F.HV, F.HEES, F.HETG, F.HEPR, F.HFDU])
def test_polyglycol_is_poured_into_no_oil_and_no_ester(other: F) -> None:
    # ISO 15380, annex A: HEPG does not dissolve in mineral oil
    assert fit(other, F.HEPG) is fit(F.HEPG, other) is MixFit.NEVER


@pytest.mark.parametrize("held", [F.HETG, F.HEES, F.HEPR])
def test_mineral_oil_spoils_an_environmental_fluid_and_the_other_way_the_makers_are_asked(held: F) -> None:
    # ISO 15380, annex A: a rest of mineral oil of about 2 % at most
    assert fit(held, F.HM) is MixFit.NEVER
    assert "2 %" in mixing(fluid(held), fluid(F.HM)).says
    assert fit(F.HM, held) is MixFit.ASK


def test_what_burns_is_not_poured_into_a_fire_resistant_ester() -> None:
    # ISO 7745: what is added must not lessen the fire resistance
    assert fit(F.HFDU, F.HM) is fit(F.HFDU, F.HEES) is MixFit.NEVER
    assert fit(F.HM, F.HFDU) is MixFit.ASK


@pytest.mark.parametrize("held", sorted(FIRE_RESISTANT))
@pytest.mark.parametrize("poured", sorted(FIRE_RESISTANT))
def test_two_types_of_fire_resistant_fluid_are_never_mixed(held: F, poured: F) -> None:
    # ISO 7745; of one type the makers are asked
    assert fit(held, poured) is (MixFit.ASK if held is poured else MixFit.NEVER)


@pytest.mark.parametrize(("held", "poured"), [(F.HEES, F.HETG), (F.HEPR, F.HEES), (F.HFC, F.HEPG), (F.HM, F.HL)])
def test_where_general_practice_is_silent_the_makers_are_asked(held: F, poured: F) -> None:
    verdict = mixing(fluid(held), fluid(poured))
    assert verdict.fit is MixFit.ASK
    assert "ask both fluid makers" in verdict.says


def test_only_the_very_same_fluid_may_be_poured_unasked() -> None:
    assert mixing(fluid(F.HM, code="OIL"), fluid(None, None, code="OIL")).fit is MixFit.MAY
    twin = mixing(Fluid("OIL-A", "Plant oil", F.HM, 46), Fluid("OIL-B", "Other oil", F.HM, 46))
    assert twin.fit is MixFit.ASK
    assert "OIL-B (Other oil)" in twin.says
    assert "OIL-A (Plant oil)" in twin.says


def test_a_thicker_oil_is_named_with_both_grades() -> None:
    says = mixing(fluid(F.HM, 46), fluid(F.HM, 68)).says
    assert "ISO VG 68 into ISO VG 46" in says
    assert "thicker" in says
    assert "thinner" in mixing(fluid(F.HM, 46), fluid(F.HM, 32)).says


@pytest.mark.parametrize(("held", "poured"), [(None, F.HM), (F.HM, None)])
def test_an_unrecorded_family_is_asked_about_and_named(held: F | None, poured: F | None) -> None:
    verdict = mixing(fluid(held), fluid(poured))
    assert verdict.fit is MixFit.ASK
    assert "the family of None-46 is not recorded" in verdict.says
