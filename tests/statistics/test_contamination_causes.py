"""What each cause makes of counts, load rate, ΔP, flow and a sample behind the element (balance N = R/E)."""

from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from scheduler.statistics.contamination_causes import CAUSES, PRIOR, Cause, Evidence, cause_probability

NAN = float("nan")
KEPT = float(np.log(1.0 / 60.0))  # behind an element of β 200 in service


def seen(**told: Any) -> dict[Cause, float]:
    """P of each cause of one element that cleans all, nothing seen but what is told."""
    usual: dict[str, Any] = {
        **dict.fromkeys(("log_count_ratio", "log_load_ratio", "log_passed", "log_flow_ratio"), NAN),
        "log_count_sd": 0.3,
        "log_load_sd": 0.5,
        "log_passed_sd": 0.35,
        "log_fell_odds": 0.0,
        "filter_share": 1.0,
        "beta": 200.0,
        "goes_round": False,
        "has_dp": False,
    }
    found = cause_probability(Evidence(**{name: np.array([value]) for name, value in (usual | told).items()}))
    return dict(zip(CAUSES, found[0].tolist(), strict=True))


def likeliest(**told: Any) -> Cause:
    found = seen(**told)
    return max(found, key=lambda each: found[each])


def test_where_nothing_is_seen_the_prior_stands_but_for_what_cannot_be_weighed() -> None:
    found = seen()
    kept = {cause: chance for cause, chance in zip(CAUSES, PRIOR, strict=True) if cause is not Cause.EFFICIENCY_LOSS}
    assert found[Cause.EFFICIENCY_LOSS] == 0.0
    assert found[Cause.NOTHING_WRONG] == pytest.approx(kept[Cause.NOTHING_WRONG] / sum(kept.values()))


def test_counts_and_load_that_rise_together_are_ingression() -> None:
    four = float(np.log(4.0))
    assert (
        likeliest(log_count_ratio=four, log_load_ratio=0.45 * four, log_passed=KEPT, has_dp=True) is Cause.INGRESSION
    )


def test_counts_that_rise_while_the_dp_fell_are_a_bypass() -> None:
    told = {"log_count_ratio": float(np.log(3.0)), "log_passed": float(np.log(0.7)), "has_dp": True}
    assert likeliest(log_fell_odds=3.0, **told) is Cause.BYPASS
    assert likeliest(log_fell_odds=-3.0, log_load_ratio=0.0, **told) is Cause.EFFICIENCY_LOSS


def test_less_flow_with_a_sound_element_is_under_filtration() -> None:
    # N = R/E: a third of the flow makes three times the count
    told = {"log_count_ratio": float(np.log(3.0)), "log_passed": KEPT, "has_dp": True}
    assert likeliest(log_flow_ratio=float(np.log(0.33)), log_load_ratio=0.0, **told) is Cause.UNDER_FILTRATION


def test_the_same_counts_as_ever_are_nothing_wrong() -> None:
    assert likeliest(log_count_ratio=0.05, log_load_ratio=0.1, log_passed=KEPT, has_dp=True) is Cause.NOTHING_WRONG


def test_a_reservoir_sample_alone_never_blames_an_elements_efficiency() -> None:
    # β 75 to 20 moves the reservoir by (1 − 1/75)/(1 − 1/20) = 4 %
    assert seen(log_count_ratio=0.04)[Cause.EFFICIENCY_LOSS] == 0.0


def test_what_the_dp_says_by_itself_makes_a_bypass_likelier() -> None:
    told = {"log_count_ratio": float(np.log(2.5)), "has_dp": True}
    assert seen(goes_round=True, **told)[Cause.BYPASS] > 2.0 * seen(goes_round=False, **told)[Cause.BYPASS]


@given(st.floats(-1.5, 3.0), st.floats(-2.0, 2.0), st.floats(-7.0, 0.3), st.floats(0.05, 1.0), st.floats(1.0, 2000.0))
def test_chances_are_chances(x1: float, x2: float, x3: float, share: float, beta: float) -> None:
    found = seen(log_count_ratio=x1, log_load_ratio=x2, log_passed=x3, filter_share=share, beta=beta, has_dp=True)
    assert sum(found.values()) == pytest.approx(1.0)
    assert min(found.values()) >= 0.0


@given(st.floats(0.0, 2.0), st.floats(0.05, 0.8))
def test_a_higher_count_is_never_less_reason_to_doubt(log_ratio: float, more: float) -> None:
    less, higher = (seen(log_count_ratio=each)[Cause.NOTHING_WRONG] for each in (log_ratio, log_ratio + more))
    assert higher <= less + 1e-9


def test_a_share_above_the_whole_is_refused() -> None:
    with pytest.raises(ValueError, match="outside 0 to 1"):
        seen(filter_share=1.2)
