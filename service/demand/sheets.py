"""Demand and buying lists as CSV and as a workbook: units in the headers, texts that no spreadsheet computes."""

import csv
import io
import zipfile
from collections.abc import Iterator, Sequence
from datetime import datetime

from api_schemas.demand import BuyingList, DemandList
from service.plant_folder.workbook_writing import WorkbookWriting

FILE_TYPES = {
    "csv": "text/csv; charset=utf-8",
    "xlsx": "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet",
}
"""By how a file's name ends."""

_STARTS_A_FORMULA = ("=", "+", "-", "@", "\t", "\r")

Sheet = tuple[Sequence[tuple[str, bool]], Iterator[list[str]]]
"""Its columns, each with whether its cells are numbers, and its rows."""

_DEMAND_COLUMNS = (
    *(("item", False), ("kind", False), ("description", False), ("unit", False)),
    *(("starts_at", False), ("ends_at", False)),
    *((f"{name} [unit]", True) for name in ("mean", "p10", "p50", "p90", "p99")),
    *((f"by_end_{name} [unit]", True) for name in ("mean", "p10", "p50", "p90", "p99")),
    ("run_out [1]", True),
)
_BUYING_COLUMNS = (
    *(("item", False), ("kind", False), ("description", False), ("unit", False), ("order_by", False)),
    *(("quantity [unit]", True), ("packs [1]", True), ("price", True), ("cost", True), ("currency", False)),
    *(("lead_time [d]", True), ("on_hand [unit]", True), ("on_order [unit]", True), ("reorder_level [unit]", True)),
    *(("service [1]", True), ("fill_rate [1]", True), ("cost_if_wrong", True), ("reason", False)),
)


def demand_sheet(found: DemandList) -> Sheet:
    """One row for each item and period."""
    return _DEMAND_COLUMNS, (
        [
            *(item.item, item.kind, item.description or "", item.unit, *_moments(period.starts_at, period.ends_at)),
            *(
                f"{value:g}"
                for spread in (period.within, period.by_end)
                for value in (spread.mean, spread.p10, spread.p50, spread.p90, spread.p99)
            ),
            f"{period.run_out:g}",
        ]
        for item in found.items
        for period in item.periods
    )


def buying_sheet(found: BuyingList) -> Sheet:
    """One row for each line."""
    return _BUYING_COLUMNS, (
        [
            *(line.item, line.kind, line.description or "", line.unit),
            *("" if line.order_by is None else line.order_by.isoformat(timespec="minutes"), f"{line.quantity:g}"),
            *(str(line.packs), *(_money(amount) for amount in (line.price, line.cost)), line.currency or ""),
            *(f"{value:g}" for value in (line.lead_time_d, line.on_hand, line.on_order, line.reorder_level)),
            *(f"{line.service:g}", f"{line.fill_rate:g}", _money(line.cost_if_wrong), line.reason),
        ]
        for line in found.items
    )


def as_file(kind: str, name: str, sheet: Sheet) -> bytes:
    """The sheet as one of `FILE_TYPES`."""
    return _as_csv(sheet).encode() if kind == "csv" else _as_workbook(name, sheet)


def _as_csv(sheet: Sheet) -> str:
    """RFC 4180. A text that a spreadsheet would compute gets an apostrophe before it; common practice, no source."""
    columns, rows = sheet
    out = io.StringIO()
    writer = csv.writer(out)
    writer.writerow([name for name, _ in columns])
    for row in rows:
        writer.writerow(
            [
                cell if is_number or not cell.startswith(_STARTS_A_FORMULA) else "'" + cell
                for cell, (_, is_number) in zip(row, columns, strict=True)
            ]
        )
    return out.getvalue()


def _as_workbook(name: str, sheet: Sheet) -> bytes:
    """A workbook of one sheet; every text is a text, whatever it begins with."""
    columns, rows = sheet
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w") as archive:
        workbook = WorkbookWriting(archive)
        with workbook.sheet(name, [is_number for _, is_number in columns]) as take:
            take([header for header, _ in columns])
            for row in rows:
                take(row)
        workbook.finish()
    return out.getvalue()


def _moments(*moments: datetime) -> list[str]:
    return [at.isoformat(timespec="minutes") for at in moments]


def _money(amount: object) -> str:
    return "" if amount is None else str(amount)
