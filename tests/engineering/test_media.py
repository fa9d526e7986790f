"""Filter media against fluids. All of it is general practice of handbooks, from memory."""

import pytest

from scheduler.engineering.media import MediaFit, media_of, media_verdict
from scheduler.vocabulary import FluidFamily as F

PRACTICE = [
    *((family, "paper", "unsuitable") for family in (F.HFAE, F.HFAS, F.HFB, F.HFC)),  # paper swells in water
    *((family, "water absorbing", "unsuitable") for family in (F.HFAE, F.HFAS, F.HFB, F.HFC)),
    *[(F.HFC, "zinc", "unsuitable"), (F.HFC, "cadmium", "unsuitable")],  # glycol dissolves both
    *[(F.HFC, "aluminium", "unknown"), (F.HFC, "glass", "compatible"), (F.HFC, "brass", "unknown")],
    *[(F.HFDR, "paint", "unsuitable"), (F.HFDR, "glass", "unknown"), (F.HFDR, "stainless", "compatible")],  # glues
    *((F.HM, text, "compatible") for text in ("paper", "glass", "stainless", "bronze", "water absorbing")),
    (F.HM, "zinc", "unknown"),
    *((family, "glass", "compatible") for family in (F.HEES, F.HETG, F.HEPR, F.HFDU)),
    *((family, "paper", "unknown") for family in (F.HEES, F.HETG, F.HEPG, F.HFDU, F.HFDR)),  # silent: no guess
]


@pytest.mark.parametrize(("family", "text", "fit"), PRACTICE)
def test_media_fit_as_general_practice_says_and_nothing_is_guessed(family: F, text: str, fit: str) -> None:
    verdict = media_verdict(family, text)
    assert verdict.fit is MediaFit(fit)
    assert family in verdict.says


def test_a_galvanised_core_spoils_a_good_medium_in_water_glycol() -> None:
    verdict = media_verdict(F.HFC, "glass microfibre, galvanised core")
    assert verdict.fit is MediaFit.UNSUITABLE
    assert "zinc" in verdict.says


@pytest.mark.parametrize(("family", "text"), [(None, "paper"), (F.HM, None), (F.HM, ""), (F.HM, "synthetic")])
def test_a_missing_family_or_material_is_unknown(family: F | None, text: str | None) -> None:
    verdict = media_verdict(family, text)
    assert verdict.fit is MediaFit.UNKNOWN
    assert "ask for the element maker's sheet" in verdict.says


def test_words_are_read_in_any_case_and_a_mesh_of_no_named_metal_is_no_metal() -> None:
    assert media_of("PAPER / Stainless wire mesh") == ("cellulose", "stainless steel")
    assert media_of("wire mesh") == ()
