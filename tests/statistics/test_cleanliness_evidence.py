"""What a handful of oil samples says of a cleanliness target, beside textbook posteriors, integrals and simulation.

Limits of the scale numbers: ISO 4406:2021, table 1.
"""

import numpy as np
import numpy.typing as npt
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import integrate, stats

from scheduler.statistics.cleanliness_evidence import (
    BOTTLE_LOG_SD,
    COUNTER_LOG_SD,
    MISSED_BY_NEWEST_PROBABILITY,
    MISSED_PROBABILITY,
    PRIOR_LOG_SD,
    RATIO_LOG_SD,
    SCATTER_LOG_SD,
    Evidence,
    Judged,
    above_limit_probability,
    bounds_of_counts,
    bounds_of_numbers,
    judge,
    nothing_held_back_probability,
)

Floats = npt.NDArray[np.float64]
NAN = float("nan")
LIMIT = 80.0  # scale number 13 reaches up to and including 80 per mL


def of_counts(*counts: float, limit: float = LIMIT) -> Judged:
    return judge(*bounds_of_counts([list(counts)]), np.array([limit]))


def of_codes(*numbers: int, at_least: bool = False, limit: float = LIMIT) -> Judged:
    """−1: not counted."""
    return judge(*bounds_of_numbers([list(numbers)], at_least), np.array([limit]))


def said(judged: Judged) -> Evidence:
    return Evidence(int(judged.evidence[0]))


def normal_posterior(counts: Floats, sd: float) -> tuple[float, float]:
    """Mean and sd of ln(count / limit): normal scatter of known sd, normal prior (any textbook of statistics)."""
    precision = len(counts) / sd**2 + 1.0 / PRIOR_LOG_SD**2
    return float(np.log(counts / LIMIT).sum() / sd**2 / precision), precision**-0.5


def integrated(low: Floats, high: Floats) -> float:
    """P(above) of interval samples by adaptive quadrature of the same model, written with scipy.stats."""

    def density(level: float) -> float:
        scatter = stats.norm(level, SCATTER_LOG_SD)
        inside = scatter.cdf(np.log(high / LIMIT)) - scatter.cdf(np.log(low / LIMIT))
        return float(stats.norm.pdf(level, 0.0, PRIOR_LOG_SD) * np.prod(inside))

    above = integrate.quad(density, 0.0, 8.0, epsabs=1e-14, limit=200)[0]
    below = integrate.quad(density, -8.0, 0.0, epsabs=1e-14, limit=200)[0]
    return float(above / (above + below))


@pytest.mark.parametrize("counts", [[160.0], [70.0, 90.0], [60.0, 85.0, 100.0], [30.0, 50.0, 79.0, 81.0, 200.0]])
def test_counts_have_the_textbook_normal_posterior(counts: list[float]) -> None:
    mean, sd = normal_posterior(np.array(counts), SCATTER_LOG_SD)
    found = above_limit_probability(*bounds_of_counts([counts]), np.array([LIMIT]))
    assert found[0] == pytest.approx(stats.norm.sf(0.0, mean, sd), abs=1e-4)


@pytest.mark.parametrize("counts", [[160.0], [60.0, 85.0, 100.0], [30.0, 50.0, 79.0, 81.0, 200.0]])
def test_the_usual_count_is_that_of_the_samples_which_were_taken(counts: list[float]) -> None:
    judged = of_counts(*counts)
    mean, _ = normal_posterior(np.array(counts[-int(judged.used[0]) :]), SCATTER_LOG_SD)
    assert judged.level_per_mL[0] == pytest.approx(LIMIT * np.exp(mean), rel=1e-6)


@pytest.mark.parametrize("numbers", [[13], [14, 13, 12], [14, 14, 14], [16, 13, 12, 14, 14], [11, 10, 12]])
def test_codes_have_the_posterior_of_their_intervals(numbers: list[int]) -> None:
    low, high = bounds_of_numbers([numbers], False)
    assert above_limit_probability(low, high, np.array([LIMIT]))[0] == pytest.approx(
        integrated(low[0], high[0]), abs=1e-4
    )


def test_a_lower_bound_has_the_posterior_of_a_one_sided_interval() -> None:
    low, high = bounds_of_numbers([[13, 13, 13]], [[True, True, True]])
    found = above_limit_probability(low, high, np.array([LIMIT]))[0]
    assert found == pytest.approx(integrated(low[0], high[0]), abs=1e-4)


