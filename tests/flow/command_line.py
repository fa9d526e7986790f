"""The command line as a person runs it: in a process of its own, beside the plant's database."""

import json
import os
import subprocess
import sys
from typing import Any

from tests.flow.running_plant import RunningPlant

_RUN = "import sys; sys.argv[0] = 'elementdue'; from service.cli.main import main; main()"


def run(plant: RunningPlant, *words: str) -> subprocess.CompletedProcess[str]:
    surroundings = {name: value for name, value in os.environ.items() if not name.startswith("ELEMENTDUE_")}
    return subprocess.run(
        [sys.executable, "-c", _RUN, *words],
        env=surroundings | {"ELEMENTDUE_DATABASE": plant.url},
        capture_output=True,
        text=True,
        timeout=60,
        check=False,
    )


def said_by(plant: RunningPlant, *words: str, as_json: bool = True) -> Any:
    """What a command that went well says on stdout."""
    ended = run(plant, *words)
    assert ended.returncode == 0, ended.stderr
    return json.loads(ended.stdout) if as_json else ended.stdout
