"""A bypass that opens on cold starts and is shut with warm oil: the oil's doing, not dirt.

Cold oil takes many times the ΔP of warm oil through the same element (Darcy), so that a sound one may open its
bypass, or trip its indicator, until the oil is warm. A cold reading at the bypass setting counts where the element's
own warm ΔP says that it should stand about there: else it is a slip, and no cold start. Nothing is made due by it.
"""

from collections.abc import Iterator
from typing import Any

import numpy as np

from scheduler.engineering.reading_gate import BYPASS_SHARE_OPEN, COUNTED_GATES, Gate
from scheduler.engineering.viscosity import density_at, temperature_at, viscosity_at
from scheduler.planning.condition import Condition
from scheduler.planning.diagnoses import Diagnosis
from scheduler.planning.indicator import WARM_VISCOSITY_RATIO, Meaning, Sighting
from scheduler.planning.plant_columns import Ints, PlantColumns
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
"""A bypass holds its ΔP about at its setting: one reading so far above it may be a slip, and does not tell (ours)."""

_WARM_READINGS = 3
_COUNTED = [int(gate) for gate in COUNTED_GATES]
_AT_BYPASS = [int(Gate.COLD_BYPASS), int(Gate.BYPASS_OPEN)]


def cold_bypasses(columns: PlantColumns, condition: Condition, sightings: dict[int, Sighting]) -> list[Diagnosis]:
    """Of every position in service that stood at its bypass setting, or tripped its indicator, with cold oil only."""
    owner = np.repeat(np.arange(len(columns.positions.code)), np.diff(columns.dp.offsets))
    cold = np.isin(condition.gate, _AT_BYPASS) & (condition.viscosity_ratio > WARM_VISCOSITY_RATIO)
    cold &= (columns.dp.day >= columns.as_of_day - SPOKEN_OF_D) & columns.in_service()[owner]
    tripped = {at for at, each in sightings.items() if each.meaning is Meaning.COLD and columns.in_service()[at]}
    found: list[Diagnosis] = []
    for position in sorted(set(owner[cold].tolist()) | tripped):
        rows = np.arange(columns.dp.offsets[position], columns.dp.offsets[position + 1])
        found += _of_position(columns, condition, position, rows, rows[cold[rows]], sightings.get(position))
    return found


def _of_position(
    columns: PlantColumns, condition: Condition, position: int, rows: Ints, cold: Ints, sighting: Sighting | None
) -> Iterator[Diagnosis]:
    seen = sighting is not None and sighting.last_day >= columns.as_of_day - SPOKEN_OF_D
    if sighting is not None and sighting.meaning is not Meaning.COLD:
        return  # what was tripped with warm oil, or may have been, is told as that
    warm = _warm_and_shut(columns, condition, rows)
    if not len(warm):
        return
    at_warm_bar = float(np.median(condition.element_dp_bar[warm[-_WARM_READINGS:]]))
    numbers = _shut_from(columns, condition, position, at_warm_bar)
    foretold = _foretold(columns, condition, position, cold, at_warm_bar)
    counts = cold[foretold >= EXPECTED_SHARE]
    held = condition.assembly_dp_bar[cold] <= HELD_RATIO * float(columns.positions.bypass_dp_bar[position])
    enough = len(counts) >= 2 or bool(np.any(held & (foretold >= ONE_IS_ENOUGH_SHARE)))
    if not (enough or seen):
        return
    counts = counts if enough else counts[:0]
    temperature = columns.dp.oil_temperature_degC[counts].tolist()
    trip = [sighting.oil_temperature_degC] if seen and sighting is not None else []
    days = [*columns.dp.day[counts].tolist(), *([sighting.last_day] if seen and sighting is not None else [])]
    yield Diagnosis(
        int(columns.positions.system[position]),
        position,
        "bypass-opens-when-cold-only" if enough else "indicator-trips-when-cold-only",
        Severity.NOTE,
        {
            "readings": len(counts),
            "indicator_trips": sighting.times if seen and sighting is not None else 0,
            "coldest_degC": min([*temperature, *trip]),
            "warmest_degC": max([*temperature, *trip]),
            "warm_dp_bar": round(float(condition.assembly_dp_bar[warm[-1]]), 3),
            "warm_degC": _known(float(columns.dp.oil_temperature_degC[warm[-1]])),
            "warm_day": float(columns.dp.day[warm[-1]]),
            "wanted_shut": bool(columns.positions.shut_at_start[position]),
            "at_day": max(days),
            **numbers,
        },
        since_day=max(days),
    )


def _warm_and_shut(columns: PlantColumns, condition: Condition, rows: Ints) -> Ints:
    """Readings with warm oil of the last months, none where the newest of them stands at the bypass setting."""
    told = ~np.isnan(columns.dp.oil_temperature_degC[rows])
    warm = rows[told & (condition.viscosity_ratio[rows] <= WARM_VISCOSITY_RATIO)]
    warm = warm[np.isin(condition.gate[warm], [*_COUNTED, int(Gate.BYPASS_OPEN)])]
    if not len(warm) or condition.gate[warm[-1]] == Gate.BYPASS_OPEN:
        return warm[:0]
    shut = warm[np.isin(condition.gate[warm], _COUNTED)]
    return shut[columns.dp.day[shut] >= columns.as_of_day - WARM_FOR_D]


def _foretold(
    columns: PlantColumns, condition: Condition, position: int, cold: Ints, at_warm_bar: float
) -> np.ndarray[Any, np.dtype[np.float64]]:
    """The element's ΔP at each of the cold readings as its warm ΔP foretells it, over the bypass setting."""
    warm, dp = condition.warm, columns.dp
    colder = density_at(dp.oil_temperature_degC[cold], warm.density_15_kg_m3[position])
    through = dp.flow_lpm[cold] / warm.flow_lpm[position]
    through = np.where(np.isnan(through), 1.0, through)
    density_ratio = colder / warm.density_kg_m3[position]
    expected = at_warm_bar * condition.viscosity_ratio[cold] * density_ratio * through
    return np.asarray(expected / columns.positions.bypass_dp_bar[position])


def _shut_from(columns: PlantColumns, condition: Condition, position: int, at_warm_bar: float) -> dict[str, Any]:
    """From which oil temperature on this element should keep the bypass shut; None where that cannot be told."""
    bypass = float(columns.positions.bypass_dp_bar[position])
    warm = condition.warm
    viscosity = float(warm.viscosity_mm2_s[position])
    told = at_warm_bar > 0.0 and not np.isnan(bypass)
    if not told:
        return {"bypass_dp_bar": _known(bypass), "shut_from_degC": None}
    a, b = warm.walther_a[position], warm.walther_b[position]
    ratio = max(BYPASS_SHARE_OPEN * bypass / at_warm_bar, 1.0)
    coldest = float(viscosity_at(-30.0, a, b))
    return {
        "bypass_dp_bar": bypass,
        "shut_from_degC": round(float(temperature_at(min(ratio * viscosity, coldest), a, b)), 0),
    }


def _known(value: float) -> float | None:
    return None if np.isnan(value) else value
