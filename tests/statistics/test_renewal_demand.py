"""Demand for parts: published renewal functions, Poisson counts, an enumerated plant, plants played through."""

from collections.abc import Callable
from dataclasses import replace
from itertools import pairwise, product

import numpy as np
import numpy.typing as npt
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import integrate, optimize, special, stats

from scheduler.statistics.count_distribution import CountTable
from scheduler.statistics.renewal_demand import (
    USERS_AT_ONCE,
    LoadCase,
    PartDemand,
    Users,
    demand_by_part,
    next_change,
)
from tests.measure.demand_plants import SmallPlant, play, small_plant

Floats = npt.NDArray[np.float64]
Law = Callable[[Floats], Floats]


def _one_new_element(edge_d: Floats, law: Law, positions: int = 1) -> PartDemand:
    """All positions have a new element at 0 and take one of the part at each change."""
    age_d = np.linspace(0.0, edge_d[-1], 20 * len(edge_d))
    first = np.tile(np.diff(law(edge_d)), (positions, 1))
    case = LoadCase(1.0, next_change(edge_d, age_d, law(age_d)[None]), first.__getitem__)
    none = np.zeros(positions, dtype=np.int64)
    (demand,) = demand_by_part([case], none, Users(none, np.arange(positions), np.ones(positions)), 1)
    return demand


def _weibull_of(squared_variation: float) -> Law:
    """Weibull with mean 1 and this squared coefficient of variation."""

    def excess(shape: float) -> float:
        return float(special.gamma(1 + 2 / shape) / special.gamma(1 + 1 / shape) ** 2 - 1 - squared_variation)

    shape = optimize.brentq(excess, 0.3, 10.0)
    law: Law = stats.weibull_min(shape, scale=1.0 / special.gamma(1 + 1 / shape)).cdf
    return law


TIJMS_TABLE_8_1_1 = {
    0.25: {
        0.2: 0.0261,
        0.4: 0.1087,
        0.6: 0.2422,
        0.8: 0.4141,
        1.0: 0.6091,
        1.2: 0.8143,
        1.5: 1.124,
        2.0: 1.627,
        2.5: 2.125,
    },
    2.0: {0.5: 0.7785, 1.0: 1.357, 1.5: 1.901, 2.0: 2.428, 2.5: 2.947},
}
"""Expected renewals by t of Weibull lives with mean 1, by squared coefficient of variation: H. C. Tijms, A First
Course in Stochastic Models, Wiley 2003, table 8.1.1, column "exact"."""


@pytest.mark.parametrize("squared_variation", [0.25, 2.0])
def test_expected_changes_are_the_published_weibull_renewal_function(squared_variation: float) -> None:
    edge_d = np.linspace(0.0, 2.5, 101)
    expected = _one_new_element(edge_d, _weibull_of(squared_variation)).by_end.mean()
    for t, published in TIJMS_TABLE_8_1_1[squared_variation].items():
        assert expected[round(t / 0.025) - 1] == pytest.approx(published, abs=0.002)


def _renewal_function(law: Law, end: float, steps: int) -> Floats:
    """M(t) = F(t) + ∫ M(t − s) dF(s) solved step by step, F taken in the middle of each (Xie 1989, from memory)."""
    t = np.linspace(0.0, end, steps + 1)
    F, half = law(t), law(t[:-1] + t[1] / 2.0)
    M = np.zeros(steps + 1)
    for i in range(1, steps + 1):
        known = F[i] + np.diff(M[:i]) @ half[i - 1 : 0 : -1] - half[0] * M[i - 1]
        M[i] = known / (1.0 - half[0])
    return M


def test_shorter_periods_come_nearer_to_the_renewal_equation_with_the_square_of_their_length() -> None:
    law = _weibull_of(0.25)
    right = _renewal_function(law, 2.0, 2000)[-1]
    assert right == pytest.approx(1.627, abs=0.0005)  # Tijms, as above
    error = [
        abs(_one_new_element(np.linspace(0.0, 2.0, periods + 1), law).by_end.mean()[-1] - right)
        for periods in (5, 10, 20)
    ]
    assert error[0] > 3.0 * error[1] > 9.0 * error[2]
    assert error[1] < 0.005  # periods of a fifth of the mean life


