"""Lists written to a file instead of the terminal: CSV or a workbook, by how its name ends."""

from collections.abc import Sequence
from pathlib import Path
from typing import Annotated

import typer

from service.exports.sheet import FILE_TYPES, Sheet, as_file

WriteOption = Annotated[
    Path | None,
    typer.Option("--write", metavar="FILE", dir_okay=False, help="Into a file that ends in .csv or .xlsx."),
]


def kind_of(path: Path) -> str:
    """Which of `FILE_TYPES` the name asks for. Raises BadParameter."""
    kind = path.suffix.removeprefix(".").lower()
    if kind not in FILE_TYPES:
        raise typer.BadParameter(f"'{path}' ends neither in .csv nor in .xlsx")
    return kind


def write_sheets(path: Path, sheets: Sequence[Sheet]) -> None:
    """Replace the file."""
    write_whole(path, as_file(kind_of(path), sheets))


def write_whole(path: Path, content: bytes) -> None:
    """Replace the file, and say so."""
    path.write_bytes(content)
    typer.echo(f"written to {path}", err=True)
