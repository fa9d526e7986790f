"""The oil that a job loses and has to put back: which containers it comes from, and what is short.

Litres are met in the order of the work, as pieces are: issued before drafts, then by date. Of a fluid an opened
container is used up first, then the lot that expires first; what has expired by the day of the job never, and no
other fluid ever stands in. Containers are not reserved whole: several jobs may draw from one drum.
"""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from typing import Any

from scheduler.planning.kits import RENEWS, KitSpec, Subject
from scheduler.vocabulary import TaskKind

LEAST_L = 0.005
"""Less than this is not picked: a few drops (ours)."""


@dataclass(frozen=True, slots=True)
class OilNeed:
    """Litres of a fluid for one task, `reserved_L` of them held already."""

    subject: Subject
    issued: bool
    planned_day: float
    fluid: str
    volume_L: float
    reserved_L: float = 0.0


@dataclass(frozen=True, slots=True)
class OilShelf:
    """What is left of one lot of a fluid in containers of one size; `expires_day` None keeps for ever."""

    fluid: str
    store: str
    lot: str
    container_L: float
    left_L: float
    opened: bool
    expires_day: float | None


@dataclass(frozen=True, slots=True)
class OilArrival:
    """Litres on order."""

    fluid: str
    order: str
    line: str
    volume_L: float
    arrives_day: float


@dataclass(frozen=True, slots=True)
class OilPick:
    """Litres taken from one lot, or short (`shelf` None) until `arrival` comes."""

    subject: Subject
    fluid: str
    volume_L: float
    shelf: OilShelf | None
    arrival: OilArrival | None = None


@dataclass(slots=True)
class _Left:
    of_shelf: dict[OilShelf, float]
    of_arrival: dict[OilArrival, float]
    by_fluid: dict[str, list[OilShelf]] = field(default_factory=dict)


def oil_need(kind: TaskKind, spec: KitSpec | None, because: Mapping[str, Any]) -> tuple[str | None, float]:
    """What has to be poured, and how many litres: what the housing loses, or what the level lacks.

    0 where nobody told. `because` is what raised the task.
    """
    if kind is TaskKind.TOP_UP:
        facts = because.get("facts", {})
        return facts.get("fluid"), max(float(facts.get("missing_L", 0.0)), 0.0)
    if spec is None or kind not in RENEWS:
        return None, 0.0
    return spec.fluid, spec.oil_lost_L or 0.0


def pick_oil(
    needs: Iterable[OilNeed], shelves: Iterable[OilShelf], supply: Iterable[OilArrival], as_of_day: float
) -> list[OilPick]:
    """Picks for every need, shortages included; no litre is promised twice."""
    left = _Left({shelf: shelf.left_L for shelf in shelves}, {each: each.volume_L for each in supply})
    for shelf in sorted(left.of_shelf, key=_first_to_take):
        left.by_fluid.setdefault(shelf.fluid, []).append(shelf)
    picks: list[OilPick] = []
    for need in sorted(needs, key=lambda need: (not need.issued, need.planned_day, need.subject)):
        picks += _meet(need, max(need.planned_day, as_of_day), left)
    return picks


def _first_to_take(shelf: OilShelf) -> tuple[bool, float, str, str, float]:
    expires = float("inf") if shelf.expires_day is None else shelf.expires_day
    return (not shelf.opened, expires, shelf.store, shelf.lot, shelf.container_L)


def _meet(need: OilNeed, job_day: float, left: _Left) -> list[OilPick]:
    picks: list[OilPick] = []
    missing_L = need.volume_L - need.reserved_L
    for shelf in left.by_fluid.get(need.fluid, []):
        taken_L = min(missing_L, left.of_shelf[shelf])
        keeps = shelf.expires_day is None or shelf.expires_day > job_day
        if keeps and taken_L >= LEAST_L:
            left.of_shelf[shelf] -= taken_L
            missing_L -= taken_L
            picks.append(OilPick(need.subject, need.fluid, taken_L, shelf))
    if missing_L >= LEAST_L:
        picks.append(OilPick(need.subject, need.fluid, missing_L, None, _promise(need.fluid, missing_L, left)))
    return picks


def _promise(fluid: str, missing_L: float, left: _Left) -> OilArrival | None:
    """The supply that covers the last of what is missing; none where it is too little, which another job may use."""
    coming = sorted(
        (each for each in left.of_arrival if each.fluid == fluid),
        key=lambda each: (each.arrives_day, each.order, each.line),
    )
    if sum(left.of_arrival[each] for each in coming) < missing_L:
        return None
    for each in coming:
        taken_L = min(missing_L, left.of_arrival[each])
        left.of_arrival[each] -= taken_L
        missing_L -= taken_L
        if missing_L < LEAST_L:
            return each
    return None
