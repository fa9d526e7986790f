"""Work on the oil itself: a top-up, a clean-up with an off-line filter, a flush at commissioning.

Common practice, no source, unless a step names one.
"""

from collections.abc import Iterator

from scheduler.job_card.back_in_service import leak_check, sign_off, start, top_up, warm, waste
from scheduler.job_card.before_opening import no_energy, permit_and_isolation, why
from scheduler.job_card.job import Job
from scheduler.job_card.step import NO_SOURCE, Step, fluid_on_label, number, own_fluid, sentence
from scheduler.job_card.tank_top import clean_filler_area
from scheduler.job_card.without_opening import read_level, settle

FIRST_INTERVAL_h = 50.0
"""When the first elements after a flush or a wreck are changed; common practice, no source."""


def top_up_alone(job: Job) -> Iterator[Step]:
    """Read at rest, filled through a filter, read again."""
    yield permit_and_isolation(job)
    yield from why(job)
    yield oil_labels(job)
    yield clean_filler_area()
    yield settle(job)
    yield read_level()
    says = "Look under the machine and at every joint: what has to be topped up went somewhere."
    yield Step("look-for-leak", says, NO_SOURCE, ("condition",))
    yield top_up(job)
    says = "Close the filler, wait, and read the level again in the same position; above the top mark, report it."
    yield Step("level-again", says, NO_SOURCE, ("level",))
    yield waste("Spilled oil, empty containers")
    yield sign_off()


def oil_labels(job: Job) -> Step:
    """The container's label against what the system must have."""
    if not job.fluid:
        says = "Which fluid the system has to have is not recorded: ask, write it down, and pour nothing before."
        return Step("labels", says, NO_SOURCE, ("lot", "note"))
    says = (
        f"Compare the container's label: {fluid_on_label(job)}, within its date, seal unbroken. "
        "If name, family or grade differs, pour nothing and ask."
    )
    return Step("labels", says, NO_SOURCE, ("lot",))


def clean_up(job: Job) -> Iterator[Step]:
    """An off-line filter beside the machine, until the oil is as clean as it should be."""
    yield permit_and_isolation(job)
    yield from why(job)
    says = (
        f"See on its label that the filter cart last held {fluid_on_label(job)}, otherwise flush it first; "
        "see which element is in it."
    )
    yield Step("labels", says, NO_SOURCE, ("element",))
    says = "Clean the tank's couplings and the hose ends; set a drip tray under them."
    yield Step("clean-outside", says, NO_SOURCE)
    says = (
        "Connect suction low at one end of the tank and return below the oil level at the other; "
        "no hose hangs in an open hole."
    )
    yield Step("connect", says, NO_SOURCE)
    says = "Start the cart, vent its filter, and look for leaks by eye and cardboard, never by hand."
    yield Step("leak-check", says, "ISO 4413")
    hours = (
        sentence(job.clean_up)
        if job.clean_up and job.clean_up.strip()
        else "How long is not computed: sample to know."
    )
    says = f"{hours} Watch the cart's ΔP and change its element at its limit; write down the hours that it ran."
    yield Step("run-clean-up", says, NO_SOURCE, ("note",))
    yield _clean_enough(job)
    yield Step("put-back", "Stop the cart, uncouple, cap both ends; label the cart with this fluid.", NO_SOURCE)
    yield settle(job)
    yield read_level()
    yield waste("Spilled oil, empty containers")
    yield sign_off()


def _clean_enough(job: Job) -> Step:
    until = f"two in a row are at {job.target_code} or better" if job.target_code else "two in a row are alike"
    says = f"Sample from a flushed port while it runs, again after some hours, until {until}."
    return Step("sample", says, NO_SOURCE, ("sample",))


def flush(job: Job) -> Iterator[Step]:
    """New or rebuilt pipework: dirt out before the first load, and a short first interval."""
    yield permit_and_isolation(job)
    yield from why(job)
    yield oil_labels(job)
    yield from no_energy(job)
    says = (
        "Take servo and proportional valves, motors and cylinders out of the circuit by flushing plates or loops; "
        "cap and label what comes off."
    )
    yield Step("out-of-circuit", says, NO_SOURCE)
    volume = f" {number(job.reservoir_volume_L)} L of" if job.reservoir_volume_L is not None else ""
    says = (
        f"Fill{volume} {own_fluid(job)} through a filter, see flushing elements in every housing, vent pump and "
        "lines."
    )
    yield Step("fill-and-vent", says, "ISO 4413", ("oil", "element"))
    yield start(job, None)
    yield leak_check(job)
    says = (
        f"Flush line by line, oil at {warm(job)}, with turbulent flow in every line; change the elements at their "
        "limit."
    )
    yield Step("run-flush", says, NO_SOURCE, ("hours",))
    yield _clean_enough(job)
    says = (
        "Stop, isolate again and see zero pressure; put valves, motors and cylinders back, fit working elements, "
        "and repeat the start and the leak check."
    )
    yield Step("put-back", says, "29 CFR 1910.147", ("element", "lot"))
    yield short_interval()
    yield settle(job)
    yield read_level()
    yield waste("Spilled oil, empty containers")
    yield sign_off()


def short_interval() -> Step:
    """What a flush leaves behind comes out in the first hours."""
    says = (
        f"Ask for the next change of every element, with an oil sample, after {number(FIRST_INTERVAL_h)} h of "
        "running."
    )
    return Step("short-interval", says, NO_SOURCE, ("note",))
