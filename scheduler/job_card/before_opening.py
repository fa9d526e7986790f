"""What is done before anything is opened: permit, labels, every source of energy, and the dirt outside.

References: ISO 4413 and ISO 14118 for stored energy and unexpected start-up, 29 CFR 1910.147 for isolation; where a
step is only what fitters do, it says so.
"""

from collections.abc import Iterator

from scheduler.engineering.oil import SealFit, seal_verdict
from scheduler.job_card.job import Job
from scheduler.job_card.step import NO_SOURCE, Step, fluid_on_label, number, sentence
from scheduler.vocabulary import Hazard, IndicatorKind, Place, TaskKind

OPEN_AT_MOST_degC = 45.0
"""To what oil is let cool before it is opened. Ours: below 48 °C, the burn threshold of ISO 13732-1 for a touch of
ten minutes (from memory)."""


def before_opening(job: Job) -> Iterator[Step]:
    """From the permit to the slowly opened vent."""
    yield permit_and_isolation(job)
    yield labels(job)
    yield from read_before(job)
    yield from no_energy(job)
    yield from cool(job)
    yield _clean_outside(job)
    yield from _oil_held_back(job)
    if not (job.is_drained and job.opens_suction):
        yield _vent_open(job)


def permit_and_isolation(job: Job) -> Step:
    """First on every card."""
    permits = (job.permits or "").strip()
    procedure = (job.isolation_procedure or "").strip()
    get = f"Get the permit ({permits}). " if permits else ""
    if procedure:
        under = f"Have isolation procedure {procedure} at hand and work by it."
    else:
        under = "No isolation procedure number is recorded: get it from the plant, write it down and work by it."
    return Step("permit-and-isolation", get + under, "29 CFR 1910.147", () if procedure else ("note",))


def why(job: Job) -> Iterator[Step]:
    """What a look or a check was raised for."""
    if job.asked_by and job.asked_by.strip():
        yield Step("why", f"Know what was seen: {sentence(job.asked_by)}")


def labels(job: Job) -> Step:
    """Element, seals and fluid by their labels, while the old ones still hold the circuit shut."""
    wanted: list[str] = []
    if not job.refits:
        wanted.append(_element_wanted(job))
    if job.seals and job.seals.strip():
        wanted.append(f"seals {job.seals.strip()}")
    if job.seal_kit:
        wanted.append(f"seal kit {job.seal_kit}")
    if not job.on_tank_top:
        wanted.append(f"fluid {fluid_on_label(job)}" if job.fluid else "the fluid's name is not recorded, ask which")
    compared = f"Compare the labels first: {'; '.join(wanted)}." if wanted else "Compare the new seal with the old."
    says = f"{compared} If one differs or is past its date, open nothing and ask."
    verdict = seal_verdict(job.fluid_family, job.seals)
    if job.seals and verdict.fit is SealFit.UNSUITABLE:
        says = f"{says} {verdict.says}"
    return Step("labels", says, NO_SOURCE, ("lot",))


def _element_wanted(job: Job) -> str:
    if not job.part_number:
        return "the element's part number is not recorded, take it from the old one or the maker's sheet"
    count = f"{job.quantity} × " if job.quantity > 1 else ""
    instead = f", or in this order {', '.join(job.alternates)}" if job.alternates else ""
    return f"{count}{job.part_number}{instead}"


def read_before(job: Job) -> Iterator[Step]:
    """The last that the old element has to tell, which nobody can read once the machine has stopped."""
    if job.place is Place.SUCTION:
        says = "First, oil warm: write down the hours and the vacuum behind the strainer."
        yield Step("read-before", says, NO_SOURCE, ("hours", "dp_before"))
        return
    flow = f" at {number(job.flow_lpm)} L/min" if job.flow_lpm is not None else ", the flow"
    limit = f" (limit {number(job.terminal_dp_bar)} bar)" if job.terminal_dp_bar is not None else ""
    if job.indicator_kind is not None and job.indicator_kind is not IndicatorKind.GAUGE:
        limit += ", whether the indicator has tripped"
    says = f"First, oil warm: write down the hours, the ΔP{flow}{limit} and the oil temperature."
    yield Step("read-before", says, NO_SOURCE, ("hours", "dp_before"))


def no_energy(job: Job) -> Iterator[Step]:
    """Nothing moves, nothing starts, nothing is under pressure: of the machine, or of one side of it."""
    if job.keeps_running:
        yield from _duplex_side(job) if job.side else _shut_off(job)
    else:
        yield stop(job)
        yield from stored_energy(job)
    yield _zero_pressure(job)


def stop(job: Job) -> Step:
    """Stopped, locked, tagged and tried."""
    pumps = "pump and the off-line pump" if job.place is Place.OFFLINE else "pump"
    says = f"Stop the {pumps}, lock and tag every source of energy, then try that nothing starts."
    if not job.hazards:
        says += " No raised load, accumulator or tank heater is recorded here: look for them yourself."
    return Step("stop", says, "ISO 14118; 29 CFR 1910.147")


def stored_energy(job: Job) -> Iterator[Step]:
    """The steps of the hazards that the plant lists for the system."""
    if job.has(Hazard.SUSPENDED_LOAD):
        says = "Lower every load to its stop, or hold it by props made for it; valves and hoses do not hold a load."
        yield Step("loads", says, "ISO 4413; ISO 14118")
    if job.has(Hazard.TANK_HEATER) and job.opens_circuit:
        says = "Switch the tank heater off and lock it before the oil level falls."
        yield Step("heater", says, NO_SOURCE)
    if job.has(Hazard.ACCUMULATOR):
        says = "Shut every accumulator off and discharge its oil side to the tank; watch its gauge fall to zero."
        yield Step("accumulators", says, "ISO 4413")


