"""New oil through a transfer filter. Scale limits: ISO 4406:2021; β: ISO 16889; what is ours says so."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from scheduler.engineering.cleanliness_code import Code
from scheduler.engineering.new_oil import (
    MOST_BETA,
    MOST_PASSES,
    TransferFilter,
    beta_at_sizes,
    filter_for,
    passes_needed,
    says_how_to_fill,
)

NEW, TARGET = Code.parse("20/18/15"), Code.parse("18/16/13")


@pytest.mark.parametrize(
    ("target", "beta", "passes"),
    [
        # ISO 4406:2021, limits of 20/18/15: 10,000/2,500/320; of 18/16/13: 2,500/640/80, a fourth of each
        ("18/16/13", 4.0, 1),
        ("18/16/13", 3.9, 2),
        ("18/16/13", 2.0, 2),
        # of 16/14/11: 640/160/20, less by 15.6, 15.6 and 16; of 14/12/9: 160/40/5, by 62.5, 62.5 and 64
        ("16/14/11", 16.0, 1),
        ("16/14/11", 15.9, 2),
        ("14/12/9", 4.0, 3),
        ("20/18/15", 1.0, 0),
        ("18/16/13", 1.0, None),
        ("14/12/9", 2.0, None),  # 2⁵ = 32 < 62.5
    ],
)
def test_passes_are_those_of_the_printed_limits(target: str, beta: float, passes: int | None) -> None:
    assert passes_needed(NEW, Code.parse(target), (beta, beta, beta)) == passes


def test_the_worst_size_decides() -> None:
    # at 6 µm(c) 2,500 to 640 takes β 3.9; at 14 µm(c) 320 to 80 takes 4
    assert passes_needed(NEW, TARGET, (1.5, 10.0, 10.0)) == 4  # 1.5³ = 3.4 < 4 ≤ 1.5⁴ = 5.1
    assert passes_needed(Code.parse("18/18/13"), TARGET, (1.0, 4.0, 1.0)) == 1


def test_a_number_without_an_upper_limit_can_promise_nothing() -> None:
    assert passes_needed(Code.parse(">28/18/15", sample=True), TARGET, (10.0, 10.0, 10.0)) is None
    assert passes_needed(Code.parse("20/18/≥15", sample=True), TARGET, (10.0, 10.0, 10.0)) is None
    assert passes_needed(Code.parse("-/18/15", sample=True), TARGET, (10.0, 10.0, 10.0)) is None


def test_a_size_that_was_not_counted_holds_no_more_than_the_smaller_one() -> None:
    # 18 at 6 µm(c) is up to 2,500; the target's 13 at 14 µm(c) is 80: 2,500/80 = 31 takes two passes of β 10
    assert passes_needed(Code.parse("20/18/-", sample=True), TARGET, (10.0, 10.0, 10.0)) == 2


def test_a_common_transfer_element_of_30_um_does_not_reach_a_target_of_18_16_13() -> None:
    # general practice: a 30 µm transfer element alone does not make new oil fit for 18/16/13 (no source)
    assert filter_for(NEW, TARGET, [TransferFilter(30.0, 200.0)]) is None
    assert "30 µm(c), β 200" in says_how_to_fill(NEW, TARGET, [TransferFilter(30.0, 200.0)])


def test_fewest_passes_win_and_of_equals_the_coarsest() -> None:
    cart = [TransferFilter(rating, 200.0) for rating in (3.0, 4.0, 5.0, 10.0, 30.0)]
    choice = filter_for(NEW, TARGET, cart)
    assert choice is not None
    # ours: at 5 µm(c) rating ln β(4) = ln 10 · 0.64 = 1.47, β 4.4 ≥ 4; at 10 µm(c) β(4) = 10^0.16 = 1.45
    assert (choice.through, choice.passes) == (TransferFilter(5.0, 200.0), 1)
    assert filter_for(NEW, TARGET, cart[3:]).passes == 4  # type: ignore[union-attr]


def test_a_fine_oil_needs_no_filter_and_an_unknown_one_is_taken_for_dirty() -> None:
    clean = filter_for(Code.parse("16/14/11"), TARGET, [])
    assert clean is not None
    assert (clean.through, clean.passes) == (None, 0)
    assert filter_for(None, Code.parse("20/18/15"), []) == clean
    assert filter_for(None, TARGET, []) is None


def test_the_sentence_carries_the_numbers() -> None:
    says = says_how_to_fill(None, Code.parse("16/14/11"), [TransferFilter(4.0, 1000.0)])
    assert "20/18/15" in says
    assert "16/14/11" in says
    assert "2 times through a filter of 4 µm(c), β 1000 (counted as β 10" in says
    assert "no transfer filter is listed" in says_how_to_fill(None, TARGET, [])


def test_a_bench_figure_is_cut_and_a_poor_one_is_not_made_better() -> None:
    # ours: β 10 at most; ISO 16889: larger particles are held at least as well
    assert beta_at_sizes(TransferFilter(4.0, 1000.0)) == pytest.approx((MOST_BETA,) * 3)
    assert beta_at_sizes(TransferFilter(4.0, 2.0)) == pytest.approx((2.0,) * 3)


@given(st.floats(1.0, 60.0), st.floats(1.0, 5000.0), st.integers(8, 24), st.integers(8, 24), st.floats(1.0, 2.0))
def test_a_finer_filter_a_cleaner_oil_or_an_easier_target_never_takes_more_passes(
    rating_um: float, beta: float, had: int, wanted: int, finer: float
) -> None:
    def passes(rating: float, new: int, target: int) -> float:
        codes = [Code.parse(f"{number}/{number - 2}/{number - 5}") for number in (new, target)]
        found = passes_needed(codes[0], codes[1], beta_at_sizes(TransferFilter(rating, beta)))
        return math.inf if found is None else found

    once = passes(rating_um, had, wanted)
    assert once <= MOST_PASSES or math.isinf(once)
    assert passes(rating_um / finer, had, wanted) <= once
    assert passes(rating_um, had - 1, wanted) <= once
    assert passes(rating_um, had, wanted + 1) <= once


@pytest.mark.parametrize(("rating_um", "beta"), [(0.0, 10.0), (math.inf, 10.0), (5.0, 0.5), (5.0, math.nan)])
def test_a_filter_that_cannot_be_is_refused(rating_um: float, beta: float) -> None:
    with pytest.raises(ValueError, match=r"rating|β ratio"):
        TransferFilter(rating_um, beta)
