"""The surroundings of every test here: none of the settings of whoever runs the tests."""

import os

import pytest


@pytest.fixture(autouse=True)
def no_settings_from_outside(monkeypatch: pytest.MonkeyPatch) -> None:
    for name in [name for name in os.environ if name.startswith("ELEMENTDUE_")]:
        monkeypatch.delenv(name)
