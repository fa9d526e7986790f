"""Breathers and filler strainers: work on the reservoir's lid, where the danger is dirt and the air above the oil.

Common practice, no source, unless a step names one.
"""

from collections.abc import Iterator

from scheduler.job_card.back_in_service import sign_off, waste
from scheduler.job_card.before_opening import labels, permit_and_isolation, stop
from scheduler.job_card.inside import clean_strainer
from scheduler.job_card.job import Job
from scheduler.job_card.step import NO_SOURCE, Step, number, own_fluid
from scheduler.vocabulary import Access, Place, TaskKind


def on_tank_top(job: Job) -> Iterator[Step]:
    """A breather changed, or a filler strainer cleaned or changed: the tank vented, and no opening left."""
    yield permit_and_isolation(job)
    yield labels(job)
    if job.access is not Access.RUNNING:
        yield stop(job)
    yield clean_filler_area()
    yield _vent_tank(job)
    yield _old_one_out(job)
    yield _look(job)
    if job.task is TaskKind.SERVICE_STRAINER and job.cleaned:
        yield clean_strainer(job)
    yield _seal(job)
    yield _seat(job)
    yield _nothing_left_open(job)
    yield waste("The old seal" if job.refits else f"The old {_called(job)}")
    yield sign_off()


def clean_filler_area() -> Step:
    """What lies on the lid falls in."""
    says = "Clean the lid round breather and filler with lint-free cloths; no brush and no air jet."
    return Step("clean-outside", says, NO_SOURCE)


def _vent_tank(job: Job) -> Step:
    says = (
        f"Loosen the {_called(job)} slowly, face turned away, until the air in the tank is level with that outside."
    )
    return Step("vent-open", says, "ISO 4413")


def _old_one_out(job: Job) -> Step:
    says = f"Take the {_called(job)} out and cover the opening at once with something clean; bag what came out."
    return Step("old-element-out", says, NO_SOURCE)


def _look(job: Job) -> Step:
    if _is_breather(job):
        says = (
            "Look at the old breather and take a photo: dust outside, desiccant turned, water, or oil in it. "
            "Oil means an overfilled or foaming tank: report it."
        )
    else:
        says = "Look at the strainer and take a photo. What lies in it came in with the oil: say what, and keep it."
    return Step("look-inside", says, NO_SOURCE, ("condition", "photo"))


def _seal(job: Job) -> Step:
    kit = f" from seal kit {job.seal_kit}" if job.seal_kit else ""
    says = f"Lay a new seal in{kit}, wetted with {own_fluid(job)}; wipe the seat first."
    return Step("seal", says, NO_SOURCE, ("parts",))


def _seat(job: Job) -> Step:
    tighten = (
        f"tighten to {number(job.torque_Nm)} N·m" if job.torque_Nm else "tighten by hand or by the maker's manual"
    )
    if job.refits:
        return Step("seat-element", f"Seat the cleaned strainer and {tighten}; write the date on it.", NO_SOURCE)
    caps = " Take off every transport cap, or it cannot breathe." if _is_breather(job) else ""
    says = f"Unwrap the new {_called(job)} only now, seat it and {tighten}; write date and lot on it.{caps}"
    return Step("seat-element", says, NO_SOURCE, ("element", "lot"))


def _nothing_left_open(job: Job) -> Step:
    at = f" at the tank of {job.system}" if job.system else ""
    says = (
        f"See that no opening is left{at}: filler cap on, spare ports plugged, dipstick and hand-hole covers tight."
    )
    return Step("nothing-left-open", says, NO_SOURCE, ("hours",))


def _called(job: Job) -> str:
    return "breather" if _is_breather(job) else "strainer"


def _is_breather(job: Job) -> bool:
    return job.task is TaskKind.CHANGE_BREATHER or (
        job.place is Place.BREATHER and job.task is TaskKind.CHANGE_ELEMENT
    )
