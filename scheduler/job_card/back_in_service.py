"""How the system goes back to work: oil and air, the start in steps, leaks, what the new element shows, the level.

References: ISO 4413 for pressure and venting, ISO 14118 and 29 CFR 1910.147 for the start; the rest is common
practice, no source.
"""

from collections.abc import Iterator

from scheduler.engineering.new_element import ExpectedDp
from scheduler.job_card.before_opening import other_side
from scheduler.job_card.job import Job
from scheduler.job_card.step import NO_SOURCE, Step, at_rest, number, own_fluid, sentence
from scheduler.vocabulary import IndicatorKind, Place


def back_in_service(job: Job) -> Iterator[Step]:
    """From the filled housing to the signature."""
    yield _fill_and_vent(job)
    if job.opens_suction or job.is_drained:
        yield prime(job)
    if not (job.keeps_running and job.side):
        yield start(job, None if job.place is Place.OFFLINE else job.working_pressure_bar)
    yield leak_check(job)
    if job.side:
        yield _side_in_service(job)
    yield _dp_after(job)
    yield level(job)
    yield top_up(job)
    yield waste(f"The old {'seals' if job.refits else 'element'}, oil")
    yield sign_off()


def _fill_and_vent(job: Job) -> Step:
    if job.keeps_running and job.side:
        says = (
            f"Open the equalising valve a little and fill side {job.side} slowly, its vent open, until oil comes "
            "without bubbles. Shut the vent, then the equalising valve."
        )
    elif job.is_drained:
        volume = f" {number(job.reservoir_volume_L)} L of" if job.reservoir_volume_L is not None else ""
        says = (
            f"Close the tank, fill it again with{volume} {own_fluid(job)} through a filter and take the "
            "'no oil' tag off once the level stands."
        )
    elif job.opens_suction:
        says = "Open the suction valve slowly with the vent open, until oil comes without bubbles. Lock it open."
    else:
        volume = f"about {number(job.housing_volume_L)} L, " if job.housing_volume_L else ""
        says = (
            f"Fill the housing with {own_fluid(job)} ({volume}through a filter) and vent it at its highest point, "
            "then shut the vent."
        )
    if job.place is Place.CASE_DRAIN:
        says += " See that the way from the pump case is open: a shut case drain bursts the shaft seal."
    return Step("fill-and-vent", says, "ISO 4413", ("oil",))


def prime(job: Job) -> Step:
    """The suction side, before the pump turns: a pump that starts dry is spoilt in seconds."""
    head = job.inlet_head_m
    if head is not None and head > 0.0:
        how = f"the oil runs in from {number(head)} m above"
    elif head is not None:
        how = f"the pump sits {number(-head)} m above the oil, so fill line and case by hand"
    else:
        how = "where it does not run in by itself, fill line and case by hand"
    says = f"Prime the pump before it starts: vent at its inlet until oil comes without bubbles; {how}."
    return Step("prime", says, NO_SOURCE)


def start(job: Job, highest_bar: float | None) -> Step:
    """Everyone clear, a jog, then pressure in steps, up to `highest_bar` where it is known."""
    pump = "the off-line pump" if job.place is Place.OFFLINE else "the pump"
    up_to = f" up to {number(highest_bar)} bar" if highest_bar else ""
    says = (
        "Tools away, people clear, everyone takes off their own lock. "
        f"Jog {pump} a second at a time until it runs without noise or foam, "
        f"then build the pressure in steps{up_to}; nobody stands in front of the cover."
    )
    if job.keeps_running and job.place is not Place.OFFLINE:
        says = (
            "Tools away, people clear, everyone takes off their own lock. Open the valves of the housing slowly, "
            "the one before it first, then end the flow past it; nobody stands in front of the cover."
        )
    return Step("start", says, "ISO 14118; 29 CFR 1910.147")


