"""The folder that a technician carries: the jobs and the outbox, opened without a network and without a database."""

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

import typer

from api_schemas.client.outbox import Entry, Fate, Outbox
from api_schemas.client.pack import carried, carried_pack, make_folder
from api_schemas.packs import Pack
from service.settings import Settings

OPEN = (Fate.WAITING, Fate.REFUSED)
"""What is not done with."""


@dataclass(frozen=True, slots=True)
class Away:
    """The open folder."""

    folder: Path
    outbox: Outbox

    def packs(self) -> list[Pack]:
        """In walking order; of a file that cannot be read stderr is told."""
        packs, damaged = carried(self.folder)
        for each in damaged:
            typer.echo(each, err=True)
        return packs

    def pack(self, order: int) -> Pack:
        """Raises ValueError where it is not carried."""
        found = carried_pack(self.folder, order)
        if found is None:
            raise ValueError(f"work order {order} is not carried; `elementdue away list` shows what is")
        return found

    def pack_with(self, task: int) -> Pack | None:
        """The one with that task."""
        return next((pack for pack in self.packs() if any(each.id == task for each in pack.order.tasks)), None)

    def pack_at(self, position: str) -> Pack | None:
        """The one with an open task at that position, which a close-out of the position ends."""
        return next(
            (
                pack
                for pack in self.packs()
                if any(each.position == position and each.state == "open" for each in pack.order.tasks)
            ),
            None,
        )

    def told_of(self, order: int, *fates: Fate) -> list[Entry]:
        """What the outbox has of an order."""
        return [entry for entry in self.outbox.entries(*fates) if entry.told.job == job_of(order)]


@contextmanager
def opened_away() -> Iterator[Away]:
    """The folder of ELEMENTDUE_AWAY, made where it is not there yet."""
    folder = make_folder(Settings().away)
    with Outbox(folder / "outbox.sqlite") as outbox:
        yield Away(folder, outbox)


def job_of(order: int) -> str:
    """What the outbox calls the job of an order."""
    return f"order {order}"
