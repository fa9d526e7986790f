"""Work that opens nothing: a look after a diagnosis, a look when warm, a level check, an oil sample.

Common practice, no source, unless a step names one.
"""

from collections.abc import Iterator

from scheduler.job_card.back_in_service import sign_off, warm, waste
from scheduler.job_card.before_opening import permit_and_isolation, why
from scheduler.job_card.job import Job
from scheduler.job_card.step import NO_SOURCE, Step, at_rest, number
from scheduler.vocabulary import IndicatorKind, Place

SETTLE_MINUTES = 10
"""How long foam and returning oil need before a level can be read; common practice, no source."""

FLUSH_PORT_mL = 500
"""How much is run off a sampling port before the bottle; common practice, no source."""


def inspect(job: Job) -> Iterator[Step]:
    """Look, read, report; what has to be opened becomes a task of its own."""
    yield permit_and_isolation(job)
    yield from why(job)
    yield _read_running(job)
    says = (
        "Look from outside the guards: wet joints, foam or milky oil in the sight glass, a hot or loud pump, a torn "
        "hose. Take a photo of what you find."
    )
    yield Step("look-around", says, NO_SOURCE, ("condition", "photo"))
    yield Step(
        "open-nothing", "Open nothing now: what has to be opened gets a task with isolation and parts.", NO_SOURCE
    )
    yield sign_off()


def look_when_warm(job: Job) -> Iterator[Step]:
    """An indicator or a ΔP that was seen with cold oil is believed, or not, once the oil is warm."""
    yield permit_and_isolation(job)
    yield from why(job)
    says = f"Let the machine work until the oil is at {warm(job)}: cold oil is thick and trips an indicator early."
    yield Step("warm-up", says, NO_SOURCE)
    yield _read_running(job)
    yield sign_off()


def _read_running(job: Job) -> Step:
    if job.place is Place.SUCTION:
        says = f"Read the vacuum behind the strainer, oil at {warm(job)}, with hours and oil temperature."
        return Step("read-warm", says, NO_SOURCE, ("hours", "dp_before"))
    flow = f" (usual {number(job.flow_lpm)} L/min)" if job.flow_lpm is not None else ""
    limit = f" The limit is {number(job.terminal_dp_bar)} bar." if job.terminal_dp_bar is not None else ""
    indicator = ""
    if job.indicator_kind is IndicatorKind.POPUP_LATCHING:
        indicator = " Where you reach it from outside the guards, press the pop-up in: does it come out again?"
    elif job.indicator_kind is IndicatorKind.SWITCH:
        indicator = " Say whether the indicator's alarm stands."
    says = f"Read the ΔP with oil at {warm(job)}, with flow{flow}, oil temperature and hours.{limit}{indicator}"
    return Step("read-warm", says, NO_SOURCE, ("hours", "dp_before"))


def check_level(job: Job) -> Iterator[Step]:
    """A level counts at rest and in the defined position; any other is kept as not valid, with the reason."""
    yield permit_and_isolation(job)
    yield from why(job)
    yield settle(job)
    yield read_level()
    says = (
        "Below the low mark, or lower than last time: look for the leak before anybody tops up. Higher: look for "
        "water or another fluid. If the machine was not at rest, write that down."
    )
    yield Step("look-for-leak", says, NO_SOURCE, ("condition", "note"))
    yield sign_off()


def settle(job: Job) -> Step:
    """At rest, in position, and the oil has come back."""
    says = (
        f"Bring the machine to rest ({at_rest(job)}), stop the pump and wait {SETTLE_MINUTES} minutes "
        "until the foam is gone; clean the sight glass."
    )
    return Step("settle", says, NO_SOURCE)


def read_level() -> Step:
    """The level of a machine that has settled."""
    says = "Read the level against the marks: between the low mark and the top of the indicator; write it down."
    return Step("level", says, NO_SOURCE, ("level",))


def take_sample(job: Job) -> Iterator[Step]:
    """Warm, running, from a flushed port, into a clean bottle, always at the same point."""
    yield permit_and_isolation(job)
    yield from why(job)
    named = ", ".join(each for each in (job.system, job.position) if each)
    says = (
        f"Label a clean, closed sample bottle before you go: {named + ', ' if named else ''}point, date, hours, "
        f"fluid{f' {job.fluid}' if job.fluid else ''}, litres topped up since the last."
    )
    yield Step("labels", says, NO_SOURCE)
    says = (
        "Use the same sampling point as last time and wipe it clean; if that cannot be, write down which other one."
    )
    yield Step("clean-outside", says, NO_SOURCE)
    says = f"Sample with the machine running and the oil at {warm(job)}, for half an hour at least."
    yield Step("warm-up", says, NO_SOURCE)
    says = (
        f"Open the port slowly and flush it: run {FLUSH_PORT_mL} mL into the waste can, and leave the valve as it is."
    )
    yield Step("flush-port", says, NO_SOURCE)
    says = (
        "Only now open the bottle; fill it to three quarters from the running jet, touching nothing, and close it "
        "before you shut the port."
    )
    yield Step("fill-bottle", says, NO_SOURCE, ("sample", "hours"))
    target = f" and ask for the code against {job.target_code}" if job.target_code else ""
    yield Step("sample", f"Cap the port, see that it does not drip, send the bottle the same day{target}.", NO_SOURCE)
    yield waste("The oil that was flushed off")
    yield sign_off()
