"""Whether what was taken from the shelf is what the job needs: asked before anything is opened.

The same comparison is made again of what was really fitted and poured (`close_out`). Before the job a wrong thing is
refused; where it cannot be told, or is a matter for the fluid makers, somebody is asked. An element that the plant
itself specified is not refused for its seals or media: then its specification is in doubt, and that is asked. What is
to be poured must have room above the level that was last seen.
"""

from collections.abc import Iterator
from dataclasses import dataclass, replace
from enum import StrEnum

from scheduler.engineering.media import MediaFit, media_verdict
from scheduler.engineering.mixing import mixing
from scheduler.engineering.oil import (
    DifferenceKind,
    Fluid,
    SealFit,
    called,
    fluid_differences,
    not_specified,
    seal_verdict,
)
from scheduler.engineering.oil_level import LevelSeen, most_to_add, overfill

LOOK_HOLDS_D = 7.0
"""How long a look at the level can forbid a pour; an older one only makes somebody look again (ours)."""

_SMALLEST_L = 0.001


class Mistake(StrEnum):
    """What is not as specified."""

    WRONG_PART = "wrong_part"
    UNSUITABLE_SEAL = "unsuitable_seal"
    UNSUITABLE_MEDIA = "unsuitable_media"
    WRONG_FAMILY = "wrong_family"
    WRONG_GRADE = "wrong_grade"
    OTHER_NAME = "other_name"
    EXPIRED_LOT = "expired_lot"
    EXPIRED_OIL = "expired_oil"
    OVERFILL = "overfill"
    CANNOT_TELL = "cannot_tell"


class Objection(StrEnum):
    """What becomes of it: not to be used, or to be used only after somebody who knows has answered."""

    REFUSE = "refuse"
    ASK = "ask"


@dataclass(frozen=True, slots=True)
class Scanned:
    """What was read from labels and looked up by them: a part, a container, or both; None for what is not known.

    `seals` and `media` are those of the part. `maker_name` is the name printed on the container.
    """

    part_number: str | None = None
    seals: str | None = None
    media: str | None = None
    lot: str | None = None
    lot_expires_day: float | None = None
    fluid: Fluid | None = None
    maker_name: str | None = None
    container_L: float | None = None
    fluid_expires_day: float | None = None


@dataclass(frozen=True, slots=True)
class Wanted:
    """What the job needs: the element or what may stand in for it, the seal kit, the kit's other parts, the fluid."""

    part_number: str
    alternates: tuple[str, ...]
    fluid: Fluid
    seal_kit: str | None = None
    kit_parts: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Look:
    """The look at a system's level that counts, on `day`; where none does, the last one, or nothing with day None."""

    seen: LevelSeen
    day: float | None = None
    poured_since_L: float = 0.0


@dataclass(frozen=True, slots=True)
class Finding:
    """One thing that is not as specified, or of which that cannot be told."""

    mistake: Mistake
    about: str
    severity: Objection
    found: str
    specified: str
    says: str


def check(scanned: Scanned, wanted: Wanted, day: float) -> list[Finding]:
    """Everything that speaks against using what was scanned on that day, refusals first; empty where nothing does.

    >>> from scheduler.vocabulary import FluidFamily
    >>> oil = Fluid("A", family=FluidFamily.HFC, grade=46)
    >>> found = check(Scanned("E-9", seals="NBR", media="paper"), Wanted("E-1", ("E-9",), oil), 0.0)
    >>> [(str(each.mistake), str(each.severity)) for each in found]
    [('unsuitable_media', 'refuse')]
    """
    found: list[Finding] = []
    if scanned.part_number is not None:
        found += element_findings(scanned, wanted, day)
    found += _container_findings(scanned, wanted.fluid, day)
    if scanned.part_number is None and scanned.fluid is None and scanned.maker_name is None:
        says = "No part number and no name of a fluid could be read: nothing can be compared."
        found.append(Finding(Mistake.CANNOT_TELL, "label", Objection.ASK, "", wanted.part_number, says))
    return sorted(found, key=lambda each: each.severity is Objection.ASK)


