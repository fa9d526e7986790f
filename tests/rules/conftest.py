"""What the rules are applied to: the checkout, its Python sources, and the files that git keeps."""

import subprocess
from pathlib import Path

import pytest

CHECKOUT = Path(__file__).resolve().parents[2]
PACKAGES = ("service", "scheduler", "api_schemas")


@pytest.fixture(scope="session")
def checkout() -> Path:
    return CHECKOUT


@pytest.fixture(scope="session")
def sources() -> dict[str, str]:
    """Text of every module of the three packages, committed or not, by its path from the top."""
    modules = (path for package in PACKAGES for path in sorted((CHECKOUT / package).rglob("*.py")))
    found = {path.relative_to(CHECKOUT).as_posix(): path.read_text(encoding="utf-8") for path in modules}
    assert len(found) >= len(PACKAGES), "the rules would be judging nothing"
    return found


@pytest.fixture(scope="session")
def kept_files() -> list[str]:
    """Paths of the files that git keeps and that are still there."""
    if not (CHECKOUT / ".git").exists():
        pytest.skip("what belongs to the repository is judged from git, and this is no checkout")
    # a checkout that belongs to another user (a container, CI) is no danger to listing names
    git = ("git", "-c", f"safe.directory={CHECKOUT}", "ls-files", "-z")
    listed = subprocess.run(git, cwd=CHECKOUT, capture_output=True, text=True, check=True).stdout
    return [path for path in listed.split("\0") if path and (CHECKOUT / path).is_file()]
