import numpy as np
import pytest
from scipy import stats

from scheduler.statistics.local_slopes import BLOCK, blocks_of, local_slopes

ONE = np.zeros(40, dtype=np.intp)


def test_curvature_and_its_error_are_those_certified_for_pontius() -> None:
    """NIST StRD, linear regression, Pontius: deflection over load, a straight line and a square; from memory, and
    the certified values hold to their last digits with these data."""
    first = [0.11019, 0.21956, 0.32949, 0.43899, 0.54803, 0.65694, 0.76562, 0.87487, 0.98292, 1.09146]
    first += [1.20001, 1.30822, 1.41599, 1.52399, 1.63194, 1.73947, 1.84646, 1.95392, 2.06128, 2.16844]
    second = [0.11052, 0.22018, 0.32939, 0.43886, 0.54798, 0.65739, 0.76596, 0.87474, 0.98300, 1.09150]
    second += [1.20004, 1.30818, 1.41613, 1.52408, 1.63159, 1.73965, 1.84696, 1.95445, 2.06177, 2.16829]
    load = np.tile(np.arange(150_000.0, 3_000_001.0, 150_000.0), 2)
    values, offsets = np.array(first + second), np.array([0, 40])
    found = local_slopes(values, (load**2)[:, None], load, np.ones(40), offsets, ONE, huber_k=np.inf)
    assert found.slope[0, 0] == pytest.approx(-0.316081871345029e-14, rel=1e-8)
    assert found.se[0, 0] == pytest.approx(0.486652849992036e-16, rel=1e-8)
    assert found.scale[0] == pytest.approx(0.205177424076185e-03, rel=1e-8)


def ragged(seed: int) -> tuple[np.ndarray, np.ndarray, np.ndarray, np.ndarray, np.ndarray]:
    rng = np.random.default_rng(seed)
    offsets = np.concatenate([[0], np.cumsum([23, 0, 7, 40, 2])]).astype(np.intp)
    count = int(offsets[-1])
    moved, at = rng.normal(size=(count, 2)), rng.uniform(0.0, 9.0, count)
    sd = rng.uniform(0.5, 2.0, count)
    return moved @ [0.4, -1.0] + 0.3 * at**2 + sd * rng.normal(size=count), moved, at, sd, offsets


@pytest.mark.parametrize("regressors", [1, 2])
def test_slopes_are_those_of_one_regression_with_a_line_for_each_block(regressors: int) -> None:
    """Against NumPy's least squares with every line as columns of its own."""
    values, moved, at, sd, offsets = ragged(1)
    block = blocks_of(offsets)
    found = local_slopes(values, moved[:, :regressors], at, sd, offsets, block, huber_k=np.inf)
    for history in (0, 3):
        own = slice(offsets[history], offsets[history + 1])
        lines = np.equal.outer(block[own], np.unique(block[own])).astype(float)
        design = np.column_stack([moved[own, :regressors], lines, lines * at[own, None]]) / sd[own, None]
        solved, left, _, _ = np.linalg.lstsq(design, values[own] / sd[own], rcond=None)
        freedom = len(design) - design.shape[1]
        variance = np.diag(np.linalg.inv(design.T @ design))[:regressors] * left[0] / freedom
        assert found.freedom[history] == freedom
        np.testing.assert_allclose(found.slope[history], solved[:regressors], rtol=1e-9)
        np.testing.assert_allclose(found.se[history], np.sqrt(variance), rtol=1e-9)


def test_histories_too_short_for_their_lines_have_no_slope() -> None:
    values, moved, at, sd, offsets = ragged(2)
    found = local_slopes(values, moved, at, sd, offsets, blocks_of(offsets))
    assert np.isnan(found.slope).any(axis=1).tolist() == [False, True, False, False, True]


def test_what_does_not_move_apart_from_the_trend_has_no_slope() -> None:
    at = np.arange(20.0)
    found = local_slopes(at**2, np.ones((20, 1)), at, np.ones(20), np.array([0, 20]), np.zeros(20, dtype=np.intp))
    assert np.isnan(found.slope).all()


def test_errors_are_those_that_slopes_really_have_where_some_values_are_grossly_wrong() -> None:
    """800 histories of 40, one value in fifty ten times too high or too low: the true slopes lie where the errors
    say, by the quantiles of Student's t (SciPy), with a third more for the blocks that are nearly used up."""
    rng = np.random.default_rng(3)
    histories, each = 800, 40
    count = histories * each
    offsets = np.arange(0, count + 1, each)
    moved, at = rng.normal(0.0, 0.3, (count, 1)), np.tile(np.arange(float(each)), histories)
    wrong = (rng.random(count) < 0.02) * rng.choice([-2.3, 2.3], count)
    values = 0.5 * moved[:, 0] + 0.02 * at + rng.normal(0.0, 0.1, count) + wrong
    found = local_slopes(values, moved, at, np.full(count, 0.1), offsets, blocks_of(offsets))
    off = np.abs(found.slope[:, 0] - 0.5) / found.se[:, 0]
    limit_95 = stats.t.ppf(0.975, float(found.freedom[0]))
    assert 0.90 < np.mean(off < limit_95) < 0.97
    assert np.mean(off < 1.35 * stats.t.ppf(0.995, float(found.freedom[0]))) > 0.985
    assert abs(np.mean(found.slope) - 0.5) < 0.01
    plain = local_slopes(values, moved, at, np.full(count, 0.1), offsets, blocks_of(offsets), huber_k=np.inf)
    assert np.std(found.slope) < 0.6 * np.std(plain.slope)


def test_blocks_of_a_stretch_are_nearly_alike_and_none_is_longer_than_told() -> None:
    offsets = np.array([0, 11, 11, 41])
    sizes = np.bincount(blocks_of(offsets))
    assert sizes.tolist() == [6, 5, 10, 10, 10]
    assert sizes.max() <= BLOCK


def test_what_cannot_be_solved_is_refused() -> None:
    at, offsets = np.arange(40.0), np.array([0, 40])
    with pytest.raises(ValueError, match="one or two columns"):
        local_slopes(at, np.ones((40, 3)), at, np.ones(40), offsets, ONE)
    with pytest.raises(ValueError, match="not above 0"):
        local_slopes(at, np.ones((40, 1)), at, np.zeros(40), offsets, ONE)
