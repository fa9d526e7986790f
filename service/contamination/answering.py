"""The contamination of one system, reckoned when asked from all that is known of it."""

from dataclasses import dataclass
from datetime import datetime
from zoneinfo import ZoneInfo

import numpy as np
import sqlalchemy as sa

from api_schemas.contamination import (
    CauseTold,
    CountChange,
    CountTrend,
    SampleTold,
    SystemContamination,
    TargetTold,
    WaterTold,
)
from api_schemas.quantities import ParticleCount, Percentage
from scheduler.engineering.cleanliness_code import SIZES_um_c
from scheduler.engineering.contamination_classes import as4059_classes_of_counts
from scheduler.planning.cleanliness import SystemCleanliness, assess_cleanliness, written_code
from scheduler.planning.cleanliness_diagnoses import runs_past
from scheduler.planning.condition import assess_condition
from scheduler.planning.contamination import Contamination, assess_contamination
from scheduler.planning.count_history import counts_of_size
from scheduler.planning.diagnoses import diagnose
from scheduler.planning.duty import assess_duty
from scheduler.planning.indicator import sightings_of
from scheduler.planning.plant_columns import PlantColumns
from scheduler.planning.water import WaterLevel, water_levels
from scheduler.statistics.count_levels import count_step, count_trend
from service.contamination.balance import balance_told, clean_up_told
from service.due.priors import kept_priors
from service.keys.keeping import Caller
from service.plant_folder import tables as t
from service.plant_store.loading import load_plant
from service.plant_store.time import from_day
from service.problems import NotFound

Z_10_90 = 1.2816
"""The 90 % point of the standard normal distribution."""

_NEWEST = 5


def contamination_of(
    connection: sa.Connection, system: str, now: datetime, caller: Caller | None = None
) -> SystemContamination:
    """Raises NotFound for a system that is not there, or is none of the caller's; no caller sees every system."""
    plant = connection.scalar(sa.select(t.systems.c.plant).where(t.systems.c.system == system))
    if plant is None or (caller is not None and not caller.sees(plant)):
        raise NotFound(f"there is no system '{system}'")
    columns = load_plant(connection, now, frozenset({system}))
    duty = assess_duty(columns)
    condition = assess_condition(columns, duty, kept_priors(connection, columns))
    seen = diagnose(columns, duty, condition, sightings_of(columns, condition))
    found = assess_contamination(columns, duty, condition, runs_past(seen), every_cause=True)
    judged = next(iter(assess_cleanliness(columns, runs_past(seen))), None)
    facts = {} if judged is None else judged.facts
    zone = ZoneInfo(columns.plants.zone[int(columns.systems.plant[0])])
    telling = _Telling(columns, found, zone)
    return SystemContamination(
        system=system,
        as_of=now.astimezone(zone),
        target=_target(judged),
        verdict="too_few" if judged is None else judged.verdict.value,
        probability=facts.get("probability"),
        samples=telling.samples(),
        trends=telling.trends(),
        balance=balance_told(columns, duty, found, zone),
        change=telling.change(),
        causes=telling.causes(),
        clean_up=clean_up_told(columns, found, facts),
        water=telling.water(water_levels(columns).get(0)),
    )


def _target(judged: SystemCleanliness | None) -> TargetTold | None:
    if judged is None or "target" not in judged.facts:
        return None
    source = "typical" if judged.facts["target_is_typical"] else "plant"
    return TargetTold(code=judged.facts["target"], source=source)


