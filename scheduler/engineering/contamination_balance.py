"""What a system's filters take out of the oil together, what comes in meanwhile, and what an element has collected.

Well-mixed balance of particles of one size and larger: V dN/dt = R − E N, with N the reservoir's count, R what comes
in, and E the flow that is cleaned whole. E of one filter is `clean_up.cleaned_flow_lpm`; N∞ = R/E and τ = V/E are
there, too. What is added here is E of several filters, R from two samples, and the mass on one element.

Filters in their own circuits add up. Those in one stream do not: what the pressure filter has taken the return filter
cannot take again. Of each stream the oil arrives at a filter with the share c of its particles already gone,
c = E of the streams before over the larger of both flows, and the filter adds (1 − c) of what it would take alone.
Everything is taken to come into the reservoir. Source: algebra of the balance as handbooks print it, β: ISO 16889;
the rule for one stream is derived here: two filters on the same flow pass 1/(β₁ β₂).
"""

from dataclasses import dataclass
from enum import IntEnum

import numpy as np
import numpy.typing as npt

from scheduler.engineering.clean_up import MINUTES_PER_HOUR, ML_PER_L, cleaned_flow_lpm, steady_count_per_mL

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.intp]

COUNT_AT_1_mg_per_L = (1800.0, 450.0, 57.0)
"""Particles per mL of ≥4, ≥6 and ≥14 µm(c) in oil with 1 mg/L of fine test dust. From memory: comparison tables of
handbooks put about 1 mg/L beside the code 16/13 of the two larger sizes; the middles of those numbers, and of the
number 18 for the smallest. Real dirt is finer or coarser and metal is heavier: see `MASS_LOG_SD`."""

MASS_LOG_SD = float(np.log(2.0))
"""A mass reckoned from counts is right within a factor of about two (ours)."""

BETA_IN_SERVICE_LOG_SD = 0.2
"""Of E: flows are told as nameplates, β from the test bench (ours)."""


class Stream(IntEnum):
    """Where a filter stands: in the main stream through the machine, in this order, or in a circuit of its own."""

    SUCTION = 0
    PRESSURE = 1
    RETURN = 2
    APART = 3


def cleaned_flow_by_filter_lpm(
    system: npt.ArrayLike,
    stream: npt.ArrayLike,
    flow_lpm: npt.ArrayLike,
    beta: npt.ArrayLike,
    *,
    bypassed_share: npt.ArrayLike = 0.0,
    run_share: npt.ArrayLike = 1.0,
) -> Floats:
    """What each of F filters adds to its system's E, (F,); NaN where its flow or β is not known.

    system: any integers; stream: `Stream` codes. run_share: the filter's run hours over the machine's. A filter of
    which nothing is known is taken to clean nothing for the others. Raises ValueError as `cleaned_flow_lpm` does, and
    for a run share below 0.

    >>> cleaned_flow_by_filter_lpm([0, 0, 0], [1, 2, 3], [100.0, 100.0, 40.0], [2.0, 2.0, 200.0])
    array([50. , 25. , 39.8])
    """
    of, stage = np.asarray(system, dtype=np.intp), np.asarray(stream, dtype=np.intp)
    share = np.broadcast_to(np.asarray(run_share, dtype=np.float64), of.shape)
    if np.any(share < 0.0):
        raise ValueError(f"run share {float(np.nanmin(share))} is below 0")
    flow = np.broadcast_to(np.asarray(flow_lpm, dtype=np.float64), of.shape)
    alone = np.broadcast_to(cleaned_flow_lpm(flow, beta, bypassed_share), of.shape)
    _, place = np.unique(of, return_inverse=True)
    count = int(place.max(initial=-1)) + 1
    taken, widest, adds = np.zeros(count), np.zeros(count), np.array(alone)
    for each in (Stream.SUCTION, Stream.PRESSURE, Stream.RETURN):
        here = (stage == each) & ~np.isnan(alone)
        through = np.bincount(place[here], flow[here], minlength=count)
        gone = taken / np.maximum(np.maximum(through, widest), 1e-300)
        adds[here] = alone[here] * (1.0 - np.minimum(gone, 1.0))[place[here]]
        taken += np.bincount(place[here], adds[here], minlength=count)
        widest = np.maximum(widest, through)
    return np.asarray(adds * share)