def test_exponential_lives_make_poisson_counts() -> None:
    """No ageing: counts are Poisson (SciPy), of one position and of two hundred, within and by the end."""
    for positions, close in ((1, 3e-4), (200, 1e-3)):
        demand = _one_new_element(np.linspace(0.0, 3.0, 61), lambda t: -np.expm1(-t), positions)
        for table, expected in ((demand.by_end, 3.0 * positions), (demand.within, 0.05 * positions)):
            k = np.arange(table.probability.shape[1])
            assert np.cumsum(table.probability[-1]) == pytest.approx(stats.poisson.cdf(k, expected), abs=close)


def test_the_next_change_is_averaged_over_the_period_of_this_one() -> None:
    """SciPy's quadrature of F(e − t) over t evenly spread, with uneven periods."""
    edge_d, age_d = np.array([0.0, 3.0, 31.0, 60.0, 91.0]), np.linspace(0.0, 91.0, 4000)

    def law(d: float) -> float:
        return float(stats.gamma.cdf(d, 3.0, scale=10.0))

    (found,) = next_change(edge_d, age_d, stats.gamma.cdf(age_d, 3.0, scale=10.0)[None])
    for u, w in product(range(4), range(4)):
        a, b = edge_d[u], edge_d[u + 1]

        def changed_by(t: float, u: int = u, w: int = w) -> float:
            return law(max(edge_d[w + 1] - t, 0.0)) - law(max(edge_d[w] - t, 0.0))

        mean = integrate.quad(changed_by, a, b)[0] / (b - a) if w >= u else 0.0
        assert found[u, w] == pytest.approx(mean, abs=1e-6)


def _courses(first: Floats, later: Floats) -> dict[tuple[int, ...], float]:
    """The probability of each numbers of changes by period, followed change by change up to the eighth."""
    found: dict[tuple[int, ...], float] = {}

    def follow(probability: float, hits: tuple[int, ...], chances: Floats) -> None:
        found[hits] = found.get(hits, 0.0) + probability * (1.0 - chances.sum())
        for w in np.flatnonzero(chances) if sum(hits) < 8 else []:
            follow(probability * chances[w], (*hits[:w], hits[w] + 1, *hits[w + 1 :]), later[w])

    follow(1.0, (0,) * len(first), first)
    return found


def test_a_plant_of_four_positions_is_exactly_its_enumerated_courses() -> None:
    """Every course of every position, in two load cases, multiplied out; one may change twice in a period."""
    edge_d, age_d = np.array([0.0, 4.0, 11.0, 18.0]), np.array([0.0, 7.0, 11.0, 18.0])
    later_class, amounts = np.array([0, 1, 1, 1]), np.array([1.0, 2.0, 3.0, 1.0])
    cases = []
    within, by_end = np.zeros((3, 60)), np.zeros((3, 60))
    for share, load in ((0.3, 1.0), (0.7, 0.6)):
        law = load * np.array([[0.0, 0.1, 0.5, 0.9], [0.0, 0.0, 0.1, 0.6]])
        first = load * np.array([[0.2, 0.3, 0.4], [0.0, 0.0, 0.5], [0.9, 0.1, 0.0], [0.1, 0.0, 0.1]])
        cases.append(LoadCase(share, next_change(edge_d, age_d, law), first.__getitem__))
        courses = [_courses(row, cases[-1].next_change[c]) for row, c in zip(first, later_class, strict=True)]
        for together in product(*(course.items() for course in courses)):
            probability = share * np.prod([chance for _, chance in together])
            used = (amounts @ np.array([hits for hits, _ in together])).astype(np.int64)
            within[range(3), used] += probability
            by_end[range(3), np.cumsum(used)] += probability
    users = Users(np.zeros(4, dtype=np.int64), np.arange(4), amounts)
    (demand,) = demand_by_part(cases, later_class, users, 1)
    for found, expected in ((demand.within, within), (demand.by_end, by_end)):
        assert found.probability == pytest.approx(expected[:, : found.probability.shape[1]], abs=2e-8)


