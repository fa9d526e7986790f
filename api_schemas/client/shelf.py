"""Whether what was taken from the shelf is right for a job, by a carried sheet and without a network.

`RIGHT` means that the service, asked at the moment of the sheet, would not have refused it nor asked anybody;
`WRONG` that it would have refused it. Everything else is `CANNOT_TELL`: then somebody who knows is asked.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime
from enum import StrEnum

from api_schemas.checks import CheckIn
from api_schemas.packs import CheckSheet, FluidLot, Objection, Pack, PartLot, SheetFluid, SheetPart
from api_schemas.quantities import Volume

LITRES_IN = {
    **dict.fromkeys(("L", "l", "dm3"), 1.0),
    **dict.fromkeys(("mL", "ml"), 0.001),
    "m3": 1000.0,
    "gal": 3.785411784,
    "gal_imp": 4.54609,
}
"""NIST SP 811 (2008), appendix B.8: gallon (U.S.), and gallon (Canadian and U.K.)."""

_MARGIN_L = 0.01
"""So much more than there is room for is surely too much; the service itself has a tolerance (ours)."""

_SURELY_SAME, _PERHAPS_SAME = 0.0099, 0.0101
"""Of a container's litres. The service takes sizes within 1 % for the same; at its edge it cannot be told."""


class Verdict(StrEnum):
    """What a comparison comes to."""

    RIGHT = "right"
    WRONG = "wrong"
    CANNOT_TELL = "cannot_tell"


@dataclass(frozen=True, slots=True)
class Compared:
    """One thing that was compared: `about` is part, lot, fluid, level or sheet."""

    verdict: Verdict
    about: str
    says: str


_GRAVITY = {Verdict.RIGHT: 0, Verdict.CANNOT_TELL: 1, Verdict.WRONG: 2}


def verdict_of(compared: Sequence[Compared]) -> Verdict:
    """The worst of all; nothing compared is nothing known."""
    return max((each.verdict for each in compared), key=_GRAVITY.__getitem__, default=Verdict.CANNOT_TELL)


def compare(pack: Pack, told: CheckIn, at: datetime, *, level_changed: bool = False) -> list[Compared]:
    """Everything that was scanned against the sheet of `told.task`, for a job at `at`; the worst first.

    `level_changed`: oil was poured or the level was seen since the sheet was made, which it does not know.
    Raises ValueError where the pack has no sheet for that task, for an amount that is not above 0, and for a time
    without an offset.
    """
    if at.tzinfo is None:
        raise ValueError(f"{at.isoformat()} has no offset; where is it that late?")
    sheet = next((each for each in pack.sheets if each.task == told.task), None)
    if sheet is None:
        raise ValueError(f"work order {pack.order.id} has no check sheet for task {told.task}")
    for amount in (told.container, told.volume):
        if amount is not None:
            _litres(amount)
    found = [*_age(pack, at), *_part(sheet, told, at), *_fluid(sheet, told, at)]
    if told.volume is not None:
        found.append(_pour(sheet, _litres(told.volume), at, known=not level_changed and at >= pack.made_at))
    return sorted(found, key=lambda each: -_GRAVITY[each.verdict])


def _age(pack: Pack, at: datetime) -> Iterator[Compared]:
    if at > pack.good_until:
        says = (
            f"The sheet is of {pack.made_at:%Y-%m-%d} and was good until {pack.good_until:%Y-%m-%d}: fetch it anew."
        )
        yield Compared(Verdict.CANNOT_TELL, "sheet", says)


def _part(sheet: CheckSheet, told: CheckIn, at: datetime) -> Iterator[Compared]:
    part = told.part_number
    if part is None:
        return
    if not sheet.position:
        yield Compared(Verdict.CANNOT_TELL, "part", f"The job is on the whole system: {part} belongs to a position.")
        return
    listed = next((each for each in sheet.parts if each.part_number == part), None)
    if listed is None:
        specified = sheet.parts[0].part_number
        says = f"{part} is neither the specified {specified}, nor a listed alternate, nor of the job's kit."
        yield Compared(Verdict.WRONG, "part", says)
        return
    yield _objected("part", part, listed)
    yield _aged(f"{part}", told.lot, [listed.lots], at)


def _objected(about: str, name: str, listed: SheetPart | SheetFluid) -> Compared:
    if listed.objection is None:
        return Compared(Verdict.RIGHT, about, f"{name} is right.")
    verdict = Verdict.WRONG if listed.objection is Objection.REFUSE else Verdict.CANNOT_TELL
    return Compared(verdict, about, " ".join(listed.says))