def test_the_probability_is_as_often_right_as_it_says() -> None:
    """Monte Carlo: levels drawn from the prior, samples scattered and coded, the stated odds against what was so."""
    rng = np.random.default_rng(11)
    level = rng.normal(0.0, PRIOR_LOG_SD, 2_500)
    counts = LIMIT * np.exp(level[:, None] + rng.normal(0.0, SCATTER_LOG_SD, (len(level), 3)))
    limits = np.full(len(level), LIMIT)
    edges = np.array([0.04 * 2.0**number for number in range(24)])  # any partition will do for the model
    place = np.searchsorted(edges, counts)
    low, high = np.r_[0.0, edges][place], np.r_[edges, np.inf][place]
    for least_count, most_count in (bounds_of_counts(counts), (low, high)):
        stated = above_limit_probability(least_count, most_count, limits)
        for least, most in ((0.05, 0.3), (0.3, 0.7), (0.7, 0.95)):
            some = (stated >= least) & (stated < most)
            right = float((level[some] > 0.0).mean())
            error = (0.25 / some.sum()) ** 0.5
            assert right == pytest.approx(float(stated[some].mean()), abs=3.5 * error)


def test_the_scatter_is_that_of_the_counter_and_of_the_bottle() -> None:
    # half a code number each, a code number being a factor of two (common practice, no source; ours)
    assert pytest.approx(np.log(2.0) * 0.5**0.5) == SCATTER_LOG_SD
    assert pytest.approx(SCATTER_LOG_SD**2) == COUNTER_LOG_SD**2 + BOTTLE_LOG_SD**2


def test_bounds_are_the_printed_limits() -> None:
    # ISO 4406:2021, table 1: 16 is more than 320 up to and including 640, 0 up to 0.01, >28 more than 2,500,000
    low, high = bounds_of_numbers([16, 0, 29, 17, -1], [False, False, False, True, False])
    assert low[:4].tolist() == [320.0, 0.0, 2_500_000.0, 640.0]
    assert high[:4].tolist() == [640.0, 0.01, np.inf, np.inf]
    assert np.isnan([low[4], high[4]]).all()


def test_a_count_is_a_point_and_nothing_counted_is_an_interval() -> None:
    low, high = bounds_of_counts([61.0, 0.0, 0.002, 5e9, NAN])
    assert low[:4].tolist() == [61.0, 0.0, 0.0, 2_500_000.0]
    assert high[:4].tolist() == [61.0, 1.0, 0.01, np.inf]
    assert np.isnan([low[4], high[4]]).all()


def test_three_samples_above_the_limit_miss_the_target() -> None:
    assert said(of_codes(14, 14, 14)) is Evidence.MISSED
    assert said(of_counts(120.0, 130.0, 110.0)) is Evidence.MISSED


def test_three_samples_within_the_limit_meet_the_target() -> None:
    assert said(of_codes(13, 12, 13)) is Evidence.MET
    assert said(of_counts(60.0, 50.0, 79.0)) is Evidence.MET


@pytest.mark.parametrize("bad", [14, 17, 22])
def test_one_bad_code_alone_asks_for_another_sample_however_bad_it_is(bad: int) -> None:
    judged = of_codes(12, 13, 12, 12, bad)
    assert said(judged) is Evidence.ONE_BAD
    assert judged.newest_above[0]


@pytest.mark.parametrize("bad", [14, 17, 22])
def test_a_bad_code_that_the_next_sample_did_not_bear_out_is_past(bad: int) -> None:
    assert said(of_codes(12, 12, bad, 12)) is Evidence.MET


@pytest.mark.parametrize("counts", [(20_000.0, 60.0, 60.0), (75.0, 85.0, 20_000.0, 60.0)])
def test_a_dirty_bottle_among_fair_samples_is_no_dirty_oil(counts: tuple[float, ...]) -> None:
    judged = of_counts(*counts)
    assert judged.probability[0] > MISSED_PROBABILITY
    assert said(judged) is Evidence.MET


def test_an_old_dirty_bottle_does_not_hide_three_bad_samples() -> None:
    judged = of_counts(2_000.0, 10.0, 125.0, 125.0, 125.0)
    assert (said(judged), judged.used[0]) == (Evidence.MISSED, 3)


