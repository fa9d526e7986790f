"""How long an off-line filter takes to bring a system's oil to its target.

Well-mixed balance: V dN/dt = R − E N with E the flow that is cleaned whole, E = Q (1 − b)(1 − 1/β) summed over the
filters (b: share that goes round the element). So N∞ = R/E, τ = V/E, t = τ ln((N0 − N∞)/(Nt − N∞)). Source: algebra
of the balance, as handbooks print it; β: ISO 16889. N counts particles of one size and larger upstream of the filter.

A real tank is not well mixed, the return line feeds the suction, and walls and lines give dirt back: real clean-ups
take 2 to 5 times as long (published clean-up tables against the balance). So two hours are told, not the ideal ones.
Where the ingression is not known it is counted as none: the hours are then too few, and the sentence says so.
"""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from scheduler.engineering.filtration import efficiency_of_beta

Floats = npt.NDArray[np.float64]

REAL_OVER_IDEAL = (2.0, 5.0)
"""Real clean-ups against the well-mixed balance (published clean-up tables)."""

MINUTES_PER_HOUR = 60.0
ML_PER_L = 1000.0


@dataclass(frozen=True, slots=True)
class CleanUp:
    """Hours to the target, in the shape of the inputs: of the ideal balance, and of real clean-ups low and high.

    0 where the target is met, infinite where it is never met (the steady count is not below it), NaN where an input
    is. `steady_per_mL` is what the count tends to.
    """

    ideal_h: Floats
    low_h: Floats
    high_h: Floats
    steady_per_mL: Floats


def cleaned_flow_lpm(
    flow_lpm: npt.ArrayLike, beta: npt.ArrayLike, bypassed_share: npt.ArrayLike = 0.0
) -> npt.NDArray[np.float64]:
    """E: the flow from which all particles are taken. Of several filters add them up.

    Raises ValueError for a flow below 0, β below 1, or a share outside 0 to 1.

    >>> float(cleaned_flow_lpm(100.0, 2.0))
    50.0
    """
    flow, bypassed = np.asarray(flow_lpm, dtype=np.float64), np.asarray(bypassed_share, dtype=np.float64)
    _refuse(flow, flow < 0.0, "flow", "L/min is below 0")
    _refuse(bypassed, (bypassed < 0.0) | (bypassed > 1.0), "bypassed share", "is outside 0 to 1")
    return np.asarray(flow * (1.0 - bypassed) * efficiency_of_beta(beta))


def steady_count_per_mL(
    ingression_per_min: npt.ArrayLike, cleaned_flow_lpm: npt.ArrayLike
) -> npt.NDArray[np.float64]:
    """N∞: what the count upstream tends to; infinite where nothing is cleaned and anything comes in.

    ingression_per_min: particles of the size and larger that come into the whole system in a minute. Raises
    ValueError for either below 0.

    >>> round(float(steady_count_per_mL(1e8, cleaned_flow_lpm(100.0, 200.0))), 3)
    1005.025
    """
    coming, cleaned = np.asarray(ingression_per_min, dtype=np.float64), np.asarray(cleaned_flow_lpm, dtype=np.float64)
    _refuse(coming, coming < 0.0, "ingression", "per min is below 0")
    _refuse(cleaned, cleaned < 0.0, "cleaned flow", "L/min is below 0")
    coming, cleaned = np.broadcast_arrays(coming, cleaned)
    stands = np.where(coming > 0.0, np.inf, np.where(np.isnan(coming), np.nan, 0.0))
    return np.asarray(np.divide(coming, ML_PER_L * cleaned, out=stands, where=~(cleaned == 0.0)))


def time_constant_h(volume_L: npt.ArrayLike, cleaned_flow_lpm: npt.ArrayLike) -> npt.NDArray[np.float64]:
    """τ = V/E; infinite where nothing is cleaned. Raises ValueError for a volume not above 0, a flow below 0.

    >>> round(60.0 * float(time_constant_h(200.0, cleaned_flow_lpm(100.0, 75.0))), 3)
    2.027
    """
    volume, cleaned = np.asarray(volume_L, dtype=np.float64), np.asarray(cleaned_flow_lpm, dtype=np.float64)
    _refuse(volume, volume <= 0.0, "volume", "L is not above 0")
    _refuse(cleaned, cleaned < 0.0, "cleaned flow", "L/min is below 0")
    volume, cleaned = np.broadcast_arrays(volume, cleaned)
    out = np.full(volume.shape, np.inf)
    return np.asarray(np.divide(volume, MINUTES_PER_HOUR * cleaned, out=out, where=~(cleaned == 0.0)))


