"""Which oil goes in, and whether an element's seals stand it.

Families are those of ISO 6743-4. The seal table is general practice as printed in handbooks; the fluid
maker's sheet governs. Where the table is silent the verdict is "unknown": nothing is guessed.
"""

import re
from dataclasses import dataclass
from enum import StrEnum

from scheduler.vocabulary import FluidFamily

MINERAL_FAMILIES = frozenset({FluidFamily.HH, FluidFamily.HL, FluidFamily.HM, FluidFamily.HV, FluidFamily.HG})
"""Mineral oils (ISO 11158)."""


class SealMaterial(StrEnum):
    """Elastomers of seals, by their ISO 1629 symbols, and PTFE."""

    NBR = "NBR"
    HNBR = "HNBR"
    FKM = "FKM"
    EPDM = "EPDM"
    PTFE = "PTFE"


class SealFit(StrEnum):
    COMPATIBLE = "compatible"
    UNSUITABLE = "unsuitable"
    UNKNOWN = "unknown"


@dataclass(frozen=True, slots=True)
class SealVerdict:
    """Whether seals stand a fluid, and why, in a sentence."""

    fit: SealFit
    says: str


class DifferenceKind(StrEnum):
    """In what one fluid is not the other; unknown where a sheet is silent."""

    FAMILY = "family"
    GRADE = "grade"
    NAME = "name"
    UNKNOWN = "unknown"


@dataclass(frozen=True, slots=True)
class FluidDifference:
    """One difference between two fluids, in a sentence."""

    kind: DifferenceKind
    says: str


@dataclass(frozen=True, slots=True)
class Fluid:
    """A fluid as the plant lists it; None where the sheet does not say."""

    code: str
    name: str | None = None
    family: FluidFamily | None = None
    grade: int | None = None


_MINERAL_SEALS: dict[SealMaterial, tuple[SealFit, str]] = {
    **dict.fromkeys((SealMaterial.NBR, SealMaterial.HNBR, SealMaterial.FKM), (SealFit.COMPATIBLE, "")),
    SealMaterial.EPDM: (SealFit.UNSUITABLE, "EPDM swells in mineral oil"),
}

_OIL_AND_WATER_SEALS: dict[SealMaterial, tuple[SealFit, str]] = {
    **dict.fromkeys((SealMaterial.NBR, SealMaterial.FKM), (SealFit.COMPATIBLE, "")),
    SealMaterial.EPDM: (SealFit.UNSUITABLE, "EPDM swells in the oil of an emulsion"),
}

SEAL_TABLE: dict[FluidFamily, dict[SealMaterial, tuple[SealFit, str]]] = {
    **dict.fromkeys(MINERAL_FAMILIES, _MINERAL_SEALS),
    FluidFamily.HEPR: _MINERAL_SEALS,
    **dict.fromkeys((FluidFamily.HFAE, FluidFamily.HFB), _OIL_AND_WATER_SEALS),
    FluidFamily.HEES: {
        SealMaterial.FKM: (SealFit.COMPATIBLE, ""),
        SealMaterial.NBR: (SealFit.UNKNOWN, "only NBR with a high acrylonitrile content stands HEES"),
    },
    FluidFamily.HFC: dict.fromkeys((SealMaterial.NBR, SealMaterial.EPDM), (SealFit.COMPATIBLE, "")),
    FluidFamily.HFDR: {
        SealMaterial.EPDM: (SealFit.COMPATIBLE, ""),
        SealMaterial.FKM: (SealFit.UNKNOWN, "only special grades of FKM stand HFDR"),
        SealMaterial.NBR: (SealFit.UNSUITABLE, "HFDR attacks NBR"),
        SealMaterial.HNBR: (SealFit.UNSUITABLE, "HFDR attacks HNBR as it does NBR"),
    },
    FluidFamily.HFDU: {
        SealMaterial.FKM: (SealFit.COMPATIBLE, ""),
        SealMaterial.NBR: (SealFit.UNKNOWN, "whether NBR stands HFDU depends on its base"),
    },
    FluidFamily.HETG: {SealMaterial.FKM: (SealFit.COMPATIBLE, "")},
}
"""General practice (handbook reproductions; HFAE, HFB, HFDU, HETG, HEPR and HNBR in HFDR from memory: HEPR is a
hydrocarbon like mineral oil). A pair that is not here is unknown."""

_SYMBOLS: dict[str, SealMaterial] = {
    **{material.value: material for material in SealMaterial},
    "NITRILE": SealMaterial.NBR,
    "FPM": SealMaterial.FKM,
    **dict.fromkeys(("EPM", "EPR"), SealMaterial.EPDM),
}
_WORD = re.compile("|".join(sorted((rf"(?<![A-Z]){symbol}(?![A-Z])" for symbol in _SYMBOLS), reverse=True)))


