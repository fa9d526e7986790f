"""A small invented plant as a folder that is in order, for tests to break one thing at a time."""

import zipfile
from datetime import UTC, datetime
from pathlib import Path

import pytest

from service.plant_folder.known import EMPTY, Known
from service.plant_folder.reading import Folder, read_folder
from service.plant_folder.refusals import FolderRefused, Refusal

NOW = datetime(2026, 6, 1, 12, tzinfo=UTC)

TABLES = {
    "plants": "plant,time_zone,currency,altitude [m]\nNORTH,Europe/Oslo,EUR,1000\n",
    "fluids": "fluid,viscosity_40 [mm2/s]\nHM46,46\n",
    "systems": "system,plant,fluid,reservoir_volume [L]\nPRESS,NORTH,HM46,400\n",
    "parts": "part_number,kind\nK-1,seal_kit\n",
    "element_types": "part_number,kind,seal_kit\nE-10,element,K-1\nE-20,element,\n",
    "positions": "position,system,place,part_number\nPRESS-R1,PRESS,return,E-10\nPRESS-R2,PRESS,return,E-10\n",
    "dp_readings": "position,at,dp [bar]\nPRESS-R1,2026-03-05T08:00,1.5\n",
}


def write_folder(at: Path, tables: dict[str, str | bytes | None]) -> Path:
    """The plant above with other texts for some tables; None leaves a table out."""
    at.mkdir(exist_ok=True)
    for name, text in (TABLES | tables).items():
        if text is not None:
            (at / f"{name}.csv").write_bytes(text if isinstance(text, bytes) else text.encode())
    return at


def read(at: Path, **tables: str | bytes | None) -> Folder:
    return read_folder(write_folder(at / "folder", tables), EMPTY, now=NOW)


def refusals(at: Path, **tables: str | bytes | None) -> tuple[Refusal, ...]:
    """Everything that the broken plant is refused for."""
    return refusals_of(write_folder(at / "folder", tables))


def refusals_of(path: Path, known: Known = EMPTY, separator: str = ",", decimal: str = ".") -> tuple[Refusal, ...]:
    with pytest.raises(FolderRefused) as caught:
        read_folder(path, known, separator=separator, decimal=decimal, now=NOW)
    assert caught.value.further == {}, "the test broke more than it meant to"
    return caught.value.refusals


def write_zip(at: Path, members: dict[str, str]) -> Path:
    path = at / "plant.zip"
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, text in members.items():
            archive.writestr(name, text)
    return path
