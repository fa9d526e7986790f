"""One step of a job card, the order in which steps stand, and how a card writes what the plant has told."""

from dataclasses import dataclass

from scheduler.job_card.job import Job

NO_SOURCE = "common practice, no source"

RECORDS = (
    *("hours", "dp_before", "dp_after", "element", "lot", "parts", "oil"),
    *("condition", "photo", "level", "torque", "sample", "note"),
)
"""What the close-out can be asked for by a step."""

ORDER = (
    # before anything is opened
    *("permit-and-isolation", "why", "anybody-hit", "first-sample", "labels", "read-before"),
    *("standby-side", "turn-over", "stop", "shut-off", "loads", "heater", "accumulators", "zero-pressure"),
    *("cool", "clean-outside", "suction-valve", "drain", "tank-entry", "vent-open"),
    # inside
    *("old-element-out", "look-inside", "clean-strainer", "seal", "seat-element", "bypass", "nothing-left-open"),
    *("cut-open", "bottom-of-tank", "out-of-circuit", "connect", "flush-lines", "find-source"),
    # back in service
    *("fill-and-vent", "prime", "start", "leak-check", "bleed-air", "run-clean-up", "run-flush"),
    *("warm-up", "flush-port", "fill-bottle", "read-warm", "look-around", "open-nothing"),
    *("side-in-service", "dp-after", "sample", "put-back", "short-interval"),
    *("settle", "level", "look-for-leak", "top-up", "level-again", "waste", "sign-off"),
)
"""Every step there is, in the order in which a card shows those that apply; the order is ours."""


@dataclass(frozen=True, slots=True)
class Step:
    """One thing to do. `key` is one of `ORDER`; `records` are those of `RECORDS` that the close-out is to tell."""

    key: str
    says: str
    reference: str | None = None
    records: tuple[str, ...] = ()


def number(value: float) -> str:
    """Three significant digits, as a card shows a number.

    >>> number(0.5), number(61.96), number(1250.0)
    ('0.5', '62', '1250')
    """
    return f"{float(f'{value:.3g}'):g}"


def own_fluid(job: Job) -> str:
    """The fluid by the plant's code, for the middle of a sentence."""
    return (job.fluid or "").strip() or "the system's own fluid"


def fluid_on_label(job: Job) -> str:
    """The fluid with all that its label has to agree with.

    >>> from scheduler.vocabulary import FluidFamily, Place, TaskKind
    >>> job = Job(TaskKind.TOP_UP, Place.OTHER, fluid="OIL-46", fluid_family=FluidFamily.HM, grade=46)
    >>> fluid_on_label(job)
    'OIL-46 (HM, ISO VG 46)'
    """
    grade = None if job.grade is None else f"ISO VG {job.grade}"
    more = [word for word in ((job.fluid_name or "").strip(), job.fluid_family, grade) if word]
    return f"{own_fluid(job)} ({', '.join(more)})" if more else own_fluid(job)


def sentence(text: str) -> str:
    """A text of the plant's or the planner's as a sentence: a capital at its start, one full stop at its end.

    >>> sentence("filter it twice")
    'Filter it twice.'
    """
    told = text.strip().rstrip(".")
    return f"{told[:1].upper()}{told[1:]}."


def at_rest(job: Job) -> str:
    """The position in which this system's level holds."""
    return (job.level_position or "").strip() or "single-acting cylinders retracted, loads down"
