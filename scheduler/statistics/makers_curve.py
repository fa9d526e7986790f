"""A type's loading curve as its maker measured it: one more shape beside the analytic ones.

A multipass test feeds test dust at a steady rate and tells the element's ΔP against the dust that it retained. Only
the ratio to the test's own clean ΔP counts: flow, oil and the number of elements in parallel change both alike
(Darcy flow in the media). Between the points ln ratio is a monotone cubic of the dust; beyond the last one it goes on
as steeply as it ended, and never less steeply than the whole curve rose on average, since an end that looks flat
still has its end ahead. The dust is scaled so that the load is 1 where the ratio is 10, as for the analytic shapes.

Sources: ISO 16889:2022, clauses 3 and 13 (element ΔP against retained mass; from memory); Fritsch & Butland 1984,
SIAM J. Sci. Stat. Comput. 5:300 (the cubic, by SciPy's PCHIP). What is refused, and how far a maker is believed, is
ours.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from enum import Enum

import numpy as np
import numpy.typing as npt

from scheduler.engineering.loading_curve import DP_RATIO_AT_UNIT_LOAD
from scheduler.statistics.load_grid import HIGHEST_RISE, LOAD, ShapeTable

Floats = npt.NDArray[np.float64]
Indices = npt.NDArray[np.int64]

FEWEST_RISING_POINTS = 3
LEAST_END_RATIO = 2.0
"""A curve that ends below twice the clean ΔP ends before its knee: its shape would be of our making."""
FALLS_AT_MOST = 0.03
"""Of the ΔP, between two points: a test's own scatter. More is another test's point, or a mistake."""
NEAREST_SHARE = 1e-3
"""Of the last point's dust, between two points: nearer ones tell a slope of their scatter only."""
MAKER_SHARE = 0.4
"""Of a type's weight before any of its lives (ours): a curve of test dust at a steady flow is believed a little less
than all analytic shapes together, and finished lives soon decide."""


class CurveFault(Enum):
    """Why a maker's points tell no curve."""

    NO_CLEAN = "has no point at 0 g, and its sheet no clean ΔP below the first point"
    FEW_POINTS = f"has fewer than {FEWEST_RISING_POINTS} points that rise above the clean ΔP"
    CROWDED = f"has points nearer than {100 * NEAREST_SHARE:g} % of the dust at its last one"
    FALLS = f"falls by more than {100 * FALLS_AT_MOST:g} % from one point to the next"
    ENDS_EARLY = f"ends below {LEAST_END_RATIO:g} times its clean ΔP, before any knee"


@dataclass(frozen=True, slots=True)
class MakersCurve:
    """rise (len(LOAD),): the row for the shape table. told_rise: ln(ΔP / clean ΔP) up to which it was measured."""

    rise: Floats
    told_rise: float


def makers_curve(retained_g: Floats, dp_bar: Floats, clean_dp_bar: float = float("nan")) -> MakersCurve | CurveFault:
    """The curve through a maker's points (n,) in any order, or why there is none.

    clean_dp_bar: the sheet's, which stands in where no point is at 0 g; NaN where unknown. Raises ValueError for
    points that cannot be measured.

    >>> straight = makers_curve(np.array([0.0, 10.0, 20.0, 30.0]), 0.2 * 10.0 ** np.array([0.0, 1 / 3, 2 / 3, 1.0]))
    >>> np.interp(0.5, LOAD, straight.rise).round(3)  # a straight line in ln ΔP: half-way is the root of ten
    np.float64(1.151)
    >>> makers_curve(np.array([0.0, 10.0, 20.0]), np.array([0.2, 0.3, 0.5]))
    <CurveFault.FEW_POINTS: 'has fewer than 3 points that rise above the clean ΔP'>
    """
    if len(retained_g) != len(dp_bar) or not (np.all(retained_g >= 0.0) and np.all(np.isfinite(retained_g))):
        raise ValueError(f"retained dust {retained_g} is not a mass for each of {len(dp_bar)} points")
    if not (np.all(dp_bar > 0.0) and np.all(np.isfinite(dp_bar))):
        raise ValueError(f"ΔP {dp_bar} of a curve is not above 0")
    order = np.argsort(retained_g, kind="stable")
    mass_g, level_bar = retained_g[order], dp_bar[order]
    if len(mass_g) and mass_g[0] > 0.0:
        if not 0.0 < clean_dp_bar < level_bar[0]:
            return CurveFault.NO_CLEAN
        mass_g, level_bar = np.append(0.0, mass_g), np.append(clean_dp_bar, level_bar)
    if len(np.unique(mass_g)) < len(mass_g):
        raise ValueError(f"two points of a curve are at {mass_g[:-1][np.diff(mass_g) == 0.0][0]} g")
    if len(mass_g) > 1 and np.min(np.diff(mass_g / mass_g[-1])) < NEAREST_SHARE:
        return CurveFault.CROWDED
    if np.any(level_bar[1:] < (1.0 - FALLS_AT_MOST) * np.maximum.accumulate(level_bar)[:-1]):
        return CurveFault.FALLS
    up = np.log(np.maximum.accumulate(level_bar)) - np.log(level_bar[:1])
    if np.count_nonzero(np.diff(up) > 0.0) < FEWEST_RISING_POINTS:
        return CurveFault.FEW_POINTS
    if up[-1] < np.log(LEAST_END_RATIO):
        return CurveFault.ENDS_EARLY
    return MakersCurve(_row(mass_g / mass_g[-1], up), float(up[-1]))


