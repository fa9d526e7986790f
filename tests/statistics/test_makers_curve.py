"""A maker's multipass curve as a shape: what it says, when it is refused, and what it is worth in a forecast.

The knee of these tests is of no analytic shape: flat for 85 % of the dust, then straight up in ln ΔP.
"""

from dataclasses import replace

import numpy as np
import numpy.typing as npt
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.interpolate import PchipInterpolator

from scheduler.engineering.loading_curve import log_dp_ratio
from scheduler.statistics.condition_forecast import ConditionForecast, forecast
from scheduler.statistics.condition_learning import Learned, learn
from scheduler.statistics.load_grid import HIGHEST_RISE, LOAD, shape_table
from scheduler.statistics.makers_curve import (
    MAKER_SHARE,
    CurveFault,
    MakersCurve,
    is_makers,
    makers_code,
    makers_curve,
    with_makers_curves,
    with_makers_weights,
)
from tests.statistics.test_condition_learning import (
    CLEAN,
    NOISE,
    TERMINAL,
    ReadingColumns,
    lives_read,
    targets_of,
)

Floats = npt.NDArray[np.float64]

MASS_G = np.array([0.0, 10.0, 20.0, 30.0, 36.0, 41.0, 46.0, 50.0, 55.0, 60.0])
END = TERMINAL - CLEAN
LIFE_H = 1500.0


def sharp_knee(share: Floats) -> Floats:
    """ln(ΔP / clean ΔP) at a share of the dust at the terminal."""
    return np.asarray(0.05 * share + (END - 0.05) * np.maximum(share - 0.85, 0.0) / 0.15)


def told(mass_g: Floats = MASS_G, clean_bar: float = 0.4) -> MakersCurve:
    """A test to 1.2 times the dust at the terminal, at another clean ΔP than the plant's."""
    found = makers_curve(mass_g, clean_bar * np.exp(sharp_knee(mass_g / 50.0)))
    assert isinstance(found, MakersCurve)
    return found


# the curve


def test_a_test_with_the_analytic_law_gives_the_analytic_shape() -> None:
    mass_g = np.linspace(0.0, 44.0, 23)
    found = makers_curve(mass_g, 0.7 * np.exp(log_dp_ratio(mass_g / 40.0, 0.0, 2.0)))
    assert isinstance(found, MakersCurve)
    here = LOAD < 1.1
    assert found.rise[here] == pytest.approx(log_dp_ratio(LOAD[here], 0.0, 2.0), abs=0.01)


def test_the_curve_passes_through_its_points_and_is_scipys_monotone_cubic_between() -> None:
    found, up = told(), sharp_knee(MASS_G / 50.0)
    unit_g = 50.0 + (np.log(10.0) - END) / (END - 0.05) * 7.5  # by hand: the straight rise goes on to ratio 10
    assert np.interp(MASS_G / unit_g, LOAD, found.rise) == pytest.approx(up, abs=0.02)
    between_g = np.linspace(0.0, 60.0, 400)
    assert np.interp(between_g / unit_g, LOAD, found.rise) == pytest.approx(
        PchipInterpolator(MASS_G, up)(between_g), abs=0.02
    )


def test_beyond_its_last_point_it_goes_on_as_steeply_as_it_ended_and_never_flat() -> None:
    sharp = told(MASS_G[:8])
    assert sharp.told_rise == pytest.approx(END)
    steep = np.gradient(sharp.rise, LOAD)
    end = np.searchsorted(sharp.rise, END)
    assert steep[end + 5] >= 0.95 * steep[end - 5]
    flat_end = makers_curve(np.array([0.0, 10.0, 20.0, 30.0, 40.0]), np.array([0.3, 0.6, 0.9, 1.0, 1.0]))
    assert isinstance(flat_end, MakersCurve)
    assert np.interp(1.0, LOAD, flat_end.rise) == pytest.approx(np.log(10.0), abs=0.01)
    assert flat_end.rise[-1] > np.log(10.0)


def test_a_curve_starts_clean_never_falls_and_is_a_row_of_a_table() -> None:
    found = told()
    table = with_makers_curves(shape_table(), ("A", "B"), {1: found})
    assert table.codes[-1] == makers_code("B")
    assert [is_makers(code) for code in table.codes].count(True) == 1
    assert np.array_equal(table.rise[:-1], shape_table().rise)
    assert found.rise.max() == HIGHEST_RISE