def leak_check(job: Job) -> Step:
    """By eye and cardboard; nothing is tightened under pressure."""
    stop = "shut it off again" if job.keeps_running else "stop"
    back_to = f"zero at {job.test_point.strip()}" if job.test_point and job.test_point.strip() else "zero pressure"
    if job.opens_suction:
        says = (
            "Look for leaks by eye, never by hand; foam or a whining pump means that the suction side draws air. "
            f"Nothing is tightened while the pump runs: stop, back to {back_to}, then tighten."
        )
    else:
        says = (
            "Look for leaks by eye and with a piece of cardboard, never by hand. "
            f"Nothing is tightened under pressure: {stop}, back to {back_to}, then tighten."
        )
    return Step("leak-check", says, "ISO 4413")


def warm(job: Job) -> str:
    """The oil temperature at which readings of this system are comparable, in words."""
    works_at = job.working_temperature_degC
    return "working temperature" if works_at is None else f"about {number(works_at)} °C"


def _dp_after(job: Job) -> Step:
    if job.place is Place.SUCTION:
        says = (
            f"Run until the oil is at {warm(job)}, then read the vacuum behind the strainer; it has to be lower than "
            "before."
        )
        return Step("dp-after", says, NO_SOURCE, ("hours", "dp_after"))
    if job.dp_after:
        flow = f" at {number(job.flow_lpm)} L/min" if job.flow_lpm is not None else " at the usual flow"
        expected = (
            f"A new element shows {'; '.join(_expected(each) for each in job.dp_after)}{flow}: "
            "more means a wrong element, cold oil or more flow, less an open bypass or a missing seal."
        )
    else:
        expected = "It has to be well below the reading from before; write flow and oil temperature with it."
    says = f"Run warm ({warm(job)}) and read the ΔP. {expected}{_indicator(job)}"
    return Step("dp-after", says, NO_SOURCE, ("hours", "dp_after"))


def _expected(each: ExpectedDp) -> str:
    return f"{number(each.low_bar)} to {number(each.high_bar)} bar at {number(each.oil_temperature_degC)} °C"


def _indicator(job: Job) -> str:
    match job.indicator_kind:
        case IndicatorKind.POPUP_LATCHING:
            return " Press the pop-up in once warm; if it comes out again, report it."
        case IndicatorKind.SWITCH:
            return " Reset the indicator's alarm once warm; if it comes back, report it."
        case IndicatorKind.GAUGE:
            return " The gauge's pointer has to stand in its clean field."
        case None:
            return ""


def _side_in_service(job: Job) -> Step:
    if job.keeps_running:
        says = (
            f"Turn slowly back to side {job.side} to read its ΔP, or leave {other_side(job)} in service "
            "and read it at the next changeover. Transfer valve against its stop, equalising valve shut; "
            "write down which side works."
        )
    else:
        says = (
            "See both sides filled, the transfer valve against its stop and the equalising valve shut; write down "
            "which side works."
        )
    return Step("side-in-service", says, NO_SOURCE, ("note",))


def level(job: Job) -> Step:
    """Only at rest and in the system's own position does a level say anything."""
    if job.keeps_running:
        says = (
            "Compare the level with that before the work, at the same point of the cycle; the true level shows only "
            "at rest."
        )
        return Step("level", says, NO_SOURCE, ("level",))
    says = (
        f"Stop, bring the machine to rest ({at_rest(job)}) and read the level: "
        "between the low mark and the top of the indicator."
    )
    return Step("level", says, NO_SOURCE, ("level",))


def top_up(job: Job) -> Step:
    """Never unfiltered, never another fluid, never above the mark."""
    told = (job.top_up_filter or "").strip()
    how = sentence(told) if told else "Top up only through a filter."
    needed_L = job.oil_needed_L or (job.housing_volume_L if job.keeps_running else None)
    much = f"About {number(needed_L)} L of {own_fluid(job)}" if needed_L else f"Only {own_fluid(job)}"
    most = "no more than ran out" if job.keeps_running else "never above the top mark"
    return Step("top-up", f"{how} {much}, no other, {most}; write down the litres.", NO_SOURCE, ("oil",))


def waste(what: str) -> Step:
    """Where local rules say."""
    return Step("waste", f"{what} and cloths go into the marked waste containers, by local code.", NO_SOURCE)


def sign_off() -> Step:
    """The last of every card."""
    says = "Clear the place, tell the operator what was done and what was found, and sign with date and time."
    return Step("sign-off", says, NO_SOURCE, ("note",))
