"""The sentence of a due date where lives alone tell of it: the hours that are told, and whether it may be past."""

from zoneinfo import ZoneInfo

import pytest

from scheduler.planning.due import DueItem
from scheduler.vocabulary import DisplayUnits, Trigger
from service.due.wording import Wording
from tests.planning.small_plant import BREATHER, NOW, Life, Place, Position
from tests.planning.test_due import due_of

WORDS = Wording(ZoneInfo("UTC"), DisplayUnits.METRIC)


def breather(fitted_d_ago: float, lives: int = 5) -> DueItem:
    """Where `lives` breathers before it each lasted 110 d, some 880 h, to their limit."""
    fitted = NOW - fitted_d_ago
    earlier = [Life(fitted - 110.0 * (n + 1), fitted - 110.0 * n, part=BREATHER) for n in range(lives)]
    return due_of(Position(place=Place.BREATHER, part=BREATHER, fitted=BREATHER, fitted_day=fitted), lives=earlier)


def test_an_old_element_that_nobody_looks_at_is_said_to_be_past_its_limit_perhaps() -> None:
    item = breather(130.0)
    assert item.trigger is Trigger.LIFE
    assert item.hours_left is not None
    says = WORDS.reason(item.because)
    assert f"about {item.hours_left:,.0f} h left" in says
    assert f"past its limit by now with {100.0 * item.because['facts']['past_share']:.2g} %" in says


@pytest.mark.parametrize(("fitted_d_ago", "lives"), [(20.0, 5), (130.0, 0)])
def test_a_young_one_is_not_nor_one_of_which_no_life_is_known(fitted_d_ago: float, lives: int) -> None:
    assert "past its limit" not in WORDS.reason(breather(fitted_d_ago, lives).because)