def count_after_per_mL(
    now_per_mL: npt.ArrayLike,
    run_h: npt.ArrayLike,
    *,
    volume_L: npt.ArrayLike,
    cleaned_lpm: npt.ArrayLike,
    ingression_per_min: npt.ArrayLike,
) -> Floats:
    """The count after so many run hours of constant ingression. All inputs broadcast; ValueError as `clean_up`.

    >>> float(count_after_per_mL(0.0, 1000.0, volume_L=200.0, cleaned_lpm=50.0, ingression_per_min=1e8))
    2000.0
    """
    cleaned = np.asarray(cleaned_lpm, dtype=np.float64)
    left = left_share(run_h, volume_L=volume_L, cleaned_lpm=cleaned)
    steady = steady_count_per_mL(ingression_per_min, cleaned)
    with np.errstate(invalid="ignore"):
        settling = steady + (np.asarray(now_per_mL, dtype=np.float64) - steady) * left
    rising = np.asarray(ingression_per_min) * np.asarray(run_h) * MINUTES_PER_HOUR / (ML_PER_L * np.asarray(volume_L))
    return np.asarray(np.where(cleaned > 0.0, settling, np.asarray(now_per_mL) + rising))


def left_share(run_h: npt.ArrayLike, *, volume_L: npt.ArrayLike, cleaned_lpm: npt.ArrayLike) -> Floats:
    """a = e^(−E Δt/V): what is left of a disturbance after so many run hours. ValueError for hours below 0."""
    hours, volume = np.asarray(run_h, dtype=np.float64), np.asarray(volume_L, dtype=np.float64)
    if np.any(hours < 0.0) or np.any(volume <= 0.0):
        raise ValueError(f"run hours {hours} are below 0 or a volume in {volume} L is not above 0")
    return np.exp(-np.asarray(cleaned_lpm) * hours * MINUTES_PER_HOUR / volume)


@dataclass(frozen=True, slots=True)
class Ingression:
    """Particles a minute that came into the whole system on average between two samples, and the standard deviation.

    It may come out below 0 where the counts fell faster than the filters can clean: within the deviation none came.
    """

    per_min: Floats
    sd_per_min: Floats


def ingression_between(
    first_per_mL: npt.ArrayLike,
    later_per_mL: npt.ArrayLike,
    run_h: npt.ArrayLike,
    *,
    volume_L: npt.ArrayLike,
    cleaned_lpm: npt.ArrayLike,
    sample_log_sd: npt.ArrayLike,
) -> Ingression:
    """R = E (N2 − N1 a)/(1 − a), a = e^(−E Δt/V); the weight of times is that of the balance, the latest most.

    sample_log_sd: scatter of ln N of each sample; with `BETA_IN_SERVICE_LOG_SD` of E to first order. NaN where
    nothing is cleaned or no time has passed. All inputs broadcast; ValueError for a count below 0.

    >>> found = ingression_between(500.0, 2000.0, 100.0, volume_L=200.0, cleaned_lpm=50.0, sample_log_sd=0.0)
    >>> float(found.per_min), float(found.sd_per_min)
    (100000000.0, 20000000.0)
    """
    first, later = np.asarray(first_per_mL, dtype=np.float64), np.asarray(later_per_mL, dtype=np.float64)
    if np.any(first < 0.0) or np.any(later < 0.0):
        raise ValueError(f"particle counts {first} and {later} per mL are not all 0 or above")
    cleaned = np.asarray(cleaned_lpm, dtype=np.float64)
    left = left_share(run_h, volume_L=volume_L, cleaned_lpm=cleaned)
    gone = np.where(left < 1.0, 1.0 - left, np.nan)
    flow_mL = ML_PER_L * cleaned / gone
    per_min = flow_mL * (later - first * left)
    scatter = np.asarray(sample_log_sd) * np.hypot(later, first * left) * flow_mL
    return Ingression(np.asarray(per_min), np.hypot(scatter, BETA_IN_SERVICE_LOG_SD * per_min))


def gravimetric_mg_per_L(count_per_mL: npt.ArrayLike, size: int) -> Floats:
    """Mass of dirt by the count of one size, `size` 0 to 2 of the code's three; right within `MASS_LOG_SD`.

    >>> float(gravimetric_mg_per_L(450.0, 1))
    1.0
    """
    return np.asarray(np.asarray(count_per_mL, dtype=np.float64) / COUNT_AT_1_mg_per_L[size])


def collected_g(cleaned_lpm: npt.ArrayLike, mg_per_L: npt.ArrayLike, run_h: npt.ArrayLike) -> Floats:
    """What one filter has taken out in each stretch of run hours: 60 E G Δt/1000, E its own part.

    >>> float(collected_g(50.0, 2.0, 1000.0))
    6000.0
    """
    return np.asarray(
        MINUTES_PER_HOUR * np.asarray(cleaned_lpm) * np.asarray(mg_per_L) * np.asarray(run_h) / ML_PER_L
    )
