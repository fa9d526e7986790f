"""What can hurt, for which task: the cautions of a job card, in the order in which they matter.

The plant's isolation procedure always stands first. Nothing here says that a machine is safe: the sentences
defer to the plant's procedure, the maker's manual, local codes and people with the training or licence they
ask for. Sources: ISO 4413 (hydraulic systems), ISO 14118 (unexpected start-up), OSHA 29 CFR 1910.147
(control of hazardous energy), NIOSH 94-110 (lifting); limits with no source are marked.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from scheduler.vocabulary import Access, FluidFamily, Hazard, Place, TaskKind

INJECTION_PRESSURE_BAR = 7.0
"""Injection through the skin has been reported from about 7 bar, 100 psi (published safety pages)."""

HOT_OIL_degC = 50.0
"""From here on the card gives the oil's temperature; common practice, no source."""

OPENING_TASKS = frozenset({TaskKind.CHANGE_ELEMENT, TaskKind.SERVICE_STRAINER})
"""Tasks that open the oil circuit or the reservoir."""

HANDS_OFF_TASKS = frozenset({TaskKind.INSPECT, TaskKind.LOOK_WHEN_WARM})
"""Tasks done by looking, with nothing loosened."""

_UNPRESSURISED_PLACES = frozenset({Place.SUCTION, Place.BREATHER, Place.FILLER})

WATER_BASED_FAMILIES = frozenset({FluidFamily.HFAE, FluidFamily.HFAS, FluidFamily.HFB, FluidFamily.HFC})
"""ISO 12922: fluids that contain water; what leaks from them is as slippery, and may irritate skin."""


@dataclass(frozen=True, slots=True)
class Job:
    """What a job's cautions depend on; None where the plant has not said."""

    task: TaskKind
    place: Place
    hazards: tuple[str, ...] = ()
    access: Access | None = None
    fluid_family: FluidFamily | None = None
    working_pressure_bar: float | None = None
    working_temperature_degC: float | None = None
    isolation_procedure: str | None = None
    permits: str | None = None


def cautions(job: Job) -> list[str]:
    """The cautions for a job, most important first; the isolation procedure is always the first.

    Hazards that the plant named in its own words are passed on as they stand, never dropped.

    >>> job = Job(TaskKind.CHANGE_ELEMENT, Place.RETURN, isolation_procedure="ISO-17")
    >>> cautions(job)[0].startswith("Isolation procedure ISO-17 comes first")
    True
    """
    sentences = [
        _isolation(job),
        *_permits(job),
        *_pressure(job),
        *_named_hazards(job.hazards),
        *_access(job),
        *_heat(job),
        *_fluid(job),
        *_floor_and_lifting(job),
        _MACHINE_NOT_CALLED_SAFE,
    ]
    return list(dict.fromkeys(sentences))


_MACHINE_NOT_CALLED_SAFE = (
    "This card cannot see the machine and does not say that it is safe to open: whoever holds the isolation decides."
)

_HAZARD_SENTENCES: dict[Hazard, tuple[str, ...]] = {
    Hazard.ACCUMULATOR: (
        "An accumulator keeps its pressure after the pump has stopped: isolate it, discharge its oil side "
        "and see the gauge at zero before anything is loosened (ISO 4413). Only trained people touch the "
        "gas side.",
    ),
    Hazard.SUSPENDED_LOAD: (
        "A raised load can come down when oil is let out: lower it, or hold it by mechanical props made "
        "for it. Nobody under it, and no trust in valves or hoses to hold it.",
    ),
    Hazard.CONFINED_SPACE: (
        "Confined space: no entry, and no head or arm into the reservoir, without the plant's permit, "
        "tested air, a watcher outside and a way to get the person out.",
    ),
    Hazard.WORK_AT_HEIGHT: (
        "Work at height: use a platform or fall protection that the plant has approved; tools and the old "
        "element are secured against falling, and the area below is closed off.",
    ),
    Hazard.TANK_HEATER: (
        "Switch the tank heater off and isolate it before the oil level falls: an uncovered heater burns "
        "and can set oil vapour alight. Let it cool.",
    ),
}


def _isolation(job: Job) -> str:
    procedure = (job.isolation_procedure or "").strip()
    called = f"Isolation procedure {procedure}" if procedure else "The plant's isolation procedure"
    missing = "" if procedure else " No procedure number is recorded for this system: ask for it before starting."
    if job.task in HANDS_OFF_TASKS or job.access is Access.RUNNING:
        return (
            f"{called} comes first whenever anything is to be opened, loosened or reached into; as long as "
            "the machine can move, keep outside its guards (ISO 14118, OSHA 29 CFR 1910.147, local "
            f"codes).{missing}"
        )
    return (
        f"{called} comes first: stop, isolate, lock and tag every source of energy, release what is "
        f"stored, and try that nothing starts (ISO 14118, OSHA 29 CFR 1910.147, local codes).{missing}"
    )


