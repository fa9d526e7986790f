"""β ratio and efficiency (ISO 16889)."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from scheduler.engineering.filtration import beta_of_counts, beta_of_efficiency, efficiency_of_beta

PUBLISHED_PERCENT = [
    *[(1.01, 1.0), (1.1, 9.0), (1.5, 33.3), (2.0, 50.0), (5.0, 80.0), (10.0, 90.0)],
    *[(20.0, 95.0), (75.0, 98.7), (100.0, 99.0), (200.0, 99.5), (1000.0, 99.9)],
]
"""Published β tables (handbook reproductions); ISO 16889: efficiency = 1 − 1/β. Printed to the first decimal."""


@pytest.mark.parametrize(("beta", "percent"), PUBLISHED_PERCENT)
def test_a_beta_ratio_has_its_published_efficiency(beta: float, percent: float) -> None:
    # β 1.1 is printed as 9.0 and is 9.09 exactly; all others stand within rounding
    assert 100.0 * float(efficiency_of_beta(beta)) == pytest.approx(percent, abs=0.1)


def test_four_hundred_in_and_a_hundred_out_is_beta_4() -> None:
    # filter handbook: 400 in, 100 out: β 4, 75 %
    assert float(beta_of_counts(400.0, 100.0)) == 4.0
    assert float(efficiency_of_beta(4.0)) == 0.75


@given(st.floats(1.0, 1e5))
def test_efficiency_and_beta_are_one_number_said_twice(beta: float) -> None:
    assert float(beta_of_efficiency(efficiency_of_beta(beta))) == pytest.approx(beta, rel=1e-9)


def test_nothing_counted_downstream_gives_no_ratio() -> None:
    assert np.isnan(beta_of_counts([400.0, np.nan], [0.0, 10.0])).all()


def test_what_no_element_can_do_is_refused() -> None:
    with pytest.raises(ValueError, match=r"β ratio 0\.5"):
        efficiency_of_beta([75.0, 0.5])
    with pytest.raises(ValueError, match="not a percentage"):
        beta_of_efficiency(99.5)
    with pytest.raises(ValueError, match="efficiency -0"):
        beta_of_efficiency(-0.1)
    with pytest.raises(ValueError, match="downstream count"):
        beta_of_counts(10.0, -1.0)