def test_the_newest_three_have_to_be_surer_where_older_ones_are_left_out() -> None:
    """Of three windows and three sizes the clearest is taken, so that chance has more ways."""
    little = (105.0, 105.0, 105.0)
    assert MISSED_PROBABILITY < of_counts(*little).probability[0] < MISSED_BY_NEWEST_PROBABILITY
    assert said(of_counts(*little)) is Evidence.MISSED
    assert said(of_counts(50.0, *little)) is Evidence.ONE_BAD
    assert said(of_counts(50.0, *little, 105.0)) is Evidence.MISSED


def test_three_bad_samples_are_seen_before_the_good_ones_have_left_the_window() -> None:
    judged = of_codes(12, 12, 15, 15, 15)
    assert (said(judged), judged.used[0]) == (Evidence.MISSED, 3)


def test_a_target_once_missed_is_met_again_after_good_samples() -> None:
    assert said(of_codes(15, 15, 15, 12, 12, 12)) is Evidence.MET
    assert said(of_codes(20, 20, 20, 12, 12, 12)) is Evidence.MET


@pytest.mark.parametrize("numbers", [(12,), (13, 13)])
def test_fewer_than_three_good_samples_are_too_few(numbers: tuple[int, ...]) -> None:
    assert said(of_codes(*numbers)) is Evidence.TOO_FEW


@pytest.mark.parametrize("numbers", [(15,), (15, 15)])
def test_fewer_than_three_bad_samples_ask_for_another(numbers: tuple[int, ...]) -> None:
    assert said(of_codes(*numbers)) is Evidence.ONE_BAD


def test_a_size_that_was_never_counted_says_nothing() -> None:
    judged = of_codes(-1, -1, -1)
    assert said(judged) is Evidence.NOT_COUNTED
    assert np.isnan([judged.probability[0], judged.level_per_mL[0]]).all()


def test_a_sample_without_this_size_changes_nothing() -> None:
    with_gaps, without = of_codes(14, -1, 14, -1, -1, 14), of_codes(14, 14, 14)
    assert said(with_gaps) is said(without) is Evidence.MISSED
    assert with_gaps.counted[0] == without.counted[0] == 3
    assert with_gaps.probability[0] == without.probability[0]


def test_lower_bounds_at_the_target_do_not_miss_it_and_above_it_they_do() -> None:
    assert said(of_codes(13, 13, 13, at_least=True)) is Evidence.MET
    assert said(of_codes(14, 14, 14, at_least=True)) is Evidence.MISSED


def test_a_count_of_exactly_the_limit_is_within_it() -> None:
    assert not of_counts(80.0).newest_above[0]
    assert of_counts(80.1).newest_above[0]


def test_nothing_counted_is_good_news_and_not_a_missing_sample() -> None:
    judged = of_counts(0.0, 0.0, 0.0)
    assert said(judged) is Evidence.MET
    assert judged.probability[0] < 0.05


def test_whole_plants_are_judged_at_once_as_each_by_itself() -> None:
    rng = np.random.default_rng(4)
    counts = np.exp(rng.normal(4.5, 1.0, (230, 7)))
    counts[rng.random(counts.shape) < 0.3] = NAN
    limits = rng.choice([40.0, 80.0, 160.0], 230)
    together = judge(*bounds_of_counts(counts), limits)
    for row in (0, 99, 100, 229):
        alone = of_counts(*counts[row], limit=float(limits[row]))
        assert together.evidence[row] == alone.evidence[0]
        assert together.probability[row] == pytest.approx(alone.probability[0], abs=1e-12, nan_ok=True)
    assert set(together.evidence.tolist()) >= {Evidence.TOO_FEW, Evidence.MET, Evidence.ONE_BAD, Evidence.MISSED}


def test_no_system_at_all_is_no_error() -> None:
    assert judge(np.empty((0, 0)), np.empty((0, 0)), np.empty(0)).evidence.shape == (0,)


def test_an_oil_half_a_number_under_its_limit_is_rarely_condemned_and_one_above_it_nearly_always() -> None:
    """False alarms of taking the clearest of three windows, by simulation (5 samples each)."""
    rng = np.random.default_rng(7)
    shares = []
    for above in (-0.5, 1.0):
        counts = LIMIT * np.exp(above * np.log(2.0) + rng.normal(0.0, SCATTER_LOG_SD, (2_000, 5)))
        evidence = judge(*bounds_of_counts(counts), np.full(2_000, LIMIT)).evidence
        shares.append(float((evidence == Evidence.MISSED).mean()))
    assert shares[0] < 0.05
    assert shares[1] > 0.95


