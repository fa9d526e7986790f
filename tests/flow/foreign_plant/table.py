"""One CSV file and the quirks that some tables are written with."""

from __future__ import annotations

import csv
import io
from collections.abc import Callable, Sequence
from pathlib import Path

Row = dict[str, object]

# The tables with one quirk each.
BOM = {"fluids"}
CRLF = {"positions", "stock"}
PADDED = {"element_types"}
BLANK_ROWS = {"level_checks"}
BLANK_COLUMN = {"stops"}


def columns_of(rows: Sequence[Row]) -> list[str]:
    """All columns that any row has, in the order of their first appearance."""
    return list(dict.fromkeys(name for row in rows for name in row if not name.startswith("_")))


def write_table(target: Path, table: str, rows: Sequence[Row], columns: Sequence[str] = ()) -> None:
    """One CSV file, with this table's quirks."""
    names = list(columns) or columns_of(rows)
    out = io.StringIO(newline="")
    writer = csv.writer(out, lineterminator="\r\n" if table in CRLF else "\n")
    tail = [""] if table in BLANK_COLUMN else []
    pad: Callable[[str], str] = (lambda name: f"  {name} ") if table in PADDED else (lambda name: name)
    writer.writerow([pad(name) for name in names] + tail)
    writer.writerows([row.get(name, "") for name in names] + tail for row in rows)
    if table in BLANK_ROWS:
        out.write("," * (len(names) - 1) + "\n" + "," * (len(names) - 1) + "\n\n")
    encoding = "utf-8-sig" if table in BOM else "utf-8"
    (target / f"{table}.csv").write_bytes(out.getvalue().encode(encoding))
