"""One position's due date explained on a terminal: the reason, what comes next, the evidence and the history."""

import typer

from api_schemas.due import DueItem
from api_schemas.due_history import DueMove, Explanation, ReadingSeen
from service.cli.changes_table import MOVEMENT_WORDS, date, shift, triggers

_READINGS = 30
_GATE_WORDS = {
    "usable": "counts",
    "below_resolution": "counts little: under a step of the gauge",
    "no_pressure": "no ΔP: an indicator sighting",
    "impossible": "left out: impossible",
    "change_day": "left out: of another element, or on a day of change",
    "no_flow": "left out: no flow",
    "bypass_open": "counts as a least value: at the bypass setting",
    "cold_bypass": "left out: at the bypass setting with cold oil",
    "low_flow": "left out: low flow",
    "cold": "left out: cold oil",
}


def print_explanation(found: Explanation) -> None:
    """Print to stdout."""
    item = found.item
    fitted = "nothing known to be fitted" if item.part_number is None else f"{item.part_number} is fitted"
    typer.echo(f"{item.position} in {item.system}, {item.plant}: {fitted}")
    typer.echo(f"as of {item.as_of:%Y-%m-%d %H:%M %Z}, from pass {found.planned.id} ({found.planned.cause})")
    if found.news_since:
        typer.echo(f"recorded since that pass and not in it: {', '.join(found.news_since)}")
    _tell_due(item)
    _tell_readings(found.readings)
    if found.life is not None:
        life = found.life
        typer.echo(
            f"\nLife prior: half such lives end before {life.median_h:,.0f} h, one in ten before "
            f"{life.earlier_10_h:,.0f} h, nine in ten before {life.later_90_h:,.0f} h; {life.lives_seen} lives of "
            f"the type are known, {life.lives_to_limit} to the limit, {life.own_lives_seen} of them here"
        )
    typer.echo("\nHistory, newest first")
    for move in found.history:
        _tell_move(move)


def _tell_due(item: DueItem) -> None:
    due = "no date" if item.due_at is None else f"{item.due_at:%Y-%m-%d %H:%M} by {item.trigger}"
    typer.echo(f"\nDue: {due}")
    if item.due_early is not None:
        late = "later than 20 years" if item.due_late is None else f"{item.due_late:%Y-%m-%d}"
        median = "" if item.due_median is None else f", half before {item.due_median:%Y-%m-%d}"
        typer.echo(f"Between {item.due_early:%Y-%m-%d} and {late} (80 %){median}")
    typer.echo(item.reason)
    if item.trigger is not None:
        without = "no date within 20 years" if item.without_trigger_at is None else date(item.without_trigger_at)
        typer.echo(f"Next in line: {item.runner_up or 'no other trigger'}. Without {item.trigger}: {without}")
    for note in item.diagnoses:
        number = "" if note.id is None else f" ({note.id})"
        typer.echo(f"{note.severity.upper()} {note.code}{number}: {note.says}")
        if note.acknowledged is not None:
            known = note.acknowledged
            typer.echo(f"  known since {known.at:%Y-%m-%d %H:%M} to {known.by}: {known.note}")


def _tell_readings(readings: list[ReadingSeen]) -> None:
    if not readings:
        typer.echo("\nNo ΔP, vacuum or indicator was read off what is fitted")
        return
    counted = sum(reading.counts for reading in readings)
    typer.echo(f"\nReadings of what is fitted: {counted} count, {len(readings) - counted} do not; newest first")
    for reading in reversed(readings[-_READINGS:]):
        typer.echo(f"  {reading.at:%Y-%m-%d %H:%M}  {reading.says:60}  {_GATE_WORDS[reading.gate]}")
    if len(readings) > _READINGS:
        typer.echo(f"  … and {len(readings) - _READINGS} earlier ones; --json lists them")


def _tell_move(move: DueMove) -> None:
    typer.echo(
        f"  {move.at:%Y-%m-%d %H:%M}  {MOVEMENT_WORDS[move.movement]}: {date(move.from_)} → {date(move.to)}, "
        f"{shift(move.from_, move.to)}, {triggers(move.from_trigger, move.to_trigger)}"
    )
    for cause in move.because:
        typer.echo(f"      {cause.says}")
