"""Whether one person may lift it, or two, or which aid is used, for covers, elements, pails and drums.

Source of the limit: NIOSH 94-110, the revised lifting equation (`lifting`): 23 kg under the best conditions. Nobody
knows how a thing will be lifted at a machine, so an everyday lift of ours is judged: hands 35 cm from the body, from
the floor to 1 m, now and then, a fair grip. It is not of the publication, only its multipliers are; a pail from the
floor to a filler at shoulder height, a twist or an oily floor need less still. Two persons lift together no more
than one may lift at best (ours: loads are not shared evenly, and the publication does not cover team lifting). Which
aid is common practice, no source; plant rules and local codes come first.
"""

from dataclasses import dataclass
from enum import StrEnum

from scheduler.engineering.lifting import LOAD_CONSTANT_KG, recommended_weight_limit_kg

EVERYDAY_REACH_cm = 35.0
EVERYDAY_HEIGHT_cm = 0.0
EVERYDAY_TRAVEL_cm = 100.0
FAIR_GRIP = 0.95
"""Coupling multiplier of a fair grip below 75 cm (NIOSH 94-110, table 7, from memory)."""

HOIST_FROM_KG = 250.0
"""A drum trolley takes a full drum, a pallet truck a pallet; beyond, or up to a machine, a hoist. Ours."""


class Means(StrEnum):
    """By what it is moved."""

    ONE_PERSON = "one_person"
    TWO_PERSONS = "two_persons"
    DRUM_TROLLEY = "drum_trolley"
    PALLET_TRUCK = "pallet_truck"
    HOIST = "hoist"


@dataclass(frozen=True, slots=True)
class Handling:
    """By what it is moved, and the sentence for the card.

    everyday_limit_kg: of one person in the everyday lift. one_person_at_best: whether it is within 23 kg, so that one
    person may lift it where all is as good as it can be.
    """

    mass_kg: float
    means: Means
    everyday_limit_kg: float
    one_person_at_best: bool
    says: str


def handling(mass_kg: float, what: str, *, is_drum: bool = False) -> Handling:
    """How `what` (a phrase for the sentence, "the full 20 L pail") of that mass is moved.

    is_drum: it can be tilted and rolled, so a drum trolley takes it. Raises ValueError for a mass not above 0.

    >>> handling(18.5, "the full 20 L pail").means, handling(202.7, "the drum", is_drum=True).means
    (<Means.TWO_PERSONS: 'two_persons'>, <Means.DRUM_TROLLEY: 'drum_trolley'>)
    """
    if not 0.0 < mass_kg < float("inf"):
        raise ValueError(f"mass {mass_kg} kg is not finite and above 0")
    limit_kg = everyday_limit_kg()
    means = _means(mass_kg, limit_kg, is_drum=is_drum)
    at_best = mass_kg <= LOAD_CONSTANT_KG
    allows = f"the {LOAD_CONSTANT_KG:g} kg that NIOSH 94-110 allows one person"
    if at_best:
        judged = f"within {allows} under the best conditions; from the floor to 1 m, held 35 cm away, the limit is "
        judged += f"{limit_kg:.1f} kg"
    else:
        judged = f"above {allows} even under the best conditions"
    says = f"{what[0].upper() + what[1:] if what else 'It'} weighs about {mass_kg:.3g} kg, {judged}: "
    return Handling(mass_kg, means, limit_kg, at_best, says + _ADVICE[means])


def everyday_limit_kg() -> float:
    """The recommended weight limit of the everyday lift.

    >>> round(everyday_limit_kg(), 1)
    10.5
    """
    return recommended_weight_limit_kg(
        EVERYDAY_REACH_cm, EVERYDAY_HEIGHT_cm, EVERYDAY_TRAVEL_cm, coupling_multiplier=FAIR_GRIP
    )


_ADVICE = {
    Means.ONE_PERSON: "one person may lift it, close to the body.",
    Means.TWO_PERSONS: "two persons, or a trolley; not alone.",
    Means.DRUM_TROLLEY: "not by hand; use a drum trolley.",
    Means.PALLET_TRUCK: "not by hand; use a pallet truck, and a hoist where it has to go up.",
    Means.HOIST: "not by hand; use a hoist rated for it, with slings or eyes made for it, and nobody under it.",
}


def _means(mass_kg: float, limit_kg: float, *, is_drum: bool) -> Means:
    if mass_kg <= limit_kg:
        return Means.ONE_PERSON
    if mass_kg <= LOAD_CONSTANT_KG:
        return Means.TWO_PERSONS
    if mass_kg > HOIST_FROM_KG:
        return Means.HOIST
    return Means.DRUM_TROLLEY if is_drum else Means.PALLET_TRUCK
