"""What a finding asks for, word by word; which work follows is common practice, no source, unless said."""

import pytest

from scheduler.planning.diagnoses import Diagnosis
from scheduler.planning.found_diagnoses import METALS, STANDS_FOR_D, found_diagnoses
from scheduler.planning.plant_columns import PlantColumns
from scheduler.vocabulary import Found, Severity, Status, TaskKind
from tests.planning.small_plant import BREATHER, NOW, Finding, Position, plant

ASKED: dict[Found, tuple[str, Severity, TaskKind]] = {
    **dict.fromkeys(METALS, ("metal-found", Severity.NOW, TaskKind.INSPECT)),
    Found.COLLAPSED: ("element-collapsed", Severity.NOW, TaskKind.INSPECT),
    Found.WRONG_PART: ("wrong-part-found", Severity.NOW, TaskKind.INSPECT),
    Found.BYPASSED: ("bypass-had-opened", Severity.SOON, TaskKind.TAKE_SAMPLE),
    Found.WATER: ("water-found", Severity.SOON, TaskKind.TAKE_SAMPLE),
    Found.VARNISH: ("varnish-found", Severity.SOON, TaskKind.TAKE_SAMPLE),
    Found.SEAL_DEBRIS: ("seal-debris-found", Severity.SOON, TaskKind.INSPECT),
    Found.FIBRES: ("fibres-found", Severity.SOON, TaskKind.INSPECT),
}
ON_A_BREATHER = {Found.DUST, Found.DESICCANT_TURNED, Found.OIL}


def with_finding(*found: Found, days_ago: float = 1.0, position: Position | None = None) -> PlantColumns:
    at = position or Position("P1")
    return plant(at, findings=[Finding(found, NOW - days_ago, position=at.code)])


def told(columns: PlantColumns) -> list[tuple[str, Severity, TaskKind | None]]:
    return [(each.code, each.severity, each.asks_for) for each in found_diagnoses(columns)]


@pytest.mark.parametrize("word", list(Found))
def test_each_word_asks_for_its_own_work_and_clean_or_silt_for_none(word: Found) -> None:
    assert told(with_finding(word)) == ([ASKED[word]] if word in ASKED else [])


@pytest.mark.parametrize("word", sorted(ON_A_BREATHER))
def test_a_breather_that_is_spent_is_changed(word: Found) -> None:
    """Desiccant that has fully turned: published maker's page."""
    breather = Position("P1", fitted=BREATHER, part=BREATHER)
    assert told(with_finding(word, position=breather)) == [
        ("breather-spent", Severity.SOON, TaskKind.CHANGE_BREATHER)
    ]


def test_what_was_found_at_its_own_change_is_not_held_against_the_new_breather() -> None:
    breather = Position("P1", fitted=BREATHER, part=BREATHER, fitted_day=NOW - 1.0)
    assert told(with_finding(Found.DUST, position=breather)) == []


def test_two_kinds_of_metal_are_one_finding_with_both_named() -> None:
    (found,) = found_diagnoses(with_finding(Found.METAL_STEEL, Found.METAL_BRONZE, Found.SILT))
    assert found.numbers["found"] == ["metal_bronze", "metal_steel"]


def newest(*findings: Finding) -> list[Diagnosis]:
    return found_diagnoses(plant(Position("P1"), findings=findings))


def test_only_the_newest_finding_of_a_place_stands() -> None:
    metal = Finding((Found.METAL,), NOW - 9.0, position="P1")
    assert newest(metal, Finding((Found.CLEAN,), NOW - 2.0, position="P1")) == []
    assert len(newest(metal, Finding((Found.CLEAN,), NOW - 2.0))) == 1  # what the tank shows is another place


@pytest.mark.parametrize(("days_ago", "stands"), [(STANDS_FOR_D - 0.5, True), (STANDS_FOR_D + 0.5, False)])
def test_a_finding_stands_for_a_season(days_ago: float, *, stands: bool) -> None:
    assert bool(found_diagnoses(with_finding(Found.WATER, days_ago=days_ago))) is stands


def test_nothing_is_asked_of_a_place_that_is_out_of_service() -> None:
    assert told(with_finding(Found.METAL, position=Position("P1", status=Status.RETIRED))) == []
