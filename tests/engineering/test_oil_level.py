"""Looks at the oil level. That they are taken at rest and in the defined position is common practice, no source."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from scheduler.engineering.oil_level import LevelSeen, level_check, most_to_add, overfill

TANK_L = 200.0


def look(
    *,
    at_rest: bool | None = True,
    defined_position: bool | None = True,
    level_pct: float | None = None,
    below_full_L: float | None = None,
) -> LevelSeen:
    return level_check(
        at_rest=at_rest,
        defined_position=defined_position,
        reservoir_volume_L=TANK_L,
        level_pct=level_pct,
        below_full_L=below_full_L,
    )


def test_a_level_at_rest_in_the_defined_position_says_what_is_missing() -> None:
    # arithmetic: 94 % of 200 L is 12 L below full
    assert look(level_pct=94.0) == LevelSeen(valid=True, missing_L=pytest.approx(12.0), why_not=None)
    assert look(below_full_L=12.0).missing_L == 12.0


@pytest.mark.parametrize(
    ("at_rest", "defined_position", "why_not"),
    [
        (False, True, "the system was running"),
        (True, False, "cylinders were not in the defined position"),
        (None, True, "nobody said that the system was at rest"),
        (False, None, "the system was running and nobody said that cylinders were in the defined position"),
    ],
)
def test_any_other_look_counts_for_nothing_and_says_why(
    at_rest: bool | None, defined_position: bool | None, why_not: str
) -> None:
    seen = look(at_rest=at_rest, defined_position=defined_position, level_pct=80.0)
    assert seen == LevelSeen(valid=False, missing_L=None, why_not=why_not)
    room = most_to_add(seen, TANK_L)
    assert room.most_L == 0.0
    assert why_not in room.says
    assert "not known" in room.says


def test_what_cylinders_may_give_back_is_said_where_it_is_known() -> None:
    seen = look(defined_position=False, level_pct=80.0)
    assert "up to 35 L may come back" in most_to_add(seen, TANK_L, 35.0).says


def test_no_more_is_poured_than_is_missing() -> None:
    assert most_to_add(look(below_full_L=12.0), TANK_L).most_L == 12.0
    assert overfill(12.0, look(below_full_L=12.0), TANK_L) is None
    says = overfill(20.0, look(below_full_L=12.0), TANK_L)
    assert says is not None
    assert "20 L" in says
    assert "8 L would be too much" in says


def test_a_reservoir_that_is_overfull_takes_nothing() -> None:
    seen = look(level_pct=103.0)
    assert most_to_add(seen, TANK_L).most_L == 0.0
    assert "6 L above" in most_to_add(seen, TANK_L).says
    says = overfill(1.0, seen, TANK_L)
    assert says is not None
    assert "0 L are missing to full, 7 L would be too much" in says


def test_without_a_valid_look_only_more_than_the_whole_reservoir_is_certainly_too_much() -> None:
    seen = look(at_rest=False)
    assert overfill(150.0, seen, TANK_L) is None
    assert overfill(210.0, seen, TANK_L) == "Do not pour 210 L: the whole reservoir holds 200 L."


def test_a_good_look_without_litres_is_valid_and_pours_nothing() -> None:
    seen = look()
    assert (seen.valid, seen.missing_L) == (True, None)
    assert most_to_add(seen, TANK_L).most_L == 0.0


@given(st.floats(0.0, 150.0), st.floats(0.01, 400.0))
def test_a_pour_is_refused_exactly_where_it_is_more_than_may_be_added(level_pct: float, poured_L: float) -> None:
    seen = look(level_pct=level_pct)
    assert (overfill(poured_L, seen, TANK_L) is None) == (poured_L <= most_to_add(seen, TANK_L).most_L)


@pytest.mark.parametrize(
    ("wrong", "says"),
    [
        ({"level_pct": 50.0, "below_full_L": 3.0}, "give one"),
        ({"level_pct": -1.0}, r"-1\.0 %"),
        ({"below_full_L": 201.0}, "more than the reservoir"),
        ({"below_full_L": math.nan}, "nan L"),
    ],
)
def test_a_level_that_cannot_be_is_refused(wrong: dict[str, float], says: str) -> None:
    with pytest.raises(ValueError, match=says):
        look(**wrong)


def test_volumes_that_cannot_be_are_refused() -> None:
    with pytest.raises(ValueError, match=r"reservoir volume 0\.0 L"):
        most_to_add(look(), 0.0)
    with pytest.raises(ValueError, match=r"cylinders' volume -1\.0 L"):
        most_to_add(look(), TANK_L, -1.0)
    with pytest.raises(ValueError, match=r"0\.0 L poured"):
        overfill(0.0, look(), TANK_L)
