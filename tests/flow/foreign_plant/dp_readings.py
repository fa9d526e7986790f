"""What was read off the gauges and indicators of the positions."""

from __future__ import annotations

import math
import random
from datetime import UTC, date, datetime, time, timedelta

from tests.flow.foreign_plant.clock import NOON, later, stamp
from tests.flow.foreign_plant.conversions import INHG, LITRES, PSI
from tests.flow.foreign_plant.model import Position, World
from tests.flow.foreign_plant.table import Row

DP_COLUMNS = (
    "position",
    "at",
    "stage",
    "dp [psi]",
    "upstream [psi]",
    "downstream [psi]",
    "vacuum [inHg]",
    "flow [gpm]",
    "oil_temperature [degF]",
    "indicator",
    "recorded_at",
)


def reading_days(position: Position) -> list[date]:
    """The running days on which the position can be read in the ordinary round."""
    changes = {life.fitted.date() for life in position.lives}
    changes |= {life.removed.date() for life in position.lives if life.removed is not None}
    if position.side:
        spans = [
            (life.runs_from.date(), life.runs_to.date() if life.runs_to else position.system.plant.last_day)
            for life in position.lives
        ]
        return [d for d in position.system.days if d not in changes and any(a < d < b for a, b in spans)]
    if position.style == "date":
        return position.system.days  # also the days of changes: the row then counts for neither life
    return [d for d in position.system.days if d not in changes]


def shares(world: World, readable: list[Position], total: int) -> dict[str, int]:
    """How many ordinary readings each position gets; they add up to `total`."""
    weights = {p.code: world.rng.uniform(0.4, 1.6) for p in readable}
    scale = total / sum(weights.values())
    wanted = {p.code: int(weights[p.code] * scale) for p in readable}
    for position in readable:
        if position.style == "date":
            wanted[position.code] = min(wanted[position.code], len(reading_days(position)))
    takers = [p.code for p in readable if p.style != "date" and not p.side]
    missing = total - sum(wanted.values())
    for i, code in enumerate(takers):
        wanted[code] += missing // len(takers) + (1 if i < missing % len(takers) else 0)
    return wanted


def round_times(world: World, position: Position, count: int) -> list[datetime]:
    """`count` different times of ordinary rounds, in order."""
    days, plant, times = reading_days(position), position.system.plant, []
    opening, length = 5 * 3600 + 1800, 15 * 3600
    whole_minutes = count and len(days) * length / count >= 150
    for k in range(count):
        if position.style == "date":
            times.append(plant.at(days[int((k + 0.5) * len(days) / count)], NOON))
            continue
        place = (k + world.rng.uniform(0.25, 0.75)) / count * len(days)
        second = opening + int((place - int(place)) * length)
        if whole_minutes:
            second -= second % 60
        clock = time(second // 3600, second // 60 % 60, second % 60)
        times.append(plant.at(days[int(place)], clock))
    return times


def change_times(position: Position) -> list[tuple[datetime, str]]:
    """The readings just before and just after each change."""
    found: list[tuple[datetime, str]] = []
    bare = position.style == "date"
    for old, new in zip(position.lives, position.lives[1:], strict=False):
        if old.removed is None or position.side:
            continue
        found.append((old.removed if bare else old.removed - timedelta(minutes=20), "before"))
        found.append((new.fitted if bare else new.fitted + timedelta(minutes=15), "after"))
    return found


def oil_degrees(rng: random.Random, position: Position, at: datetime) -> float:
    """Oil temperature: mostly warm, sometimes just started; summers are warmer."""
    season = 4.0 * math.cos(2 * math.pi * (at.timetuple().tm_yday - 200) / 365)
    if rng.random() < 0.13:
        return 18.0 + 2.0 * season + rng.uniform(0.0, 14.0)
    return position.system.warm + season + rng.gauss(0.0, 1.8)


class Reader:
    """Reads one position in the order of time; remembers a latched indicator."""

    def __init__(self, world: World, position: Position) -> None:
        self.rng = world.rng
        self.position = position
        self.tripped = False

    def row(self, at: datetime, stage: str) -> Row:
        """One row of dp_readings."""
        rng, position = self.rng, self.position
        life = position.life_at(at)
        if stage == "before" and position.lives.index(life) and life.fitted == at:
            life = position.lives[position.lives.index(life) - 1]
        celsius = oil_degrees(rng, position, at)
        flow = position.flow * rng.uniform(0.82, 1.03)
        real = position.drop(position.held(life, at), flow, celsius)
        seen = real * rng.gauss(1.0, 0.02)
        row: Row = {
            "position": position.code,
            "at": stamp(at, position.style),
            "stage": stage,
            "flow [gpm]": f"{flow / LITRES:.1f}" if rng.random() < 0.7 else "",
            "oil_temperature [degF]": f"{celsius * 1.8 + 32:.0f}" if rng.random() < 0.93 else "",
            "indicator": self.indicator(real, stage),
            "_order": at.astimezone(UTC),
        }
        self.pressures(row, seen, flow)
        if row["indicator"] and position.indicator_kind == "popup_latching" and not stage and rng.random() < 0.15:
            row["dp [psi]"] = row["upstream [psi]"] = row["downstream [psi]"] = ""  # only the button was seen
        known = later(at, timedelta(hours=rng.choice((3, 9, 30))), position.system.plant)
        if position.place == "pilot" and known is not None and 4 <= known.hour <= 23:
            row["recorded_at"] = known.isoformat(timespec="seconds")
        return row

    def indicator(self, dp: float, stage: str) -> str:
        """What the indicator says; a latched one stays up until it is reset."""
        limit, kind = self.position.indicator, self.position.indicator_kind
        if limit is None or kind == "gauge":
            return ""
        if stage == "after":
            was, self.tripped = self.tripped, False
            return "reset" if was else "clear"
        self.tripped = dp >= limit or (self.tripped and kind == "popup_latching")
        return "tripped" if self.tripped else "clear"

    def pressures(self, row: Row, dp: float, flow: float) -> None:
        """The measured pressures, in the columns that this position is read by."""
        position = self.position
        if position.place == "suction":
            density = position.system.fluid.density
            line = 0.05 * (flow / position.flow) ** 2
            vacuum = max(0.0, dp + line - density * 9.81 * (position.head or 0.0) / 1e5)
            row["vacuum [inHg]"] = f"{vacuum * INHG:.1f}"
        elif position.pair:
            low = 1.5 if position.place == "return" else position.system.pressure * self.rng.uniform(0.5, 0.95)
            row["upstream [psi]"] = f"{(low + dp) * PSI:.1f}"
            row["downstream [psi]"] = f"{low * PSI:.1f}"
        else:
            row["dp [psi]"] = f"{dp * PSI:.1f}"


def dp_rows(world: World, total: int) -> list[Row]:
    """Exactly `total` rows, oldest first."""
    readable = [p for p in world.positions if p.place not in ("breather", "filler") and reading_days(p)]
    staged = {p.code: change_times(p) for p in readable}
    left = total
    for code, times in staged.items():
        staged[code] = times[: min(left, len(times))]
        left -= len(staged[code])
    ordinary = shares(world, readable, left)
    rows: list[Row] = []
    for position in readable:
        times = [(at, "") for at in round_times(world, position, ordinary[position.code])]
        reader = Reader(world, position)
        rank = {"before": 0, "": 1, "after": 2}
        for at, stage in sorted(times + staged[position.code], key=lambda t: (t[0], rank[t[1]])):
            rows.append(reader.row(at, stage))
    rows.sort(key=lambda r: (str(r["_order"]), str(r["position"])))
    return rows