def _duplex_side(job: Job) -> Iterator[Step]:
    other = other_side(job)
    says = (
        f"See on its label that {other} holds a clean element. "
        f"Open the equalising valve and fill {other}, vent open, until oil comes without bubbles."
    )
    yield Step("standby-side", says, NO_SOURCE)
    says = (
        f"Turn the transfer valve slowly all the way to {other}, then shut the equalising valve. "
        f"Hang a tag on both, and watch the ΔP of {other}."
    )
    yield Step("turn-over", says, NO_SOURCE)


def _shut_off(job: Job) -> Iterator[Step]:
    if job.place is Place.OFFLINE:
        says = (
            "Stop the off-line pump, lock and tag it and try that it does not start; shut and lock both its valves."
        )
    else:
        says = (
            "The machine runs on: lead the flow past the housing, then shut, lock and tag the valves before and "
            "behind it."
        )
    yield Step("shut-off", says, "29 CFR 1910.147")


def _zero_pressure(job: Job) -> Step:
    point = (job.test_point or "").strip()
    if job.task not in {TaskKind.CHANGE_ELEMENT, TaskKind.SERVICE_STRAINER}:
        of = "and in every line that is going to be opened"
    elif job.side:
        of = "on both sides of the transfer valve, for it leaks"
    else:
        of = "on the pump's pressure side" if job.opens_suction else "before and behind the housing"
    if job.keeps_running and job.side:
        at = point or f"the test point of side {job.side}"
        seen = (
            f"Vent side {job.side} and watch {at}: it has to fall to zero and stay there for five minutes. "
            "Transfer valves leak; if it rises again, do not open, stop the machine."
        )
    elif point:
        seen = f"See zero pressure at {point}, {of}."
    else:
        seen = (
            "See zero pressure at a test point at the housing and write down which; with none to be found, do not "
            "open."
        )
    proof = " A ΔP indicator is no proof: it shows zero, too, when both sides are under pressure."
    return Step("zero-pressure", seen + proof, "ISO 4413", () if point else ("note",))


def cool(job: Job) -> Iterator[Step]:
    """To a stated temperature, where the oil works hotter or nobody has said how hot it works."""
    works_at = job.working_temperature_degC
    if works_at is None:
        yield Step("cool", f"Let the oil cool to {number(OPEN_AT_MOST_degC)} °C or less; measure it.", NO_SOURCE)
    elif works_at > OPEN_AT_MOST_degC:
        says = (
            f"Let the oil cool from about {number(works_at)} °C to {number(OPEN_AT_MOST_degC)} °C or less; measure "
            "it."
        )
        yield Step("cool", says, NO_SOURCE)


def _clean_outside(job: Job) -> Step:
    housing = (job.housing or "").strip()
    named = f"the housing ({housing})" if housing else "the housing"
    if job.opens_suction and job.is_drained:
        says = "Clean the tank's cover and all round it with lint-free cloths, and bind what oil has run out."
        return Step("clean-outside", says, NO_SOURCE)
    much = f"{number(job.housing_volume_L)} L" if job.housing_volume_L else "all that will run out"
    says = f"Clean {named}, its cover and all above it with lint-free cloths. Set a drip tray for {much} under it."
    return Step("clean-outside", says, NO_SOURCE)


def _oil_held_back(job: Job) -> Iterator[Step]:
    if job.is_drained:
        volume = f" ({number(job.reservoir_volume_L)} L)" if job.reservoir_volume_L is not None else ""
        says = (
            f"Drain the reservoir{volume} into clean, marked containers. "
            "Hang a tag on the pump switch: 'no oil, do not start'."
        )
        yield Step("drain", says, NO_SOURCE)
    elif job.opens_suction:
        above = job.inlet_head_m is not None and job.inlet_head_m > 0.0
        runs_out = f"The oil stands {number(job.inlet_head_m or 0.0)} m above the pump and runs out by itself. "
        says = "Shut the suction valve, lock and tag it; without a valve, lower the oil level below the line."
        yield Step("suction-valve", (runs_out if above else "") + says, NO_SOURCE)
    if job.opens_suction and job.is_drained:
        says = (
            "Open the tank and take the strainer out from outside. Head, arm or body in the tank is entry: "
            "only under the plant's confined-space permit."
        )
        yield Step("tank-entry", says, NO_SOURCE)
    elif job.is_drained or (job.opens_suction and job.has(Hazard.CONFINED_SPACE)):
        says = "No head, arm or body into the tank, except under the plant's confined-space permit."
        yield Step("tank-entry", says, NO_SOURCE)


def _vent_open(job: Job) -> Step:
    what = "vent or the highest joint" if job.opens_suction else "vent"
    says = (
        f"Open the {what} slowly, face turned away. If it goes on hissing or running, shut it and find the pressure."
    )
    return Step("vent-open", says, "ISO 4413")


def other_side(job: Job) -> str:
    """How a card names the side of a duplex housing that is not worked on."""
    other = {"A": "B", "B": "A"}.get(job.side.strip().upper())
    return f"side {other}" if other else "the other side"
