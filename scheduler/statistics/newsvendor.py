"""The service level that money implies, and what it costs to have ordered wrongly.

One order, one demand: each piece short costs cu, each piece left over co. The expected cost is least at the least
quantity q with P(D ≤ q) ≥ cu/(cu + co) (newsvendor; Arrow, Harris & Marschak 1951, Econometrica 19:250; from memory).
Costs in one currency.
"""

import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float64]
Counts = npt.NDArray[np.int64]


def service_level(cost_short: float, cost_left: float) -> float:
    """cu/(cu + co): being short ten times as dear as a leftover means 91 %.

    >>> round(service_level(10.0, 1.0), 3)
    0.909

    Raises ValueError unless both costs are finite and above 0.
    """
    _refuse_costs(cost_short, cost_left)
    return cost_short / (cost_short + cost_left)


def best_quantity(demand: Floats, *, cost_short: float, cost_left: float) -> int:
    """The quantity of least expected cost. demand (n + 1,): P(exactly k). Raises ValueError as `service_level`."""
    return int(np.searchsorted(np.cumsum(demand), service_level(cost_short, cost_left) - 1e-12))


def expected_cost(demand: Floats, quantity: Counts, *, cost_short: float, cost_left: float) -> Floats:
    """cu E(D − q)⁺ + co E(q − D)⁺ for each quantity (m,). Raises ValueError as `service_level`."""
    _refuse_costs(cost_short, cost_left)
    left = quantity[:, None] - np.arange(len(demand))
    return np.asarray((cost_short * np.maximum(-left, 0) + cost_left * np.maximum(left, 0)) @ demand)


def _refuse_costs(cost_short: float, cost_left: float) -> None:
    for name, cost in (("short", cost_short), ("left over", cost_left)):
        if not (np.isfinite(cost) and cost > 0.0):
            raise ValueError(f"cost {cost} of a piece {name} is not finite and above 0")
