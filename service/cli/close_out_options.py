"""The options by which a close-out is told, and by which it is corrected."""

from typing import Annotated

import typer

At = Annotated[str | None, typer.Option(help="When it was done, with an offset; a close-out's own time is now.")]
Hours = Annotated[float | None, typer.Option(min=0, help="What the position's meter showed.")]
DpBefore = Annotated[str | None, typer.Option(metavar="READING", help="Like '2.1 bar, 180 L/min, 51 degC'.")]
DpAfter = Annotated[str | None, typer.Option(metavar="READING", help="The same, after the change.")]
Element = Annotated[str | None, typer.Option(help="The part number fitted; by default the specified one.")]
Lot = Annotated[str | None, typer.Option(help="The element's lot.")]
Serial = Annotated[str | None, typer.Option(help="The element's serial number.")]
Parts = Annotated[
    list[str] | None, typer.Option(metavar="PART[:PIECES[:LOT]]", help="Seal kit or other part used; all of them.")
]
Oil = Annotated[list[str] | None, typer.Option(metavar="FLUID:AMOUNT[:LOT]", help="All oil added: 'OIL-46:4 L'.")]
Reason = Annotated[str | None, typer.Option(help="Why the old element came out: due, early, failure …")]
Condition = Annotated[str | None, typer.Option(help="What was found, in your own words.")]
FoundWords = Annotated[
    list[str] | None, typer.Option(help="clean, silt, metal_steel, water, collapsed …; several times for several.")
]
Level = Annotated[
    str | None, typer.Option(help="Like '85 %, at rest, in position' or '12 L below full, at rest, in position'.")
]
Labour = Annotated[int | None, typer.Option(min=0, help="Working time in minutes, of all people together.")]
Note = Annotated[str | None, typer.Option()]
DoneBy = Annotated[str | None, typer.Option(help="Who did it, if not the key's owner.")]
Confirm = Annotated[str | None, typer.Option(metavar="REASON", help="Confirm a named mismatch, with the reason.")]
IdempotencyKey = Annotated[str | None, typer.Option(help="Repeat with the same key and nothing is done twice.")]
CloseOutNumber = Annotated[int, typer.Argument(metavar="CLOSE_OUT", help="The close-out's number.")]
