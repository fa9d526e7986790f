import numpy as np
import pytest
from scipy import stats

from scheduler.statistics import robust_readings
from scheduler.statistics.robust_readings import robust_weights

WEIGHT = 1.0 / 0.08**2


def offsets(*counts: int) -> np.ndarray:
    return np.concatenate([[0], np.cumsum(counts)]).astype(np.int64)


def weights(run_h: np.ndarray, log_dp: np.ndarray) -> np.ndarray:
    return robust_weights(offsets(len(run_h)), run_h, log_dp, np.full(len(run_h), WEIGHT)) / WEIGHT


def test_the_middle_of_five_is_judged_by_the_line_that_scipy_finds() -> None:
    rng = np.random.default_rng(5)
    judged = 0
    for _ in range(200):
        run_h = np.sort(rng.uniform(0.0, 500.0, 5))
        log_dp = 0.002 * run_h + rng.normal(0.0, 0.3, 5)
        slope = stats.theilslopes(log_dp, run_h).slope  # scipy.stats
        if slope <= 0.0:
            continue
        off_line = log_dp - slope * run_h
        z2 = (off_line[2] - np.median(off_line)) ** 2 * WEIGHT
        expected = 5.0 / (4.0 + z2) if z2 > 6.0 else 1.0  # Lange, Little & Taylor 1989, ν = 4
        assert weights(run_h, log_dp)[2] == pytest.approx(expected)
        judged += expected < 1.0
    assert judged > 20


def test_a_reading_with_a_slipped_decimal_point_loses_its_say() -> None:
    run_h = np.arange(0.0, 900.0, 100.0)
    log_dp = np.full(9, np.log(0.4))
    log_dp[4] += np.log(10.0)
    kept = weights(run_h, log_dp)
    assert kept[4] < 0.01
    assert np.delete(kept, 4).tolist() == [1.0] * 8


def test_the_newest_readings_of_a_true_steep_rise_are_believed() -> None:
    run_h = np.arange(0.0, 1000.0, 50.0)
    log_dp = np.log(0.4) + np.where(run_h > 500.0, (run_h - 500.0) / 250.0, 0.0)
    assert np.all(weights(run_h, log_dp)[-5:] == 1.0)


def test_three_readings_cannot_say_which_of_them_is_wrong() -> None:
    assert weights(np.array([0.0, 100.0, 200.0]), np.array([0.0, 0.0, 3.0])).tolist() == [1.0, 1.0, 1.0]


def test_four_readings_can() -> None:
    kept = weights(np.array([0.0, 100.0, 200.0, 300.0]), np.array([0.0, 3.0, 0.0, 0.0]))
    assert kept[1] < 0.01
    assert kept[[0, 2, 3]].tolist() == [1.0, 1.0, 1.0]


def test_a_new_element_is_not_judged_by_the_old_ones_readings() -> None:
    run_h = np.concatenate([np.arange(6.0), np.arange(6.0)]) * 100.0
    log_dp = np.repeat([2.0, 0.0], 6)
    found = robust_weights(offsets(6, 0, 6), run_h, log_dp, np.full(12, WEIGHT))
    assert np.all(found == WEIGHT)


def test_a_falling_line_is_not_drawn() -> None:
    run_h = np.arange(5.0) * 100.0
    falling = np.array([0.8, 0.6, 0.4, 0.2, 0.0])
    # against the level line through the median the ends lie 0.4 off, z² = 25
    assert weights(run_h, falling)[0] == pytest.approx(5.0 / (4.0 + 0.4**2 * WEIGHT))


def test_readings_of_the_same_hour_do_not_break_the_line() -> None:
    run_h = np.array([100.0, 100.0, 100.0, 200.0, 300.0])
    assert np.all(weights(run_h, np.array([0.1, 0.12, 0.08, 0.1, 0.11])) == 1.0)


def test_readings_out_of_order_are_refused() -> None:
    with pytest.raises(ValueError, match="not in order"):
        weights(np.array([0.0, 200.0, 100.0]), np.zeros(3))


def test_each_of_many_lives_is_judged_as_if_it_were_alone(monkeypatch: pytest.MonkeyPatch) -> None:
    rng = np.random.default_rng(8)
    counts = rng.integers(0, 12, 60)
    ends = np.cumsum(counts)
    run_h = np.concatenate([np.sort(np.round(rng.uniform(0.0, 40.0, count))) for count in counts])
    log_dp = rng.normal(0.0, 0.3, len(run_h))
    monkeypatch.setattr(robust_readings, "_AT_ONCE", 7)
    together = robust_weights(offsets(*counts), run_h, log_dp, np.full(len(run_h), WEIGHT)) / WEIGHT
    monkeypatch.undo()
    for end, count in zip(ends, counts, strict=True):
        life = slice(end - count, end)
        assert together[life].tolist() == weights(run_h[life], log_dp[life]).tolist()
    assert 0.05 < np.mean(together < 1.0) < 0.95