def element_findings(scanned: Scanned, wanted: Wanted, day: float) -> list[Finding]:
    """What speaks against a part: its number, its seals and media in the fluid, the age of its lot.

    Raises ValueError where no part was scanned.
    """
    part = scanned.part_number
    if part is None:
        raise ValueError("no part was scanned, so none can be compared")
    found: list[Finding] = []
    if part not in (wanted.part_number, *wanted.alternates, wanted.seal_kit, *wanted.kit_parts):
        says = f"{part} is neither the specified {wanted.part_number} nor a listed alternate."
        found.append(Finding(Mistake.WRONG_PART, "element", Objection.REFUSE, part, wanted.part_number, says))
    specified = part in (wanted.part_number, wanted.seal_kit, *wanted.kit_parts)
    found += _attacked(scanned, part, wanted, specified=specified)
    if scanned.lot_expires_day is not None and scanned.lot_expires_day <= day:
        lot = f"Lot {scanned.lot}" if scanned.lot else "The lot"
        says = f"{lot} of {part} expired {_days_before(scanned.lot_expires_day, day)}: do not fit it."
        found.append(Finding(Mistake.EXPIRED_LOT, "expiry", Objection.REFUSE, part, wanted.part_number, says))
    return found


def _attacked(scanned: Scanned, part: str, wanted: Wanted, *, specified: bool) -> Iterator[Finding]:
    """What the fluid attacks of the part. Of a part that the plant specified itself silence is taken for consent."""
    family = wanted.fluid.family
    seals, media = seal_verdict(family, scanned.seals), media_verdict(family, scanned.media)
    severity = Objection.ASK if specified else Objection.REFUSE
    finding = Finding(Mistake.CANNOT_TELL, "seals", Objection.ASK, part, wanted.part_number, seals.says)
    if seals.fit is SealFit.UNSUITABLE:
        yield replace(finding, mistake=Mistake.UNSUITABLE_SEAL, severity=severity)
    elif seals.fit is SealFit.UNKNOWN and not specified:
        yield finding
    finding = replace(finding, about="media", says=media.says)
    if media.fit is MediaFit.UNSUITABLE:
        yield replace(finding, mistake=Mistake.UNSUITABLE_MEDIA, severity=severity)
    elif media.fit is MediaFit.UNKNOWN and scanned.media and not specified:
        yield finding


_BY_DIFFERENCE = {
    DifferenceKind.FAMILY: (Mistake.WRONG_FAMILY, Objection.REFUSE),
    DifferenceKind.GRADE: (Mistake.WRONG_GRADE, Objection.REFUSE),
    DifferenceKind.NAME: (Mistake.OTHER_NAME, Objection.ASK),
    DifferenceKind.UNKNOWN: (Mistake.CANNOT_TELL, Objection.ASK),
}


def oil_findings(specified: Fluid, poured: Fluid) -> list[Finding]:
    """Every difference between a fluid and the specified one, each with what pouring it would do."""
    found = []
    for each in fluid_differences(specified, poured):
        mistake, severity = _BY_DIFFERENCE[each.kind]
        says = f"{not_specified(specified, poured)} {each.says}"
        if each.kind is DifferenceKind.FAMILY:
            says = f"{says} {mixing(specified, poured).says}"
        found.append(Finding(mistake, "oil", severity, poured.code, specified.code, says))
    return found


