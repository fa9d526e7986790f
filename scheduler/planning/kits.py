"""What each task needs from the store, and from which shelf and lot it comes.

Needs are met in the order of the work: issued before drafts, then by date. Of a part the lot that expires first is
taken first, one that has expired by the day of the job never. What is not there is a shortage with the day on
which supply arrives.
"""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace

from scheduler.engineering.oil import SealFit, seal_verdict
from scheduler.vocabulary import ElementKind, FluidFamily, TaskKind

Subject = tuple[str, str, TaskKind]
"""System, position and kind of work: what an open task is known by."""

RENEWAL_OF: dict[ElementKind, TaskKind] = {
    ElementKind.ELEMENT: TaskKind.CHANGE_ELEMENT,
    ElementKind.STRAINER: TaskKind.SERVICE_STRAINER,
    ElementKind.BREATHER: TaskKind.CHANGE_BREATHER,
}
"""The work by which each kind of element begins a new life."""

RENEWS = frozenset(RENEWAL_OF.values())


@dataclass(frozen=True, slots=True)
class Need:
    """Pieces of a part; `or_else` may stand in, best first. `beside` names what goes with each part that the first
    need of the task may be met with, where that is not this part: an alternate's own seal kit."""

    part_number: str
    quantity: int
    or_else: tuple[str, ...] = ()
    beside: Mapping[str, str] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class TaskNeeds:
    subject: Subject
    issued: bool
    planned_day: float
    needs: tuple[Need, ...]
    held: str = ""  # the part that the first need has been met with already


@dataclass(frozen=True, slots=True)
class KitSpec:
    """What a position takes: its element, seal kit and the plant's own kit lines.

    A strainer that is `cleaned` goes back in, so that only its seals are needed, unless it is `worn_out`: it has had
    the `max_cleanings` that its maker allows. `seal_kits` are those of alternates that have another than `seal_kit`.
    `oil_lost_L` is what its housing holds, None where nobody told, of the `fluid` that its system must have.
    """

    part_number: str
    quantity: int
    or_else: tuple[str, ...] = ()
    seal_kit: str | None = None
    seal_kits: Mapping[str, str] = field(default_factory=dict)
    lines: tuple[tuple[str, int], ...] = ()
    cleaned: bool = False
    max_cleanings: int | None = None
    worn_out: bool = False
    oil_lost_L: float | None = None
    fluid: str | None = None


@dataclass(frozen=True, slots=True)
class ShelfLot:
    """Pieces of one part and lot on one shelf; `expires_day` None keeps for ever."""

    part_number: str
    store: str
    lot: str
    bin: str
    quantity: int
    expires_day: float | None


@dataclass(frozen=True, slots=True)
class Arrival:
    """Pieces on order."""

    part_number: str
    order: str
    line: str
    quantity: int
    arrives_day: float


@dataclass(frozen=True, slots=True)
class Pick:
    """One line of a kit: taken from one lot, or short (`shelf` None) until `arrival` comes."""

    subject: Subject
    part_number: str
    instead_of: str | None
    quantity: int
    shelf: ShelfLot | None
    arrival: Arrival | None = None


@dataclass(slots=True)
class _Store:
    """What is left while the needs are met one after the other."""

    left: dict[ShelfLot, int]
    coming: dict[Arrival, int]
    by_part: dict[str, list[ShelfLot]] = field(default_factory=dict)
    arrivals: dict[str, list[Arrival]] = field(default_factory=dict)


def needs_of(kind: TaskKind, spec: KitSpec | None, alternates: Mapping[str, tuple[str, ...]]) -> tuple[Need, ...]:
    """The needs of one task, element first. One seal kit a position; a plant that needs more has a kit line."""
    if spec is None or kind not in RENEWS:
        return ()
    needs = []
    if not (kind is TaskKind.SERVICE_STRAINER and spec.cleaned and not spec.worn_out):
        needs.append(Need(spec.part_number, spec.quantity, spec.or_else))
    listed = dict(spec.lines)
    if spec.seal_kit and spec.seal_kit not in listed:
        needs.append(Need(spec.seal_kit, 1, alternates.get(spec.seal_kit, ()), spec.seal_kits))
    needs += [
        Need(part, quantity, alternates.get(part, ()), spec.seal_kits if part == spec.seal_kit else {})
        for part, quantity in spec.lines
    ]
    return tuple(needs)


