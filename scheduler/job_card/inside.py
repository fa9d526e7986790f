"""What is done in the open housing: the old element out, what it tells, and the new one in, clean.

Common practice, no source, unless a step names one.
"""

from collections.abc import Iterator

from scheduler.job_card.job import Job
from scheduler.job_card.step import NO_SOURCE, Step, number, own_fluid
from scheduler.vocabulary import Answer, TaskKind


def inside(job: Job) -> Iterator[Step]:
    """From the old element out to the closed cover."""
    yield _old_element_out(job)
    yield _look_inside(job)
    if job.task is TaskKind.SERVICE_STRAINER and job.cleaned:
        yield clean_strainer(job)
    yield _seal(job)
    yield _seat_element(job)
    if job.bypass is not Answer.NO and not job.opens_suction:
        yield _bypass(job)


def _old_element_out(job: Job) -> Step:
    if job.refits:
        says = "Take the strainer out, let it drain and carry it away in a clean bag."
    else:
        place = f"position {job.position}" if job.position else "the position"
        says = f"Take the old {called(job)} out, let it drain and bag it; mark the bag with {place}, date and hours."
    return Step("old-element-out", says, NO_SOURCE)


def _look_inside(job: Job) -> Step:
    what = called(job)
    holder = _holder(job)
    says = (
        f"Look at the {what} and the {holder} under a lamp, say what is there (silt, metal, fibres, seal bits, "
        f"varnish, water, a collapse) and take a photo. Metal: stop, report it, cut the {what} open; the machine "
        "stands until somebody has decided."
    )
    if job.bypass is Answer.YES and not job.opens_suction:
        says += " Press the bypass valve open: it has to move freely and spring shut."
    return Step("look-inside", says, NO_SOURCE, ("condition", "photo"))


def called(job: Job) -> str:
    """What sits in the position, in one word."""
    return "strainer" if job.task is TaskKind.SERVICE_STRAINER else "element"


def clean_strainer(job: Job) -> Step:
    """The cleaning and its number, or a new strainer where there have been enough of them."""
    most = job.max_cleanings
    if job.is_worn_out:
        says = (
            f"This strainer has had {job.cleanings} of at most {most} cleanings: fit a new one, do not clean it "
            "again."
        )
        return Step("clean-strainer", says, NO_SOURCE, ("element", "condition"))
    if job.cleanings is None:
        count = "how often it has been cleaned is not recorded, write this one down"
        count += f" (at most {most})" if most is not None else ""
    else:
        count = f"this is cleaning {job.cleanings + 1}" + (f" of at most {most}" if most is not None else "")
    says = (
        f"Rinse and brush the mesh softly from the clean side, dry it and hold it against the light; {count}. "
        "A torn, dented or loose mesh: fit a new one."
    )
    return Step("clean-strainer", says, NO_SOURCE, ("condition", "note"))


def _holder(job: Job) -> str:
    return "bottom of the tank" if job.is_drained and job.opens_suction else "bowl"


def _seal(job: Job) -> Step:
    kit = f" from seal kit {job.seal_kit}" if job.seal_kit else ""
    says = (
        f"Wipe the {_holder(job)} with a lint-free cloth. Lay new seals in{kit} and wet them with {own_fluid(job)}, "
        "no grease and no other oil."
    )
    return Step("seal", says, NO_SOURCE, ("parts",))


def _seat_element(job: Job) -> Step:
    records: tuple[str, ...] = ("torque",) if job.refits else ("element", "lot", "torque")
    label = "the date" if job.refits else "date and lot"
    if job.refits:
        seat = "Seat the cleaned strainer fully"
    else:
        one = job.quantity == 1
        what, them = (called(job), "it") if one else (f"{job.quantity} {called(job)}s", "them")
        seat = f"Unwrap the new {what} only now and seat {them} fully"
    if job.torque_Nm:
        tighten = f"Tighten the cover evenly to {number(job.torque_Nm)} N·m"
    else:
        tighten = "Tighten the cover by the maker's manual and write the torque down"
    return Step("seat-element", f"{seat}. {tighten}; write {label} on the housing's label.", NO_SOURCE, records)


def _bypass(job: Job) -> Step:
    if job.bypass is Answer.YES:
        says = (
            "The bypass valve was seen closed and free before the cover went on? If nobody looked, open again and "
            "look."
        )
    else:
        says = (
            "A bypass valve is not recorded: if there is one, it has to be seen closed and free; write down what "
            "you found."
        )
    return Step("bypass", says, NO_SOURCE, () if job.bypass is Answer.YES else ("note",))
