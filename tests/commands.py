"""`elementdue` in processes of its own that begin in a moment: forked from one that has imported everything.

A new interpreter needs seconds to import what a command needs, and the suite runs some two hundred commands. The fork
has its own environment, arguments and files, and ends as any process does. `tests/service/test_kill.py` begins its
imports from nothing, as a person's shell does.
"""

import atexit
import json
import os
import signal
import subprocess
import sys
import tempfile
import threading
from collections.abc import Mapping
from pathlib import Path
from typing import Any

_CHECKOUT = Path(__file__).resolve().parents[1]

_SCRIPT = """
import json, os, signal, sys
import typer
from service.cli.main import app, main

everything = list(typer.main.get_command(app).commands.values())

def ended(pid, how):
    found, status = os.waitpid(pid, how)
    return os.waitstatus_to_exitcode(status) if found else None

for line in sys.stdin:
    told = json.loads(line)
    if told["do"] == "end":
        os.kill(told["pid"], told["signal"])
        answer = ended(told["pid"], 0)
    elif told["do"] == "look":
        answer = ended(told["pid"], os.WNOHANG)
    else:
        answer = os.fork()
        if answer == 0:
            for number, name in enumerate((os.devnull, told["out"], told["err"])):
                os.dup2(os.open(name, os.O_RDWR | os.O_CREAT | os.O_APPEND), number)
            os.environ.clear()
            os.environ.update(told["environment"])
            sys.argv = ["elementdue", *told["words"]]
            signal.alarm(told["within_s"])
            main()
        if told["do"] == "run":
            answer = ended(answer, 0)
    print(json.dumps(answer), flush=True)
"""
_RUN_WITHIN_S, _SERVES_WITHIN_S = 120, 3600


class _Forking:
    """The process that forks; begun at the first asking, gone with this one."""

    def __init__(self) -> None:
        surroundings = {**os.environ, "OPENBLAS_NUM_THREADS": "1"}  # what is forked must have no threads
        self._process = subprocess.Popen(
            [sys.executable, "-c", _SCRIPT],
            cwd=_CHECKOUT,
            env=surroundings,
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            text=True,
        )
        self._one_at_a_time = threading.Lock()
        atexit.register(self._process.kill)

    def ask(self, **told: Any) -> int | None:
        """What the process answers: a number of a process, an exit code, or None of one that lives."""
        assert self._process.stdin is not None
        assert self._process.stdout is not None
        with self._one_at_a_time:
            self._process.stdin.write(json.dumps(told) + "\n")
            self._process.stdin.flush()
            answer: int | None = json.loads(self._process.stdout.readline())
            return answer


_forking: _Forking | None = None


def _ask(**told: Any) -> int | None:
    global _forking  # noqa: PLW0603 - one for all tests of this process
    if _forking is None:
        _forking = _Forking()
    return _forking.ask(**told)


def run_command(*words: str, environment: Mapping[str, str]) -> subprocess.CompletedProcess[str]:
    """A command that has ended, with what it said."""
    with tempfile.TemporaryDirectory(prefix="elementdue-") as at:
        out, err = Path(at) / "out", Path(at) / "err"
        code = _begin("run", words, environment, out, err, _RUN_WITHIN_S)
        return subprocess.CompletedProcess(["elementdue", *words], code, out.read_text(), err.read_text())


class StartedCommand:
    """A command that goes on until it is ended, its output added to two files."""

    def __init__(self, *words: str, environment: Mapping[str, str], out: Path, err: Path) -> None:
        self._pid = _begin("start", words, environment, out, err, _SERVES_WITHIN_S)
        self._code: int | None = None

    def ended(self) -> bool:
        """Whether it ended by itself."""
        if self._code is None:
            self._code = _ask(do="look", pid=self._pid)
        return self._code is not None

    def end(self, by: signal.Signals) -> int:
        """End it and wait for its end; its exit code, or minus the signal that it died of."""
        if self._code is None:
            self._code = _ask(do="end", pid=self._pid, signal=int(by))
        assert self._code is not None
        return self._code


def _begin(
    do: str, words: tuple[str, ...], environment: Mapping[str, str], out: Path, err: Path, within_s: int
) -> int:
    told = {"environment": dict(environment), "out": str(out), "err": str(err), "within_s": within_s}
    answer = _ask(do=do, words=words, **told)
    assert answer is not None
    return answer
