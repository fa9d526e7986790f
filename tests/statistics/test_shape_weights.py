import numpy as np
import pytest

from scheduler.statistics.shape_weights import (
    KEPT_OF_TYPE,
    POSITION_PRIOR_LIVES,
    TYPE_PRIOR_LIVES,
    position_shape_weights,
    shape_likelihood,
    type_shape_weights,
)

USUAL = np.array([[0.5, 0.3, 0.2], [0.2, 0.2, 0.6]])


def certain(*shapes: int) -> np.ndarray:
    """Likelihoods of lives whose shape is beyond doubt."""
    return np.eye(3)[list(shapes)]


def test_lives_of_a_certain_shape_are_counted_as_a_dirichlet_counts() -> None:
    """Dirichlet posterior with known classes: (counts + prior) / (all + prior), Bishop 2006, eq. 2.41."""
    found = type_shape_weights(certain(0, 2, 2, 2), np.ones(4, dtype=bool), np.zeros(4, dtype=np.int64), USUAL)
    expected = (np.array([1.0, 0.0, 3.0]) + TYPE_PRIOR_LIVES * USUAL[0]) / (4.0 + TYPE_PRIOR_LIVES)
    assert found[0] == pytest.approx(expected)
    assert found[1].tolist() == USUAL[1].tolist()


def test_a_life_that_did_not_show_its_shape_has_no_vote() -> None:
    shown = np.array([True, False, False])
    found = type_shape_weights(certain(0, 2, 2), shown, np.zeros(3, dtype=np.int64), USUAL)
    assert found[0, 0] > USUAL[0, 0]
    assert found[0, 2] < USUAL[0, 2]


def test_a_life_that_says_nothing_changes_nothing() -> None:
    flat = np.full((5, 3), 1.0 / 3.0)
    found = type_shape_weights(flat, np.ones(5, dtype=bool), np.zeros(5, dtype=np.int64), USUAL)
    assert found[0] == pytest.approx(USUAL[0])


def test_a_position_goes_its_own_way_but_keeps_some_of_its_types() -> None:
    of_type = np.tile(USUAL[0], (2, 1))
    shown, positions = np.ones(3, dtype=bool), np.array([4, 4, 4])
    nobody = np.array([-1, -1])
    found = position_shape_weights(certain(1, 1, 1), shown, positions, np.array([4, 5]), of_type, nobody)
    own = (np.array([0.0, 3.0, 0.0]) + POSITION_PRIOR_LIVES * USUAL[0]) / (3.0 + POSITION_PRIOR_LIVES)
    assert found[0] == pytest.approx((1.0 - KEPT_OF_TYPE) * own + KEPT_OF_TYPE * USUAL[0])
    assert found[1].tolist() == USUAL[0].tolist()


def test_a_positions_running_life_does_not_vote_for_itself() -> None:
    of_type, shown = USUAL[:1], np.ones(2, dtype=bool)
    positions, asked = np.array([4, 4]), np.array([4])
    found = position_shape_weights(certain(1, 2), shown, positions, asked, of_type, np.array([1]))
    alone = position_shape_weights(certain(1), shown[:1], positions[:1], asked, of_type, np.array([-1]))
    assert found.tolist() == alone.tolist()


def test_the_likelihood_is_the_posterior_with_its_prior_taken_out() -> None:
    prior, likelihood = np.array([[0.7, 0.2, 0.1]]), np.array([[0.1, 0.1, 0.8]])
    posterior = prior * likelihood / np.sum(prior * likelihood)
    assert shape_likelihood(posterior, prior) == pytest.approx(likelihood)
