"""Dates from hours still to go: against simulated machines and against the formula one cell at a time."""

import math
from statistics import NormalDist

import numpy as np
import numpy.typing as npt
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

import scheduler.statistics.reach_date as module
from scheduler.statistics.planned_hours import planned_hours
from scheduler.statistics.reach_date import first_day_reaching, reach_probability

FloatArray = npt.NDArray[np.float64]


def _chance_cell_by_cell(
    needed_h: FloatArray, probability: FloatArray, ahead_h: FloatArray, rate: tuple[float, float, float]
) -> list[list[float]]:
    """The slow obvious way, with the standard library's normal distribution; one rate for all positions."""
    mean, variance, spread = rate
    rows = []
    for weights, ahead in zip(probability, ahead_h, strict=True):
        row = []
        for c in ahead:
            sd = math.sqrt(c * spread + c * c * variance)
            total = 0.0
            for t, p in zip(needed_h, weights, strict=True):
                if t == 0.0:
                    total += p
                elif sd > 0.0:
                    total += p * NormalDist().cdf((mean * c - t) / sd)
                else:
                    total += p * (mean * c >= t)
            row.append(total)
        rows.append(row)
    return rows


def _reach(
    needed_h: FloatArray, probability: FloatArray, ahead_h: FloatArray, rate: tuple[float, float, float]
) -> FloatArray:
    mean, variance, spread = (np.full(len(ahead_h), value) for value in rate)
    return reach_probability(
        needed_h,
        probability,
        ahead_h,
        rate_mean=mean,
        rate_variance=variance,
        variance_per_planned_hour=spread,
    )


_RATES = st.tuples(st.floats(0.05, 1.2), st.floats(0.0, 0.05), st.floats(0.0, 8.0))


@settings(deadline=None, max_examples=60)
@given(
    st.lists(st.floats(0.0, 3000.0), min_size=1, max_size=6),
    st.integers(1, 4),
    st.integers(0, 2**32 - 1),
    _RATES,
)
def test_the_chance_is_the_formula_cell_by_cell_and_never_falls(
    needed: list[float], positions: int, seed: int, rate: tuple[float, float, float]
) -> None:
    rng = np.random.default_rng(seed)
    probability = rng.dirichlet(np.ones(len(needed) + 1), positions)[:, :-1]  # the rest: never
    ahead_h = np.cumsum(rng.uniform(0.0, 200.0, (positions, 12)) * (rng.random((positions, 12)) < 0.7), axis=1)
    found = _reach(np.array(needed), probability, ahead_h, rate)
    slow = np.array(_chance_cell_by_cell(np.array(needed), probability, ahead_h, rate))
    assert found == pytest.approx(slow, abs=1e-9)
    assert (np.diff(found, axis=1) >= 0.0).all()
    assert (found >= 0.0).all()
    assert (found <= probability.sum(axis=1, keepdims=True) + 1e-12).all()


def test_the_chance_matches_simulated_machines() -> None:
    """40,000 machines with a rate of their own and steps of N(ρc, c s²); 4 standard errors allowed."""
    rng = np.random.default_rng(20261124)
    machines, c = 40_000, 8.0
    needed = np.array([40.0, 120.0, 250.0])
    weight = np.array([0.3, 0.5, 0.1])  # one in ten is never due by hours
    rate = rng.normal(0.7, 0.08, machines)
    run_h = np.cumsum(rng.normal(rate[:, None] * c, math.sqrt(2.0 * c), (machines, 60)), axis=1)
    goal = rng.choice([*needed, np.inf], machines, p=[*weight, 0.1])
    simulated = (run_h >= goal[:, None]).mean(axis=0)
    found = _reach(needed, weight[None, :], c * np.arange(1.0, 61.0)[None, :], (0.7, 0.08**2, 2.0))[0]
    assert np.abs(found - simulated).max() < 4 * 0.5 / math.sqrt(machines)


def test_no_hours_still_to_go_are_reached_at_once() -> None:
    found = _reach(np.array([0.0, 500.0]), np.array([[0.4, 0.6]]), np.array([[0.0, 0.0, 50.0]]), (0.8, 0.01, 2.0))
    assert found[0, :2].tolist() == [0.4, 0.4]


