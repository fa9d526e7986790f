"""What an event calls for before, or while, the machine works on: one short sequence an event.

Common practice, no source, unless a step names one.
"""

from collections.abc import Callable, Iterator

from scheduler.job_card.back_in_service import leak_check, prime, sign_off, start, top_up, warm, waste
from scheduler.job_card.before_opening import cool, no_energy, permit_and_isolation, why
from scheduler.job_card.job import Job
from scheduler.job_card.oil_work import oil_labels, short_interval
from scheduler.job_card.step import NO_SOURCE, Step, own_fluid
from scheduler.job_card.without_opening import read_level, settle
from scheduler.vocabulary import EventKind


def check_after_event(job: Job) -> Iterator[Step]:
    """Isolation first, then what this event calls for; an event that is not told gets the general look."""
    yield permit_and_isolation(job)
    yield from why(job)
    yield from (_SEQUENCES[job.event] if job.event is not None else _untold)(job)
    yield sign_off()


def _pump_failure(job: Job) -> Iterator[Step]:
    yield oil_labels(job)
    yield from no_energy(job)
    yield from cool(job)
    says = (
        "Take out and cut open every element behind the pump and in its case drain; wash the folds over a white "
        "cloth and try the bits with a magnet: steel, bronze, seal? Photo."
    )
    yield Step("cut-open", says, NO_SOURCE, ("condition", "photo"))
    says = (
        "Pump the tank empty and wipe its bottom: chips that lie there are the next pump's. Entry only under the "
        "plant's permit."
    )
    yield Step("bottom-of-tank", says, NO_SOURCE, ("condition",))
    says = (
        "Flush lines, cooler and valve blocks, and open the cylinders' lines: what the pump shed has gone all the "
        "way round."
    )
    yield Step("flush-lines", says, NO_SOURCE)
    says = f"Fit new elements, fill {own_fluid(job)} through a filter and vent housings and lines."
    yield Step("fill-and-vent", says, "ISO 4413", ("element", "lot", "oil"))
    yield prime(job)
    yield start(job, job.working_pressure_bar)
    yield leak_check(job)
    yield short_interval()
    yield settle(job)
    yield read_level()
    yield waste("Spilled oil, old parts")


def _hose_burst(job: Job) -> Iterator[Step]:
    says = (
        "Ask whether anybody was hit by the jet: to hospital at once, however slight it looks, and say "
        "'high-pressure injection'."
    )
    yield Step("anybody-hit", says, NO_SOURCE)
    yield oil_labels(job)
    yield from no_energy(job)
    yield from cool(job)
    says = "Clean up the spill, then look at the ends: wipe every opening and cap it until the new hose is on."
    yield Step("clean-outside", says, NO_SOURCE, ("condition", "photo"))
    says = "Find why it burst (age, rubbing, bend, pressure peak), and look at the hoses beside it."
    yield Step("find-source", says, NO_SOURCE, ("condition",))
    yield _filled_before_start(job)
    yield prime(job)
    yield start(job, job.working_pressure_bar)
    yield leak_check(job)
    yield _bleed_air()
    yield _dp_again(job)
    yield settle(job)
    yield read_level()
    yield top_up(job)
    yield waste("Spilled oil, old parts")


def _water_ingress(job: Job) -> Iterator[Step]:
    says = (
        "Take a sample from low in the tank before anything is drained, marked 'water': is the oil clear, cloudy or "
        "milky?"
    )
    yield Step("first-sample", says, NO_SOURCE, ("sample", "condition"))
    yield oil_labels(job)
    yield from no_energy(job)
    yield from cool(job)
    says = (
        "After some hours at rest open the bottom drain slowly, let the water off until clean oil comes; write down "
        "the litres."
    )
    yield Step("bottom-of-tank", says, NO_SOURCE, ("note",))
    says = (
        "Find where it came in: cooler, breather, filler cap, rod seals, washing down. Change a wet breather, and "
        "elements of paper: water swells them."
    )
    yield Step("find-source", says, NO_SOURCE, ("condition",))
    yield _filled_before_start(job)
    yield start(job, job.working_pressure_bar)
    yield leak_check(job)
    says = (
        "Sample again, warm and mixed, after a day; if water is still above the limit, ask for a clean-up that "
        "takes water out."
    )
    yield Step("sample", says, NO_SOURCE, ("sample",))
    yield settle(job)
    yield read_level()
    yield top_up(job)
    yield waste("Spilled oil, old parts")


