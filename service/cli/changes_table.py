"""What changed, as a table in words for a bare terminal."""

from datetime import datetime, timedelta

from rich.console import Console
from rich.text import Text

from api_schemas.due_history import DueChange, DueChanges
from scheduler.vocabulary import Movement
from service.cli.due_table import bare_table, wide_console

MOVEMENT_WORDS = {
    Movement.NEW: "new",
    Movement.EARLIER: "earlier",
    Movement.LATER: "later",
    Movement.DONE: "done",
    Movement.OTHER_TRIGGER: "other reason",
    Movement.UNDATED: "no date now",
    Movement.LEFT: "out of service",
}
_STYLE = {Movement.EARLIER: "red", Movement.NEW: "bold", Movement.DONE: "green"}


def print_changes(found: DueChanges) -> None:
    """Print to stdout what became of the dates, and how many of each kind."""
    console: Console = wide_console()
    if found.items:
        table = bare_table()
        for name in ("what", "position", "was due", "is due", "by", "trigger"):
            table.add_column(name, no_wrap=True)
        table.add_column("because", ratio=1)
        for change in found.items:
            table.add_row(*_cells(change))
        console.print(table)
    counts = [
        f"{count} {word}"
        for movement, word in MOVEMENT_WORDS.items()
        if (count := sum(change.movement is movement for change in found.items))
    ]
    planned = found.planned
    console.print(
        Text(
            f"since {found.since}: {', '.join(counts) or 'nothing changed'}; up to pass {planned.id} "
            f"({planned.cause}) as of {planned.as_of:%Y-%m-%d %H:%M %Z}"
        )
    )


def _cells(change: DueChange) -> tuple[Text, ...]:
    more = f" (and {len(change.because) - 1} more)" if len(change.because) > 1 else ""
    return (
        Text(MOVEMENT_WORDS[change.movement], style=_STYLE.get(change.movement, "")),
        Text(change.position, style="bold"),
        Text(date(change.from_)),
        Text(date(change.to)),
        Text(shift(change.from_, change.to)),
        Text(triggers(change.from_trigger, change.to_trigger)),
        Text((change.because[0].says if change.because else "") + more),
    )


def date(at: datetime | None) -> str:
    return "-" if at is None else f"{at:%Y-%m-%d}"


def shift(was: datetime | None, is_now: datetime | None) -> str:
    """By how much it moved, in words that need no sign."""
    if was is None or is_now is None:
        return "-"
    days = (is_now - was) / timedelta(days=1)
    return f"{abs(days):,.0f} d {'earlier' if days < 0 else 'later'}" if abs(days) >= 0.5 else "same day"


def triggers(was: str | None, is_now: str | None) -> str:
    """The trigger, or both where it became another."""
    return f"{was} → {is_now}" if was and is_now and was != is_now else is_now or was or "-"
