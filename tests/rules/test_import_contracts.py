"""The contracts in .importlinter can fail: a module in the wrong place or with the wrong import is told."""

import shutil
import subprocess
import sys
from pathlib import Path

import pytest

LINTER = Path(sys.executable).with_name("lint-imports")


@pytest.fixture
def copy_of_the_house(checkout: Path, tmp_path: Path) -> Path:
    for package in ("service", "scheduler", "api_schemas"):
        shutil.copytree(checkout / package, tmp_path / package, ignore=shutil.ignore_patterns("__pycache__"))
    shutil.copy(checkout / ".importlinter", tmp_path)
    return tmp_path


def lint(house: Path) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [LINTER, "--no-cache", "--no-logo"],
        cwd=house,
        capture_output=True,
        text=True,
        check=False,
        timeout=120,
    )


@pytest.mark.parametrize(
    ("module", "text", "contract"),
    [
        ("scheduler/engineering/stray.py", "import service", "The service knows the wire"),
        ("scheduler/engineering/stray.py", "import scheduler.statistics", "Inside the scheduler"),
        ("scheduler/engineering/stray.py", "import pint", "Only scheduler/units.py knows pint"),
        ("scheduler/statistics/stray.py", "import apscheduler", "Only scheduler/timetable.py"),
        ("scheduler/statistics/stray.py", "import sqlalchemy", "The scheduler has no database"),
        ("scheduler/stray.py", "", "Inside the scheduler"),
        ("scheduler/planning/stray.py", "", "Each planning stage"),
        ("api_schemas/stray.py", "import scheduler.units", "The wire shares the vocabulary"),
        ("api_schemas/stray.py", "import numpy", "An integrator can import wire and client"),
        ("api_schemas/client/stray.py", "import typer", "An integrator can import wire and client"),
        ("service/due/stray.py", "import api_schemas.client.sync", "The service asks no other server"),
    ],
)
def test_a_wrong_import_or_a_module_without_a_place_breaks_its_contract(
    copy_of_the_house: Path, module: str, text: str, contract: str
) -> None:
    (copy_of_the_house / module).write_text(f"{text}\n")
    result = lint(copy_of_the_house)
    assert result.returncode == 1
    said = " ".join(result.stdout.split())  # the linter wraps long lines
    before_kept_or_broken = said.split(contract, maxsplit=1)[1]
    assert contract in said
    assert before_kept_or_broken.index("BROKEN") < (before_kept_or_broken + " KEPT").index("KEPT")
