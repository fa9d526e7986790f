"""No sentence of any card calls anything safe; the one that speaks of it denies it."""

import re
from functools import cache

from hypothesis import HealthCheck, given, settings

from scheduler.job_card.cautions import DENIAL, cautions
from scheduler.job_card.job import Job
from scheduler.job_card.steps import steps
from tests.job_card.jobs import any_job, every_kind_of_job

CALLS_IT_SAFE = re.compile(
    r"\b(un)?safe(ly|r|st)?\b|harmless|no (danger|risk|hazard)\b|without (danger|risk)|riskless|secured?\b|"
    r"(can|may) (now )?be opened\b|(is|are) (now )?(isolated|depressurised|protected)\b",
    re.IGNORECASE,
)
"""Ours: the words by which a text promises what only the person at the machine can see."""


def sentences(job: Job) -> list[str]:
    return [str(caution) for caution in cautions(job)] + [step.says for step in steps(job)]


@cache
def promises(says: str) -> bool:
    return bool(CALLS_IT_SAFE.search(says))


def judged(job: Job) -> None:
    promising = [says for says in sentences(job) if promises(says)]
    assert promising == [str(DENIAL)], job


@settings(max_examples=1500, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(any_job)
def test_no_card_calls_a_machine_safe(job: Job) -> None:
    judged(job)


def test_no_kind_of_job_calls_a_machine_safe() -> None:
    for job in every_kind_of_job():
        judged(job)


def test_the_denial_says_who_decides() -> None:
    assert "does not say that it is safe" in DENIAL.says
    for first in ("plant's procedure", "maker's manual", "local codes", "licensed or trained people"):
        assert first in DENIAL.says
    assert "come first" in DENIAL.says


def test_a_promise_would_be_seen() -> None:
    for promise in (
        "The line is safe to open.",
        "It can now be opened.",
        "The pump is isolated.",
        "There is no danger.",
    ):
        assert promises(promise)