def test_only_the_ratio_to_the_tests_own_clean_dp_counts_and_points_come_in_any_order() -> None:
    shuffled = np.random.default_rng(2).permutation(len(MASS_G))
    assert told(clean_bar=1.3).rise == pytest.approx(told().rise, abs=1e-9)
    assert told(MASS_G[shuffled]).rise.tolist() == told().rise.tolist()


def test_without_a_point_at_nothing_retained_the_sheets_clean_dp_is_it() -> None:
    level_bar = 0.4 * np.exp(sharp_knee(MASS_G / 50.0))
    found = makers_curve(MASS_G[1:], level_bar[1:], 0.4)
    assert isinstance(found, MakersCurve)
    assert found.rise == pytest.approx(told().rise, abs=1e-9)


# what tells no curve


@pytest.mark.parametrize(
    ("mass_g", "level_bar", "clean_dp_bar", "fault"),
    [
        ([], [], 0.3, CurveFault.FEW_POINTS),
        ([0.0, 10.0, 20.0], [0.3, 0.5, 1.2], 0.3, CurveFault.FEW_POINTS),
        ([0.0, 10.0, 20.0, 30.0, 40.0], [0.3, 0.3, 0.3, 0.5, 1.2], 0.3, CurveFault.FEW_POINTS),
        ([0.0, 10.0, 20.0, 30.0, 40.0], [0.3, 0.5, 0.9, 0.7, 1.2], 0.3, CurveFault.FALLS),
        ([0.0, 10.0, 20.0, 20.01, 40.0], [0.3, 0.5, 0.9, 1.4, 2.0], 0.3, CurveFault.CROWDED),
        ([0.0, 10.0, 20.0, 30.0], [0.30, 0.32, 0.36, 0.42], 0.3, CurveFault.ENDS_EARLY),
        ([5.0, 10.0, 20.0, 30.0], [0.3, 0.5, 0.9, 2.0], np.nan, CurveFault.NO_CLEAN),
        ([5.0, 10.0, 20.0, 30.0], [0.3, 0.5, 0.9, 2.0], 0.35, CurveFault.NO_CLEAN),
    ],
)
def test_points_that_tell_no_curve_are_left_out_with_the_reason(
    mass_g: list[float], level_bar: list[float], clean_dp_bar: float, fault: CurveFault
) -> None:
    assert makers_curve(np.array(mass_g), np.array(level_bar), clean_dp_bar) is fault


def test_a_tests_own_scatter_is_no_fall() -> None:
    level_bar = 0.4 * np.exp(sharp_knee(MASS_G / 50.0))
    level_bar[2] *= 0.98
    found = makers_curve(MASS_G, level_bar)
    assert isinstance(found, MakersCurve)
    assert found.rise == pytest.approx(told().rise, abs=0.03)


def test_points_that_cannot_be_measured_are_refused() -> None:
    with pytest.raises(ValueError, match="retained dust"):
        makers_curve(np.array([-1.0, 2.0]), np.array([0.3, 0.4]))
    with pytest.raises(ValueError, match="not above 0"):
        makers_curve(np.array([0.0, 2.0]), np.array([0.0, 0.4]))
    with pytest.raises(ValueError, match=r"two points of a curve are at 2\.0 g"):
        makers_curve(np.array([0.0, 2.0, 2.0]), np.array([0.3, 0.4, 0.5]))


_POINTS = st.lists(
    st.tuples(st.floats(0.0, 1e12), st.floats(1e-300, 1e300)),
    min_size=3,
    max_size=9,
    unique_by=lambda point: point[0],
)


@settings(deadline=None, max_examples=150)
@given(_POINTS, st.booleans())
def test_whatever_a_sheet_says_it_is_a_shape_or_there_is_a_reason(
    points: list[tuple[float, float]], rises: bool
) -> None:
    mass_g, level_bar = np.array(points).T
    if rises:
        mass_g, level_bar = np.sort(mass_g), np.sort(level_bar)
    mass_g[np.argmin(mass_g)] = 0.0
    found = makers_curve(mass_g, level_bar)
    if isinstance(found, MakersCurve):
        with_makers_curves(shape_table(), ("A",), {0: found})  # refuses a row that falls or is not finite


# how far it is believed


