"""The steps of a job card: what a good fitter does, in that order, and only where it applies."""

from collections.abc import Callable, Iterator

from scheduler.job_card.after_event import check_after_event
from scheduler.job_card.back_in_service import back_in_service
from scheduler.job_card.before_opening import before_opening
from scheduler.job_card.inside import inside
from scheduler.job_card.job import Job
from scheduler.job_card.oil_work import clean_up, flush, top_up_alone
from scheduler.job_card.step import ORDER, RECORDS, Step
from scheduler.job_card.tank_top import on_tank_top
from scheduler.job_card.without_opening import check_level, inspect, look_when_warm, take_sample
from scheduler.vocabulary import TaskKind

__all__ = ["ORDER", "RECORDS", "Step", "steps"]


def steps(job: Job) -> list[Step]:
    """The steps of one task, each key at most once, in the order of `ORDER`.

    >>> from scheduler.vocabulary import Place
    >>> [step.key for step in steps(Job(TaskKind.CHECK_LEVEL, Place.OTHER))]
    ['permit-and-isolation', 'settle', 'level', 'look-for-leak', 'sign-off']
    """
    return list(on_tank_top(job) if job.on_tank_top else _SEQUENCES[job.task](job))


def _in_the_housing(job: Job) -> Iterator[Step]:
    yield from before_opening(job)
    yield from inside(job)
    yield from back_in_service(job)


_SEQUENCES: dict[TaskKind, Callable[[Job], Iterator[Step]]] = {
    TaskKind.CHANGE_ELEMENT: _in_the_housing,
    TaskKind.SERVICE_STRAINER: _in_the_housing,
    TaskKind.CHANGE_BREATHER: on_tank_top,
    TaskKind.INSPECT: inspect,
    TaskKind.LOOK_WHEN_WARM: look_when_warm,
    TaskKind.TAKE_SAMPLE: take_sample,
    TaskKind.CHECK_LEVEL: check_level,
    TaskKind.TOP_UP: top_up_alone,
    TaskKind.CLEAN_UP: clean_up,
    TaskKind.CHECK_AFTER_EVENT: check_after_event,
    TaskKind.FLUSH: flush,
}