def _overheated(job: Job) -> Iterator[Step]:
    says = (
        "Look at seals and hoses once cool: hard, cracked, weeping? Look at cooler, fan, water valve and level, "
        "and for a relief valve that blows off all the time."
    )
    yield Step("find-source", says, NO_SOURCE, ("condition", "photo"))
    yield _dp_again(job)
    says = (
        "Sample for viscosity, acid number and varnish, warm and running: burnt oil smells, is dark and leaves "
        "lacquer."
    )
    yield Step("sample", says, NO_SOURCE, ("sample",))


def _opened(job: Job) -> Iterator[Step]:
    says = "Ask what was opened, for how long and in which surroundings; see every plug and cover back in its place."
    yield Step("nothing-left-open", says, NO_SOURCE, ("note",))
    yield leak_check(job)
    yield _bleed_air()
    yield _dp_again(job)
    yield _sample_soon()
    yield settle(job)
    yield read_level()


def _flushed(job: Job) -> Iterator[Step]:
    says = "See that flushing plates, loops and flushing elements are out and working elements are in."
    yield Step("nothing-left-open", says, NO_SOURCE, ("element", "lot"))
    yield leak_check(job)
    yield _dp_again(job)
    yield _sample_soon()
    yield short_interval()


def _oil_change(job: Job) -> Iterator[Step]:
    yield oil_labels(job)
    yield leak_check(job)
    yield _bleed_air()
    says = f"Read every ΔP with oil at {warm(job)}, today and after a week: fresh oil loosens old deposits."
    yield Step("dp-after", says, NO_SOURCE, ("hours", "dp_after"))
    yield _sample_soon()
    yield settle(job)
    yield read_level()


def _changeover(job: Job) -> Iterator[Step]:
    says = "See the transfer valve against its stop and the equalising valve shut; write down which side works."
    yield Step("nothing-left-open", says, NO_SOURCE, ("note",))
    yield leak_check(job)
    says = "Ask for the change of the side that was left: it is no standby as long as its element is loaded."
    yield Step("side-in-service", says, NO_SOURCE, ("note",))
    yield _dp_again(job)


def _commissioned(job: Job) -> Iterator[Step]:
    yield leak_check(job)
    yield _bleed_air()
    says = (
        f"Read every ΔP with oil at {warm(job)}, with flow and temperature: this is what clean means here from now "
        "on."
    )
    yield Step("dp-after", says, NO_SOURCE, ("hours", "dp_after"))
    yield _sample_soon()
    yield short_interval()
    yield settle(job)
    yield read_level()


def _untold(job: Job) -> Iterator[Step]:
    yield leak_check(job)
    yield _dp_again(job)
    yield _sample_soon()
    yield settle(job)
    yield read_level()


def _filled_before_start(job: Job) -> Step:
    says = (
        f"Before the start fill {own_fluid(job)} through a filter until the level stands between the marks: "
        "a pump that finds too little oil draws air."
    )
    return Step("fill-and-vent", says, NO_SOURCE, ("oil",))


def _bleed_air() -> Step:
    says = (
        "Move every cylinder slowly end to end without load, bleed at the points made for it, until nothing jerks "
        "or foams."
    )
    return Step("bleed-air", says, "ISO 4413")


def _dp_again(job: Job) -> Step:
    says = (
        f"Read the ΔP of every element with oil at {warm(job)} and again after some hours: a quick rise is dirt on "
        "the move."
    )
    return Step("dp-after", says, NO_SOURCE, ("hours", "dp_after"))


def _sample_soon() -> Step:
    says = "Take an oil sample after some hours of running, warm, at the usual point."
    return Step("sample", says, NO_SOURCE, ("sample",))


_SEQUENCES: dict[EventKind, Callable[[Job], Iterator[Step]]] = {
    EventKind.PUMP_FAILURE: _pump_failure,
    EventKind.HOSE_BURST: _hose_burst,
    EventKind.WATER_INGRESS: _water_ingress,
    EventKind.OVERHEATED: _overheated,
    EventKind.OPENED: _opened,
    EventKind.REPAIR: _opened,
    EventKind.FLUSHED: _flushed,
    EventKind.OIL_CHANGE: _oil_change,
    EventKind.CHANGEOVER: _changeover,
    EventKind.COMMISSIONED: _commissioned,
}