def clean_up(
    now_per_mL: npt.ArrayLike,
    target_per_mL: npt.ArrayLike,
    *,
    volume_L: npt.ArrayLike,
    cleaned_flow_lpm: npt.ArrayLike,
    ingression_per_min: npt.ArrayLike = 0.0,
) -> CleanUp:
    """Hours until the count has come down to the target. All inputs broadcast; for a code give its three counts.

    Raises ValueError for a count or a target not above 0, and as the functions above do.

    >>> low = clean_up(100.0, 1.0, volume_L=400.0, cleaned_flow_lpm=cleaned_flow_lpm(40.0, 200.0))
    >>> round(60.0 * float(low.ideal_h), 3)
    46.283
    """
    now, target = np.asarray(now_per_mL, dtype=np.float64), np.asarray(target_per_mL, dtype=np.float64)
    for name, counts in (("count", now), ("target", target)):
        _refuse(counts, counts <= 0.0, name, "per mL is not above 0")
    steady = steady_count_per_mL(ingression_per_min, cleaned_flow_lpm)
    tau_h = time_constant_h(volume_L, cleaned_flow_lpm)
    now, target, steady, tau_h = np.broadcast_arrays(now, target, steady, tau_h)
    unknown = np.isnan(now + target + tau_h) | np.isnan(steady)
    never = (steady >= target) & (now > target)
    moving = (now > target) & ~never & ~unknown & np.isfinite(tau_h)
    ideal_h = np.where(unknown, np.nan, np.where(now > target, np.inf, 0.0))
    ratio = np.divide(now - steady, target - steady, out=np.ones(now.shape), where=moving)
    ideal_h = np.where(moving, tau_h * np.log(ratio), ideal_h) if np.any(moving) else ideal_h
    low, high = REAL_OVER_IDEAL
    return CleanUp(ideal_h, low * ideal_h, high * ideal_h, np.array(steady))


def says_how_long(found: CleanUp, *, ingression_known: bool) -> str:
    """The sentence for the card; of several sizes the slowest speaks. Raises ValueError for hours that are not known.

    >>> says_how_long(clean_up(2000.0, 500.0, volume_L=400.0, cleaned_flow_lpm=40.0), ingression_known=True)
    'Clean-up takes about 0.5 to 1.2 h: 0.2 h by the well-mixed balance, times 2 to 5, since real tanks mix badly.'
    """
    ideal_h = float(np.max(found.ideal_h))
    if np.isnan(ideal_h):
        raise ValueError("the hours of the clean-up are not known: a count, a flow or a volume is missing")
    if np.isinf(ideal_h):
        steady = float(np.max(found.steady_per_mL[np.isinf(found.ideal_h)]))
        if steady == 0.0 or np.isinf(steady):
            return "This filter never reaches the target: no flow is cleaned."
        return (
            f"This filter never reaches the target: with what comes in, the count stays at {steady:.0f} per mL or "
            "above. Stop the dirt from coming in, or take a larger or finer filter."
        )
    if ideal_h == 0.0:
        return "The oil meets the target: no clean-up is needed."
    low, high = REAL_OVER_IDEAL
    says = (
        f"Clean-up takes about {_hours(low * ideal_h)} to {_hours(high * ideal_h)} h: {_hours(ideal_h)} h by the "
        f"well-mixed balance, times {low:g} to {high:g}, since real tanks mix badly"
    )
    return f"{says}." if ingression_known else f"{says}; dirt that comes in meanwhile is not known and not counted."


def _hours(hours: float) -> str:
    return f"{hours:.1f}" if hours < 10.0 else f"{hours:.0f}"


def _refuse(values: Floats, outside: npt.NDArray[np.bool_] | np.bool_, what: str, limit: str) -> None:
    if np.any(outside):
        raise ValueError(f"{what} {float(values[outside].flat[0])} {limit}")
