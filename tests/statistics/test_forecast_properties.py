"""What must hold of every forecast, whatever was read."""

from typing import Any

import numpy as np
import numpy.typing as npt
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from scheduler.statistics.condition_forecast import ConditionForecast, KnownBefore, ReadingColumns, forecast
from scheduler.statistics.life_model import LifePrior

Floats = npt.NDArray[np.float64]
Element = tuple[Floats, Floats, float, float]
"""Run hours and ln ΔP of its readings, run hours now, median life."""

NOISE = 0.08
CLEAN, TERMINAL = np.log(0.3), np.log(2.4)


def life(median_h: Floats, log_sd: float = 0.3) -> LifePrior:
    seen = np.full(len(median_h), 5)
    return LifePrior(np.log(median_h), np.full(len(median_h), log_sd), seen, seen, seen)


def asked(lives: list[Element], terminal: Floats | None = None) -> ConditionForecast:
    count = len(lives)
    readings = ReadingColumns(
        offsets=np.concatenate([[0], np.cumsum([len(one[0]) for one in lives])]).astype(np.int64),
        run_h=np.concatenate([one[0] for one in lives]),
        log_dp=np.concatenate([one[1] for one in lives]),
        weight=np.full(sum(len(one[0]) for one in lives), 1.0 / NOISE**2),
    )
    before = KnownBefore(
        log_terminal=np.full(count, TERMINAL) if terminal is None else terminal,
        log_clean_mean=np.full(count, CLEAN),
        log_clean_var=np.full(count, 0.04),
        life=life(np.array([one[3] for one in lives])),
    )
    return forecast(readings, before, run_h_now=np.array([one[2] for one in lives]))


def element_drawn(rng: np.random.Generator, count: int, life_h: float, age: float, steepness: float) -> Element:
    """An element of some law, age and scatter, read now and then."""
    now = age * life_h
    hours = np.sort(rng.uniform(0.0, now, count))
    rise = np.log1p(np.expm1(TERMINAL - CLEAN) * np.expm1(steepness * hours / life_h) / np.expm1(steepness))
    return hours, CLEAN + rise + rng.normal(0.0, NOISE, count), now, float(rng.uniform(500.0, 4000.0))


@st.composite
def element(draw: Any) -> Element:
    rng = np.random.default_rng(draw(st.integers(0, 2**32 - 1)))
    count, life_h, age = draw(st.integers(1, 25)), draw(st.floats(300.0, 6000.0)), draw(st.floats(0.05, 1.1))
    return element_drawn(rng, count, life_h, age, draw(st.floats(0.5, 12.0)))


def same(one: ConditionForecast, other: ConditionForecast, rows: npt.NDArray[np.int64]) -> bool:
    levels = [np.abs(one.remaining.cumulative()[rows] - other.remaining.cumulative()).max()]
    return bool(max(levels) < 1e-5)


@settings(max_examples=60, deadline=None)
@given(st.lists(element(), min_size=2, max_size=9), st.randoms(use_true_random=False))
def test_permuted_positions_have_permuted_answers(lives: list[Element], order: Any) -> None:
    shuffled = list(range(len(lives)))
    order.shuffle(shuffled)
    assert same(asked(lives), asked([lives[row] for row in shuffled]), np.array(shuffled))


@pytest.mark.parametrize("level", [0.1, 0.5])
def test_a_worse_newest_reading_is_hardly_ever_later(level: float) -> None:
    """By up to two standard deviations, of 2,000 elements of some law. A sharper shape may then be likelier, or
    the scatter larger, as Bayes' theorem has it. Seen: 4 in 1,000."""
    rng = np.random.default_rng(20)
    drawn = [
        element_drawn(
            rng, int(rng.integers(2, 26)), rng.uniform(300.0, 6000.0), rng.uniform(0.05, 1.1), rng.uniform(0.5, 12.0)
        )
        for _ in range(2000)
    ]
    worse = [
        (hours, np.append(log_dp[:-1], log_dp[-1] + rng.uniform(0.0, 2.0) * NOISE), now, median_h)
        for hours, log_dp, now, median_h in drawn
    ]
    before_h, after_h = (asked(each).remaining.quantile(level) for each in (drawn, worse))
    assert np.mean(after_h > 1.01 * before_h + 1.0) < 0.008
    assert np.mean(after_h < 0.99 * before_h) > 0.2


@settings(max_examples=120, deadline=None)
@given(
    st.lists(st.tuples(st.floats(0.0, 1e5), st.floats(-12.0, 12.0)), min_size=1, max_size=30),
    st.floats(1.0, 1e5),
    st.floats(1.0, 1e6),
    st.floats(-8.0, 8.0),
)
def test_whatever_was_read_the_answer_is_a_distribution(
    read: list[tuple[float, float]], more_h: float, median_h: float, terminal: float
) -> None:
    hours = np.sort(np.array([hour for hour, _ in read]))
    levels = np.array([level for _, level in read])
    found = asked([(hours, levels, float(hours[-1]) + more_h, median_h)], np.array([terminal]))
    reached = found.remaining.cumulative()
    assert np.all(np.isfinite(reached))
    assert np.all(np.diff(reached, axis=1) >= -1e-12)
    assert np.all((reached >= -1e-12) & (reached <= 1.0 + 1e-6))
    for level in (0.05, 0.5, 0.95):
        hours_left = found.remaining.quantile(level)
        assert not np.any(np.isnan(hours_left))
        assert np.all(hours_left >= 0.0)
    assert np.all(np.isfinite(found.evidence.log_life_mean))
