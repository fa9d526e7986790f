"""Archives that no plant sends are refused from their directory, before a member is read."""

import stat
import zipfile
from pathlib import Path
from typing import BinaryIO

import pytest

from service.plant_folder import archive
from service.plant_folder.known import EMPTY
from service.plant_folder.reading import read_folder
from service.plant_folder.refusals import Refusal, Remark
from tests.service.plant_folder.invented_plant import NOW, TABLES, refusals_of, write_zip

OUT = "its path leads out of the archive; pack the tables without folders above them"


@pytest.mark.parametrize("name", ["../plants.csv", "/etc/plants.csv", "C:plants.csv", "a\\..\\..\\plants.csv"])
def test_a_path_that_leads_out_of_the_archive_is_refused(tmp_path: Path, name: str) -> None:
    path = write_zip(tmp_path, {"fluids.csv": TABLES["fluids"], name: TABLES["plants"]})
    assert refusals_of(path) == (Refusal(name, None, None, None, OUT),)


def test_nothing_of_a_refused_archive_is_read(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def open_member(*_: object) -> BinaryIO:
        raise AssertionError("a member was read")

    monkeypatch.setattr("service.plant_folder.source.open_member", open_member)
    path = write_zip(tmp_path, {"../plants.csv": TABLES["plants"], "fluids.csv": "broken"})
    assert [refusal.file for refusal in refusals_of(path)] == ["../plants.csv"]


def test_a_symbolic_link_is_refused(tmp_path: Path) -> None:
    path = tmp_path / "plant.zip"
    link = zipfile.ZipInfo("plants.csv")
    link.external_attr = (stat.S_IFLNK | 0o777) << 16
    with zipfile.ZipFile(path, "w") as made:
        made.writestr(link, "/etc/passwd")
    assert refusals_of(path) == (Refusal("plants.csv", None, None, None, "is a symbolic link; pack the file itself"),)


def test_an_encrypted_member_is_refused(tmp_path: Path) -> None:
    path = write_zip(tmp_path, {"plants.csv": TABLES["plants"]})
    data = bytearray(path.read_bytes())
    central = data.index(b"PK\x01\x02")
    data[central + 8] |= 1  # APPNOTE 4.3.12: the general purpose flags of the central directory entry
    path.write_bytes(data)
    assert refusals_of(path) == (
        Refusal("plants.csv", None, None, None, "is encrypted; pack the tables without a password"),
    )


def test_a_bomb_is_refused_by_how_far_it_expands(tmp_path: Path) -> None:
    size = 17 * 1024**2
    path = write_zip(tmp_path, {"dp_readings.csv": "0" * size})
    packed = zipfile.ZipFile(path).infolist()[0].compress_size
    assert refusals_of(path) == (
        Refusal(
            *("dp_readings.csv", None, None, None),
            f"unpacks from {packed} to {size} bytes, more than 200 times: that is no table",
        ),
    )


def test_an_archive_that_unpacks_to_too_much_or_holds_too_many_members_is_refused(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = write_zip(tmp_path, {f"{name}.csv": text for name, text in TABLES.items()})
    total = sum(len(text.encode()) for text in TABLES.values())
    monkeypatch.setattr(archive, "MOST_BYTES", total - 1)
    assert refusals_of(path) == (
        Refusal(
            *("plant.zip", None, None, None),
            f"unpacks to {total} bytes, above the limit of {total - 1}: send the readings in several folders",
        ),
    )
    monkeypatch.setattr(archive, "MOST_MEMBERS", 6)
    assert refusals_of(path) == (
        Refusal(
            *("plant.zip", None, None, None),
            "holds 7 members; at most 6 are read: pack only the tables",
        ),
    )


def test_a_packing_method_without_bounds_is_refused(tmp_path: Path) -> None:
    path = tmp_path / "plant.zip"
    with zipfile.ZipFile(path, "w", zipfile.ZIP_LZMA) as made:
        made.writestr("plants.csv", TABLES["plants"])
    assert refusals_of(path) == (
        Refusal(
            *("plants.csv", None, None, None),
            "is packed by a method that is not read; pack it as an ordinary zip (deflate)",
        ),
    )


def test_a_damaged_member_and_a_file_that_is_no_zip_are_refused(tmp_path: Path) -> None:
    path = tmp_path / "plant.zip"
    with zipfile.ZipFile(path, "w") as made:
        made.writestr("plants.csv", TABLES["plants"])
    path.write_bytes(path.read_bytes().replace(b"Oslo", b"Rome"))
    assert refusals_of(path) == (
        Refusal("plants.csv", None, None, None, "is damaged in the archive; pack the folder again"),
    )
    path.write_bytes(b"position,at\n")
    assert refusals_of(path) == (
        Refusal("plant.zip", None, None, None, "is not a readable zip; pack the folder again"),
    )


def test_a_zip_inside_the_zip_is_not_read_and_remarked(tmp_path: Path) -> None:
    members = {f"{name}.csv": text for name, text in TABLES.items()}
    folder = read_folder(write_zip(tmp_path, members | {"older.zip": "PK"}), EMPTY, now=NOW)
    assert folder.remarks == (Remark("older.zip", None, None, None, "was not read: only .csv tables are"),)