def assert_is_what_was_played(table: CountTable, played: Floats, draws: int) -> None:
    """Mean, 90 and 99 % points within 4.5 standard errors."""
    mean = played @ np.arange(played.shape[1])
    assert (np.abs(table.mean() - mean) <= 4.5 * np.sqrt(table.variance() / draws) + 10.0 / draws).all()
    for level in (0.9, 0.99):
        point = table.quantile(level)
        reached = np.cumsum(played, axis=1)
        error = 4.5 * np.sqrt(level * (1.0 - level) / draws)
        row = np.arange(len(point))
        assert (reached[row, np.minimum(point, played.shape[1] - 1)] >= level - error).all()
        lower = np.where(point > 0, reached[row, np.clip(point - 1, 0, played.shape[1] - 1)], 0.0)
        assert (lower <= level + error).all()


@pytest.mark.parametrize("seed", [11, 12, 13])
def test_small_plants_played_through_use_as_much(seed: int) -> None:
    """Three plants, 40,000 draws; the long run is in tests/measure/demand_against_simulation.py."""
    rng = np.random.default_rng(seed)
    plant = small_plant(rng)
    played = play(rng, plant, 40_000, by_periods=True)
    for demand, (within, by_end) in zip(_demand(plant), played, strict=True):
        assert_is_what_was_played(demand.within, within, 40_000)
        assert_is_what_was_played(demand.by_end, by_end, 40_000)


def _demand(plant: SmallPlant, **options: int) -> list[PartDemand]:
    return list(demand_by_part(plant.cases(), plant.later_class, plant.users, plant.parts, **options))


def _tables(demands: list[PartDemand]) -> list[CountTable]:
    return [table for demand in demands for table in (demand.within, demand.by_end)]


def _assert_same(some: list[CountTable], others: list[CountTable]) -> None:
    for a, b in zip(some, others, strict=True):
        width = min(a.probability.shape[1], b.probability.shape[1])
        assert a.probability[:, :width] == pytest.approx(b.probability[:, :width], abs=1e-7)


SEEDS = st.integers(0, 100_000)


def _plant(seed: int) -> SmallPlant:
    return small_plant(np.random.default_rng(seed))


def _copies(plant: SmallPlant, copies: int) -> SmallPlant:
    """A plant of so many like halls."""
    users, positions = plant.users, len(plant.later_class)
    hall, row = (grid.ravel() for grid in np.indices((copies, len(users.part))))
    order = np.argsort(users.part[row], kind="stable")
    hall, row = hall[order], row[order]
    return replace(
        plant,
        first=[np.tile(first, (copies, 1)) for first in plant.first],
        later_class=np.tile(plant.later_class, copies),
        users=Users(users.part[row], users.position[row] + positions * hall, users.amount[row]),
    )


@settings(max_examples=15, deadline=None)
@given(SEEDS)
def test_probabilities_sum_to_one_and_periods_sum_to_the_whole(seed: int) -> None:
    plant = _plant(seed)
    for demand in _demand(plant):
        for table in (demand.within, demand.by_end):
            assert (table.probability >= 0.0).all()
            assert table.probability.sum(axis=1) == pytest.approx(1.0, abs=1e-6)
        assert demand.by_end.mean() == pytest.approx(np.cumsum(demand.within.mean()), abs=1e-5)
        assert demand.by_end.probability[0, :1] == pytest.approx(demand.within.probability[0, :1], abs=1e-8)


@settings(max_examples=10, deadline=None)
@given(SEEDS)
def test_the_order_of_users_and_positions_changes_nothing(seed: int) -> None:
    plant = _plant(seed)
    users = plant.users
    order = np.random.default_rng(seed).permutation(len(users.part))
    order = order[np.argsort(users.part[order], kind="stable")]
    mixed = Users(users.part[order], users.position[order], users.amount[order])
    _assert_same(
        _tables(_demand(plant)), _tables(list(demand_by_part(plant.cases(), plant.later_class, mixed, plant.parts)))
    )


@settings(max_examples=10, deadline=None)
@given(SEEDS)
def test_more_load_and_more_users_never_lower_a_stock(seed: int) -> None:
    """Each load case is heavier than the one before; two halls take at least as much as one."""
    plant = _plant(seed)
    alone = [
        list(demand_by_part([LoadCase(1.0, case.next_change, case.first_change)], plant.later_class, plant.users, 3))
        for case in plant.cases()
    ]
    for less, more in [*pairwise(alone), (_demand(plant), _demand(_copies(plant, 2)))]:
        for a, b in zip(less, more, strict=True):
            for level in (0.5, 0.9, 0.99):
                assert (a.by_end.quantile(level) <= b.by_end.quantile(level)).all()


