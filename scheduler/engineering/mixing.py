"""Whether one fluid may be poured into a system that holds another, before anybody pours.

Families are those of ISO 6743-4. NEVER is said where a rule of general practice is known, MAY only for the very same
fluid; all else is ASK: additives of two oils may work against each other even where base, family and grade agree, so
the fluid makers are asked, and a small sample is mixed by the laboratory. How much was poured is not looked at: no
amount makes a wrong family right.

The rules are general practice of handbooks and of the standards' own guidance, all from memory: ISO 7745
(fire-resistant fluids, guidelines for use) keeps fluids of different types apart; ISO 15380, annex A (change from
mineral oil), allows a small rest of mineral oil only, about 2 %. Both fluid makers' sheets govern.
"""

from dataclasses import dataclass
from enum import StrEnum

from scheduler.engineering.oil import MINERAL_FAMILIES, Fluid, called
from scheduler.vocabulary import FluidFamily

WATER_CONTAINING = frozenset({FluidFamily.HFAE, FluidFamily.HFAS, FluidFamily.HFB, FluidFamily.HFC})
"""ISO 12922: emulsions, solutions and water glycol."""

FIRE_RESISTANT = WATER_CONTAINING | {FluidFamily.HFDR, FluidFamily.HFDU}
"""ISO 12922."""

ENVIRONMENTAL = frozenset({FluidFamily.HETG, FluidFamily.HEPG, FluidFamily.HEES, FluidFamily.HEPR})
"""ISO 15380."""


class MixFit(StrEnum):
    """May be poured; only after the fluid makers were asked; never."""

    MAY = "may"
    ASK = "ask"
    NEVER = "never"


@dataclass(frozen=True, slots=True)
class MixVerdict:
    """Whether the poured fluid may go in, and why, in sentences that name both fluids."""

    fit: MixFit
    says: str


def mixing(in_system: Fluid, poured: Fluid) -> MixVerdict:
    """Whether `poured` may go into a system that holds `in_system`: the gravest of what is known decides.

    Which of the two is in the system matters: mineral oil thins out a fire-resistant fluid, not the other way round.

    >>> hm, hfc = Fluid("A", family=FluidFamily.HM, grade=46), Fluid("B", family=FluidFamily.HFC, grade=46)
    >>> mixing(hm, hfc).fit, mixing(hm, hm).fit
    (<MixFit.NEVER: 'never'>, <MixFit.MAY: 'may'>)
    """
    if in_system.code == poured.code:
        return MixVerdict(MixFit.MAY, f"{called(poured)} is what the system holds.")
    both = f"{called(poured)} into {called(in_system)}"
    if in_system.family is None or poured.family is None:
        unknown = poured if poured.family is None else in_system
        says = f"{both}: the family of {called(unknown)} is not recorded, so nothing can be said; {_ASK}."
        return MixVerdict(MixFit.ASK, says)
    if never := _never(in_system.family, poured.family):
        return MixVerdict(MixFit.NEVER, f"Do not pour {both}: {never}.")
    return MixVerdict(MixFit.ASK, f"{both}: {'; '.join(_open_questions(in_system, poured))}; {_ASK}.")


_ASK = "ask both fluid makers before pouring"


def _never(held: FluidFamily, poured: FluidFamily) -> str | None:
    """The rule of general practice that forbids it, None where none is known."""
    pair = {held, poured}
    why = None
    if held is poured:
        return None
    if pair & WATER_CONTAINING:
        why = _never_with_water(pair, held, poured)
    elif FluidFamily.HFDR in pair:
        why = (
            f"{poured} and {held} want different seals, and phosphate ester (HFDR) attacks the paints, hoses and "
            "seals of other systems"
        )
    elif FluidFamily.HEPG in pair:
        why = (
            f"polyglycol (HEPG) does not dissolve in {next(iter(pair - {FluidFamily.HEPG}))} fluid and leaves sludge"
        )
    elif held is FluidFamily.HFDU:
        why = f"{poured} fluid burns, and takes from {held} its fire resistance"
    elif held in ENVIRONMENTAL and poured in MINERAL_FAMILIES:
        why = (
            f"mineral oil ({poured}) takes from {held} its harmlessness to soil and water; only about 2 % may stay "
            "from a change of fluid (ISO 15380, annex A, from memory)"
        )
    return why


def _never_with_water(pair: set[FluidFamily], held: FluidFamily, poured: FluidFamily) -> str | None:
    if pair == {FluidFamily.HFC, FluidFamily.HEPG}:
        return None  # both are polyglycol; of this pair no general practice is known
    if pair <= WATER_CONTAINING:
        return f"{poured} and {held} hold different amounts of water, and emulsions break (ISO 7745, from memory)"
    with_water = poured if poured in WATER_CONTAINING else held
    return f"{with_water} contains water: the two part or curdle, and bearings run without a film of oil"


def _open_questions(in_system: Fluid, poured: Fluid) -> list[str]:
    found = []
    if in_system.family is not poured.family:
        found.append(
            f"family {poured.family} into {in_system.family} (ISO 6743-4), additives may work against each other"
        )
    elif poured.family is FluidFamily.HFDU:
        found.append("HFDU is a name for fluids of several kinds of base")
    if in_system.grade is None or poured.grade is None:
        unknown = poured if poured.grade is None else in_system
        found.append(f"the viscosity grade of {called(unknown)} is not recorded")
    elif in_system.grade != poured.grade:
        found.append(
            f"ISO VG {poured.grade} into ISO VG {in_system.grade}, the mixture is "
            f"{'thicker' if poured.grade > in_system.grade else 'thinner'} than specified"
        )
    if not found:
        found.append("family and grade are the same, but it is another maker's or another name, additives may differ")
    return found
