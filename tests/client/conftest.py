"""The small plant of the stories, asked by the client and by the off-line command line."""

from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.client.technician import Technician
from tests.flow.conftest import planned_file, plant  # noqa: F401 - fixtures
from tests.flow.running_plant import RunningPlant
from tests.service.conftest import no_settings_from_outside  # noqa: F401 - of every test here


@pytest.fixture
def technician(plant: RunningPlant, tmp_path: Path) -> Iterator[Technician]:  # noqa: F811
    """With a phone of their own, at the small plant."""
    with Technician.at(plant, tmp_path / "phone", "technician") as one:
        yield one