def test_with_nothing_uncertain_the_day_is_exact() -> None:
    found = _reach(np.array([80.0]), np.ones((1, 1)), np.array([[0.0, 99.0, 100.0, 101.0]]), (0.8, 0.0, 0.0))
    assert found.tolist() == [[0.0, 0.0, 1.0, 1.0]]


def test_many_positions_in_parts_are_the_same_as_each_alone(monkeypatch: pytest.MonkeyPatch) -> None:
    rng = np.random.default_rng(1)
    needed, probability = np.linspace(0.0, 900.0, 11), rng.dirichlet(np.ones(11), 7)
    ahead_h = np.cumsum(rng.uniform(0.0, 90.0, (7, 20)), axis=1)
    whole = _reach(needed, probability, ahead_h, (0.6, 0.01, 2.0))
    monkeypatch.setattr(module, "CELLS_AT_ONCE", 500)
    assert _reach(needed, probability, ahead_h, (0.6, 0.01, 2.0)) == pytest.approx(whole, abs=1e-14)


@settings(deadline=None)
@given(st.tuples(st.integers(0, 80), st.integers(1, 20)), st.floats(10.0, 1500.0), _RATES, st.floats(0.05, 0.95))
def test_one_more_stop_never_makes_the_date_earlier(
    stop: tuple[int, int], needed_h: float, rate: tuple[float, float, float], level: float
) -> None:
    grid = np.arange(0.0, 200.0)
    dates = []
    for stops in ([], [[stop[0], stop[0] + stop[1]]]):
        ahead_h = planned_hours(0.0, 200.0, 80.0, stops).at(grid)[None, :]
        cdf = _reach(np.array([needed_h]), np.ones((1, 1)), ahead_h, rate)
        dates.append(float(first_day_reaching(level, grid, cdf)[0]))
    assert dates[1] >= dates[0] - 1e-6


def test_the_first_day_is_interpolated_and_never_is_infinite() -> None:
    cdf = np.array([[0.0, 0.2, 0.2, 0.6], [0.3, 0.4, 0.5, 0.5], [0.0, 0.0, 0.0, 0.1]])
    grid = np.array([10.0, 20.0, 30.0, 50.0])
    assert first_day_reaching(0.2, grid, cdf).tolist() == [20.0, 10.0, np.inf]
    assert first_day_reaching(0.4, grid, cdf).tolist() == [40.0, 20.0, np.inf]
    assert first_day_reaching([0.1, 0.45, 0.05], grid, cdf) == pytest.approx([15.0, 25.0, 40.0])


@pytest.mark.parametrize(
    ("changed", "named"),
    [
        ({"needed_h": np.array([-1.0])}, "-1"),
        ({"probability": np.array([[1.2]])}, "at most 1"),
        ({"probability": np.ones((2, 1))}, "2, 1"),
        ({"planned_ahead_h": np.array([[5.0, 4.0]])}, "never fall"),
        ({"rate_mean": np.array([-0.1])}, "rate_mean"),
        ({"rate_variance": np.array([np.nan])}, "rate_variance"),
        ({"variance_per_planned_hour": np.ones(2)}, "variance_per_planned_hour"),
    ],
)
def test_hours_and_rates_that_cannot_be_are_refused(changed: dict[str, FloatArray], named: str) -> None:
    arguments = {
        "needed_h": np.array([10.0]),
        "probability": np.ones((1, 1)),
        "planned_ahead_h": np.array([[5.0, 40.0]]),
        "rate_mean": np.array([0.8]),
        "rate_variance": np.array([0.01]),
        "variance_per_planned_hour": np.array([2.0]),
    } | changed
    with pytest.raises(ValueError, match=named):
        reach_probability(**arguments)


def test_a_level_or_grid_that_cannot_be_is_refused() -> None:
    cdf = np.array([[0.0, 1.0]])
    for level in (0.0, 1.1, np.nan):
        with pytest.raises(ValueError, match="level"):
            first_day_reaching(level, np.array([0.0, 1.0]), cdf)
    with pytest.raises(ValueError, match="increasing"):
        first_day_reaching(0.5, np.array([1.0, 1.0]), cdf)