@given(st.lists(st.floats(1.0, 1e6), min_size=1, max_size=5), st.floats(1.0, 20.0))
def test_a_dirtier_sample_never_makes_a_miss_less_likely(counts: list[float], factor: float) -> None:
    worse = [counts[0] * factor, *counts[1:]]
    before, after = (
        above_limit_probability(*bounds_of_counts([each]), np.array([LIMIT]))[0] for each in (counts, worse)
    )
    assert after >= before - 1e-9


@given(st.integers(0, 28), st.integers(0, 28))
def test_a_samples_number_far_from_the_target_leaves_no_doubt(number: int, target: int) -> None:
    limit = bounds_of_numbers(target, False)[1].reshape(1)
    low, high = bounds_of_numbers([[number] * 4], False)
    found = float(above_limit_probability(low, high, limit)[0])
    assert 0.0 <= found <= 1.0
    if abs(number - target) >= 4:
        assert found == pytest.approx(1.0 if number > target else 0.0, abs=1e-4)


def pairs(upstream: list[float], downstream: list[float]) -> tuple[float, float, int]:
    lost, beta, used = nothing_held_back_probability(*bounds_of_counts([upstream]), *bounds_of_counts([downstream]))
    return float(lost[0]), float(beta[0]), int(used[0])


def test_the_odds_that_nothing_is_held_back_are_the_textbook_normal() -> None:
    # ISO 16889: β is upstream over downstream; "nothing to speak of": β from 1/2 to 2, one code number
    ratios = np.array([1.3, 1.4, 1.5])
    precision = 3.0 / RATIO_LOG_SD**2 + 1.0 / PRIOR_LOG_SD**2
    mean, sd = np.log(ratios).sum() / RATIO_LOG_SD**2 / precision, precision**-0.5
    lost, beta, used = pairs((100.0 * ratios).tolist(), [100.0, 100.0, 100.0])
    assert used == 3
    assert lost == pytest.approx(float(np.diff(stats.norm.cdf(np.log([0.5, 2.0]), mean, sd))[0]), abs=1e-4)
    assert beta == pytest.approx(np.exp(mean), rel=1e-6)


def test_an_element_that_holds_back_most_has_kept_its_grip() -> None:
    lost, beta, _ = pairs([400.0, 420.0], [100.0, 8.0])
    assert lost < 0.2
    assert beta > 4.0


def test_grip_lost_lately_is_seen_beside_older_good_pairs() -> None:
    lost, _, used = pairs([500.0, 500.0, 500.0, 480.0], [9.0, 9.0, 450.0, 470.0])
    assert lost > MISSED_PROBABILITY
    assert used == 2


def test_swapped_bottles_are_no_lost_grip() -> None:
    lost, beta, _ = pairs([10.0, 9.0, 12.0], [500.0, 520.0, 480.0])
    assert lost < 0.1
    assert beta < 0.1


def test_one_pair_of_equal_codes_is_weak_and_three_are_not() -> None:
    one, three = (
        nothing_held_back_probability(*bounds_of_numbers([[15] * n], False), *bounds_of_numbers([[15] * n], False))[0]
        for n in (1, 3)
    )
    assert one[0] < MISSED_PROBABILITY < three[0]


def test_nothing_found_downstream_is_an_element_that_works() -> None:
    assert pairs([300.0, 280.0], [0.0, 0.0])[0] < 0.01


def test_without_a_pair_nothing_is_said() -> None:
    lost, beta, used = pairs([300.0, NAN], [NAN, 20.0])
    assert np.isnan([lost, beta]).all()
    assert used == 0


def test_bounds_that_cannot_be_are_refused() -> None:
    one = np.array([[50.0]])
    with pytest.raises(ValueError, match="below 0 or above its upper"):
        judge(2.0 * one, one, np.array([80.0]))
    with pytest.raises(ValueError, match="one bound"):
        judge(one, one * NAN, np.array([80.0]))
    with pytest.raises(ValueError, match="finite and above 0"):
        judge(one, one, np.array([0.0]))
    with pytest.raises(ValueError, match="for 2 limits"):
        judge(one, one, np.array([80.0, 80.0]))
    with pytest.raises(ValueError, match="is below 0"):
        bounds_of_counts([-1.0])
    with pytest.raises(ValueError, match="30 are not all"):
        bounds_of_numbers([30], False)
