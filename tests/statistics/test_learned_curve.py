import numpy as np
import numpy.typing as npt
import pytest

from scheduler.statistics.learned_curve import FEWEST_LIVES, WARPS, learned_curve
from scheduler.statistics.load_grid import HIGHEST_RISE, LOAD

Floats = npt.NDArray[np.float64]


def knee(load: Floats) -> Floats:
    """Flat for four fifths of its life, then a steep rise: no member of the analytic family."""
    return 0.2 * load + 3.0 * np.maximum(load - 0.8, 0.0) / 0.2


def readings(count: int, scatter: float = 0.1, until: float = 1.0) -> tuple[Floats, Floats, Floats]:
    rng = np.random.default_rng(1)
    load = rng.uniform(0.0, until, count)
    return load, knee(load) + rng.normal(0.0, scatter, count), np.full(count, 1.0 / scatter**2)


def test_the_knee_of_a_medium_is_learned_from_its_lives() -> None:
    found = learned_curve(*readings(800), lives=8)
    assert found is not None
    here = (LOAD > 0.05) & (LOAD < 0.98)
    middle = found.rise[WARPS.index(1.0)]
    assert middle[here] == pytest.approx(knee(LOAD[here]), abs=0.2)


def test_beyond_the_last_reading_it_goes_on_as_steeply() -> None:
    found = learned_curve(*readings(800), lives=8)
    assert found is not None
    middle = found.rise[WARPS.index(1.0)]
    slope = (np.interp(1.1, LOAD, middle) - np.interp(1.0, LOAD, middle)) / 0.1
    assert slope == pytest.approx(15.2, rel=0.3)
    assert middle[-1] == HIGHEST_RISE


def test_a_curve_starts_clean_and_never_falls_whatever_the_scatter() -> None:
    found = learned_curve(*readings(200, scatter=0.8), lives=5)
    assert found is not None
    assert np.all(found.rise[:, 0] == 0.0)
    assert np.all(np.diff(found.rise, axis=1) >= 0.0)
    assert np.all(np.isfinite(found.rise))


def test_a_few_slipped_decimals_do_not_bend_the_curve() -> None:
    load, rise, weight = readings(800)
    wrong = rise + np.where(np.arange(800) % 50 == 0, np.log(10.0), 0.0)
    sound, bent = learned_curve(load, rise, weight, 8), learned_curve(load, wrong, weight, 8)
    assert sound is not None
    assert bent is not None
    here = (LOAD > 0.05) & (LOAD < 0.98)
    assert np.abs(sound.rise - bent.rise)[:, here].max() < 0.25


def test_the_later_bend_is_the_later_knee() -> None:
    found = learned_curve(*readings(800), lives=8)
    assert found is not None
    at = np.array([np.interp(1.0, row, LOAD) for row in found.rise])
    assert np.all(np.diff(at) > 0.0) == (WARPS[0] < WARPS[-1] and np.all(at < 1.0))


def test_levels_that_fall_are_pooled_as_the_min_max_formula_says() -> None:
    """Isotonic regression written out: the largest, over starts, of the least, over ends, weighted mean between them
    (Barlow, Bartholomew, Bremner & Brunk 1972, section 1.4)."""
    level, trust = (
        np.array([0.0, 0.4, 0.2, 0.9, 0.5, 0.6, 1.8, 2.5]),
        np.array([4.0, 1.0, 3.0, 2.0, 1.0, 5.0, 1.0, 1.0]),
    )
    place, bins = np.arange(1, 9) / 8.0, len(level)
    found = learned_curve(np.repeat(place, 5), np.repeat(level, 5), np.repeat(trust, 5), lives=4)
    assert found is not None

    def pooled(at: int) -> float:
        means = [
            [np.average(level[begin : end + 1], weights=trust[begin : end + 1]) for end in range(at, bins)]
            for begin in range(at + 1)
        ]
        return float(max(min(of_begin) for of_begin in means))

    expected = [pooled(at) for at in range(bins)]
    assert np.interp(place, LOAD, found.rise[WARPS.index(1.0)]) == pytest.approx(expected, abs=0.01)


def test_two_lives_or_a_dozen_readings_tell_no_curve() -> None:
    assert learned_curve(*readings(800), lives=FEWEST_LIVES - 1) is None
    assert learned_curve(*readings(12), lives=8) is None


def test_a_load_below_nothing_is_refused() -> None:
    load, rise, weight = readings(100)
    with pytest.raises(ValueError, match=r"load -0\.1 is below 0"):
        learned_curve(np.append(load, -0.1), np.append(rise, 0.0), np.append(weight, 1.0), 8)
