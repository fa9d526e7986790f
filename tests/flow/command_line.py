"""The command line as a person runs it, beside the plant's database: in a process of its own, or in this one."""

import json
import os
import subprocess
from typing import Any

from click.testing import Result
from typer.testing import CliRunner

from service.cli.main import app
from tests.commands import run_command
from tests.flow.running_plant import RunningPlant


def run(plant: RunningPlant, *words: str) -> subprocess.CompletedProcess[str]:
    surroundings = {name: value for name, value in os.environ.items() if not name.startswith("ELEMENTDUE_")}
    return run_command(*words, environment=surroundings | {"ELEMENTDUE_DATABASE": plant.url})


def said_by(plant: RunningPlant, *words: str, as_json: bool = True) -> Any:
    """What a command that went well says on stdout."""
    ended = run(plant, *words)
    assert ended.returncode == 0, ended.stderr
    return json.loads(ended.stdout) if as_json else ended.stdout


def run_here(plant: RunningPlant, *words: str, typed: str | None = None) -> Result:
    """Without the seconds that a new process takes; what is raised stands in `exception`."""
    return CliRunner().invoke(app, words, input=typed, env={"ELEMENTDUE_DATABASE": plant.url})
