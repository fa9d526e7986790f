"""Which systems and positions there are, and the peculiarity that a few of them carry."""

from __future__ import annotations

from datetime import time, timedelta

from tests.flow.foreign_plant.catalogue import FLUIDS, PARTS
from tests.flow.foreign_plant.clock import NOON
from tests.flow.foreign_plant.model import Position, System, World
from tests.flow.foreign_plant.run_hours import Meter, run_sums

SYSTEMS = 30
PLACES = (
    "suction",
    "pressure",
    "return",
    "offline",
    "pilot",
    "case_drain",
    "charge",
    "breather",
    "filler",
    "other",
)
LATER_LAYERS = ("breather", "suction", "offline", "case_drain", "pilot", "charge", "return", "filler")
SHORT = {
    "suction": "SU",
    "pressure": "PR",
    "return": "RE",
    "offline": "OF",
    "pilot": "PI",
    "case_drain": "CD",
    "charge": "CH",
    "breather": "BR",
    "filler": "FI",
    "other": "OT",
}

# The systems that carry one peculiarity each (by number, from 0).
ROLLOVER, REPLACED, TYPING_ERROR, DUPLEX, KIDNEY = 2, 5, 8, 4, 13

# place: (terminal, indicator, bypass) in bar; None where the housing has none
LIMITS: dict[str, tuple[float | None, float | None, float | None]] = {
    "pressure": (5.0, 5.0, 7.0),
    "return": (None, 2.2, 3.0),
    "offline": (2.5, None, 3.5),
    "pilot": (None, 5.0, None),
    "case_drain": (None, None, 1.5),
    "charge": (3.5, 3.5, 5.0),
    "other": (4.0, None, None),
}


def make_system(world: World, number: int) -> System:
    """One system in service."""
    rng = world.rng
    plant = world.plants[0] if number % 5 < 3 else world.plants[1]
    start = world.today - timedelta(days=rng.randint(760, 1060))
    weekly = rng.choice((38.0, 75.0, 80.0, 110.0, 120.0))
    sums = run_sums(rng, start, world.today, weekly)
    main = Meter("", start, sums, base=float(rng.randint(400, 24_000)))
    if number == ROLLOVER:
        main.name, main.digits, main.base = "HM-A", 5, 100_000.0 - sums[-1] * 0.6
    if number == REPLACED:
        main.swapped = plant.at(start + timedelta(days=430), time(14, 0))
        main.swapped_to = 3.0
    days = [
        start + timedelta(days=i) for i in range(2, (plant.last_day - start).days + 1) if sums[i + 1] - sums[i] > 0.5
    ]
    flow = rng.choice((45.0, 90.0, 120.0, 180.0, 260.0))
    system = System(
        number=number,
        code=f"{plant.code}-{number + 1:02d}",
        plant=plant,
        fluid=FLUIDS[(number * 3 + number // 7) % 4],
        start=start,
        main=main,
        days=days,
        warm=rng.uniform(42.0, 54.0),
        pump_flow=flow,
        reservoir=round(flow * rng.uniform(3.0, 5.0), -1),
        pressure=rng.choice((140.0, 180.0, 210.0, 280.0)),
        weekly=weekly,
        target=rng.choice(("18/16/13", "17/15/12", "19/17/14")),
        rhythm=(1, 7, 7, 30, 30, 7, 1, 30, 7, 30)[number % 10],
    )
    if number == KIDNEY:
        system.kidney = Meter("KIDNEY", start, run_sums(rng, start, world.today, 130.0), base=77.0, digits=6)
    if number % 6 == 1:
        at = plant.at(start + timedelta(days=1), NOON)
        world.happened(system, at, "commissioned", note="handed over after flushing, oil at target")
    return system


def place_of(index: int, count: int) -> str:
    """The place of the position with this index: all ten places first, then what most systems have."""
    layer, number = divmod(index, SYSTEMS)
    if number == DUPLEX and layer in (1, 2) and count > 2 * SYSTEMS + DUPLEX:
        return "return"
    if number == KIDNEY and layer == 3:
        return "offline"
    if layer in (1, 2):
        return ("return", "pressure")[layer - 1]
    return PLACES[number % 10] if layer == 0 else LATER_LAYERS[(layer + number) % len(LATER_LAYERS)]


def make_position(world: World, index: int, count: int) -> Position:
    """One position in service, still empty."""
    rng = world.rng
    system = world.systems[index % SYSTEMS]
    place = place_of(index, count)
    part = rng.choice([p for p in PARTS if p.place == place])
    same = sum(1 for p in world.positions if p.system is system and p.place == place)
    share = {"return": 0.9, "pressure": 0.85, "suction": 1.0}.get(place, 0.6)
    flow = min(system.pump_flow * share, part.flow * 0.9)
    terminal, indicator, bypass = LIMITS.get(place, (None, None, None))
    if place == "pressure" and index % 3 == 0:
        bypass = None
    total = system.main.run_sums[-1]
    position = Position(
        code=f"{system.code}.{SHORT[place]}{same + 1}",
        system=system,
        place=place,
        part=part,
        meter=system.kidney if system.kidney is not None and place == "offline" else system.main,
        flow=round(flow, 1),
        terminal=terminal,
        indicator=indicator,
        bypass=bypass,
        style=("local", "offset", "utc", "date")[(index * 7 + index // SYSTEMS) % 4],
        pair=place in ("pressure", "return", "charge") and index % 2 == 0,
        design_hours=total / rng.uniform(2.5, 6.0),
    )
    if place == "suction":
        position.head = rng.choice((0.3, 0.6, -0.2))
    if place in ("breather", "filler"):
        position.max_months = rng.choice((6.0, 9.0, 12.0))
    elif index % 4 == 1:
        position.max_hours = max(250.0, round(position.design_hours * 1.1, -2))
    elif index % 9 == 2:
        position.max_months = 24.0
    if indicator is not None:
        position.indicator_kind = ("gauge", "popup_latching", "switch")[index % 3]
    if place == "return" and part.flow > 350 and system.pump_flow > 200 and index % 2:
        position.quantity = 2
    return position
