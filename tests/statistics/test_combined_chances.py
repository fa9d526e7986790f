"""Fisher's method beside SciPy's and a published closed form."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import combine_pvalues

from scheduler.statistics.combined_chances import fisher_combined


@given(st.lists(st.floats(1e-6, 1.0), min_size=1, max_size=6))
def test_several_chances_are_joined_as_scipy_joins_them(chances: list[float]) -> None:
    assert float(fisher_combined(chances)) == pytest.approx(
        combine_pvalues(chances, method="fisher").pvalue, rel=1e-9
    )


def test_two_chances_have_a_closed_form() -> None:
    """χ² with 4 degrees of freedom: q (1 − ln q) for the product q (Fisher 1932, section 21.1)."""
    product = 0.02 * 0.3
    assert float(fisher_combined([0.02, 0.3])) == pytest.approx(product * (1.0 - np.log(product)), rel=1e-12)


def test_one_chance_is_itself_and_an_impossible_one_rules_out() -> None:
    assert float(fisher_combined([0.2])) == pytest.approx(0.2)
    assert float(fisher_combined([0.0, 0.9])) == 0.0


def test_what_is_no_chance_is_refused() -> None:
    with pytest.raises(ValueError, match=r"1\.2 is outside 0 to 1"):
        fisher_combined([0.1, 1.2])