def test_a_shared_load_widens_demand_and_leaves_like_cases_alone() -> None:
    edge_d, age_d = np.linspace(0.0, 364.0, 53), np.linspace(0.0, 364.0, 365)

    def case(share: float, load: float) -> LoadCase:
        law: Floats = stats.lognorm.cdf(age_d, 0.3, scale=200.0 / load)
        first = np.tile(np.diff(stats.uniform.cdf(edge_d, scale=200.0 / load)), (100, 1))
        return LoadCase(share, next_change(edge_d, age_d, law[None]), first.__getitem__)

    zeros = np.zeros(100, dtype=np.int64)
    users = Users(zeros, np.arange(100), np.ones(100))

    def by_end(*cases: LoadCase) -> CountTable:
        return next(demand_by_part(cases, zeros, users, 1)).by_end

    plain, same = by_end(case(1.0, 1.0)), by_end(case(0.4, 1.0), case(0.6, 1.0))
    _assert_same([plain], [same])
    apart = by_end(case(0.5, 0.8), case(0.5, 1.2))
    assert apart.variance()[-1] > 5.0 * plain.variance()[-1]


def test_parts_come_in_order_and_those_without_users_need_nothing() -> None:
    plant = _plant(5)
    users = plant.users
    spread = Users(2 * users.part + 1, users.position, users.amount)
    found = list(demand_by_part(plant.cases(), plant.later_class, spread, 8))
    _assert_same(_tables(found[1:6:2]), _tables(_demand(plant)))
    for empty in (0, 2, 4, 6, 7):
        assert found[empty].by_end.probability.tolist() == [[1.0]] * (len(plant.edge_d) - 1)
    nobody = Users(users.part[:0], users.position[:0], users.amount[:0])
    assert [d.within.mean().max() for d in demand_by_part(plant.cases(), plant.later_class, nobody, 2)] == [0.0, 0.0]


@pytest.mark.parametrize("positions", [1, 3, 200])
def test_a_standstill_of_the_plant_uses_nothing_and_a_stop_for_all_uses_one_each(positions: int) -> None:
    """No change can fall into the first 20 weeks; then all are changed in one, and again 25 weeks later."""
    edge_d, age_d = 7.0 * np.arange(53), np.array([0.0, 175.0, 175.1, 364.0])
    first = np.tile(np.eye(52)[20], (positions, 1))
    case = LoadCase(1.0, next_change(edge_d, age_d, np.array([[0.0, 0.0, 1.0, 1.0]])), first.__getitem__)
    none = np.zeros(positions, dtype=np.int64)
    (demand,) = demand_by_part([case], none, Users(none, np.arange(positions), np.ones(positions)), 1)
    used = demand.by_end.mean()
    assert used[:20] == pytest.approx(np.zeros(20))
    assert used[20:45] == pytest.approx(np.full(25, positions))
    assert used[46:] == pytest.approx(np.full(6, 2.0 * positions), rel=1e-6)
    assert demand.within.quantile(0.99)[20] == demand.within.quantile(0.01)[20] == positions


def test_many_users_are_worked_off_in_pieces_and_in_threads_with_the_same_result() -> None:
    """Some of the users are beyond one piece. The demand of all is that of two halves in sum."""
    plant = _copies(_plant(6), 600)
    cases = [replace(plant.cases()[0], share=1.0)]
    users = replace(plant.users, amount=np.where(np.arange(len(plant.users.part)) % 9, 1.0, 2.0))
    assert np.bincount(users.part).max() > USERS_AT_ONCE
    halves = [Users(users.part[h::2], users.position[h::2], users.amount[h::2]) for h in range(2)]
    whole = list(demand_by_part(cases, plant.later_class, users, 3))
    first, second = (list(demand_by_part(cases, plant.later_class, half, 3)) for half in halves)
    _assert_same(_tables(whole), _tables([a.and_also(b) for a, b in zip(first, second, strict=True)]))
    threaded = list(demand_by_part(cases, plant.later_class, users, 3, threads=2))
    assert [t.probability.tolist() for t in _tables(whole)] == [t.probability.tolist() for t in _tables(threaded)]


WEEKS_D = np.array([0.0, 7.0, 14.0])
EVEN = np.array([[0.0, 0.5, 1.0]])


