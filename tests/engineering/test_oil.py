"""The right oil, and seals that stand it."""

import pytest

from scheduler.engineering.oil import MINERAL_FAMILIES, Fluid, SealFit, fluid_mismatch, seal_materials, seal_verdict
from scheduler.vocabulary import FluidFamily as F

PRACTICE = [
    *((family, seal, "compatible") for family in sorted(MINERAL_FAMILIES) for seal in ("NBR", "HNBR", "FKM")),
    *((family, "EPDM", "unsuitable") for family in sorted(MINERAL_FAMILIES)),
    *[(F.HEES, "FKM", "compatible"), (F.HEES, "NBR", "unknown"), (F.HEES, "EPDM", "unknown")],
    *[(F.HFC, "NBR", "compatible"), (F.HFC, "EPDM", "compatible"), (F.HFC, "FKM", "unknown")],
    *[(F.HFDR, "EPDM", "compatible"), (F.HFDR, "FKM", "unknown"), (F.HFDR, "NBR", "unsuitable")],
    *[(F.HFDU, "EPDM", "unknown"), (F.HETG, "NBR", "unknown"), (F.HFAS, "EPDM", "unknown")],
    *((family, seal, "compatible") for family in (F.HFAE, F.HFB) for seal in ("NBR", "FKM")),
    *[(F.HFAE, "EPDM", "unsuitable"), (F.HFB, "EPDM", "unsuitable"), (F.HFDR, "HNBR", "unsuitable")],
    *[(F.HFDU, "FKM", "compatible"), (F.HFDU, "NBR", "unknown"), (F.HETG, "FKM", "compatible")],
    *((F.HEPR, seal, "compatible") for seal in ("NBR", "HNBR", "FKM")),
    (F.HEPR, "EPDM", "unsuitable"),
]
"""General practice of handbooks, the fluid maker's sheet governs: mineral NBR/HNBR/FKM, never EPDM; HEES FKM or NBR
of high acrylonitrile content; HFC NBR or EPDM; HFDR EPDM or special FKM, not NBR. From memory: emulsions (HFAE, HFB)
NBR or FKM, not EPDM, which their oil swells; HFDU and HETG FKM; HEPR as mineral oil. All else: no guess."""


@pytest.mark.parametrize(("family", "seal", "fit"), PRACTICE)
def test_seals_fit_as_general_practice_says_and_nothing_is_guessed(family: F, seal: str, fit: str) -> None:
    verdict = seal_verdict(family, seal)
    assert verdict.fit is SealFit(fit)
    assert seal in verdict.says
    assert family in verdict.says


def test_the_mineral_families_are_those_of_iso_11158() -> None:
    assert {F.HH, F.HL, F.HM, F.HV, F.HG} == MINERAL_FAMILIES


def test_one_wrong_seal_among_good_ones_decides() -> None:
    assert seal_verdict(F.HM, "NBR, bypass seat EPDM").fit is SealFit.UNSUITABLE
    assert seal_verdict(F.HEES, "FKM with NBR cover ring").fit is SealFit.UNKNOWN


def test_a_ptfe_back_up_ring_spoils_nothing() -> None:
    assert seal_verdict(F.HM, "FKM + PTFE").fit is SealFit.COMPATIBLE


@pytest.mark.parametrize(("family", "text"), [(None, "NBR"), (F.HM, None), (F.HM, ""), (F.HM, "standard")])
def test_a_missing_family_or_material_is_unknown_and_never_a_guess(family: F | None, text: str | None) -> None:
    verdict = seal_verdict(family, text)
    assert verdict.fit is SealFit.UNKNOWN
    assert "maker's sheet" in verdict.says


def test_hnbr_is_not_read_as_nbr_and_words_are_read_in_any_case() -> None:
    assert seal_materials("hnbr") == ("HNBR",)
    assert seal_materials("Nitrile, FPM, epr") == ("NBR", "FKM", "EPDM")


HM_46 = Fluid("HYD-46", "Plant oil 46", F.HM, 46)


def test_the_specified_fluid_has_no_mismatch() -> None:
    assert fluid_mismatch(HM_46, Fluid("HYD-46")) == []


def test_another_grade_and_family_are_both_named() -> None:
    reasons = fluid_mismatch(HM_46, Fluid("BIO-68", "Press oil", F.HEES, 68))
    assert reasons == [
        "BIO-68 (Press oil) is not the specified HYD-46 (Plant oil 46).",
        "Viscosity grade ISO VG 68 instead of ISO VG 46.",
        "Fluid family HEES instead of HM (ISO 6743-4).",
    ]


def test_the_same_kind_of_oil_from_another_maker_is_still_another_oil() -> None:
    reasons = fluid_mismatch(HM_46, Fluid("HYD-46-B", "Other oil 46", F.HM, 46))
    assert len(reasons) == 2
    assert "additives may differ" in reasons[1]


def test_an_oil_of_unknown_family_and_grade_is_never_taken_for_right() -> None:
    reasons = fluid_mismatch(HM_46, Fluid("DRUM-7"))
    assert [reason for reason in reasons if "DRUM-7 is not recorded" in reason] == reasons[1:]
    assert len(reasons) == 3


def test_a_gap_on_the_specified_side_is_named_as_such() -> None:
    reasons = fluid_mismatch(Fluid("HYD-46", grade=46), Fluid("X", family=F.HM, grade=46))
    assert "family of HYD-46 is not recorded" in reasons[1]
