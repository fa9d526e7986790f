"""The small plant, imported and planned once, and copied for each story."""

from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.flow.running_plant import RunningPlant, copied, make_empty, make_planned, running


@pytest.fixture(scope="session")
def planned_file(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return make_planned(tmp_path_factory.mktemp("planned") / "plant.sqlite")


@pytest.fixture(scope="session")
def empty_file(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return make_empty(tmp_path_factory.mktemp("empty") / "plant.sqlite")


@pytest.fixture
def plant(planned_file: Path, tmp_path: Path) -> Iterator[RunningPlant]:
    """The small plant with its first pass run."""
    with running(copied(planned_file, tmp_path / "plant.sqlite")) as service:
        yield service


@pytest.fixture
def nothing_yet(empty_file: Path, tmp_path: Path) -> Iterator[RunningPlant]:
    """The service over an empty database."""
    with running(copied(empty_file, tmp_path / "plant.sqlite")) as service:
        yield service
