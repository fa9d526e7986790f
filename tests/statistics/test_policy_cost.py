"""Rules of change on the same lives: what each costs, and that none is paid for hours that nobody has seen."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import integrate, stats

from scheduler.statistics.policy_cost import EndedLives, best_fixed_h, cost_of


def lives_of(*life_h: float, late: tuple[bool, ...]) -> EndedLives:
    count = len(life_h)
    return EndedLives(np.array(life_h), np.array(late), np.ones(count), np.full(count, 10.0))


SOME = st.lists(st.tuples(st.floats(1.0, 5000.0), st.booleans()), min_size=1, max_size=15)


def test_a_change_before_a_late_end_is_a_planned_one_at_its_hours() -> None:
    lives = lives_of(800.0, 1000.0, late=(False, True))
    found = cost_of(lives, np.array([np.inf, 900.0]))
    assert (found.changes, found.late, found.run_h, found.cost) == (2, 0, 1700.0, 2.0)


def test_a_rule_that_changes_at_or_after_the_end_is_counted_as_it_really_ended() -> None:
    lives = lives_of(800.0, 1000.0, late=(False, True))
    assert cost_of(lives, np.array([5000.0, 1000.0])) == cost_of(lives, np.full(2, np.inf))
    assert cost_of(lives, np.full(2, np.inf)).cost == 11.0


def test_of_many_lives_the_best_interval_is_that_of_age_replacement() -> None:
    """Barlow & Proschan's integral for Weibull(1000 h, 2.5) at 1:5: 493.05 h and 0.003462 a h (computed, SciPy)."""
    life = stats.weibull_min(2.5, scale=1000.0)
    drawn = life.ppf((np.arange(4000) + 0.5) / 4000)
    many = EndedLives(drawn, np.ones(4000, dtype=bool), np.ones(4000), np.full(4000, 5.0))

    def rate(at_h: float) -> float:
        return float((life.sf(at_h) + 5.0 * life.cdf(at_h)) / integrate.quad(life.sf, 0.0, at_h)[0])

    at = np.linspace(400.0, 600.0, 101)
    best = at[int(np.argmin([rate(each) for each in at]))]
    found = best_fixed_h(EndedLives(drawn[::8], np.ones(500, dtype=bool), np.ones(500), np.full(500, 5.0)))
    assert found == pytest.approx(best, rel=0.06)  # the cost is flat there: a few per cent of the hours cost nothing
    assert cost_of(many, np.full(4000, best)).per_1000_h == pytest.approx(1000.0 * rate(best), rel=2e-3)
    assert rate(best) == pytest.approx(0.003462, abs=2e-6)


@given(SOME, st.floats(1.0, 6000.0))
def test_no_fixed_interval_costs_less_than_the_best_one(told: list[tuple[float, bool]], interval_h: float) -> None:
    lives = lives_of(*(h for h, _ in told), late=tuple(late for _, late in told))
    best = cost_of(lives, np.full(len(lives), best_fixed_h(lives))).per_1000_h
    assert best <= cost_of(lives, np.full(len(lives), interval_h)).per_1000_h * (1.0 + 1e-9)


@given(SOME)
def test_running_longer_than_seen_never_pays(told: list[tuple[float, bool]]) -> None:
    """Lives that all ended in time cost least as they were: every rule only shortens them."""
    lives = lives_of(*(h for h, _ in told), late=(False,) * len(told))
    as_it_was = cost_of(lives, np.full(len(lives), np.inf)).per_1000_h
    best = cost_of(lives, np.full(len(lives), best_fixed_h(lives))).per_1000_h
    assert best == pytest.approx(as_it_was, rel=1e-9)


def test_a_life_of_no_hours_is_refused() -> None:
    with pytest.raises(ValueError, match=r"0\.0 h is not above 0"):
        lives_of(0.0, late=(False,))