@dataclass(frozen=True, slots=True)
class _Telling:
    """One system's columns, in words of the wire."""

    columns: PlantColumns
    found: Contamination
    zone: ZoneInfo

    def _at(self, day: float) -> datetime:
        return from_day(day).astimezone(self.zone)

    def samples(self) -> list[SampleTold]:
        """Newest first."""
        rows = self.columns.oil_samples
        order = np.argsort(rows.day, kind="stable")[::-1].tolist()
        return [self._sample(row) for row in order if written_code(rows, row) != "-/-/-"]

    def _sample(self, row: int) -> SampleTold:
        rows = self.columns.oil_samples
        counts = [None if np.isnan(each) else float(each) for each in rows.count_per_mL[row]]
        told = [each for each in counts if each is not None]
        falls = told == sorted(told, reverse=True)  # a slip of the laboratory has no class
        position = int(rows.position[row])
        return SampleTold(
            at=self._at(float(rows.day[row])),
            point=rows.point[row].value,
            position=None if position < 0 else self.columns.positions.code[position],
            code=written_code(rows, row),
            classes=list(as4059_classes_of_counts(*counts)) if falls else [],
        )

    def trends(self) -> list[CountTrend]:
        """Of each size that was counted."""
        found = []
        for size, size_um_c in enumerate(SIZES_um_c):
            day, low, high = counts_of_size(self.columns, self.found.history, 0, size)
            if not len(day):
                continue
            line = count_trend(day[None] - day[-1], low[None], high[None], 0.0)
            newest = (low[None, -_NEWEST:], high[None, -_NEWEST:])
            now = count_step(*newest, np.zeros(newest[0].shape, dtype=bool), np.zeros(1))
            level, level_sd = float(now.level[0]), float(now.level_sd[0])
            change, rising = float(line.change[0]), float(line.rise_probability()[0])
            found.append(
                CountTrend(
                    size_um_c=size_um_c,
                    samples=len(day),
                    level=per_mL(np.exp(level)),
                    level_p10=per_mL(np.exp(level - Z_10_90 * level_sd)),
                    level_p90=per_mL(np.exp(level + Z_10_90 * level_sd)),
                    times_a_year=None if np.isnan(change) else round(float(np.exp(change)), 2),
                    rising=None if np.isnan(rising) else round(rising, 3),
                )
            )
        return found

    def change(self) -> CountChange | None:
        change = self.found.change
        step, log_sd = float(change.log_step[0]), float(change.log_sd[0])
        if np.isnan(step):
            return None
        return CountChange(
            since=self._at(float(change.since_day[0])),
            samples=int(change.recent[0]),
            times=round(float(np.exp(step)), 2),
            times_p10=round(float(np.exp(step - Z_10_90 * log_sd)), 2),
            times_p90=round(float(np.exp(step + Z_10_90 * log_sd)), 2),
            risen=round(float(change.rise_probability()[0]), 3),
        )

    def causes(self) -> CauseTold | None:
        cause = self.found.causes.get(0)
        if cause is None:
            return None
        return CauseTold(
            position=self.columns.positions.code[cause.position],
            likeliest=cause.likeliest.value,
            probability={each.value: round(chance, 3) for each, chance in cause.probability.items()},
            load_rate=None if cause.load is None else round(float(np.exp(cause.load.log_ratio)), 2),
            passed=None if cause.passed is None else float(f"{np.exp(cause.passed.log_passed):.2g}"),
            oil_goes_round=cause.goes_round,
            missing=list(cause.missing),
        )

    def water(self, level: WaterLevel | None) -> WaterTold | None:
        if level is None:
            return None
        rise = level.log_rise_per_year
        return WaterTold(
            at=self._at(level.day),
            level=Percentage(value=round(level.level_pct, 1), unit="%"),
            last=Percentage(value=round(level.last_pct, 1), unit="%"),
            samples=level.samples,
            high=round(level.high_probability, 3),
            times_a_year=None if rise is None else round(float(np.exp(rise)), 2),
            rising=None if level.rising_probability is None else round(level.rising_probability, 3),
            limit_from=level.limit_from.value,
        )


def per_mL(count: float) -> ParticleCount:
    """To three digits: more is not known of any count."""
    return ParticleCount(value=float(f"{count:.3g}"), unit="1/mL")
