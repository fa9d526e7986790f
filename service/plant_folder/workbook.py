"""An .xlsx workbook's sheets, and what their cells refer to: shared strings and date formats (ECMA-376 part 1)."""

import posixpath
import re
import zipfile
from array import array
from dataclasses import dataclass
from enum import Enum

from service.plant_folder.archive import open_member
from service.plant_folder.limits import (
    LONGEST_MARKUP,
    MOST_MEMBERS,
    MOST_RELATIONSHIPS,
    MOST_SHARED_CHARACTERS,
    MOST_SHARED_STRINGS,
    MOST_STYLES,
)
from service.plant_folder.refusals import FileRefused
from service.plant_folder.xml_parts import PartHandler, parse

_CONTENT_TYPES = "[Content_Types].xml"
_PACKAGE_RELATIONSHIPS = "_rels/.rels"
_OTHER_OFFICE_FORMATS = {"mimetype": "an OpenDocument file", "xl/workbook.bin": "a binary workbook"}


class Shown(Enum):
    """What a cell's number format makes of its number."""

    NUMBER = "number"
    PERCENTAGE = "percentage"
    DATE = "date"
    DATE_AND_TIME = "date and time"
    TIME = "time"
    DURATION = "duration"


@dataclass(frozen=True, slots=True)
class SheetPart:
    """A sheet in the workbook's order; `member` is None where it is no worksheet."""

    name: str
    member: zipfile.ZipInfo | None


@dataclass(frozen=True, slots=True)
class Workbook:
    """`formats` are by a cell's style index; `is_1904` says from which day the serial numbers count."""

    sheets: tuple[SheetPart, ...]
    shared_strings: list[str]
    formats: tuple[Shown, ...]
    is_1904: bool


def is_workbook(archive: zipfile.ZipFile) -> bool:
    """Whether the archive is an office document rather than a folder of tables."""
    names = set(archive.namelist())
    return _CONTENT_TYPES in names or ("mimetype" in names and "content.xml" in names)


def open_workbook(archive: zipfile.ZipFile) -> Workbook:
    """Raises FileRefused where the archive is no .xlsx workbook."""
    members = {info.filename: info for info in archive.infolist()}
    for name, kind in _OTHER_OFFICE_FORMATS.items():
        if name in members:
            raise FileRefused(f"is {kind}; save it as .xlsx")
    if _PACKAGE_RELATIONSHIPS not in members:
        raise FileRefused("is not a readable workbook; save it as .xlsx again")
    main = next((each.target for each in _relationships(archive, members, "") if each.kind == "officeDocument"), "")
    book = _Book()
    _read(archive, members, main, book)
    if not book.sheets:
        raise FileRefused("is an office document without sheets; save the tables as an .xlsx workbook")
    parts = _relationships(archive, members, main)
    kinds = {each.kind: each.target for each in parts}
    strings, styles = _SharedStrings(), _Styles()
    for kind, handler in (("sharedStrings", strings), ("styles", styles)):
        if kind in kinds:
            _read(archive, members, kinds[kind], handler)
    worksheets = {each.id: members.get(each.target) for each in parts if each.kind == "worksheet"}
    sheets = tuple(SheetPart(name, worksheets.get(part)) for name, part in book.sheets)
    return Workbook(sheets, strings.items, styles.formats(), book.is_1904)


def _read(archive: zipfile.ZipFile, members: dict[str, zipfile.ZipInfo], name: str, handler: PartHandler) -> None:
    if name not in members:
        raise FileRefused(f"lacks its part '{name}'; save it as .xlsx again")
    with open_member(archive, members[name]) as part:
        parse(part, handler)


@dataclass(frozen=True, slots=True)
class _Relationship:
    id: str
    kind: str
    target: str


class _Relationships:
    """ECMA-376 part 2, 9.3: targets are relative to the folder of the part that has them."""

    def __init__(self, folder: str) -> None:
        self._folder = folder
        self.items: list[_Relationship] = []

    def start(self, name: str, attributes: dict[str, str]) -> None:
        if name == "Relationship" and attributes.get("TargetMode") != "External":
            target = posixpath.normpath(posixpath.join("/", self._folder, attributes.get("Target", "")))
            kind = attributes.get("Type", "").rpartition("/")[2]
            self.items.append(_Relationship(attributes.get("Id", ""), kind, target.lstrip("/")))
            if len(self.items) > MOST_RELATIONSHIPS:
                raise FileRefused(
                    f"relates more than {MOST_RELATIONSHIPS} parts; copy the tables into a new workbook"
                )

    def end(self, name: str) -> None: ...

    def text(self, data: str) -> None: ...


def _relationships(archive: zipfile.ZipFile, members: dict[str, zipfile.ZipInfo], part: str) -> list[_Relationship]:
    folder, name = posixpath.split(part)
    found = _Relationships(folder)
    _read(archive, members, posixpath.join(folder, "_rels", f"{name}.rels"), found)
    return found.items


class _Book:
    """ECMA-376 part 1, 18.2.20 (sheets) and 18.2.28 (workbook properties)."""

    def __init__(self) -> None:
        self.sheets: list[tuple[str, str]] = []
        self.is_1904 = False

    def start(self, name: str, attributes: dict[str, str]) -> None:
        if name == "sheet":
            part = next((value for key, value in attributes.items() if key.rpartition(":")[2] == "id"), "")
            self.sheets.append((attributes.get("name", ""), part))
            if len(self.sheets) > MOST_MEMBERS:
                raise FileRefused(f"holds more than {MOST_MEMBERS} sheets; keep only the tables")
        elif name == "workbookPr":
            self.is_1904 = attributes.get("date1904") in {"1", "true"}

    def end(self, name: str) -> None: ...

    def text(self, data: str) -> None: ...


