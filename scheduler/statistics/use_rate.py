"""Use rate: run hours per planned hour from a meter's own past, and the run hours at any day from it.

The rate is a ratio estimate that forgets with a half-life of 90 days and starts from a prior:
ρ = (Σ w y + K m)/(Σ w c + K), y run and c planned hours between readings. Run hours over c planned hours
ahead are taken as normal with mean ρc and variance c s² + c² var ρ, where s² = Σ w (y − ρc)²/Σ w c drawn
towards a belief, and var ρ is what the ratio does not know, s²/(Σ w c + K), and how far use wanders. Derived
here; the half-life is ours (a season).
"""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from scheduler.statistics.planned_hours import FloatArray, PlannedHours, UsePrior
from scheduler.statistics.run_hours import MeterHours

HALF_LIFE_D = 90.0

SPREAD_STEP_D = 7.0
"""The spread is judged over steps of at least a week: planned hours are spread evenly over the week, so
within it run hours differ from them by the shift pattern and by who looked when."""

WANDER_STEP_D = 28.0
WANDER_SHARE = 0.1
WANDER_WEIGHT = 3.0
"""Use wanders with orders and seasons: the rate ahead is not the rate that was. How far is judged by the
rates of four-week steps around the present one, starting from a tenth of the rate, believed like three such
steps (ours: without it the 80 % interval held 62 % of simulated dates). Their sampling noise is left in,
which errs to the wide side."""


@dataclass(frozen=True, slots=True)
class UseRate:
    """Run hours per planned hour, the variance of that belief, and the variance [h²] per planned hour."""

    per_planned_hour: float
    variance: float
    variance_per_planned_hour: float


def use_rate(meter: MeterHours, planned: PlannedHours, as_of_day: float, *, prior: UsePrior | None = None) -> UseRate:
    """The use rate as known from readings up to `as_of_day`; the prior alone where there are fewer than two.

    `prior` None takes the one that goes with `planned`: four fifths of told shift hours, or 40 of 168 h where
    the hours a week are not told. Steps in which nothing was planned, and those filled in over a change of
    meter, say nothing of the rate. Raises ValueError for an `as_of_day` that is not finite.
    """
    if not np.isfinite(as_of_day):
        raise ValueError(f"as-of day {as_of_day} is not finite")
    belief = planned.prior if prior is None else prior
    seen = int(np.searchsorted(meter.day, as_of_day, side="right"))
    day = meter.day[:seen]
    weight, c, y = _steps_between(meter, planned, np.arange(seen), as_of_day)
    evidence_h = float(weight @ c) + belief.weight_planned_h
    rate = (float(weight @ y) + belief.weight_planned_h * belief.mean) / evidence_h
    weight, c, y = _steps_between(meter, planned, _apart(day, SPREAD_STEP_D), as_of_day)
    spread = _shrunk(
        float(weight @ (y - rate * c) ** 2),
        float(weight @ c),
        float(weight.sum()),
        belief.variance_per_planned_hour,
        belief.spread_weight,
    )
    _, c, y = _steps_between(meter, planned, _apart(day, WANDER_STEP_D), as_of_day)
    wander = _shrunk(
        float(np.sum((y - rate * c) ** 2)), float(c @ c), len(c), (WANDER_SHARE * rate) ** 2, WANDER_WEIGHT
    )
    return UseRate(rate, spread / evidence_h + wander, spread)


def hours_at(meter: MeterHours, planned: PlannedHours, rate: UseRate, day: npt.ArrayLike) -> FloatArray:
    """Cumulative run hours at each `day`, never falling with it.

    Between readings in proportion to planned hours, so that a standstill adds none (in proportion to time
    where hours rose though none were planned); before the first and after the last at the use rate, so that
    hours before the first can be negative. Without any reading they count from the start of `planned`: then
    only their differences mean anything.
    """
    wanted = np.asarray(day, dtype=np.float64)
    if len(meter.day) == 0:
        return np.asarray(rate.per_planned_hour * planned.at(wanted), dtype=np.float64)
    outside_h, share, gap = _place(meter, planned, wanted)
    rise_h = np.diff(meter.cumulative_h, append=meter.cumulative_h[-1])
    inside_h = meter.cumulative_h[gap] + share * rise_h[gap]
    return np.asarray(inside_h + rate.per_planned_hour * outside_h, dtype=np.float64)


