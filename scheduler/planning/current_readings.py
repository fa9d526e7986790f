"""Some of the readings of what is fitted now, position by position, for rules that look at many positions at once."""

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np

from scheduler.engineering.pressure_drop import (
    ASSUMED_FLOW_SD,
    ASSUMED_TEMPERATURE_SD_K,
    FLOW_SD,
    GAUGE_SD,
    RESTATING_SD,
    TEMPERATURE_SD_K,
    UNSPLIT_SLOPE_SD,
)
from scheduler.engineering.reading_gate import Gate
from scheduler.planning.condition import Condition
from scheduler.planning.plant_columns import Flags, Floats, Ints, PlantColumns

LN_VISCOSITY_PER_K = 0.045
"""About 40 to 50 °C the usual hydraulic oils thin by 4 to 5 % a kelvin (ASTM D341 for ISO VG 32 to 68)."""

FROZEN_RATIO = 1e4
"""Oil so many times as viscous as warm does not flow; the law makes it infinite, and with that nobody can reckon."""


@dataclass(frozen=True, slots=True)
class CurrentReadings:
    """Rows (n,) of the plant's readings, by position and day; position i owns offsets[i] to offsets[i + 1]."""

    row: Ints
    offsets: Ints

    @property
    def owner(self) -> Ints:
        return np.repeat(np.arange(len(self.offsets) - 1), np.diff(self.offsets))

    def only(self, kept: Flags) -> "CurrentReadings":
        """Those of the rows (n,) that are kept."""
        count = np.bincount(self.owner[kept], minlength=len(self.offsets) - 1)
        return CurrentReadings(self.row[kept], np.concatenate([[0], np.cumsum(count)]).astype(np.intp))

    def newest(self, most: int) -> "CurrentReadings":
        """The newest of each position, up to `most`."""
        place_from_end = self.offsets[1:][self.owner] - np.arange(len(self.row))
        return self.only(place_from_end <= most)

    def from_end(self, columns: int) -> Ints:
        """(P, columns) rows, the newest first; −1 where there are no more."""
        return self._table(self.offsets[1:, None] - 1 - np.arange(columns))

    def from_start(self, columns: int) -> Ints:
        """(P, columns) rows, the oldest first; −1 where there are no more."""
        return self._table(self.offsets[:-1, None] + np.arange(columns))

    def _table(self, at: Ints) -> Ints:
        inside = (at >= self.offsets[:-1, None]) & (at < self.offsets[1:, None])
        if not len(self.row):
            return np.full(at.shape, -1)
        return np.where(inside, self.row[np.clip(at, 0, len(self.row) - 1)], -1)


def current_readings(columns: PlantColumns, condition: Condition, gates: Iterable[Gate]) -> CurrentReadings:
    """The readings that were gated so, of positions in service in which something is known to be fitted."""
    wanted = columns.in_service() & (columns.fitted.type >= 0)
    every = CurrentReadings(np.arange(len(condition.gate)), columns.dp.offsets)
    return every.only(np.isin(condition.gate, [int(gate) for gate in gates]) & wanted[every.owner])


def taken(values: Floats, rows: Ints) -> Floats:
    """`values` (N,) at a table of rows, NaN where there is none."""
    if not len(values):
        return np.full(rows.shape, np.nan)
    return np.where(rows >= 0, values[np.maximum(rows, 0)], np.nan)


def flow_ratio(columns: PlantColumns, condition: Condition) -> Floats:
    """Flow of each reading (N,) over the position's usual flow; NaN where it was not measured."""
    return columns.dp.flow_lpm / np.repeat(condition.warm.flow_lpm, np.diff(columns.dp.offsets))


def restated_log_sd(columns: PlantColumns, condition: Condition) -> Floats:
    """How far a restated reading (N,) may be off as a ratio, but for the gauge's step: as `started_log_variance`."""
    count = np.diff(columns.dp.offsets)
    unknown_degC, unknown_lpm = np.isnan(columns.dp.oil_temperature_degC), np.isnan(columns.dp.flow_lpm)
    warm = condition.warm
    slope_sd = np.hypot(warm.viscosity_slope_sd, np.where(np.isnan(warm.housing_dp_bar), UNSPLIT_SLOPE_SD, 0.0))
    by_viscosity = np.hypot(
        LN_VISCOSITY_PER_K * np.where(unknown_degC, ASSUMED_TEMPERATURE_SD_K, TEMPERATURE_SD_K),
        np.repeat(slope_sd, count) * np.log(np.minimum(condition.viscosity_ratio, FROZEN_RATIO)),
    )
    by_flow = np.where(unknown_lpm, ASSUMED_FLOW_SD, FLOW_SD)
    return np.asarray(np.sqrt(by_viscosity**2 + by_flow**2 + GAUGE_SD**2 + RESTATING_SD**2))
