"""What the service's own description allows, and much that it forbids, is sent; each answer is held against it.

The cases and the checks are those of schemathesis, an independent reader of OpenAPI: no fault, no status, header,
type or member that is not described; what breaks the description is refused, what fits it is not; no key, no answer.
`ELEMENTDUE_TEST_FUZZ=50` makes so many cases of each operation, and every boundary of every parameter besides.
"""

import os
from collections.abc import Iterator
from typing import Any

import pytest
import schemathesis
from schemathesis.config import SchemathesisConfig
from schemathesis.engine import events, from_schema

from scheduler.vocabulary import Scope
from tests.service.served import Served, served

pytestmark = pytest.mark.one_database_is_enough

CASES = int(os.environ.get("ELEMENTDUE_TEST_FUZZ") or 2)
IS_LONG = "ELEMENTDUE_TEST_FUZZ" in os.environ
SEED = 20_260_305

CHECKS: dict[str, Any] = {
    "positive_data_acceptance": {
        # A schema cannot say what is in the plant's records, nor which members belong together: 412 and 422 name the
        # member and the record. A whole number written 2.0 is refused, since strictness is said of all numbers alike.
        "expected-statuses": ["2xx", "3xx", "401", "403", "404", "409", "412", "422"]
    },
    "missing_required_header": {
        # RFC 6585, 3: 428 is what asks for If-Match
        "expected-statuses": ["400", "401", "403", "422", "428"]
    },
}
_WITH_MEMBERS_OF_THE_PLANTS_OWN = (
    *("/v1/dp-readings", "/v1/meter-readings", "/v1/systems/{system}", "/v1/positions/{position}"),
    *("/v1/element-types/{part_number}", "/v1/fluids/{fluid}"),
)
OPERATIONS: list[dict[str, Any]] = [
    {
        "include-path": path,
        "checks": {
            # rows and notes may have any member, whose names and values no schema bounds: 400 is for what is not
            # I-JSON (RFC 7493), such as NUL in a text, a number beyond 2^53, or bytes that are not UTF-8
            "positive_data_acceptance": {
                "expected-statuses": [*CHECKS["positive_data_acceptance"]["expected-statuses"], "400"]
            }
        },
    }
    for path in _WITH_MEMBERS_OF_THE_PLANTS_OWN
]
"""What differs for single operations, each with its reason."""


@schemathesis.serializer("text/csv", "application/x-ndjson")
def as_it_stands(_context: schemathesis.SerializationContext, value: Any) -> bytes:
    """Bodies that the schema knows as texts only."""
    return value if isinstance(value, bytes) else str(value).encode("utf-8", "replace")


@pytest.fixture
def service(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Served]:
    with served(tmp_path_factory.mktemp("fuzz")) as running:
        with running.client(running.key(Scope.PLAN)) as client:
            assert client.post("/v1/passes").status_code == 201
        yield running


def failures(service: Served, key: str | None, **phases: bool) -> tuple[list[str], int]:
    """What failed, each once, and how many cases were sent."""
    config = SchemathesisConfig.from_dict(
        {
            "seed": SEED,
            "base-url": "http://127.0.0.1",
            "headers": {} if key is None else {"Authorization": f"Bearer {key}"},
            "generation": {"max-examples": CASES, "deterministic": True, "no-shrink": True, "database": "none"},
            "phases": {phase: {"enabled": is_on} for phase, is_on in phases.items()},
            "continue-on-failure": True,
            "checks": CHECKS,
            "operations": OPERATIONS,
        }
    )
    schema = schemathesis.openapi.from_dict(service.app.openapi(), config=config)
    schema.app = service.app
    found: dict[tuple[str, str], str] = {}
    count = 0
    for event in from_schema(schema).execute():
        if isinstance(event, events.ScenarioFinished):
            count += len(event.recorder.cases)
            for name, checks in event.recorder.checks.items():
                for check in checks:
                    if check.failure_info is not None:
                        case = event.recorder.cases[name].value
                        failed = f"{event.label}: {check.failure_info.failure}"
                        found.setdefault((str(event.label), check.name), f"{failed}\n{case.as_curl_command()}"[:2000])
        elif isinstance(event, events.NonFatalError | events.FatalError):
            found["error", type(event).__name__] = repr(event)
    return list(found.values()), count


def test_an_administrator_may_send_anything_and_the_answer_is_as_described(service: Served) -> None:
    key = service.key(Scope.ADMINISTER)
    failed, count = failures(service, key, examples=True, coverage=IS_LONG, fuzzing=True, stateful=True)
    assert not failed, "\n\n".join(failed)
    assert count > 100


def test_without_a_key_nothing_but_refusals_is_answered_whatever_is_sent(service: Served) -> None:
    failed, count = failures(service, None, examples=True, coverage=IS_LONG, fuzzing=IS_LONG, stateful=False)
    assert not failed, "\n\n".join(failed)
    assert count > 20