def _row(held: Floats, up: Floats) -> Floats:
    """ln(ΔP / clean ΔP) over LOAD, 1 where the ratio is 10; `held`: dust at the points as shares of the last's."""
    from scipy.interpolate import PchipInterpolator  # noqa: PLC0415 - half a second that most commands need not pay

    inside = PchipInterpolator(held, up)
    end, steep = up[-1], max(float(inside.derivative()(1.0)), up[-1])
    goal = np.log(DP_RATIO_AT_UNIT_LOAD)
    if end < goal:
        unit = 1.0 + (goal - end) / steep
    else:
        fine = np.linspace(0.0, 1.0, 2001)
        unit = float(np.interp(goal, np.maximum.accumulate(inside(fine)), fine))
    at = LOAD * unit
    row = np.where(at > 1.0, end + steep * (at - 1.0), inside(np.minimum(at, 1.0)))
    row[0] = 0.0
    return np.asarray(np.minimum(np.maximum.accumulate(row), HIGHEST_RISE))


def makers_code(part_number: str) -> str:
    """The curve's name in the shape table; those of learned curves end in a number, so that none is another's."""
    return f"{part_number} {_MADE}"


def is_makers(code: str) -> bool:
    return code.endswith(f" {_MADE}")


_MADE = "maker"


def with_makers_curves(shapes: ShapeTable, names: Sequence[str], curves: Mapping[int, MakersCurve]) -> ShapeTable:
    """The table with the curves behind its shapes; names: part numbers of the types that `curves` counts."""
    if not curves:
        return shapes
    codes = tuple(makers_code(names[kind]) for kind in curves)
    return shapes.and_also(np.array([curve.rise for curve in curves.values()]), codes)


def with_makers_weights(
    weights: Floats, types: Indices, rise_to_end: Floats, curves: Mapping[int, MakersCurve]
) -> Floats:
    """Weights (P, J + C) from those of the shapes before the curves, (P, J).

    rise_to_end (P,): ln(terminal / clean ΔP). A curve that was measured over a part of it only is believed so much
    the less, since the rest is a guess. What every shape has at least stays with it, so that an element which goes
    another way than its maker's is still recognised.
    """
    if not curves:
        return weights
    made = np.zeros((len(types), len(curves)))
    for column, (kind, curve) in enumerate(curves.items()):
        rows = types == kind
        made[rows, column] = MAKER_SHARE * curve.told_rise / np.maximum(rise_to_end[rows], curve.told_rise)
    asked = made.sum(axis=1, keepdims=True)
    above = weights - weights.min(axis=1, keepdims=True)
    # without a terminal all shapes are alike, and each gives its part
    giving = np.where(above.sum(axis=1, keepdims=True) > asked, above, weights)
    return np.hstack([weights - asked * giving / giving.sum(axis=1, keepdims=True), made])
