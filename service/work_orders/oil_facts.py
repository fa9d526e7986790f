"""What a job card says of oil: how heavy its container is, the filter it goes in through, the hours of a clean-up."""

from collections.abc import Iterable, Mapping
from dataclasses import replace
from typing import Any

import sqlalchemy as sa

from scheduler.engineering.cleanliness_code import Code
from scheduler.engineering.containers import container_mass_kg, container_tare_kg, oil_mass_kg
from scheduler.engineering.handling import Means, handling
from scheduler.engineering.new_oil import TransferFilter, says_how_to_fill
from scheduler.job_card.job import Job
from scheduler.planning.kits import RENEWS
from scheduler.vocabulary import Place, TaskKind
from service.plant_folder import tables as t

_DRUM_FROM_L = 100.0
"""Containers from this size on are rolled and tilted (ours)."""

_AIDS = {
    Means.ONE_PERSON: None,
    Means.TWO_PERSONS: "a trolley or a second person",
    Means.DRUM_TROLLEY: "a drum trolley",
    Means.PALLET_TRUCK: "a pallet truck",
    Means.HOIST: "a hoist rated for it",
}

_FILLED_THROUGH = (Place.FILLER, Place.OFFLINE, Place.RETURN)
"""Positions through whose element new oil can be let in; common practice, no source."""

_TAKES_OIL = RENEWS | {TaskKind.TOP_UP, TaskKind.FLUSH}


def heaviest_lift(container_L: float, density_kg_m3: float, fluid: str) -> dict[str, Any]:
    """The members of a job that tell of a full container, and by what it is moved."""
    what = f"a full {container_L:g} L container of {fluid}"
    try:
        mass_kg = container_mass_kg(container_L, density_kg_m3, container_tare_kg(container_L))
    except ValueError:  # a bulk container: nobody lifts it, and its own mass is not known
        mass_kg, what = oil_mass_kg(container_L, density_kg_m3), f"the oil of {what}"
    by = handling(mass_kg, what, is_drum=container_L >= _DRUM_FROM_L)
    return {"heaviest_lift_kg": round(mass_kg, 1), "heaviest_lift": what, "lifting_aid": _AIDS[by.means]}


def transfer_filters(connection: sa.Connection, systems: Iterable[str]) -> dict[str, list[TransferFilter]]:
    """Of each system the elements through which new oil can be let in, where size and β are plain numbers."""
    types = t.element_types
    query = (
        sa.select(t.positions.c.system, types.c.rating_um, types.c.beta)
        .join(types, types.c.part_number == t.positions.c.part_number)
        .where(t.positions.c.system.in_(list(systems)), t.positions.c.place.in_(_FILLED_THROUGH))
        .where(types.c.rating_um.is_not(None), types.c.beta.is_not(None))
    )
    found: dict[str, list[TransferFilter]] = {}
    for system, rating_um, beta in connection.execute(query):
        try:
            found.setdefault(system, []).append(TransferFilter(float(rating_um), float(beta)))
        except ValueError:  # a text that says more than a number is not guessed at
            continue
    return found


def with_oil_care(job: Job, filters: Mapping[str, list[TransferFilter]]) -> Job:
    """With the filter that new oil must pass, where the system has a target to hold it against."""
    if job.target_code is None or job.task not in _TAKES_OIL:
        return job
    return replace(
        job, top_up_filter=says_how_to_fill(None, Code.parse(job.target_code), filters.get(job.system, []))
    )


def hours_of_clean_up(because: Mapping[str, Any]) -> str | None:
    """How long the off-line filter has to run, where the finding behind the task tells."""
    facts = because.get("facts", {})
    if "low_h" not in facts or "high_h" not in facts:
        return None
    return (
        f"Run it for about {facts['low_h']:.1f} to {facts['high_h']:.1f} h: twice to five times what the well-mixed "
        "balance gives, since real tanks mix badly."
    )
