"""A bypass that opens on cold starts and is shut with warm oil: the oil's doing, not dirt.

Cold oil takes many times the ΔP of warm oil through the same element (Darcy), so that a sound one may open its
bypass, or trip its indicator, until the oil is warm. A cold reading at the bypass setting counts where the element's
own warm ΔP says that it should stand about there: else it is a slip, and no cold start. Nothing is made due by it.
"""

from dataclasses import dataclass

import numpy as np

from scheduler.engineering.reading_gate import BYPASS_SHARE_OPEN, COUNTED_GATES, Gate
from scheduler.engineering.viscosity import temperature_at, viscosity_at
from scheduler.planning.condition import Condition
from scheduler.planning.diagnoses import Diagnosis
from scheduler.planning.indicator import WARM_VISCOSITY_RATIO, Meaning, Sighting
from scheduler.planning.plant_columns import Flags, Floats, Ints, PlantColumns
from scheduler.vocabulary import Severity

SPOKEN_OF_D = 60.0
"""How long a cold start is spoken of (ours)."""

WARM_FOR_D = 90.0
"""So long before now somebody must have seen the bypass shut with warm oil (ours)."""

EXPECTED_SHARE = 0.6
"""Of the bypass setting: a cold reading counts where the warm ΔP foretells at least so much of it (ours, by
tests/measure/system_faults.py)."""

ONE_IS_ENOUGH_SHARE = 0.8
"""Foretold so surely one reading is enough, else two are needed (ours, as above)."""

HELD_RATIO = 1.3
"""A bypass holds its ΔP at its setting or somewhat above: one reading below it, or so far above that it may be a
slip, does not tell (ours, as above)."""

_WARM_READINGS = 3
_COUNTED = [int(gate) for gate in COUNTED_GATES]
_AT_BYPASS = [int(Gate.COLD_BYPASS), int(Gate.BYPASS_OPEN)]
_COLDEST_degC = -30.0


@dataclass(frozen=True, slots=True)
class _Cold:
    """A position that stood at its bypass setting, or tripped its indicator, with cold oil: rows of the readings that
    count, the newest with warm oil, and the element's ΔP in those."""

    position: int
    counts: list[int]
    trip: Sighting | None
    warm: int
    at_warm_bar: float


def cold_bypasses(columns: PlantColumns, condition: Condition, sightings: dict[int, Sighting]) -> list[Diagnosis]:
    """Of every position in service that stood at its bypass setting, or tripped its indicator, with cold oil only."""
    dp, in_service = columns.dp, columns.in_service()
    owner = np.repeat(np.arange(len(columns.positions.code)), np.diff(dp.offsets))
    thicker = condition.viscosity_ratio
    cold = np.isin(condition.gate, _AT_BYPASS) & (thicker > WARM_VISCOSITY_RATIO)
    cold &= (dp.day >= columns.as_of_day - SPOKEN_OF_D) & in_service[owner]
    tripped = {at for at, each in sightings.items() if each.meaning is Meaning.COLD and in_service[at]}
    candidates = sorted(set(owner[cold].tolist()) | tripped)
    if not candidates:
        return []
    warm = ~np.isnan(dp.oil_temperature_degC) & (thicker <= WARM_VISCOSITY_RATIO)
    warm &= np.isin(condition.gate, [*_COUNTED, int(Gate.BYPASS_OPEN)])
    found = [
        each
        for position in candidates
        if (each := _of_position(columns, condition, position, cold, warm, sightings.get(position))) is not None
    ]
    shut_from = _shut_from_degC(columns, condition, found)
    return [_told(columns, condition, each, degC) for each, degC in zip(found, shut_from.tolist(), strict=True)]