def _permits(job: Job) -> Iterator[str]:
    if job.permits and job.permits.strip():
        yield f"Permits needed before starting: {job.permits.strip()}."


def _pressure(job: Job) -> Iterator[str]:
    may_inject = job.working_pressure_bar is None or job.working_pressure_bar >= INJECTION_PRESSURE_BAR
    if may_inject and job.task is not TaskKind.CHANGE_BREATHER:
        stated = f"{job.working_pressure_bar:g} bar" if job.working_pressure_bar else "pressure"
        yield (
            f"Oil under {stated} goes through skin and gloves: never feel for a leak with a hand, use card "
            "or wood and keep clear. Any injection wound, however slight it looks, needs a surgeon within "
            "hours: say that it is oil."
        )
    if job.task in OPENING_TASKS and job.place not in _UNPRESSURISED_PLACES:
        yield (
            "Pressure stays behind check valves and in hoses after a stop: release it on both sides of "
            "the housing, see the gauges at zero, then loosen the cover slowly, with the face turned away "
            "(ISO 4413)."
        )
    if job.task is TaskKind.TAKE_SAMPLE:
        yield (
            "Sample only at a valve made for it, opened slowly with the bottle held well clear; a fitting under "
            "pressure is never loosened for a sample."
        )
    if job.task in OPENING_TASKS and job.place is Place.SUCTION:
        yield (
            "A suction line below the oil level runs out when it is opened: shut its valve or lower the "
            "oil first. Open the valve again and lock it open before the pump may start."
        )
    if job.task is TaskKind.CHANGE_BREATHER:
        yield (
            "A reservoir with a blocked or pre-loaded breather may hold pressure or vacuum: loosen it "
            "slowly, with the face turned away."
        )


def _named_hazards(hazards: Sequence[str]) -> Iterator[str]:
    known = [hazard for hazard in Hazard if hazard.value in hazards]
    for hazard in known:  # in the order of the vocabulary, whatever the plant's cell says
        yield from _HAZARD_SENTENCES[hazard]
    for named in hazards:
        if named.strip() and named not in {hazard.value for hazard in Hazard}:
            yield f"Hazard named by the plant: {named.strip()}. Follow the plant's rules for it."


def _access(job: Job) -> Iterator[str]:
    if job.access is Access.RUNNING and job.task in OPENING_TASKS:
        yield (
            "The plant lists this position as reachable with the machine running: isolate and empty the "
            "housing being opened, and make sure which side of a changeover valve is shut before "
            "loosening its cover."
        )
    if job.access is Access.DRAINED:
        yield (
            "The reservoir or line has to be drained first: mark that the pump must not start while it is "
            "empty, and lead the oil into clean, marked containers."
        )


def _heat(job: Job) -> Iterator[str]:
    temperature = job.working_temperature_degC
    if job.task is TaskKind.LOOK_WHEN_WARM:
        yield "Pipes, housings and the tank are hot when the machine is warm: look, do not touch."
    elif temperature is None:
        yield "Oil and metal may be hot enough to scald: let them cool, wear gloves, sleeves and eye protection."
    elif temperature >= HOT_OIL_degC:
        yield (
            f"Oil works at about {temperature:g} °C and scalds: let it cool before opening; gloves, "
            "sleeves and eye protection."
        )


def _fluid(job: Job) -> Iterator[str]:
    if job.task in HANDS_OFF_TASKS:
        return
    if job.fluid_family is FluidFamily.HFDR:
        yield (
            "HFDR (phosphate ester) fluid harms skin, eyes and lungs: follow its safety data sheet; keep it apart."
        )
    elif job.fluid_family in WATER_BASED_FAMILIES:
        yield f"{job.fluid_family} fluid contains water and additives that irritate: follow its safety data sheet."
    else:
        yield "Keep oil off skin and away from flames, hot surfaces and welding; follow its safety data sheet."


def _floor_and_lifting(job: Job) -> Iterator[str]:
    if job.task in OPENING_TASKS:
        yield "Oil on the floor makes people fall: drip tray under the housing, wipe up and bind spills at once."
        yield (
            "Lift covers, full elements and containers within the NIOSH 94-110 limit, 23 kg under the "
            "best of conditions and less when bent, stretched or on a slippery floor; drums only with a "
            "lifting aid."
        )
