"""The kit of an order as a table to fetch it by."""

from typing import Any

from rich.console import Console
from rich.table import Table
from rich.text import Text

_WIDEST = 110


def print_kit(sheet: dict[str, Any]) -> None:
    """Shelf by shelf; what is short last, with the day on which supply covers it."""
    console = Console()
    if not console.is_terminal or console.width > _WIDEST:
        console = Console(width=_WIDEST)
    state = "SHORT" if sheet["short"] else "complete"
    console.print(Text(f"Kit of work order {sheet['work_order']}: {sheet['system']}, {state}", style="bold"))
    table = Table(box=None, pad_edge=False, header_style="bold")
    for name in ("take", "what", "store", "bin", "lot", "use by", "held", "for"):
        table.add_column(name)
    for line in sheet["parts"]:
        table.add_row(*_cells(f"{line['quantity']} ×", _part(line), line.get("bin"), line))
    for line in sheet["oil"]:
        table.add_row(*_cells(_litres(line["volume"]), _oil(line), None, line))
    console.print(table if table.row_count else Text("Nothing is needed from the store."))


def _cells(amount: str, what: str, bin_: str | None, line: dict[str, Any]) -> list[Text]:
    store = line["store"] or "SHORT"
    if line["store"] is None:
        coming = (
            f"arrives {line['arrives_at'][:10]} with {line['arrives_with']}"
            if line["arrives_at"]
            else "none on order"
        )
        what = f"{what}: {coming}"
    held = "yes" if line["reserved"] else "no"
    use_by = (line["expires_at"] or "")[:10]
    return [
        Text(cell)
        for cell in (amount, what, store, bin_ or "", line["lot"] or "", use_by, held, ", ".join(line["positions"]))
    ]


def _part(line: dict[str, Any]) -> str:
    what = line["part_number"] + (f", {line['description']}" if line["description"] else "")
    return f"{what} (instead of {line['instead_of']})" if line["instead_of"] else what


def _oil(line: dict[str, Any]) -> str:
    what = ", ".join(word for word in (line["fluid"], line["name"]) if word)
    if line["container"] is not None:
        what += f", from the {_litres(line['container'])} container"
    mass = "" if line["mass_kg"] is None else f", {line['mass_kg']:g} kg without container"
    return what + mass


def _litres(quantity: dict[str, Any]) -> str:
    return f"{quantity['value']:g} {quantity['unit']}"
