"""How likely each shape of the loading curve is for a type and a position: learned from the lives that showed it.

Only a life whose last readings stood high up its curve has shown its shape; the others would only repeat what was
believed. Each such life has a likelihood per shape; the type's weights are the mode of a Dirichlet whose prior
counts as a few lives (EM for mixture weights). A position's own lives then move its weights away from its type's,
with a tenth of the type's kept, since the next element may be another.

Source: Bishop, Pattern Recognition and Machine Learning, 2006, sections 9.3.2 and 10.2 (mixture weights, Dirichlet
prior). What counts as high up, and the counts, are ours, from simulated plants.
"""

import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float64]
Indices = npt.NDArray[np.int64]
Flags = npt.NDArray[np.bool_]

TYPE_PRIOR_LIVES = 2.0
POSITION_PRIOR_LIVES = 2.0
KEPT_OF_TYPE = 0.1
_ROUNDS = 40
_SETTLED = 1e-3
_NEGLIGIBLE = 1e-4


def shape_likelihood(shape_share: Floats, believed: Floats) -> Floats:
    """Each life's likelihood per shape (E, J), up to a factor, from its posterior and prior weights of shapes."""
    likelihood = shape_share / np.maximum(believed, 1e-9)
    return np.asarray(likelihood / np.maximum(likelihood.sum(axis=1, keepdims=True), 1e-300))


def type_shape_weights(likelihood: Floats, shown: Flags, type_index: Indices, usual: Floats) -> Floats:
    """Weights (T, J) of each type; usual (T, J): before any life. shown (E,): the lives that showed their shape."""
    weights = usual.copy()
    for kind in np.unique(type_index[shown]):
        rows = shown & (type_index == kind)
        weights[kind] = _mixture(likelihood[rows], usual[kind], TYPE_PRIOR_LIVES)
    return weights


def position_shape_weights(
    likelihood: Floats,
    shown: Flags,
    position_index: Indices,
    for_position: Indices,
    of_type: Floats,
    leave_out: Indices,
) -> Floats:
    """Weights (P, J) of each target: its type's (P, J), moved by its position's own lives but `leave_out` (−1:
    none)."""
    weights = of_type.copy()
    for target, position in enumerate(for_position):
        rows = np.flatnonzero(shown & (position_index == position))
        rows = rows[rows != leave_out[target]]
        if len(rows):
            own = _mixture(likelihood[rows], of_type[target], POSITION_PRIOR_LIVES)
            weights[target] = (1.0 - KEPT_OF_TYPE) * own + KEPT_OF_TYPE * of_type[target]
    return weights


def _mixture(likelihood: Floats, prior: Floats, prior_lives: float) -> Floats:
    weights = prior.copy()
    for _ in range(_ROUNDS):
        share = likelihood * weights
        share /= np.maximum(share.sum(axis=1, keepdims=True), 1e-300)
        before, weights = weights, share.sum(axis=0) + prior_lives * prior
        weights /= weights.sum()
        if float(np.abs(weights - before).max()) < _SETTLED:
            break
    weights = np.where(weights < _NEGLIGIBLE, 0.0, weights)
    return np.asarray(weights / weights.sum())