def seal_materials(seals_text: str | None) -> tuple[SealMaterial, ...]:
    """The materials named in a catalogue's free text, in order; empty where none is recognised.

    >>> [str(material) for material in seal_materials("FPM (brown), back-up ring PTFE")]
    ['FKM', 'PTFE']
    """
    found = _WORD.findall((seals_text or "").upper())
    return tuple(dict.fromkeys(_SYMBOLS[symbol] for symbol in found))


def seal_verdict(family: FluidFamily | None, seals_text: str | None) -> SealVerdict:
    """Whether the seals named in the text stand the fluid family: the worst of the materials decides.

    >>> seal_verdict(FluidFamily.HM, "EPDM").fit
    <SealFit.UNSUITABLE: 'unsuitable'>
    """
    if family is None:
        return SealVerdict(SealFit.UNKNOWN, "The fluid's family is not recorded; ask for the fluid maker's sheet.")
    materials = seal_materials(seals_text)
    if not materials:
        named = f"'{seals_text}' names no known seal material" if seals_text else "no seal material is recorded"
        return SealVerdict(SealFit.UNKNOWN, f"For {family} fluid: {named}; ask for the fluid maker's sheet.")
    verdicts = [_verdict_of(family, material) for material in materials]
    return max(verdicts, key=lambda verdict: _GRAVITY[verdict.fit])


def fluid_differences(specified: Fluid, poured: Fluid) -> list[FluidDifference]:
    """Every known difference between two fluids, and each thing that cannot be told; empty for the same fluid.

    Codes decide whether two fluids are the same. Of different ones the grade comes first, then the family; where both
    are the same it is the name alone. A fluid is never taken to be right because nothing is known of it.

    >>> [str(each.kind) for each in fluid_differences(Fluid("A", grade=46), Fluid("B", grade=68))]
    ['grade', 'unknown']
    """
    if specified.code == poured.code:
        return []
    found: list[FluidDifference] = []
    if specified.grade is None or poured.grade is None:
        unknown = poured if poured.grade is None else specified
        says = f"The viscosity grade of {called(unknown)} is not recorded, so it cannot be compared."
        found.append(FluidDifference(DifferenceKind.UNKNOWN, says))
    elif specified.grade != poured.grade:
        says = f"Viscosity grade ISO VG {poured.grade} instead of ISO VG {specified.grade}."
        found.append(FluidDifference(DifferenceKind.GRADE, says))
    if specified.family is None or poured.family is None:
        unknown = poured if poured.family is None else specified
        says = f"The family of {called(unknown)} is not recorded, so it cannot be told whether they mix."
        found.append(FluidDifference(DifferenceKind.UNKNOWN, says))
    elif specified.family != poured.family:
        says = f"Fluid family {poured.family} instead of {specified.family} (ISO 6743-4)."
        found.append(FluidDifference(DifferenceKind.FAMILY, says))
    if not found:
        says = "Family and grade are the same, but additives may differ: ask the fluid makers about mixing."
        found.append(FluidDifference(DifferenceKind.NAME, says))
    return found


def fluid_mismatch(specified: Fluid, poured: Fluid) -> list[str]:
    """Every reason why the poured fluid is not the specified one, in sentences; empty for the same fluid.

    >>> specified = Fluid("A", family=FluidFamily.HM, grade=46)
    >>> fluid_mismatch(specified, Fluid("B", family=FluidFamily.HM, grade=68))[1]
    'Viscosity grade ISO VG 68 instead of ISO VG 46.'
    """
    differences = fluid_differences(specified, poured)
    if not differences:
        return []
    return [not_specified(specified, poured), *(each.says for each in differences)]


def not_specified(specified: Fluid, poured: Fluid) -> str:
    """The sentence that one fluid is not the other."""
    return f"{called(poured)} is not the specified {called(specified)}."


_GRAVITY = {SealFit.COMPATIBLE: 0, SealFit.UNKNOWN: 1, SealFit.UNSUITABLE: 2}


def _verdict_of(family: FluidFamily, material: SealMaterial) -> SealVerdict:
    if material is SealMaterial.PTFE:  # inert in every fluid of the list; common practice, no source
        return SealVerdict(SealFit.COMPATIBLE, f"{material} stands {family} fluid (common practice).")
    listed = SEAL_TABLE.get(family, {}).get(material)
    if listed is None:
        says = f"{material} seals in {family} fluid: no general practice known; the fluid maker's sheet governs."
        return SealVerdict(SealFit.UNKNOWN, says)
    fit, why = listed
    if fit is SealFit.COMPATIBLE:
        says = f"{material} seals suit {family} fluid by general practice; the fluid maker's sheet governs."
    elif fit is SealFit.UNSUITABLE:
        says = f"{material} seals do not suit {family} fluid by general practice: {why}; do not fit."
    else:
        says = f"{material} seals in {family} fluid: {why}; the fluid maker's sheet governs."
    return SealVerdict(fit, says)


def called(fluid: Fluid) -> str:
    """How a sentence names the fluid: its code, and the plant's name for it where there is one."""
    return f"{fluid.code} ({fluid.name})" if fluid.name else fluid.code
