"""The due list as a table that can be read on a bare terminal: marks and words first, colour only on top."""

from datetime import datetime, timedelta

from rich.console import Console
from rich.table import Table
from rich.text import Text

from api_schemas.due import DiagnosisNote, DueItem, DueList

_HORIZON = timedelta(days=42)
_SOON = timedelta(days=7)
_NARROWEST = 100
_MARK_MEANING = "!! overdue or due now   ! within a week   * a diagnosis asks for a look now   ? nothing known fitted"


def print_due(found: DueList, *, everything: bool) -> None:
    """Print to stdout what is due within six weeks, or all of it."""
    console = wide_console()
    as_of = found.planned.as_of
    near = [item for item in found.items if everything or _is_near(item, as_of)]
    source = f"pass {found.planned.id} ({found.planned.cause})" if found.planned.id else found.planned.cause
    table = bare_table()
    for name in ("", "due", "in", "position", "by", "between (80 %)"):
        table.add_column(name, no_wrap=True)
    table.add_column("why", ratio=1)
    for item in near:
        table.add_row(*_cells(item, as_of))
    console.print(table)
    later = len(found.items) - len(near)
    console.print(Text(_MARK_MEANING))
    console.print(
        Text(
            f"{len(found.items)} positions as of {as_of:%Y-%m-%d %H:%M %Z}, from {source}; "
            + (
                f"{later} are due later than six weeks from then: `elementdue due --all`"
                if later
                else "all are shown"
            )
        )
    )


def wide_console() -> Console:
    """A console on stdout that is wide enough for a table, whatever it is piped into."""
    console = Console()
    if not console.is_terminal:
        return Console(width=max(console.width, 160))
    return console if console.width >= _NARROWEST else Console(width=_NARROWEST)


def bare_table() -> Table:
    """A table without lines, as wide as its console."""
    return Table(box=None, pad_edge=False, header_style="bold", expand=True)


def _is_near(item: DueItem, as_of: datetime) -> bool:
    if item.due_at is None:
        return item.part_number is None
    return item.due_at - as_of <= _HORIZON or _asks_for_a_look(item)


def _asks_for_a_look(item: DueItem) -> bool:
    """Now, and nobody has acknowledged it."""
    return any(note.severity == "now" and note.acknowledged is None for note in item.diagnoses)


def _cells(item: DueItem, as_of: datetime) -> tuple[Text, ...]:
    mark, style = _mark(item, as_of)
    when = "-" if item.due_at is None else f"{item.due_at:%Y-%m-%d}"
    between = (
        "-"
        if item.due_early is None
        else f"{item.due_early:%d %b} – {'later' if item.due_late is None else format(item.due_late, '%d %b %y')}"
    )
    first_sentence = item.reason.partition(". ")[0].rstrip(".") + "."
    says = [first_sentence, *(_short(note) for note in item.diagnoses)]
    return (
        Text(mark, style=style),
        Text(when, style=style),
        Text(_distance(item, as_of), style=style),
        Text(item.position, style="bold"),
        Text(item.trigger or "-"),
        Text(between),
        Text(" ".join(says)),
    )


def _short(note: DiagnosisNote) -> str:
    urgency = note.severity.upper() if note.acknowledged is None else "KNOWN"
    return f"{urgency}: {note.code.replace('-', ' ')}."


def _mark(item: DueItem, as_of: datetime) -> tuple[str, str]:
    star = "*" if _asks_for_a_look(item) else ""
    if item.part_number is None:
        return "?" + star, "yellow"
    if item.due_at is None:
        return star, ""
    if item.due_at <= as_of:
        return "!!" + star, "red"
    return ("!" + star, "yellow") if item.due_at - as_of <= _SOON else (star, "")


def _distance(item: DueItem, as_of: datetime) -> str:
    if item.due_at is None:
        return "-"
    days = (item.due_at - as_of) / timedelta(days=1)
    if days <= -1.0:
        return f"{-days:.0f} d over"
    return "now" if days <= 0.5 else f"{days:.0f} d"