_ESCAPED = re.compile(r"_x([0-9A-Fa-f]{4})_")


def unescaped(text: str) -> str:
    """ECMA-376 part 1, 22.9.2.19: a character that XML cannot hold stands as `_xHHHH_`.

    >>> unescaped("a_x0009_b"), unescaped("_x005F_x0009_")
    ('a\\tb', '_x0009_')
    """
    return _ESCAPED.sub(lambda found: chr(int(found[1], 16)), text) if "_x" in text else text


class CellText:
    """Gathers the `t` elements of a string (ECMA-376 part 1, 18.4.12), its phonetic reading left out."""

    def __init__(self) -> None:
        self._pieces: list[str] = []
        self._length = 0
        self._takes = False
        self._phonetic = 0

    def start(self, name: str) -> None:
        if name == "rPh":
            self._phonetic += 1
        self._takes = name == "t" and not self._phonetic

    def end(self, name: str) -> None:
        if name == "rPh":
            self._phonetic -= 1
        self._takes = False

    def text(self, data: str) -> None:
        if self._takes:
            self._length += len(data)
            if self._length > LONGEST_MARKUP:
                raise FileRefused(f"holds a cell of more than {LONGEST_MARKUP} characters: that is no table")
            self._pieces.append(data)

    def taken(self) -> str:
        """The string so far; the next one begins empty."""
        text = unescaped("".join(self._pieces))
        self._pieces, self._length = [], 0
        return text


class _SharedStrings:
    """ECMA-376 part 1, 18.4.9."""

    def __init__(self) -> None:
        self.items: list[str] = []
        self._characters = 0
        self._string = CellText()

    def start(self, name: str, attributes: dict[str, str]) -> None:
        self._string.start(name)

    def end(self, name: str) -> None:
        self._string.end(name)
        if name == "si":
            self.items.append(self._string.taken())
            self._characters += len(self.items[-1])
            if len(self.items) > MOST_SHARED_STRINGS or self._characters > MOST_SHARED_CHARACTERS:
                raise FileRefused(
                    f"holds more than {MOST_SHARED_STRINGS} different texts or {MOST_SHARED_CHARACTERS} characters"
                    " of them; send the readings as CSV tables"
                )

    def text(self, data: str) -> None:
        self._string.text(data)


_BUILT_IN = {
    **dict.fromkeys((9, 10), Shown.PERCENTAGE),
    **dict.fromkeys((14, 15, 16, 17), Shown.DATE),
    **dict.fromkeys((18, 19, 20, 21, 45, 47), Shown.TIME),
    22: Shown.DATE_AND_TIME,
    46: Shown.DURATION,
    # East Asian dates, and a few times: a cell of those has no day and is refused for that
    **dict.fromkeys((*range(27, 37), *range(50, 59)), Shown.DATE),
}
"""ECMA-376 part 1, 18.8.30."""

_NOT_A_PLACEHOLDER = re.compile(r'"[^"]*"|\\.|_.|\*.')
_ELAPSED = re.compile(r"\[(?:h+|m+|s+)\]", re.IGNORECASE)
_IN_BRACKETS = re.compile(r"\[[^\]]*\]")
_LONGEST_FORMAT = 255  # ECMA-376 names no limit; spreadsheets have this one


def shown_by(code: str) -> Shown:
    """What a number format code shows (ECMA-376 part 1, 18.8.31).

    >>> shown_by("yyyy-mm-dd").value, shown_by("[h]:mm").value, shown_by('0.0 "days"').value
    ('date', 'duration', 'number')
    """
    plain = _NOT_A_PLACEHOLDER.sub("", code.partition(";")[0])
    if _ELAPSED.search(plain):
        return Shown.DURATION
    signs = set(_IN_BRACKETS.sub("", plain).lower().replace("general", ""))
    has_time = bool(signs & {"h", "s"})
    if signs & {"y", "d"} or ("m" in signs and not has_time):
        return Shown.DATE_AND_TIME if has_time else Shown.DATE
    if has_time:
        return Shown.TIME
    return Shown.PERCENTAGE if "%" in signs else Shown.NUMBER


class _Styles:
    """ECMA-376 part 1, 18.8.30 (number formats) and 18.8.10 (the formats that cells refer to)."""

    def __init__(self) -> None:
        self._codes: dict[int, str] = {}
        self._of_style: array[int] = array("l")
        self._in_cell_formats = False

    def start(self, name: str, attributes: dict[str, str]) -> None:
        if name == "numFmt":
            self._codes[_whole(attributes.get("numFmtId"))] = attributes.get("formatCode", "")[:_LONGEST_FORMAT]
        elif name == "cellXfs":
            self._in_cell_formats = True
        elif name == "xf" and self._in_cell_formats:
            self._of_style.append(_whole(attributes.get("numFmtId")))
        if max(len(self._codes), len(self._of_style)) > MOST_STYLES:
            raise FileRefused(f"holds more than {MOST_STYLES} cell styles; copy the tables into a new workbook")

    def end(self, name: str) -> None:
        if name == "cellXfs":
            self._in_cell_formats = False

    def text(self, data: str) -> None: ...

    def formats(self) -> tuple[Shown, ...]:
        shown = {number: shown_by(code) for number, code in self._codes.items()}
        return tuple(shown.get(number) or _BUILT_IN.get(number, Shown.NUMBER) for number in self._of_style)


def _whole(text: str | None) -> int:
    return int(text) if text is not None and text.isascii() and text.isdigit() and len(text) < 10 else 0
