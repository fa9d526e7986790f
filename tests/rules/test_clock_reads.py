"""No computation reads the clock: `as_of` is passed down from the edge, so any past day can be replayed."""

import ast
from collections.abc import Iterator

MAY_READ_THE_CLOCK = frozenset({"service/cli.py", "service/clock/now.py"})

CLOCKS = frozenset(
    {
        *(
            "datetime.datetime.now",
            "datetime.datetime.utcnow",
            "datetime.datetime.today",
            "datetime.date.today",
        ),
        *("time.time", "time.time_ns", "time.ctime"),
        *("sqlalchemy.func.now", "sqlalchemy.func.current_timestamp", "sqlalchemy.func.current_date"),
        *("sqlalchemy.sql.func.now", "sqlalchemy.sql.func.current_timestamp"),
    }
)
"""Called, or handed on as a default. `time.monotonic` and `perf_counter` measure, they do not date."""

CLOCKS_WITHOUT_ARGUMENT = frozenset({"time.localtime", "time.gmtime"})
SPOKEN_CLOCKS = ("current_timestamp", "datetime('now", "now()")
"""The database's clock inside SQL text."""


def clock_reads(source: str) -> list[str]:
    tree = ast.parse(source)
    real_name = _imported_names(tree)
    return sorted({f"{line}: {clock}" for line, clock in _reads(tree, real_name)})


def _imported_names(tree: ast.Module) -> dict[str, str]:
    names: dict[str, str] = {}
    for node in ast.walk(tree):
        match node:
            case ast.Import(names=imported):
                for alias in imported:
                    top = alias.name.split(".")[0]
                    names[alias.asname or top] = alias.name if alias.asname else top
            case ast.ImportFrom(module=str(module), names=imported):
                for alias in imported:
                    names[alias.asname or alias.name] = f"{module}.{alias.name}"
    return names


def _reads(tree: ast.Module, real_name: dict[str, str]) -> Iterator[tuple[int, str]]:
    for node in ast.walk(tree):
        match node:
            case ast.Attribute() | ast.Name():
                if (name := _dotted(node, real_name)) in CLOCKS:
                    yield node.lineno, name
            case ast.Call(func=func, args=args):
                name = _dotted(func, real_name)
                if name in CLOCKS_WITHOUT_ARGUMENT and not args:
                    yield node.lineno, name
                if name == "numpy.datetime64" and args and _constant(args[0]) in {"now", "today"}:
                    yield node.lineno, name
                if name == "sqlalchemy.text" and args and _speaks_of_a_clock(_constant(args[0])):
                    yield node.lineno, name


def _dotted(node: ast.expr, real_name: dict[str, str]) -> str:
    match node:
        case ast.Name(id=name):
            return real_name.get(name, "")
        case ast.Attribute(value=value, attr=attribute):
            owner = _dotted(value, real_name)
            return f"{owner}.{attribute}" if owner else ""
        case _:
            return ""


def _constant(node: ast.expr) -> object:
    return node.value if isinstance(node, ast.Constant) else None


def _speaks_of_a_clock(text: object) -> bool:
    return isinstance(text, str) and any(clock in text.lower() for clock in SPOKEN_CLOCKS)


def test_only_the_edge_reads_the_clock(sources: dict[str, str]) -> None:
    found = [
        f"{path}:{read}"
        for path, text in sources.items()
        if path not in MAY_READ_THE_CLOCK
        for read in clock_reads(text)
    ]
    assert found == []


def test_a_clock_read_is_found_under_any_name() -> None:
    sample = """
import datetime as dt
import time
import numpy as np
from datetime import date, datetime as moment, UTC
from time import time as seconds
from sqlalchemy import func, text

a = moment.now(UTC)
b = dt.datetime.utcnow()
c = date.today()
d = field(default_factory=moment.today)
e = seconds()
f = time.localtime()
g = np.datetime64("now")
h = Column(server_default=func.now())
i = text("insert into passes values (CURRENT_TIMESTAMP)")
"""
    assert [
        read.split(": ")[1] for read in sorted(clock_reads(sample), key=lambda read: int(read.split(":")[0]))
    ] == [
        *(
            "datetime.datetime.now",
            "datetime.datetime.utcnow",
            "datetime.date.today",
            "datetime.datetime.today",
        ),
        *("time.time", "time.localtime", "numpy.datetime64", "sqlalchemy.func.now", "sqlalchemy.text"),
    ]


def test_a_moment_handed_down_and_a_stopwatch_are_no_clock_reads() -> None:
    sample = """
import time
from datetime import UTC, datetime

from service import clock

def plan(as_of: datetime, now: datetime) -> float:
    started = time.perf_counter()
    then = datetime.fromtimestamp(0, UTC)
    local = time.gmtime(0)
    read_at_the_edge = clock.now()
    return time.monotonic() - started
"""
    assert clock_reads(sample) == []