def pour_findings(
    pour_L: float, look: Look, *, reservoir_volume_L: float, let_out_L: float, day: float
) -> list[Finding]:
    """What speaks against pouring so much on that day.

    let_out_L: what the job itself lets out of the system, which finds room whatever the level was. Where no look
    counts, more than that waits for one. Raises ValueError for litres or a reservoir not above 0.

    >>> look = Look(LevelSeen(True, 12.0, None), day=100.0, poured_since_L=4.0)
    >>> [str(each.mistake) for each in pour_findings(9.0, look, reservoir_volume_L=400.0, let_out_L=0.0, day=101.0)]
    ['overfill']
    """
    amount, missing_L = f"{pour_L:g} L", look.seen.missing_L
    if not look.seen.valid or missing_L is None or look.day is None:
        too_much = overfill(pour_L, LevelSeen(False, None, look.seen.why_not), reservoir_volume_L)
        if too_much is not None:
            return [Finding(Mistake.OVERFILL, "level", Objection.REFUSE, amount, f"{let_out_L:g} L", too_much)]
        if pour_L <= let_out_L + _SMALLEST_L:
            return []
        says = most_to_add(look.seen, reservoir_volume_L).says
        return [Finding(Mistake.CANNOT_TELL, "level", Objection.ASK, amount, f"{let_out_L:g} L", says)]
    room_L = round(missing_L - look.poured_since_L + let_out_L, 3)
    too_much = overfill(pour_L, LevelSeen(True, room_L, None), reservoir_volume_L)
    if too_much is None or pour_L <= room_L + _SMALLEST_L:
        return []
    certain = day - look.day <= LOOK_HOLDS_D or pour_L > reservoir_volume_L
    severity = Objection.REFUSE if certain else Objection.ASK
    says = f"{too_much} {_how_known(look, missing_L, let_out_L, day)}"
    return [Finding(Mistake.OVERFILL, "level", severity, amount, f"{max(room_L, 0.0):g} L", says)]


def _how_known(look: Look, missing_L: float, let_out_L: float, day: float) -> str:
    """From which look the room was reckoned, and with what."""
    when = _days_before(look.day or day, day)
    level = f"{missing_L:g} L below full" if missing_L >= 0.0 else f"{-missing_L:g} L above full"
    said = [f"The level was {level} {when}"]
    if look.poured_since_L > 0.0:
        said.append(f"{look.poured_since_L:g} L have been poured since")
    if let_out_L > 0.0:
        said.append(f"the job lets out {let_out_L:g} L")
    again = "" if day - (look.day or day) <= LOOK_HOLDS_D else " That is long ago: look again."
    return f"{', '.join(said)}.{again}"


def _container_findings(scanned: Scanned, specified: Fluid, day: float) -> list[Finding]:
    found: list[Finding] = []
    if scanned.fluid is not None:
        found += oil_findings(specified, scanned.fluid)
    elif scanned.maker_name is not None and not _same_name(scanned.maker_name, specified.name):
        says = (
            f"The container is labelled '{scanned.maker_name}', which is not in the plant's list of fluids; "
            f"specified is {called(specified)}. Family and grade cannot be compared."
        )
        name = scanned.maker_name
        found.append(Finding(Mistake.CANNOT_TELL, "oil", Objection.ASK, name, specified.code, says))
    if scanned.fluid_expires_day is not None and scanned.fluid_expires_day <= day:
        name = called(scanned.fluid) if scanned.fluid is not None else scanned.maker_name or "fluid"
        what = f"The {scanned.container_L:g} L container of {name}" if scanned.container_L else f"The {name}"
        says = f"{what} expired {_days_before(scanned.fluid_expires_day, day)}: do not pour it."
        found.append(Finding(Mistake.EXPIRED_OIL, "oil", Objection.REFUSE, name, specified.code, says))
    return found


def _same_name(printed: str, listed: str | None) -> bool:
    return listed is not None and printed.split() != [] and bare_name(printed) == bare_name(listed)


def bare_name(name: str) -> str:
    """A name as names are compared: without case and doubled spaces."""
    return " ".join(name.split()).casefold()


def _days_before(expires_day: float, day: float) -> str:
    gone = int(day - expires_day)
    if gone == 0:
        return "on the day of the job"
    return f"{gone} day{'' if gone == 1 else 's'} before the day of the job"
