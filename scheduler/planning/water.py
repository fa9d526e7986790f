"""Water in the oil as a share of what the fluid dissolves, and what its samples say: high, rising, or nothing.

A sample's own saturation stands first. Else its ppm is held against what the fluid dissolves at 20 °C: a machine at
rest cools, and water that no longer dissolves is free. That limit is the fluid's own where its plant tells it, for
mineral oil else the middle of the published 200 to 300 ppm; other fluids hold far more and are not guessed at.
Water-based fluids hold water by design and are left out.

The level and its trend a year are the line of `count_levels` through the logarithms.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from enum import StrEnum
from typing import Any

import numpy as np
from scipy.special import ndtr

from scheduler.engineering.oil import MINERAL_FAMILIES
from scheduler.planning.diagnoses import Diagnosis
from scheduler.planning.plant_columns import PlantColumns
from scheduler.statistics.count_levels import count_trend
from scheduler.vocabulary import EventKind, FluidFamily, Severity, TaskKind

MINERAL_SATURATION_20_ppm = 250.0
"""Mineral hydraulic oil dissolves about 200 to 300 ppm at 20 °C (published handbooks)."""

HIGH_PCT = 50.0
"""Keep at or under 50 % of saturation (published handbooks)."""

FREE_PCT = 100.0
HIGH_PROBABILITY, HIGH_SAMPLES = 0.9, 2
SCATTER_LOG_SD = 0.2
"""Of one measurement of water about its level (ours)."""

RISING_LOG_A_YEAR = float(np.log(1.1))
RISING_PROBABILITY, RISING_SAMPLES, RISING_FROM_PCT = 0.94, 5, 20.0
"""A tenth a year or more with this probability, by so many samples, and from where it begins to matter (ours)."""

LOOKS_BACK_D = 2.0 * 365.25
LAST_WITHIN_D = 180.0
"""Water of half a year ago says nothing of today (ours)."""

_WATER_BASED = frozenset({FluidFamily.HFAE, FluidFamily.HFAS, FluidFamily.HFB, FluidFamily.HFC})
_DRIES = frozenset({EventKind.OIL_CHANGE, EventKind.COMMISSIONED})
_LEAST_PCT = 1.0


class LimitFrom(StrEnum):
    SAMPLE = "sample"
    FLUID = "fluid"
    TYPICAL = "typical"


@dataclass(frozen=True, slots=True)
class WaterLevel:
    """Of one system at its last sample: percent of saturation, the rise a year, and how sure both are."""

    day: float
    level_pct: float
    level_log_sd: float
    samples: int
    high_probability: float
    log_rise_per_year: float | None
    rising_probability: float | None
    limit_from: LimitFrom
    last_pct: float


def water_levels(columns: PlantColumns) -> dict[int, WaterLevel]:
    """By system, those with samples of water whose saturation is known."""
    told = _told(columns)
    if not told:
        return {}
    longest = max(len(days) for days, _, _ in told.values())
    day, pct = np.full((len(told), longest), np.nan), np.full((len(told), longest), np.nan)
    for row, (days, values, _) in enumerate(told.values()):
        day[row, : len(days)], pct[row, : len(days)] = days, values
    last = np.nanmax(day, axis=1)
    line = count_trend(day - last[:, None], pct, pct, 0.0, SCATTER_LOG_SD)
    rising = line.rise_probability(RISING_LOG_A_YEAR)
    above = (line.level - np.log(HIGH_PCT)) / line.level_sd
    return {
        system: WaterLevel(
            *(float(last[row]), float(np.exp(line.level[row])), float(line.level_sd[row]), len(values)),
            high_probability=float(ndtr(above[row])),
            log_rise_per_year=_known(line.change[row]),
            rising_probability=_known(rising[row]),
            limit_from=source,
            last_pct=values[-1],
        )
        for row, (system, (_, values, source)) in enumerate(told.items())
    }


def water_diagnoses(columns: PlantColumns, levels: dict[int, WaterLevel]) -> list[Diagnosis]:
    """Of every system in service or on standby what its samples of water say now."""
    ready = columns.systems_ready()
    return [each for system, level in levels.items() if ready[system] for each in _of(columns, system, level)]


def _of(columns: PlantColumns, system: int, level: WaterLevel) -> Iterator[Diagnosis]:
    if columns.as_of_day - level.day > LAST_WITHIN_D:
        return
    numbers: dict[str, Any] = {
        "level_pct": round(level.level_pct, 1),
        "last_pct": round(level.last_pct, 1),
        "samples": level.samples,
        "limit_from": level.limit_from.value,
        "at_day": level.day,
    }
    high = level.high_probability >= HIGH_PROBABILITY and level.samples >= HIGH_SAMPLES and level.last_pct > HIGH_PCT
    if high or level.last_pct >= FREE_PCT:
        facts = numbers | {"probability": round(level.high_probability, 3), "free": level.last_pct >= FREE_PCT}
        severity = Severity.NOW if high and level.level_pct >= FREE_PCT else Severity.SOON
        yield Diagnosis(system, -1, "water-high", severity, facts, TaskKind.INSPECT, since_day=level.day)
    elif (
        level.samples >= RISING_SAMPLES
        and level.level_pct >= RISING_FROM_PCT
        and level.log_rise_per_year is not None
        and (level.rising_probability or 0.0) >= RISING_PROBABILITY
    ):
        facts = numbers | {
            "times_a_year": round(float(np.exp(level.log_rise_per_year)), 1),
            "probability": round(level.rising_probability or 0.0, 3),
        }
        yield Diagnosis(system, -1, "water-rising", Severity.SOON, facts, TaskKind.INSPECT, since_day=level.day)


def _told(columns: PlantColumns) -> dict[int, tuple[list[float], list[float], LimitFrom]]:
    """By system the days and percents of its samples since the oil was last changed, and what they are held
    against.
    """
    samples, rows = columns.oil_samples, columns.events
    since_day = np.full(len(columns.systems.code), columns.as_of_day - LOOKS_BACK_D)
    for row, kind in enumerate(rows.kind):
        if kind in _DRIES:
            since_day[rows.system[row]] = max(since_day[rows.system[row]], rows.day[row])
    found: dict[int, tuple[list[float], list[float], LimitFrom]] = {}
    for row in np.argsort(samples.day, kind="stable").tolist():
        system = int(samples.system[row])
        if samples.day[row] < since_day[system] or columns.systems.fluid[system].family in _WATER_BASED:
            continue
        read = _percent(columns, system, row)
        if read is None:
            continue
        days, values, source = found.get(system, ([], [], read[1]))
        days.append(float(samples.day[row]))
        values.append(max(read[0], _LEAST_PCT))
        found[system] = (days, values, source if source is read[1] else LimitFrom.TYPICAL)
    return found


def _percent(columns: PlantColumns, system: int, row: int) -> tuple[float, LimitFrom] | None:
    stated, water_ppm = (
        float(columns.oil_samples.water_saturation_pct[row]),
        float(columns.oil_samples.water_ppm[row]),
    )
    if not np.isnan(stated):
        return stated, LimitFrom.SAMPLE
    limit_ppm, source = float(columns.systems.water_saturation_20_ppm[system]), LimitFrom.FLUID
    if np.isnan(limit_ppm) and columns.systems.fluid[system].family in MINERAL_FAMILIES:
        limit_ppm, source = MINERAL_SATURATION_20_ppm, LimitFrom.TYPICAL
    return None if np.isnan(limit_ppm + water_ppm) else (100.0 * water_ppm / limit_ppm, source)


def _known(value: float) -> float | None:
    return None if np.isnan(value) else float(value)
