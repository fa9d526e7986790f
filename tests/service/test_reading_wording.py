"""What ΔP readings say, in words: the numbers, and what to check first."""

from zoneinfo import ZoneInfo

import numpy as np
import pytest

from scheduler.planning.diagnoses import Diagnosis
from scheduler.vocabulary import DisplayUnits
from service.due.reading_wording import READING_DIAGNOSES
from service.due.wording import Wording
from tests.planning.small_plant import NAN, NOW, Position
from tests.planning.test_reading_diagnoses import CHANGING_degC, newly_fitted, read_with, said, thicker, weekly

METRIC, US = (Wording(ZoneInfo("UTC"), units) for units in (DisplayUnits.METRIC, DisplayUnits.US))


def every_finding() -> list[Diagnosis]:
    cold_degC = np.array([50.0, 51.0, 49.0, 50.0, 50.0, 30.0, 29.0])
    plants = (
        newly_fitted(0.10, 0.11),
        newly_fitted(0.65, 0.65),
        said(Position(terminal_dp_bar=2.5, readings=weekly([0.4] * 8, CHANGING_degC))),
        said(Position(terminal_dp_bar=2.5, fitted_day=NOW - 200.0, readings=weekly([0.0] * 5, NAN, NAN))),
        said(Position(terminal_dp_bar=2.5, readings=weekly(np.round(0.4 * thicker(cold_degC), 2), cold_degC))),
        *(said(read_with(viscosity_power=power)) for power in (0.0, 0.6, 2.0)),
        *(said(read_with(flow_power=power)) for power in (0.0, 2.0)),
        said(read_with(flow_known=False, idle=True)),
    )
    return [found for plant in plants for found in plant.values()]


FOUND = every_finding()


def test_every_code_is_found_by_some_plant_here() -> None:
    assert {each.code for each in FOUND} == set(READING_DIAGNOSES)


@pytest.mark.parametrize("found", FOUND, ids=lambda each: each.code)
def test_each_says_how_much_and_what_to_check_first(found: Diagnosis) -> None:
    for words in (METRIC, US):
        says = words.diagnosis(found.code, found.numbers)
        assert "Check first: " in says
        assert any(sign.isdigit() for sign in says)
        assert says.endswith(".")
        assert " nan" not in says
        assert "None" not in says
    assert " bar" in METRIC.diagnosis(found.code, found.numbers) or "power" in says
    assert " bar" not in says


def test_the_grade_that_would_explain_a_new_element_is_said_only_where_there_is_one() -> None:
    [little], [much] = newly_fitted(0.10, 0.11).values(), newly_fitted(0.65, 0.65).values()
    assert "ISO VG" not in METRIC.diagnosis(little.code, little.numbers)
    assert "Oil of ISO VG 100 would show as much with a sound element." in METRIC.diagnosis(much.code, much.numbers)


def test_cold_oil_is_told_with_both_readings_and_both_restated_ones() -> None:
    [found] = [each for each in FOUND if each.code == "oil-cold-not-dirt"]
    says = METRIC.diagnosis(found.code, found.numbers | {"before_bar": 0.4, "now_bar": 1.06})
    assert "rose from 0.40 bar about 2024-09-06 to 1.06 bar on 2024-10-04" in says
    assert "30 °C against 50 °C" in says or "29 °C against 50 °C" in says
    assert "dirt" in says
