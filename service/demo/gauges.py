"""What technicians wrote down at each position: rounded, at times cold, at times without flow or heat."""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from scheduler.vocabulary import IndicatorKind
from service.demo.hydraulics import TORN_SHARE, Assembly
from service.demo.lives import Ended, Exposure, Life, load_at
from service.demo.records import DemoPosition, DemoSystem, HowRead, Readout, Row
from service.demo.shifts import SATURDAY, Timeline

_WATCHED_D = 12
_COLD_SHARE, _STANDING_SHARE, _SLIPPED_POINT_SHARE = 0.07, 0.004, 0.002
_NO_FLOW_SHARE, _NO_TEMPERATURE_SHARE = 0.12, 0.08
_BEFORE_SHARE, _AFTER_SHARE = 0.55, 0.65
_BEFORE_H, _AFTER_H, _COLD_H = 7.0, 11.5, 6.25
_GAUGE_NOISE = 0.02
_LOADED_BEFORE_TEAR = 0.55

Array = npt.NDArray[np.float64]
Days = npt.NDArray[np.int64]


@dataclass(frozen=True, slots=True)
class Visits:
    """When a technician stood before one element, and what was so then."""

    day: Days
    hour: Array
    is_cold: npt.NDArray[np.bool_]
    stage: tuple[str | None, ...]


