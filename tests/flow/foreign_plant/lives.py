"""How long each element stays, why it is taken out, and the record of that."""

from __future__ import annotations

from datetime import date, datetime, time, timedelta

from tests.flow.foreign_plant.catalogue import ALTERNATES
from tests.flow.foreign_plant.clock import NOON, daylight, stamp
from tests.flow.foreign_plant.model import Life, Position, World
from tests.flow.foreign_plant.table import Row

MONTH = 30.4375  # days in one month, as the contract says
REASONS = {  # how often each, roughly
    "due": 42,
    "indicator": 18,
    "early": 12,
    "opportunity": 10,
    "failure": 4,
    "mistake": 2,
    "unknown": 6,
    "": 6,
}
SHARE = {
    "due": (0.9, 1.03),
    "indicator": (1.0, 1.08),
    "early": (0.4, 0.7),
    "opportunity": (0.6, 0.9),
    "failure": (0.25, 0.9),
    "mistake": (0.02, 0.06),
    "unknown": (0.5, 1.1),
    "": (0.8, 1.0),
}


def full_at(position: Position) -> float:
    """The fraction of capacity at which the warm assembly reaches its terminal ΔP."""
    limit = position.terminal or position.indicator or (position.bypass or 0.0) * 0.75
    if position.place == "suction" or not limit:
        return 0.8
    lo, hi = 0.0, 1.4
    for _ in range(40):
        mid = (lo + hi) / 2
        if position.drop(mid, position.flow, position.system.warm) < limit:
            lo = mid
        else:
            hi = mid
    return max(lo, 0.2)


def life_end(world: World, position: Position, life: Life, reason: str, hours: float) -> date | None:
    """The day on which this life ends; None if it still lasts."""
    share = world.rng.uniform(*SHARE[reason])
    if position.place in ("breather", "filler"):
        end = life.fitted.date() + timedelta(days=max(3, int((position.max_months or 9.0) * MONTH * share)))
    else:
        wanted = hours * share
        if position.max_hours is not None and reason != "unknown":
            wanted = min(wanted, position.max_hours * 1.02)
        found = position.meter.when(position.meter.run(life.runs_from) + wanted)
        if found is None:
            return None
        end = max(found, life.fitted.date() + timedelta(days=3))
    return end if end <= position.system.plant.last_day else None


def new_life(world: World, position: Position, at: datetime, hours: float, previous: Life | None) -> Life:
    """What is fitted at `at`."""
    rng = world.rng
    full = full_at(position)
    life = Life(at, position.part.number, full / hours, 0.0, at, lot=f"C{at:%y%m}-{rng.randint(1, 40):02d}")
    if rng.random() < 0.3:
        life.lot = ""
    if rng.random() < 0.12 and position.part.number in ALTERNATES:
        life.part = ALTERNATES[position.part.number][0]
    if position.place == "suction":
        again = previous is not None and (previous.cleanings or 0) < 4
        life.cleanings = (previous.cleanings or 0) + 1 if previous is not None and again else 0
        life.serial = previous.serial if previous is not None and again else f"S{rng.randint(1000, 9999)}"
        life.start_x = 0.04 * life.cleanings
        life.lot = ""
    return life


def live(world: World, position: Position) -> None:
    """Fits and changes elements until today."""
    rng, plant = world.rng, position.system.plant
    clock = NOON if position.style == "date" else daylight(rng, 8, 11)
    at = plant.at(position.system.start, clock)
    while True:
        hours = position.design_hours * rng.lognormvariate(0.0, 0.2)
        life = new_life(world, position, at, hours, position.lives[-1] if position.lives else None)
        position.lives.append(life)
        reason = rng.choices(list(REASONS), list(REASONS.values()))[0]
        if reason == "indicator" and position.indicator is None:
            reason = "due"
        if reason == "mistake":
            if position.part.number in ALTERNATES:
                life.part = ALTERNATES[position.part.number][0]
            else:
                reason = "early"
        end = life_end(world, position, life, reason, hours)
        if end is None:
            return
        gone = plant.at(end, NOON if position.style == "date" else daylight(rng, 7, 18))
        life.removed = life.runs_to = gone
        life.reason = reason
        if reason == "failure":
            note = 'found "glitter" in the bowl, element changed, oil sampled'
            kind = "pump_failure" if position.place in ("case_drain", "return", "suction") else "repair"
            world.happened(position.system, gone - timedelta(hours=1), kind, position=position.code, note=note)
        at = gone if position.style == "date" else gone + timedelta(minutes=rng.choice((5, 15, 25, 40)))


def live_duplex(world: World, left: Position, right: Position) -> None:
    """Two sides of one housing: one works, the other waits with a clean element."""
    rng, plant = world.rng, left.system.plant
    for side, position in zip("AB", (left, right), strict=True):
        position.housing, position.side, position.style = f"{left.system.code}/H1", side, "local"
        position.part, position.flow, position.quantity = left.part, left.flow, 1
        position.bypass = position.terminal = None
        position.indicator, position.indicator_kind = 2.2, "switch"
        position.max_hours = position.max_months = None
    now = plant.at(left.system.start, time(9, 30))
    for position in (left, right):
        position.lives.append(new_life(world, position, now, left.design_hours, None))
    working, waiting = left, right
    while True:
        life = working.lives[-1]
        life.runs_from = now
        life.rate = full_at(working) / (left.design_hours * rng.lognormvariate(0.0, 0.15))
        end = life_end(world, working, life, "due", full_at(working) / life.rate)
        if end is None:
            break
        now = plant.at(end, daylight(rng, 8, 15))
        world.happened(left.system, now, "changeover", position=waiting.code, note="flow now through this side")
        life.runs_to, life.removed, life.reason = now, now + timedelta(minutes=50), "due"
        fitted = now + timedelta(minutes=75)
        working.lives.append(new_life(world, working, fitted, left.design_hours, None))
        working, waiting = waiting, working
    waiting.lives[-1].runs_to = waiting.lives[-1].runs_from


def installation_rows(world: World) -> list[Row]:
    """Finished lives and the current ones."""
    rows: list[Row] = []
    for position in world.positions:
        for k, life in enumerate(position.lives):
            hours_known = (k + len(position.code)) % 5 != 0
            row: Row = {
                "position": position.code,
                "fitted_at": stamp(life.fitted, position.style),
                "part_number": life.part,
                "fitted_hours [h]": f"{position.meter.shows(life.fitted):.1f}" if hours_known else "",
                "lot": life.lot,
                "serial": life.serial,
                "cleanings": "" if life.cleanings is None else life.cleanings,
            }
            if life.removed is not None:
                row["removed_at"] = stamp(life.removed, position.style)
                row["removed_hours [h]"] = f"{position.meter.shows(life.removed):.1f}" if hours_known else ""
                row["reason"] = life.reason
                row["condition"] = {
                    "failure": "metal, bronze coloured, in the pleats",
                    "mistake": "wrong part, taken out again",
                    "indicator": 'button up; "loaded evenly"',
                }.get(life.reason, "")
            rows.append(row)
    return [
        *rows,
        {
            "position": "BRN-91.RE1",
            "fitted_at": (world.today - timedelta(days=980)).isoformat(),
            "part_number": "LB-RT25-400",
            "removed_at": (world.today - timedelta(days=520)).isoformat(),
            "reason": "opportunity",
            "condition": "taken out with the system",
        },
    ]
