"""What can hurt, for which task: the cautions of a job card, in the order in which they matter.

The plant's isolation procedure always stands first and the denial last: the sentences defer to the plant's
procedure, the maker's manual, local codes and people with the training or licence they ask for. Sources: ISO 4413
(hydraulic systems), ISO 14118 (unexpected start-up), 29 CFR 1910.147 (control of hazardous energy), NIOSH 94-110
(lifting); what rests on none of them says "common practice, no source".
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from scheduler.engineering.lifting import LOAD_CONSTANT_KG
from scheduler.engineering.mixing import WATER_CONTAINING
from scheduler.job_card.before_opening import OPEN_AT_MOST_degC
from scheduler.job_card.job import HANDS_OFF_TASKS, RUNNING_TASKS, Job
from scheduler.job_card.step import NO_SOURCE, number
from scheduler.vocabulary import Access, FluidFamily, Hazard, TaskKind

INJECTION_PRESSURE_BAR = 7.0
"""Injection through the skin has been reported from about 7 bar, 100 psi (published warnings, no standard)."""

ISOLATION_SOURCES = "ISO 14118; 29 CFR 1910.147"
LIFTING_SOURCE = "NIOSH 94-110"


@dataclass(frozen=True, slots=True)
class Caution:
    """One thing that can hurt and what to do about it, with the reference that it rests on."""

    says: str
    reference: str

    def __str__(self) -> str:
        """As one sentence with its reference, as a card prints it."""
        return f"{self.says.removesuffix('.')} ({self.reference})."


def cautions(job: Job) -> list[Caution]:
    """The cautions for a job, most important first; isolation is always the first, the denial always the last.

    Hazards that the plant named in its own words are passed on as they stand, never dropped.

    >>> from scheduler.vocabulary import Place
    >>> job = Job(TaskKind.CHANGE_ELEMENT, Place.RETURN, isolation_procedure="ISO-17")
    >>> cautions(job)[0].says.startswith("Isolation procedure ISO-17 comes first")
    True
    """
    found = [
        _isolation(job),
        *_permits(job),
        *_injection(job),
        *_stored_pressure(job),
        *_named_hazards(job.hazards),
        *_start(job),
        *_access(job),
        *_tank(job),
        *_heat(job),
        *_fluid(job),
        *_floor(job),
        *_lifting(job),
        DENIAL,
    ]
    return list(dict.fromkeys(found))


DENIAL = Caution(
    "This card cannot see the machine and does not say that it is safe: the plant's procedure, the maker's manual, "
    "local codes and licensed or trained people come first, and whoever holds the isolation decides.",
    ISOLATION_SOURCES,
)

_OF_HAZARD: dict[Hazard, Caution] = {
    Hazard.ACCUMULATOR: Caution(
        "An accumulator keeps its pressure after the pump has stopped: isolate it, discharge its oil side and see "
        "its gauge at zero before anything is loosened. Only trained people touch the gas side.",
        "ISO 4413",
    ),
    Hazard.SUSPENDED_LOAD: Caution(
        "A raised load can come down when oil is let out: lower it, or hold it by mechanical props made for it. "
        "Nobody under it, and no trust in valves or hoses to hold it.",
        "ISO 4413; ISO 14118",
    ),
    Hazard.CONFINED_SPACE: Caution(
        "Confined space: no entry, and no head or arm into the reservoir, without the plant's permit, tested air, a "
        "watcher outside and a way to get the person out.",
        NO_SOURCE,
    ),
    Hazard.WORK_AT_HEIGHT: Caution(
        "Work at height: use a platform or fall protection that the plant has approved; tie tools and the old "
        "element against falling, and close off the area below.",
        NO_SOURCE,
    ),
    Hazard.TANK_HEATER: Caution(
        "Switch the tank heater off and isolate it before the oil level falls: an uncovered heater burns and can set "
        "oil vapour alight. Let it cool.",
        NO_SOURCE,
    ),
}


def _isolation(job: Job) -> Caution:
    procedure = (job.isolation_procedure or "").strip()
    called = f"Isolation procedure {procedure}" if procedure else "The plant's isolation procedure"
    missing = "" if procedure else " No procedure number is recorded for this system: ask for it before starting."
    if _may_move(job):
        says = (
            f"{called} comes first whenever anything is to be opened, loosened or reached into, by the people whom "
            "the plant has trained for it and by local codes; as long as the machine can move, keep outside its "
            "guards."
        )
    else:
        says = (
            f"{called} comes first, by the people whom the plant has trained for it and by local codes: stop, "
            "isolate, lock and tag every source of energy, release what is stored, and try that nothing starts."
        )
    return Caution(says + missing, ISOLATION_SOURCES)


def _may_move(job: Job) -> bool:
    """The work is done while the machine can move: nothing is opened, or only what does not need it stopped."""
    if job.task is TaskKind.CHECK_AFTER_EVENT:
        return not job.opens_circuit
    is_lid_alone = job.on_tank_top and job.access is Access.RUNNING
    return job.task in HANDS_OFF_TASKS | RUNNING_TASKS or job.keeps_running or is_lid_alone


def _permits(job: Job) -> Iterator[Caution]:
    if job.permits and job.permits.strip():
        yield Caution(f"Permits needed before starting: {job.permits.strip().rstrip('.')}.", NO_SOURCE)


def _injection(job: Job) -> Iterator[Caution]:
    may_inject = job.working_pressure_bar is None or job.working_pressure_bar >= INJECTION_PRESSURE_BAR
    if not may_inject or job.on_tank_top:
        return
    stated = "pressure" if job.working_pressure_bar is None else f"{number(job.working_pressure_bar)} bar"
    yield Caution(
        f"Oil under {stated} goes through skin and gloves: never feel for a leak with a hand, use cardboard or wood "
        "and keep clear. Hit by a jet, even if it looks slight: to hospital at once, say 'high-pressure "
        "injection'; it needs a surgeon within hours.",
        NO_SOURCE,
    )


def _stored_pressure(job: Job) -> Iterator[Caution]:
    if job.opens_circuit and not job.opens_suction:
        yield Caution(
            "Pressure stays behind check valves and in hoses after a stop: release it before and behind the "
            "housing, see it at zero at a test point, a ΔP indicator is no proof; then loosen slowly, with the "
            "face turned away.",
            "ISO 4413",
        )
    if job.task is TaskKind.TAKE_SAMPLE:
        yield Caution(
            "Sample only at a valve made for it, opened slowly with the bottle held well clear; a fitting under "
            "pressure is never loosened for a sample.",
            NO_SOURCE,
        )
    if job.opens_suction:
        yield Caution(
            "A suction line below the oil level runs out when it is opened: shut its valve or lower the oil first. "
            "Open the valve again and lock it open before the pump may start.",
            NO_SOURCE,
        )
    if job.on_tank_top:
        yield Caution(
            "A reservoir with a blocked or pre-loaded breather may hold pressure or vacuum: loosen it slowly, with "
            "the face turned away.",
            "ISO 4413",
        )


def _named_hazards(hazards: Sequence[str]) -> Iterator[Caution]:
    known = [hazard for hazard in Hazard if hazard.value in hazards]
    for hazard in known:  # in the order of the vocabulary, whatever the plant's cell says
        yield _OF_HAZARD[hazard]
    for named in hazards:
        if named.strip() and named not in {hazard.value for hazard in Hazard}:
            yield Caution(f"Hazard named by the plant: {named.strip()}. Follow the plant's rules for it.", NO_SOURCE)


def _start(job: Job) -> Iterator[Caution]:
    if job.opens_circuit and not job.keeps_running:
        yield Caution(
            "The first start moves things that nobody expects, with air in the oil: guards on, everybody clear, and "
            "nobody in line with cover or hoses until the pressure stands.",
            "ISO 14118",
        )


def _access(job: Job) -> Iterator[Caution]:
    if job.keeps_running and not job.on_tank_top:
        yield Caution(
            "The plant lists this position as reachable with the machine running: isolate and empty the housing "
            "being opened, and make sure which side of a changeover valve is shut before loosening its cover; it "
            "leaks.",
            ISOLATION_SOURCES,
        )
    if job.is_drained:
        much = f" (about {number(job.reservoir_volume_L)} L)" if job.reservoir_volume_L is not None else ""
        yield Caution(
            f"The reservoir{much} or line has to be drained first: mark that the pump must not start while it is "
            "empty, and lead the oil into clean, marked containers that hold it all.",
            NO_SOURCE,
        )


def _tank(job: Job) -> Iterator[Caution]:
    if job.is_drained and not job.has(Hazard.CONFINED_SPACE):
        yield Caution(
            "A drained tank is a confined space: nobody reaches or climbs in, not with the head either, without the "
            "plant's permit, tested air and a watcher outside.",
            NO_SOURCE,
        )


def _heat(job: Job) -> Iterator[Caution]:
    works_at = job.working_temperature_degC
    if job.task in RUNNING_TASKS:
        yield Caution("Pipes, housings and the tank are hot when the machine is warm: look, do not touch.", NO_SOURCE)
    elif works_at is None:
        yield Caution(
            "Oil and metal may be hot enough to scald: let them cool, wear gloves, sleeves and eye protection.",
            NO_SOURCE,
        )
    elif works_at > OPEN_AT_MOST_degC:
        yield Caution(
            f"Oil works at about {number(works_at)} °C and scalds: let it cool before opening; gloves, sleeves and "
            "eye protection.",
            NO_SOURCE,
        )


def _fluid(job: Job) -> Iterator[Caution]:
    if job.task in HANDS_OFF_TASKS:
        return
    if job.fluid_family is FluidFamily.HFDR:
        says = "HFDR (phosphate ester) fluid harms skin, eyes and lungs: follow its safety data sheet; keep it apart."
    elif job.fluid_family in WATER_CONTAINING:
        says = f"{job.fluid_family} fluid contains water and additives that irritate: follow its safety data sheet."
    else:
        says = "Keep oil away from flames, hot surfaces and welding; follow its safety data sheet."
    yield Caution(says, NO_SOURCE)
    yield Caution(
        "Protect the skin: gloves that stand the fluid, eye protection, no soaked clothes and no oily rag in a "
        "pocket; wash before eating.",
        NO_SOURCE,
    )


def _floor(job: Job) -> Iterator[Caution]:
    if job.opens_circuit:
        much = f", for about {number(job.housing_volume_L)} L" if job.housing_volume_L else ""
        yield Caution(
            f"Oil on the floor makes people fall: drip tray under the housing{much}; bind and wipe up spills.",
            NO_SOURCE,
        )


def _lifting(job: Job) -> Iterator[Caution]:
    aid = (job.lifting_aid or "").strip()
    if job.heaviest_lift_kg is not None:
        what = (job.heaviest_lift or "").strip() or "the load"
        weighs = f"{what[0].upper()}{what[1:]} weighs about {number(job.heaviest_lift_kg)} kg"
        if job.heaviest_lift_kg > LOAD_CONSTANT_KG:
            yield Caution(f"{weighs}: not by hand, use {aid or 'a lifting aid'}.", LIFTING_SOURCE)
        else:
            use = f"; use {aid}" if aid else ""
            yield Caution(
                f"{weighs}; {number(LOAD_CONSTANT_KG)} kg is the limit under the best of conditions, less when bent, "
                f"stretched or on a slippery floor{use}.",
                LIFTING_SOURCE,
            )
    elif job.opens_circuit or job.on_tank_top or job.task in _CARRYING_TASKS:
        yield Caution(
            f"Lift covers, full elements and containers within {number(LOAD_CONSTANT_KG)} kg under the best of "
            "conditions, less when bent, stretched or on a slippery floor; drums only with "
            f"{aid or 'a lifting aid'}.",
            LIFTING_SOURCE,
        )


_CARRYING_TASKS = frozenset({TaskKind.TOP_UP, TaskKind.CLEAN_UP, TaskKind.FLUSH})
