"""The fall of a level: Welch's t of SciPy as the reference, and what is none."""

import numpy as np
import pytest
from scipy.stats import ttest_ind

from scheduler.statistics.level_fall import AFTER, BEFORE, clearest_fall

BEFORE_IT = np.array([0.80, 0.86, 0.78, 0.88, 0.79, 0.87])
LOW = np.array([0.42, 0.50, 0.37])


@pytest.mark.parametrize("further", [(), (0.41, 0.44, 0.43, 0.45)])
def test_a_fall_is_as_many_standard_errors_as_scipy_says(further: tuple[float, ...]) -> None:
    """scipy.stats.ttest_ind with unequal variances (Welch 1947): its statistic is where the limit lies."""
    level = np.concatenate([BEFORE_IT, LOW, further])
    z = float(ttest_ind(BEFORE_IT, LOW, equal_var=False).statistic)
    found = clearest_fall(level, z=z - 1e-6, share=0.3)
    assert found is not None
    assert found.first == len(BEFORE_IT)
    assert found.before == pytest.approx(BEFORE_IT.mean(), rel=1e-12)
    assert found.after == pytest.approx(level[len(BEFORE_IT) :].mean(), rel=1e-12)
    assert clearest_fall(level[: len(BEFORE_IT) + AFTER], z=z + 1e-6, share=0.3) is None


def test_a_fall_is_as_large_a_share_as_asked_for() -> None:
    level = np.concatenate([BEFORE_IT, LOW])
    share = 1.0 - LOW.mean() / BEFORE_IT.mean()
    assert clearest_fall(level, z=2.0, share=share - 1e-6) is not None
    assert clearest_fall(level, z=2.0, share=share + 1e-6) is None


def test_a_level_that_came_up_again_and_too_few_values_are_none() -> None:
    assert clearest_fall(np.concatenate([BEFORE_IT, LOW, BEFORE_IT[:AFTER]]), z=2.0, share=0.35) is None
    assert clearest_fall(np.concatenate([BEFORE_IT, LOW[:2]]), z=2.0, share=0.35) is None
    assert clearest_fall(BEFORE_IT[: BEFORE[0]], z=2.0, share=0.35) is None
    assert clearest_fall(np.zeros(12), z=2.0, share=0.35) is None


def test_a_long_rise_is_no_fall() -> None:
    assert clearest_fall(np.linspace(0.3, 2.5, 400), z=2.5, share=0.35) is None