def test_a_curve_measured_over_half_of_the_rise_is_believed_half() -> None:
    weights = np.tile([0.85, 0.05, 0.05, 0.05], (3, 1))
    curve = told(MASS_G[:8])
    found = with_makers_weights(weights, np.array([0, 1, 1]), np.array([END, END, 2.0 * END]), {1: curve})
    assert found.sum(axis=1) == pytest.approx(1.0)
    assert found[:, 4] == pytest.approx([0.0, MAKER_SHARE, 0.5 * MAKER_SHARE])
    assert found[:, 1] == pytest.approx(0.05)  # what each shape has at least stays


def test_where_no_terminal_is_known_all_shapes_give_alike() -> None:
    found = with_makers_weights(np.full((1, 4), 0.25), np.zeros(1, dtype=np.int64), np.zeros(1), {0: told()})
    assert found[0] == pytest.approx([*[(1.0 - MAKER_SHARE) / 4] * 4, MAKER_SHARE])


def test_without_a_curve_nothing_changes() -> None:
    weights = np.full((1, 4), 0.25)
    assert with_makers_weights(weights, np.zeros(1, dtype=np.int64), np.ones(1), {}) is weights
    assert with_makers_curves(shape_table(), (), {}) is shape_table()


# forecasts


def coming(shares: Floats, seed: int) -> tuple[ReadingColumns, Floats]:
    """Elements that follow the maker's curve, read evenly to a share of their life."""
    rng, each = np.random.default_rng(seed), 24
    at = np.linspace(0.03, 1.0, each) * shares[:, None]
    level = CLEAN + sharp_knee(at) + rng.normal(0.0, NOISE, at.shape)
    offsets = (each * np.arange(len(shares) + 1)).astype(np.int64)
    columns = ReadingColumns(offsets, (at * LIFE_H).ravel(), level.ravel(), np.full(level.size, NOISE**-2))
    return columns, shares * LIFE_H


def forecast_of(learned: Learned, shares: Floats, seed: int = 4) -> ConditionForecast:
    readings, now_h = coming(shares, seed)
    limits = np.full(len(shares), TERMINAL), np.full(len(shares), CLEAN)
    prior = learned.targets.at(np.zeros(len(shares), dtype=np.int64))
    return forecast(readings, prior.before(*limits), run_h_now=now_h, shapes=learned.targets.shapes)


NOBODY = lives_read([], np.zeros(0), np.zeros(0))


def test_without_any_history_an_element_that_follows_its_makers_curve_is_forecast_better_by_it() -> None:
    """Past the knee's foot, where a steep end and a gentle one part; the prior life is a third too long."""
    shares = np.repeat([0.88, 0.91, 0.94], 8)
    left_h = (1.0 - shares) * LIFE_H
    off, score = [], []
    for makers in ({}, {0: told()}):
        remaining = forecast_of(learn(NOBODY, targets_of([0]), makers=makers), shares).remaining
        off.append(float(np.mean(np.abs(remaining.quantile(0.5) - left_h))))
        near = remaining.cdf_at(1.3 * left_h) - remaining.cdf_at(0.7 * left_h)
        score.append(float(np.mean(np.log(near))))
    assert off[1] < 0.8 * off[0]
    assert score[1] > score[0] + 0.1


def test_lives_that_follow_the_makers_curve_make_it_believed_and_others_unmake_it() -> None:
    """The lives of the last are of a gentle medium. Twelve lives may look like another curve by chance: the middle of
    three draws."""
    shares = np.linspace(0.99, 1.0, 12)
    gentle = lives_read([0] * 12, np.full(12, LIFE_H), np.full(12, 1.0))
    followed = [replace(gentle, readings=coming(shares, seed=seed)[0]) for seed in (6, 7, 8)]
    weight = []
    for lives in (*followed, gentle):
        prior = learn(lives, targets_of([0]), makers={0: told()}).targets
        weight.append(prior.shape_weights[0, prior.shapes.codes.index(makers_code("gentle"))])
    assert weight[-1] < 0.05 < MAKER_SHARE < np.median(weight[:3])


def test_another_types_curve_is_nobody_elses() -> None:
    with_it, without = (learn(NOBODY, targets_of([0, 1]), makers=makers) for makers in ({1: told()}, {}))
    shares = np.array([0.5, 0.9])
    assert with_it.targets.shape_weights[0, -1] == 0.0
    medians = [forecast_of(learned, shares).remaining.quantile(0.5) for learned in (with_it, without)]
    assert medians[0] == pytest.approx(medians[1], rel=1e-4)