def hours_variance_at(meter: MeterHours, planned: PlannedHours, rate: UseRate, day: npt.ArrayLike) -> FloatArray:
    """Variance [h²] of the run hours between each `day` and the newest reading.

    Ahead of the newest reading it grows with planned hours; between two readings it is that of a bridge
    (nothing at either end); every gap that was filled in, not read, adds its whole variance to the days
    before it. Where hours rose though none were planned they are taken as run in one block, at any time.
    """
    wanted = np.asarray(day, dtype=np.float64)
    if len(meter.day) == 0:
        return _ahead_variance(np.abs(planned.at(wanted)), rate)
    outside_h, share, gap = _place(meter, planned, wanted)
    c = np.diff(planned.at(meter.day), append=planned.at(meter.day[-1]))
    rise_h = np.diff(meter.cumulative_h, append=meter.cumulative_h[-1])
    unread = np.append(meter.inferred[1:], False)
    block = rise_h**2 * (c <= 0.0)
    bridge = share * (1.0 - share) * (rate.variance_per_planned_hour * c + block)[gap]
    to_next = np.where(unread[gap], _ahead_variance((1.0 - share) * c[gap], rate), bridge)
    whole = np.where(unread, _ahead_variance(c, rate), 0.0)
    later = np.append(np.cumsum(whole[::-1])[::-1], 0.0)[gap + 1]
    inside = np.where(
        wanted >= meter.day[-1], 0.0, np.where(wanted < meter.day[0], later + whole[0], to_next + later)
    )
    return np.asarray(inside + _ahead_variance(np.abs(outside_h), rate), dtype=np.float64)


def _steps_between(
    meter: MeterHours, planned: PlannedHours, knots: npt.NDArray[np.int64], as_of_day: float
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Weight, planned and run hours of the steps between `knots` that were planned and read throughout."""
    c, y = np.diff(planned.at(meter.day[knots])), np.diff(meter.cumulative_h[knots])
    weight = _mean_weight(as_of_day - meter.day[knots[1:]], np.diff(meter.day[knots]))
    use = (c > 0.0) & (np.diff(np.cumsum(meter.inferred)[knots]) == 0)
    return weight[use], c[use], y[use]


def _shrunk(squares: float, per: float, weight: float, believed: float, believed_weight: float) -> float:
    """squares / per, drawn towards what is believed. A ratio of sums, not a mean of ratios: a step with next
    to no planned hours would otherwise outweigh all others."""
    seen = squares / per if per > 0.0 else 0.0
    return (weight * seen + believed_weight * believed) / (weight + believed_weight)


def _mean_weight(age_d: FloatArray, length_d: FloatArray) -> FloatArray:
    """What is left of a step's weight, the mean over its length: a step of a year is not as fresh as its end."""
    halvings = length_d / HALF_LIFE_D * np.log(2.0)
    return np.asarray(0.5 ** (age_d / HALF_LIFE_D) * -np.expm1(-halvings) / halvings, dtype=np.float64)


def _apart(day: FloatArray, least_d: float) -> npt.NDArray[np.int64]:
    """Knots at least `least_d` apart, the newest among them."""
    knots = []
    at = len(day) - 1
    while at >= 0:
        knots.append(at)
        at = int(np.searchsorted(day, day[at] - least_d, side="right")) - 1
    return np.array(knots[::-1], dtype=np.int64)


def _place(
    meter: MeterHours, planned: PlannedHours, wanted: FloatArray
) -> tuple[FloatArray, FloatArray, npt.NDArray[np.int64]]:
    """Where days lie among the readings: planned hours outside them (before: negative), share of the gap
    passed, and the gap's index."""
    inside = np.clip(wanted, meter.day[0], meter.day[-1])
    gap = np.searchsorted(meter.day, inside, side="right") - 1
    following = np.minimum(gap + 1, len(meter.day) - 1)
    knot_h = planned.at(meter.day)
    c, span_d = knot_h[following] - knot_h[gap], meter.day[following] - meter.day[gap]
    by_plan = c > 0.0
    passed = np.where(by_plan, planned.at(inside) - knot_h[gap], inside - meter.day[gap])
    whole = np.where(by_plan, c, span_d)
    share = np.divide(passed, whole, out=np.zeros_like(passed), where=whole > 0.0)
    return planned.at(wanted) - planned.at(inside), np.clip(share, 0.0, 1.0), gap


def _ahead_variance(planned_h: FloatArray, rate: UseRate) -> FloatArray:
    return planned_h * rate.variance_per_planned_hour + planned_h**2 * rate.variance