@pytest.mark.parametrize(
    ("edge_d", "age_d", "cdf", "says"),
    [
        ([1.0, 7.0], WEEKS_D, EVEN, "edges .* do not rise from 0"),
        ([0.0, 7.0, 7.0], WEEKS_D, EVEN, "edges .* do not rise from 0"),
        ([0.0, np.nan], WEEKS_D, EVEN, "edges .* do not rise from 0"),
        (WEEKS_D, [0.0, 9.0, 8.0], EVEN, "ages .* do not rise from 0"),
        ([0.0, 15.0], WEEKS_D, EVEN, "ages end at 14.0 d, before the last edge 15.0 d"),
        (WEEKS_D, WEEKS_D, EVEN[:, :2], "shape .* does not go with 3 ages"),
        (WEEKS_D, WEEKS_D, EVEN + 0.1, "a CDF of times does not rise from 0 to 1"),
        (WEEKS_D, WEEKS_D, EVEN[:, ::-1] - 1.0, "a CDF of times does not rise from 0 to 1"),
        (WEEKS_D, WEEKS_D, EVEN * 1.1, "a CDF of times does not rise from 0 to 1"),
        (WEEKS_D, WEEKS_D, EVEN * np.nan, "a CDF of times does not rise from 0 to 1"),
    ],
)
def test_senseless_periods_and_laws_are_refused(edge_d: Floats, age_d: Floats, cdf: Floats, says: str) -> None:
    with pytest.raises(ValueError, match=says):
        next_change(np.array(edge_d), np.array(age_d), cdf)


def _refusable(
    shares: tuple[float, ...] = (1.0,),
    later: Floats | None = None,
    first: Floats | None = None,
    users: tuple[list[int], list[int], list[float]] = ([0, 1], [0, 1], [1.0, 1.0]),
    later_class: tuple[int, ...] = (0, 0),
) -> None:
    transitions = next_change(WEEKS_D, WEEKS_D, EVEN) if later is None else later
    chances = np.full((2, 2), 0.5) if first is None else first
    cases = [LoadCase(share, transitions, chances.__getitem__) for share in shares]
    taken = Users(np.array(users[0]), np.array(users[1]), np.array(users[2]))
    list(demand_by_part(cases, np.array(later_class), taken, 2))


@pytest.mark.parametrize(
    ("wrong", "says"),
    [
        ({"shares": (0.5, 0.4)}, "sum to 0.9, not 1"),
        ({"shares": (1.5, -0.5)}, "below 0"),
        ({"shares": ()}, "sum to 0, not 1"),
        ({"later": np.zeros((2, 2))}, "not classes × periods × periods"),
        ({"later": np.full((1, 2, 2), 0.4)}, "to itself and later ones"),
        ({"later": np.array([[[0.6, 0.6], [0.0, 0.1]]])}, "to itself and later ones"),
        ({"later": np.array([[[0.99, 0.0], [0.0, 0.1]]])}, "0.99, above 0.98"),
        ({"first": np.full((2, 3), 0.1)}, r"shape \(2, 3\), not \(2, 2\)"),
        ({"first": np.full((2, 2), 0.6)}, "above 1 in sum"),
        ({"first": np.full((2, 2), np.nan)}, "not numbers"),
        ({"users": ([1, 0], [0, 1], [1.0, 1.0])}, "not sorted by part"),
        ({"users": ([0, 2], [0, 1], [1.0, 1.0])}, "part 0 to 2 is not from 0 to 1"),
        ({"users": ([1, 1], [1, 1], [1.0, 1.0])}, "position 1 takes part 1 2 times, not once"),
        ({"users": ([0, 1], [0, 2], [1.0, 1.0])}, "position 0 to 2 is not from 0 to 1"),
        ({"users": ([0, 1], [0, 1], [1.0, 0.0])}, "amount 0.0 is not above 0"),
        ({"users": ([0, 1], [0, 1], [1.0])}, "2 parts, 2 positions, 1 amounts"),
        ({"later_class": (0, 1)}, "class 0 to 1 is not from 0 to 0"),
    ],
)
def test_senseless_demands_are_refused(wrong: dict[str, object], says: str) -> None:
    _refusable()
    with pytest.raises(ValueError, match=says):
        _refusable(**wrong)  # type: ignore[arg-type]