def standing_in(
    part_number: str, alternates: Mapping[str, tuple[str, ...]], seals: Mapping[str, str], family: FluidFamily | None
) -> tuple[str, ...]:
    """The alternates of a part, best first, without those whose seals do not stand the fluid."""
    return tuple(
        part
        for part in alternates.get(part_number, ())
        if seal_verdict(family, seals.get(part)).fit is not SealFit.UNSUITABLE
    )


def without_reserved(needs: Iterable[Need], reserved: Mapping[str, int]) -> tuple[Need, ...]:
    """What of the needs is not yet reserved; `reserved` holds pieces by the part that was needed."""
    left = ((need, need.quantity - reserved.get(need.part_number, 0)) for need in needs)
    return tuple(replace(need, quantity=quantity) for need, quantity in left if quantity > 0)


def pick_all(
    work: Iterable[TaskNeeds], lots: Iterable[ShelfLot], supply: Iterable[Arrival], as_of_day: float
) -> list[Pick]:
    """Picks for every need, shortages included; no piece is promised twice.

    What is overdue is done on `as_of_day` at the earliest, with parts that have not expired until then.
    """
    store = _Store({lot: lot.quantity for lot in lots}, {arrival: arrival.quantity for arrival in supply})
    for lot in sorted(store.left, key=_first_to_take):
        store.by_part.setdefault(lot.part_number, []).append(lot)
    for arrival in sorted(store.coming, key=lambda a: (a.arrives_day, a.order, a.line)):
        store.arrivals.setdefault(arrival.part_number, []).append(arrival)
    picks: list[Pick] = []
    for task in sorted(work, key=lambda task: (not task.issued, task.planned_day, task.subject)):
        fitted = task.held
        for need in task.needs:
            met = _meet(task.subject, need, need.beside.get(fitted), max(task.planned_day, as_of_day), store)
            fitted = fitted or met[0].part_number
            picks += met
    return picks


def _first_to_take(lot: ShelfLot) -> tuple[float, str, str]:
    return (float("inf") if lot.expires_day is None else lot.expires_day, lot.store, lot.lot)


def _usable(store: _Store, part_number: str, job_day: float) -> list[ShelfLot]:
    return [
        lot
        for lot in store.by_part.get(part_number, [])
        if store.left[lot] > 0 and (lot.expires_day is None or lot.expires_day > job_day)
    ]


def _meet(subject: Subject, need: Need, other: str | None, job_day: float, store: _Store) -> list[Pick]:
    """With `other` in place of the part itself, where what is fitted asks for it."""
    wanted = other or need.part_number
    parts = (wanted,) if other else (need.part_number, *need.or_else)
    # One part number for the whole need if any can give it: parallel elements must be alike.
    whole = next(
        (part for part in parts if sum(store.left[lot] for lot in _usable(store, part, job_day)) >= need.quantity),
        wanted,
    )
    picks: list[Pick] = []
    missing = need.quantity
    instead_of = None if whole == need.part_number else need.part_number
    for lot in _usable(store, whole, job_day):
        taken = min(missing, store.left[lot])
        if taken:
            store.left[lot] -= taken
            missing -= taken
            picks.append(Pick(subject, whole, instead_of, taken, lot))
    if missing:
        short_of = None if wanted == need.part_number else need.part_number
        picks.append(Pick(subject, wanted, short_of, missing, None, _promise(parts, missing, store)))
    return picks


def _promise(parts: Sequence[str], missing: int, store: _Store) -> Arrival | None:
    """The first supply that covers what is missing, of the part itself before what may stand in for it."""
    for part in parts:
        coming = store.arrivals.get(part, [])
        if sum(store.coming[arrival] for arrival in coming) < missing:
            continue  # too little is promised to nobody: another task may need no more than that
        for arrival in coming:
            taken = min(missing, store.coming[arrival])
            store.coming[arrival] -= taken
            missing -= taken
            if missing == 0:
                return arrival
    return None
