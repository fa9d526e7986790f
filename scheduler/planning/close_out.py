"""What a close-out may not say, what of it is not as specified, and what follows from it.

What really happened is never refused for being unwelcome: a wrong element or oil is recorded, once it has been
confirmed with a reason. Refused is only what cannot be true, and the refusal names what is known instead.
"""

from collections.abc import Sequence
from dataclasses import dataclass

from scheduler.engineering.oil import Fluid, fluid_mismatch
from scheduler.planning.shelf_check import Mistake, Objection, Scanned, Wanted, element_findings
from scheduler.vocabulary import RemovalReason, Trigger

HOURS_PER_DAY = 24.0
_SLACK_D = 1.0
"""A meter cannot gain more than 24 h a day; notes are up to a day late (as in the cleaning of readings)."""

CLOCKS_DIFFER_D = 5.0 / (24.0 * 60.0)
"""A device's clock may be a few minutes ahead of ours (ours)."""


@dataclass(frozen=True, slots=True)
class Told:
    """What the person says. Hours None: the meter was not read."""

    at_day: float
    hours: float | None
    changed: bool
    part_number: str
    lot_expires_day: float | None
    fluids: tuple[Fluid, ...]


@dataclass(frozen=True, slots=True)
class Fitted:
    """What is known to sit in the position, and since when."""

    part_number: str
    fitted_day: float


@dataclass(frozen=True, slots=True)
class MeterSeen:
    """A believed reading of the meter; `wraps_at_h` is where its counter starts again, if that is known."""

    day: float
    hours: float
    wraps_at_h: float | None = None


@dataclass(frozen=True, slots=True)
class Specified:
    """What belongs into the position and its system. `seals` are those of the part that was told."""

    part_number: str
    alternates: tuple[str, ...]
    seals: str
    fluid: Fluid


@dataclass(frozen=True, slots=True)
class Untruth:
    """A member that contradicts what is known: `code` names the contradiction, the numbers say with what."""

    member: str
    code: str
    told: float
    known: float | None = None
    known_day: float | None = None


@dataclass(frozen=True, slots=True)
class Departure:
    """Something that is not as specified: the element, its seals, its age on the shelf, or an oil."""

    about: str
    found: str
    specified: str
    says: str


def untruths(
    told: Told, fitted: Fitted | None, before: MeterSeen | None, after: MeterSeen | None, now_day: float
) -> list[Untruth]:
    """Everything that cannot be true, given the readings around the time of the job."""
    found: list[Untruth] = []
    if told.at_day > now_day + CLOCKS_DIFFER_D:
        found.append(Untruth("at", "in-the-future", told.at_day, now_day))
    if fitted is not None and told.changed and told.at_day <= fitted.fitted_day:
        found.append(Untruth("at", "before-the-fitting", told.at_day, fitted.fitted_day))
    if told.hours is not None:
        found += _hours_untruths(told.at_day, told.hours, before, after)
    return found


def _hours_untruths(at_day: float, hours: float, before: MeterSeen | None, after: MeterSeen | None) -> list[Untruth]:
    if before is not None and hours < before.hours and before.wraps_at_h is not None:
        hours_on = hours + before.wraps_at_h
        if hours_on - before.hours <= HOURS_PER_DAY * (at_day - before.day + _SLACK_D):
            return []
    if before is not None and hours < before.hours:
        return [Untruth("hours", "below-earlier-reading", hours, before.hours, before.day)]
    if after is not None and hours > after.hours:
        return [Untruth("hours", "above-later-reading", hours, after.hours, after.day)]
    if before is not None and hours - before.hours > HOURS_PER_DAY * (at_day - before.day + _SLACK_D):
        return [Untruth("hours", "more-than-time-allows", hours, before.hours, before.day)]
    return []


def departures(told: Told, specified: Specified) -> list[Departure]:
    """Everything that is not as specified. An alternate with unsuitable seals is none."""
    found: list[Departure] = []
    if told.changed:
        found += _element_departures(told, specified)
    for fluid in told.fluids:
        reasons = fluid_mismatch(specified.fluid, fluid)
        if reasons:
            found.append(Departure("oil", fluid.code, specified.fluid.code, " ".join(reasons)))
    return found


def _element_departures(told: Told, specified: Specified) -> list[Departure]:
    """What would have been refused before the job. What would only have been asked about is past asking."""
    scanned = Scanned(told.part_number, seals=specified.seals, lot_expires_day=told.lot_expires_day)
    wanted = Wanted(specified.part_number, specified.alternates, specified.fluid)
    found = []
    for each in element_findings(scanned, wanted, told.at_day):
        if each.severity is Objection.REFUSE:
            says = each.says
            if each.mistake is Mistake.EXPIRED_LOT:
                says = f"The lot of {told.part_number} that was fitted had expired by the day of the job."
            found.append(Departure(each.about, each.found, each.specified, says))
    return found


EARLY_BY_D = 7.0
"""A planned change done more than a week before it was due was early: its life says nothing of a limit (ours)."""


def removal_reason(
    told: RemovalReason | None, trigger: Trigger | None, *, ordered: bool, before_due_d: float
) -> RemovalReason:
    """Why the life ended, where the person did not say: by what raised the work; without an order it is unknown.

    Work that the lives before raised is a precaution at the accepted risk, and ends most elements early: taken for
    ends at the limit, such changes would make the next lives look shorter, and the next changes earlier, without end.

    >>> removal_reason(None, Trigger.INDICATOR, ordered=True, before_due_d=0.0)
    <RemovalReason.INDICATOR: 'indicator'>
    """
    if told is not None:
        return told
    if not ordered or trigger is None:
        return RemovalReason.UNKNOWN
    if before_due_d > EARLY_BY_D or trigger is Trigger.LIFE:
        return RemovalReason.EARLY
    return RemovalReason.INDICATOR if trigger is Trigger.INDICATOR else RemovalReason.DUE


def take_from_lots(quantity: int, available: Sequence[tuple[str, int]]) -> tuple[list[tuple[str, int]], int]:
    """How many pieces come from which lot, in the order given, and how many the books do not have.

    >>> take_from_lots(3, [("A", 2), ("B", 0)])
    ([('A', 2)], 1)
    """
    taken: list[tuple[str, int]] = []
    missing = quantity
    for lot, on_hand in available:
        pieces = min(missing, max(on_hand, 0))
        if pieces:
            taken.append((lot, pieces))
            missing -= pieces
    return taken, missing