def _aged(name: str, lot: str | None, readings: Sequence[Sequence[PartLot | FluidLot]], at: datetime) -> Compared:
    """Of each way to read which lots are meant, whether what was scanned is past its date."""
    if lot is None:
        old = [each for lots in readings for each in lots if each.expires_at is not None and each.expires_at <= at]
        if not old:
            return Compared(Verdict.RIGHT, "lot", f"No lot of {name} on the sheet has expired.")
        says = f"Lot {old[0].lot or 'without a number'} of {name} has expired: read the lot, and say it."
        return Compared(Verdict.CANNOT_TELL, "lot", says)
    known = [[each.expires_at for each in lots if each.lot == lot] for lots in readings]
    if not all(known):
        says = f"Lot {lot} of {name} is not on the sheet: read on it until when it may be used."
        return Compared(Verdict.CANNOT_TELL, "lot", says)
    until = [max((each for each in dates if each is not None), default=None) for dates in known]
    expired = [each is not None and each <= at for each in until]
    if all(expired):
        return Compared(Verdict.WRONG, "lot", f"Lot {lot} of {name} expired on {until[0]:%Y-%m-%d}: do not use it.")
    if any(expired):
        says = (
            f"Lot {lot} of {name} has expired in containers of one size: read on this one until when it may be used."
        )
        return Compared(Verdict.CANNOT_TELL, "lot", says)
    return Compared(Verdict.RIGHT, "lot", f"Lot {lot} of {name} has not expired.")


def _fluid(sheet: CheckSheet, told: CheckIn, at: datetime) -> Iterator[Compared]:
    name = told.fluid or told.label
    if name is None:
        return
    listed = next(iter(_meant(sheet, told)), None)
    if listed is None:
        specified = _called(sheet.fluids[0])
        says = f"'{name}' is not in the plant's list of fluids; specified is {specified}. Ask before it is opened."
        yield Compared(Verdict.CANNOT_TELL, "fluid", says)
        return
    yield _objected("fluid", _called(listed), listed)
    if listed.objection is None:
        yield _aged(_called(listed), told.fluid_lot, _of_size(listed.lots, told), at)


def _meant(sheet: CheckSheet, told: CheckIn) -> list[SheetFluid]:
    if told.fluid is not None:
        return [each for each in sheet.fluids if each.fluid == told.fluid]
    label = _bare(told.label or "")
    return [each for each in sheet.fluids if label in (_bare(each.name or ""), _bare(each.fluid))]


def _of_size(lots: Sequence[FluidLot], told: CheckIn) -> list[Sequence[FluidLot]]:
    """Those of the container's size, if the lot is there in that size: read strictly and read generously."""
    if told.container is None or told.fluid_lot is None:
        return [lots]
    size_L = _litres(told.container)
    own = [each for each in lots if each.lot == told.fluid_lot]
    return [
        [each for each in own if abs(_litres(each.container) - size_L) <= share * size_L] or own
        for share in (_SURELY_SAME, _PERHAPS_SAME)
    ]


def _pour(sheet: CheckSheet, pour_L: float, at: datetime, *, known: bool) -> Compared:
    room = sheet.room
    certain_L, reservoir_L = _litres(room.certain, at_least=0.0), _litres(room.reservoir)
    says = f"{pour_L:g} L: {room.says}"
    if not known:
        if pour_L > reservoir_L + certain_L + _MARGIN_L:
            return Compared(Verdict.WRONG, "level", f"{pour_L:g} L is more than the whole reservoir.")
        return Compared(Verdict.CANNOT_TELL, "level", f"{pour_L:g} L: the level is another since; look at it again.")
    if pour_L <= certain_L:
        return Compared(Verdict.RIGHT, "level", f"There is room for {pour_L:g} L.")
    refused = room.refused_until is not None and at <= room.refused_until
    if pour_L > certain_L + _MARGIN_L and (refused or pour_L > reservoir_L + _MARGIN_L):
        return Compared(Verdict.WRONG, "level", says)
    return Compared(Verdict.CANNOT_TELL, "level", says)


def _called(fluid: SheetFluid) -> str:
    return f"{fluid.fluid} ({fluid.name})" if fluid.name else fluid.fluid


def _bare(name: str) -> str:
    """As names are compared: without case and doubled spaces."""
    return " ".join(name.split()).casefold()


def _litres(volume: Volume, *, at_least: float | None = None) -> float:
    volume_L = volume.value * LITRES_IN[volume.unit]
    if not volume_L > 0.0 and at_least != volume_L:
        raise ValueError(f"{volume.value:g} {volume.unit} must be above 0 {volume.unit}")
    return volume_L
