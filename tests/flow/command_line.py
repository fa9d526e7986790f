"""The command line as a person runs it: in a process of its own, beside the plant's database."""

import json
import os
import subprocess
from typing import Any

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
