"""What must hold of every forecast, whatever was read."""

from typing import Any

import numpy as np
import numpy.typing as npt
from hypothesis import given, settings
from hypothesis import strategies as st

from scheduler.statistics.condition_forecast import ConditionForecast, KnownBefore, ReadingColumns, forecast
from scheduler.statistics.life_model import LifePrior

Floats = npt.NDArray[np.float64]

NOISE = 0.08
CLEAN, TERMINAL = np.log(0.3), np.log(2.4)


def life(median_h: Floats, log_sd: float = 0.3) -> LifePrior:
    seen = np.full(len(median_h), 5)
    return LifePrior(np.log(median_h), np.full(len(median_h), log_sd), seen, seen, seen)


def asked(lives: list[tuple[Floats, Floats, float, float]], terminal: Floats | None = None) -> ConditionForecast:
    """Of lives told by (run_h, log_dp, run_h now, median life)."""
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


@st.composite
def element(draw: Any, least: int = 1) -> tuple[Floats, Floats, float, float]:
    """An element of some law, age and scatter, read now and then."""
    count = draw(st.integers(least, 25))
    life_h, age = draw(st.floats(300.0, 6000.0)), draw(st.floats(0.05, 1.1))
    steepness = draw(st.floats(0.5, 12.0))
    rng = np.random.default_rng(draw(st.integers(0, 2**32 - 1)))
    now = age * life_h
    hours = np.sort(rng.uniform(0.0, now, count))
    rise = np.log1p(np.expm1(TERMINAL - CLEAN) * np.expm1(steepness * hours / life_h) / np.expm1(steepness))
    return hours, CLEAN + rise + rng.normal(0.0, NOISE, count), now, draw(st.floats(500.0, 4000.0))


def same(one: ConditionForecast, other: ConditionForecast, rows: npt.NDArray[np.int64]) -> bool:
    levels = [np.abs(one.remaining.cumulative()[rows] - other.remaining.cumulative()).max()]
    return bool(max(levels) < 1e-5)


@settings(max_examples=60, deadline=None)
@given(st.lists(element(), min_size=2, max_size=9), st.randoms(use_true_random=False))
def test_permuted_positions_have_permuted_answers(
    lives: list[tuple[Floats, Floats, float, float]], order: Any
) -> None:
    shuffled = list(range(len(lives)))
    order.shuffle(shuffled)
    assert same(asked(lives), asked([lives[row] for row in shuffled]), np.array(shuffled))


@settings(max_examples=120, deadline=None)
@given(element(least=2), st.floats(0.0, 2.0))
def test_a_worse_newest_reading_is_never_later(one: tuple[Floats, Floats, float, float], sds: float) -> None:
    """By up to two standard deviations. Another, sharper shape may then be likelier, and puts the median off by up to
    an eighth (seen in random search: 12 %): a weakness of the mixture, bounded here."""
    hours, log_dp, now, median_h = one
    worse = log_dp.copy()
    worse[-1] += sds * NOISE
    for level in (0.1, 0.5):
        before_h, after_h = (
            asked([(hours, levels, now, median_h)]).remaining.quantile(level)[0] for levels in (log_dp, worse)
        )
        assert after_h <= 1.15 * before_h + 2.0


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