@dataclass(frozen=True, slots=True)
class Rounds:
    """One position's rounds; `is_changed_in_place` is false for the sides of a duplex housing."""

    position: DemoPosition
    system: DemoSystem
    exposure: Exposure
    timeline: Timeline
    random: np.random.Generator
    is_changed_in_place: bool = True

    def rows(self, life: Life) -> list[Row]:
        """The readings of one life, oldest first."""
        readout = self.position.readout
        if readout.how is HowRead.NOTHING:
            return self._popup_at_the_end(life)
        visits = self._visits(life)
        size = visits.day.size
        load = load_at(life, self.exposure, visits.day, visits.hour)
        temperature = self._temperature(visits)
        flow = self._flow(size)
        flow[visits.is_cold] *= 0.9
        torn = self._is_torn(life, visits)
        assembly = Assembly.of(self.position, self.system)
        if readout.how is HowRead.VACUUM:
            pressure = assembly.vacuum_bar(load, temperature, flow)
        else:
            pressure = assembly.dp_bar(np.where(torn, _LOADED_BEFORE_TEAR, load), temperature, flow)
            pressure[torn] *= TORN_SHARE
        pressure = pressure * self.random.normal(1.0, _GAUGE_NOISE, size).clip(0.9, 1.1)
        shown = np.maximum(np.round(pressure / readout.step_bar) * readout.step_bar, 0.0)
        return self._written(visits, shown, flow, temperature)

    def _visits(self, life: Life) -> Visits:
        """Weekday rounds, a reading before and after many changes, some positions daily in the last days."""
        timeline, readout = self.timeline, self.position.readout
        weekday = timeline.weekdays()
        end = timeline.today_index if life.last is None else life.last
        days = np.arange(max(life.first + 1, timeline.first_told), end)
        runs = (self.exposure.hours[days] > 1.0) & (weekday[days] < SATURDAY)
        chosen = self.random.random(days.size) < readout.per_week / 5.0
        recent = days >= timeline.today_index - _WATCHED_D
        if readout.watched:
            chosen |= recent
        days, recent = days[runs & chosen], recent[runs & chosen]
        if readout.last_is_cold and life.last is None:
            days = np.union1d(days, np.flatnonzero(weekday < SATURDAY)[-1:])
            recent = days >= timeline.today_index - _WATCHED_D
        is_cold = self.random.random(days.size) < _COLD_SHARE
        is_cold &= ~recent & readout.temperature_known
        if readout.last_is_cold and life.last is None:
            is_cold[-1] = True
        hour = np.where(is_cold, _COLD_H, self.random.uniform(8.0, 20.0, days.size))
        return self._with_change_days(life, Visits(days, hour, is_cold, (None,) * days.size))

    def _with_change_days(self, life: Life, visits: Visits) -> Visits:
        if not self.is_changed_in_place:
            return visits
        day, hour, stage = [*visits.day], [*visits.hour], [*visits.stage]
        is_cold = [*visits.is_cold]
        if life.first >= self.timeline.first_told and self.random.random() < _AFTER_SHARE:
            day, hour = [life.first, *day], [_AFTER_H, *hour]
            stage, is_cold = ["after", *stage], [np.False_, *is_cold]
        if life.last is not None and (life.ended is Ended.LIMIT or self.random.random() < _BEFORE_SHARE):
            day, hour = [*day, life.last], [*hour, _BEFORE_H]
            stage, is_cold = [*stage, "before"], [*is_cold, np.False_]
        return Visits(
            np.array(day, dtype=np.int64), np.array(hour, dtype=np.float64), np.array(is_cold, np.bool_), tuple(stage)
        )

    def _temperature(self, visits: Visits) -> Array:
        oil = self.system.oil
        season = 2.5 * np.sin(2.0 * np.pi * visits.day / 365.25)
        warm = oil.working_degC + season + self.random.normal(0.0, 2.0, visits.day.size)
        cold = oil.coldest_start_degC + self.random.uniform(0.0, 9.0, visits.day.size)
        return np.asarray(np.where(visits.is_cold, cold, warm).round())

    def _flow(self, size: int) -> Array:
        nominal = Assembly.of(self.position, self.system).flow_lpm
        return np.asarray(nominal * self.random.normal(1.0, self.system.flow_spread, size).clip(0.6, 1.12))

    def _is_torn(self, life: Life, visits: Visits) -> npt.NDArray[np.bool_]:
        torn_d = self.position.wear.torn_d
        if torn_d is None or life.last is not None:
            return np.zeros(visits.day.size, dtype=np.bool_)
        return visits.day >= self.timeline.today_index - torn_d

    def _written(self, visits: Visits, shown: Array, flow: Array, temperature: Array) -> list[Row]:
        readout, latch = self.position.readout, _Indicator(self.position)
        draws = self.random.random((visits.day.size, 3))
        rows: list[Row] = []
        for index, (of_flow, of_heat, of_slip) in enumerate(draws):
            stage = visits.stage[index]
            is_watched = readout.watched and visits.day[index] >= self.timeline.today_index - _WATCHED_D
            stands = of_slip < _STANDING_SHARE and stage is None and not is_watched
            value = 0.0 if stands else float(shown[index])
            tells_flow = readout.flow_known and (is_watched or of_flow >= _NO_FLOW_SHARE)
            tells_heat = readout.temperature_known and (is_watched or of_heat >= _NO_TEMPERATURE_SHARE)
            row: Row = {
                "position": self.position.code,
                "at": self.timeline.moment(int(visits.day[index]), float(visits.hour[index])),
                "stage": stage,
                "flow": (0.0 if stands else round(float(flow[index]))) if tells_flow else None,
                "oil_temperature": float(temperature[index]) if tells_heat else None,
                "indicator": latch.state(value, stage),
            }
            slipped = of_slip > 1.0 - _SLIPPED_POINT_SHARE and stage is None and not is_watched and value < 1.0
            rows.append(row | self._pressure_cells(value * 10.0 if slipped else value, readout))
        return [row for row in rows if _tells_something(row)]

    def _pressure_cells(self, value_bar: float, readout: Readout) -> Row:
        match readout.how:
            case HowRead.DP:
                return {"dp": round(value_bar, 2)}
            case HowRead.VACUUM:
                return {"vacuum": round(min(value_bar, 1.0), 2)}
            case HowRead.PAIR:
                downstream = round(self.system.working_pressure_bar * self.random.uniform(0.3, 0.7), 1)
                return {"upstream": round(downstream + value_bar, 1), "downstream": downstream}
            case _:
                return {}

    def _popup_at_the_end(self, life: Life) -> list[Row]:
        """Without a gauge only the pop-up of an element that ran to its limit is seen, and set back after."""
        is_popup = self.position.indicator_kind is IndicatorKind.POPUP_LATCHING
        if not is_popup or life.last is None or life.ended is not Ended.LIMIT:
            return []
        if life.last < self.timeline.first_told:
            return []
        warm = round(self.system.oil.working_degC)
        return [
            {
                "position": self.position.code,
                "at": self.timeline.moment(life.last, hour),
                "stage": stage,
                "oil_temperature": warm,
                "indicator": state,
            }
            for hour, stage, state in ((_BEFORE_H, "before", "tripped"), (_AFTER_H, "after", "reset"))
        ]


class _Indicator:
    """An indicator through one life: a switch follows the ΔP, a latching pop-up stays until set back."""

    def __init__(self, position: DemoPosition) -> None:
        self._set_bar = position.indicator_dp_bar
        self._kind = position.indicator_kind
        self._is_up = False

    def state(self, dp_bar: float, stage: str | None) -> str | None:
        if self._set_bar is None or self._kind in {None, IndicatorKind.GAUGE}:
            return None
        trips = dp_bar >= self._set_bar
        if self._kind is IndicatorKind.SWITCH:
            return "tripped" if trips else "clear"
        if stage == "after":
            return "reset"
        if self._is_up and not trips:
            self._is_up = False
            return "reset"
        self._is_up = trips
        return "tripped" if trips else "clear"


def _tells_something(row: Row) -> bool:
    return any(row.get(column) is not None for column in ("dp", "upstream", "vacuum", "indicator"))
