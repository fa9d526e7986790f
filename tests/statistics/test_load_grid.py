import numpy as np
import pytest

from scheduler.engineering.loading_curve import SHAPES, load_of
from scheduler.statistics.load_grid import LOAD, ShapeTable, first_shape_weights, load_grid, shape_table


def test_the_load_at_a_rise_is_the_loading_curves_own_inverse() -> None:
    grid = load_grid(shape_table(), 0.12)
    for ratio in (1.3, 2.0, 5.0, 10.0, 30.0):
        log_rise = np.full((1, len(grid.shape)), np.log(ratio), dtype=np.float32)
        found = np.exp(grid.log_terminal_load(log_rise)[0])
        exact = np.array([load_of(ratio, shape.blocking, shape.onset) for shape in SHAPES])[grid.shape]
        assert found == pytest.approx(exact, rel=0.01)


def test_every_node_shows_its_load_at_the_last_node_of_s() -> None:
    grid = load_grid(shape_table(), 0.12)
    back = np.exp(grid.log_terminal_load(grid.rise[-1:])[0])
    held = (grid.rise[-1] > 0.02) & (grid.rise[-1] < 5.9)
    assert back[held] == pytest.approx(grid.load[held], rel=0.025, abs=0.001)


def test_before_any_life_is_known_half_the_permitted_dp_comes_late() -> None:
    ratio = 8.0
    weights = first_shape_weights(shape_table(), np.array([np.log(ratio), np.log(4.0)]))
    half_at = np.array(
        [load_of(ratio / 2, one.blocking, one.onset) / load_of(ratio, one.blocking, one.onset) for one in SHAPES]
    )
    assert weights.sum(axis=1) == pytest.approx(1.0)
    assert weights.min() > 0.0
    assert 0.80 <= weights[0] @ half_at <= 0.95  # a published lexicon's 80 %, recorded clogging's 90 to 96 %


def test_a_shape_that_falls_or_does_not_start_clean_is_refused() -> None:
    with pytest.raises(ValueError, match="never fall"):
        ShapeTable(-LOAD[None, :], ("down",))
    with pytest.raises(ValueError, match="start at 0"):
        ShapeTable(1.0 + LOAD[None, :], ("up",))
    with pytest.raises(ValueError, match="finite rises"):
        ShapeTable(LOAD[None, :-1], ("short",))


def test_no_rise_is_too_small_for_single_precision_to_hold_in_full() -> None:
    """With such numbers a product takes several times as long."""
    moments = load_grid(shape_table(), 0.12).moments
    assert np.min(moments[moments > 0.0]) > np.finfo(np.float32).tiny
    assert np.mean(moments == 0.0) > 0.01
