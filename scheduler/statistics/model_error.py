"""How far the ΔP of a type wanders from its own curve in ways that no number of readings averages away.

The readings of a life are gathered in stretches of its hours, as for the forecast. If the curve were right, the
mean of a stretch would lie off it by no more than the scatter of its readings over the root of their number; what
it lies off beyond that is the model's own error: bumps of the medium, a flow or temperature that was away for a
while, a gauge that was read by another. Method of moments (as for a random effect's variance, DerSimonian & Laird
1986).
"""

import numpy as np
import numpy.typing as npt

from scheduler.statistics.load_grid import S_NODES

Floats = npt.NDArray[np.float64]
Indices = npt.NDArray[np.int64]

PRIOR_STRETCHES = 30.0
"""Ours: what is believed before counts as much as so many stretches, about those of one or two well-read lives."""
TRUSTED_FROM = 0.02
"""Ours: a stretch counts for half where the mean of its readings scatters by so much variance."""
LARGEST = 0.10


def model_error_variance(
    off: Floats, weight: Floats, share: Floats, life: Indices, life_type: Indices, noise: Floats, before: float
) -> Floats:
    """Variance (T,) per stretch of each type, from readings (N,) that lie `off` their life's curve at a `share` of
    it.

    weight: 1/variance of each. life (N,): which life, life_type (E,) its type, noise (T,): variance of the readings
    over the stated one. before: what holds of a type that nothing was read of; it is never found to be more than
    LARGEST.
    """
    types = len(noise)
    stretch = np.clip(np.searchsorted(S_NODES, share) - 1, 0, len(S_NODES) - 2)
    place = life * len(S_NODES) + stretch
    size = len(life_type) * len(S_NODES)
    held = np.bincount(place, weight, size)
    filled = np.flatnonzero(held > 0.0)
    mean = np.bincount(place, weight * off, size)[filled] / held[filled]
    kind = life_type[filled // len(S_NODES)]
    beyond = mean**2 - noise[kind] / held[filled]
    # a stretch says the less of the model, the fewer readings it has
    trust = 1.0 / (1.0 + noise[kind] / (held[filled] * TRUSTED_FROM))
    total = np.bincount(kind, trust * beyond, types) + PRIOR_STRETCHES * before
    return np.asarray(np.clip(total / (np.bincount(kind, trust, types) + PRIOR_STRETCHES), 0.0, LARGEST))
