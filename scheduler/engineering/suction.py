"""Suction strainers: what the vacuum at the pump inlet says about the strainer.

Bernoulli from the oil level to the inlet, velocity head neglected: vacuum = strainer ΔP + line loss − ρ g h.
Vacuum is positive below atmosphere. `inlet_head_m` is the height of the oil level above the pump inlet:
positive for a flooded pump, negative for a pump above the tank.
"""

import numpy as np
import numpy.typing as npt

STANDARD_GRAVITY_M_S2 = 9.80665
PASCAL_PER_BAR = 1e5

USUAL_VACUUM_LIMIT_BAR = 0.34
"""About 10 inHg at the pump inlet: general practice (handbooks). The pump maker's sheet governs."""


def strainer_dp_bar(
    vacuum_bar: npt.ArrayLike,
    inlet_head_m: npt.ArrayLike,
    line_loss_bar: npt.ArrayLike,
    density_kg_m3: npt.ArrayLike,
) -> npt.NDArray[np.float64]:
    """ΔP across the strainer, bar; NaN where any of the four is unknown (then see `rise_above_clean_bar`).

    A negative result means that head or line loss are wrong; it is returned, so that the caller can say so.

    >>> float(strainer_dp_bar(0.15, -0.5, 0.04, 870.0).round(4))  # pump half a metre above the oil
    0.0673
    """
    return np.asarray(
        np.asarray(vacuum_bar, dtype=np.float64)
        + _head_bar(inlet_head_m, density_kg_m3)
        - np.asarray(line_loss_bar, dtype=np.float64)
    )


def vacuum_with_strainer_bar(
    strainer_dp_bar: npt.ArrayLike,
    inlet_head_m: npt.ArrayLike,
    line_loss_bar: npt.ArrayLike,
    density_kg_m3: npt.ArrayLike,
) -> npt.NDArray[np.float64]:
    """Vacuum at the inlet behind a strainer of that ΔP: the inverse of `strainer_dp_bar`.

    >>> float(vacuum_with_strainer_bar(0.0673, -0.5, 0.04, 870.0).round(4))
    0.15
    """
    return np.asarray(
        np.asarray(strainer_dp_bar, dtype=np.float64)
        + np.asarray(line_loss_bar, dtype=np.float64)
        - _head_bar(inlet_head_m, density_kg_m3)
    )


def rise_above_clean_bar(vacuum_bar: npt.ArrayLike, clean_vacuum_bar: npt.ArrayLike) -> npt.NDArray[np.float64]:
    """What dirt has added: vacuum now minus this position's own vacuum when clean, at like oil temperature.

    >>> float(rise_above_clean_bar(0.21, 0.12).round(2))
    0.09
    """
    return np.asarray(np.asarray(vacuum_bar, dtype=np.float64) - np.asarray(clean_vacuum_bar, dtype=np.float64))


def vacuum_at_viscosity_bar(
    vacuum_bar: npt.ArrayLike,
    inlet_head_m: npt.ArrayLike,
    density_kg_m3: npt.ArrayLike,
    viscosity_ratio: npt.ArrayLike,
) -> npt.NDArray[np.float64]:
    """Vacuum expected with oil `viscosity_ratio` times as viscous at the same flow, all friction laminar.

    Laminar friction grows fastest with viscosity, so a cold start is not made to look better than it is;
    warmed oil is made to look better by as much. NaN where the head is unknown.

    >>> float(vacuum_at_viscosity_bar(0.10, 0.5, 870.0, 2.0).round(4))
    0.2427
    """
    head = _head_bar(inlet_head_m, density_kg_m3)
    friction = np.asarray(vacuum_bar, dtype=np.float64) + head
    return np.asarray(friction * np.asarray(viscosity_ratio, dtype=np.float64) - head)


def vacuum_limit_bar(stated_limit_bar: npt.ArrayLike) -> npt.NDArray[np.float64]:
    """The position's own limit, from the pump maker's sheet; where none is stated, the usual 0.34 bar.

    Raises ValueError for a limit that is not above 0.

    >>> vacuum_limit_bar([0.2, np.nan])
    array([0.2 , 0.34])
    """
    stated = np.asarray(stated_limit_bar, dtype=np.float64)
    if np.any(stated <= 0.0):
        raise ValueError(f"vacuum limit {float(np.min(stated[stated <= 0.0]))} bar is not above 0")
    return np.where(np.isnan(stated), USUAL_VACUUM_LIMIT_BAR, stated)


def _head_bar(inlet_head_m: npt.ArrayLike, density_kg_m3: npt.ArrayLike) -> npt.NDArray[np.float64]:
    density = np.asarray(density_kg_m3, dtype=np.float64)
    head = np.asarray(inlet_head_m, dtype=np.float64)
    return np.asarray(density * STANDARD_GRAVITY_M_S2 * head / PASCAL_PER_BAR)