def _of_position(
    columns: PlantColumns, condition: Condition, position: int, cold: Flags, warm: Flags, sighting: Sighting | None
) -> _Cold | None:
    if sighting is not None and sighting.meaning is not Meaning.COLD:
        return None  # what was tripped with warm oil, or may have been, is told as that
    first, end = int(columns.dp.offsets[position]), int(columns.dp.offsets[position + 1])
    shut = _warm_and_shut(columns, condition, first + np.flatnonzero(warm[first:end]))
    if not len(shut):
        return None
    at_warm_bar = float(np.median(condition.element_dp_bar[shut[-_WARM_READINGS:]]))
    rows = first + np.flatnonzero(cold[first:end])
    foretold = _foretold(columns, condition, position, rows, at_warm_bar)
    counts = rows[foretold >= EXPECTED_SHARE].tolist()
    share = condition.assembly_dp_bar[rows] / columns.positions.bypass_dp_bar[position]
    held = (share >= 1.0) & (share <= HELD_RATIO)
    enough = len(counts) >= 2 or bool((held & (foretold >= ONE_IS_ENOUGH_SHARE)).any())
    lately = sighting is not None and sighting.last_day >= columns.as_of_day - SPOKEN_OF_D
    if not (enough or lately):
        return None
    return _Cold(position, counts if enough else [], sighting if lately else None, int(shut[-1]), at_warm_bar)


def _told(columns: PlantColumns, condition: Condition, found: _Cold, shut_from_degC: float) -> Diagnosis:
    position, trip, dp = found.position, found.trip, columns.dp
    degC, days = dp.oil_temperature_degC[found.counts].tolist(), dp.day[found.counts].tolist()
    if trip is not None:
        degC, days = [*degC, trip.oil_temperature_degC], [*days, trip.last_day]
    return Diagnosis(
        int(columns.positions.system[position]),
        position,
        "bypass-opens-when-cold-only" if found.counts else "indicator-trips-when-cold-only",
        Severity.NOTE,
        {
            "readings": len(found.counts),
            "indicator_trips": 0 if trip is None else trip.times,
            "coldest_degC": min(degC),
            "warmest_degC": max(degC),
            "warm_dp_bar": round(float(condition.assembly_dp_bar[found.warm]), 3),
            "warm_degC": float(dp.oil_temperature_degC[found.warm]),
            "warm_day": float(dp.day[found.warm]),
            "wanted_shut": bool(columns.positions.shut_at_start[position]),
            "at_day": max(days),
            "bypass_dp_bar": _known(float(columns.positions.bypass_dp_bar[position])),
            "shut_from_degC": _known(shut_from_degC),
        },
        since_day=max(days),
    )


def _warm_and_shut(columns: PlantColumns, condition: Condition, warm: Ints) -> Ints:
    """Readings with warm oil of the last months, none where the newest of them stands at the bypass setting."""
    if not len(warm) or condition.gate[warm[-1]] == Gate.BYPASS_OPEN:
        return warm[:0]
    shut = condition.gate[warm] != Gate.BYPASS_OPEN
    return np.asarray(warm[shut & (columns.dp.day[warm] >= columns.as_of_day - WARM_FOR_D)])


def _foretold(columns: PlantColumns, condition: Condition, position: int, cold: Ints, at_warm_bar: float) -> Floats:
    """The element's ΔP at each of the cold readings as its warm ΔP foretells it, over the bypass setting."""
    through = columns.dp.flow_lpm[cold] / condition.warm.flow_lpm[position]
    expected = at_warm_bar * condition.viscosity_ratio[cold] * np.where(np.isnan(through), 1.0, through)
    return np.asarray(expected / columns.positions.bypass_dp_bar[position])


def _shut_from_degC(columns: PlantColumns, condition: Condition, found: list[_Cold]) -> Floats:
    """From which oil temperature on each element should keep the bypass shut; NaN where that cannot be told."""
    at, warm = [each.position for each in found], condition.warm
    a, b = warm.walther_a[at], warm.walther_b[at]
    at_warm_bar = np.array([each.at_warm_bar for each in found])
    told = (at_warm_bar > 0.0) & ~np.isnan(columns.positions.bypass_dp_bar[at])
    opens_bar = BYPASS_SHARE_OPEN * columns.positions.bypass_dp_bar[at]
    ratio = np.maximum(opens_bar / np.where(told, at_warm_bar, 1.0), 1.0)
    thickest = viscosity_at(np.full(len(at), _COLDEST_degC), a, b)
    shut_from = temperature_at(np.minimum(ratio * warm.viscosity_mm2_s[at], thickest), a, b)
    return np.where(told, np.round(shut_from), np.nan)


def _known(value: float) -> float | None:
    return None if np.isnan(value) else value
