"""How often a test repeats itself: a short while in the suite, longer where the environment asks for it.

`ELEMENTDUE_TEST_WALKS=150 ELEMENTDUE_TEST_RACES=1000 pytest tests/flow/test_any_order.py tests/flow/test_at_once.py`;
what the long runs found stands in tests/measure/RESULTS.md.
"""

import os


def walks(in_the_suite: int) -> int:
    """Walks of the service in any order."""
    return int(os.environ.get("ELEMENTDUE_TEST_WALKS") or in_the_suite)


def races(in_the_suite: int) -> int:
    """Times that two do the same thing at the same moment."""
    return int(os.environ.get("ELEMENTDUE_TEST_RACES") or in_the_suite)


def scans(in_the_suite: int) -> int:
    """Scans that a carried sheet and the service are both asked about."""
    return int(os.environ.get("ELEMENTDUE_TEST_SCANS") or in_the_suite)


def kills(in_the_suite: int) -> int:
    """Times that a server is killed under its clients, or the off-line command line at some point."""
    return int(os.environ.get("ELEMENTDUE_TEST_KILLS") or in_the_suite)
