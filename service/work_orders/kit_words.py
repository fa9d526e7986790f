"""What a task takes, in words: how much of what, from where, or when supply covers it."""

from collections.abc import Iterator

from api_schemas.work_orders import OilPick, Pick, Task
from service.exports.units import VolumeUnit


def lines_of(task: Task, volumes: VolumeUnit) -> Iterator[tuple[str, Pick | OilPick]]:
    """Each line of the kit, with its pick."""
    for pick in task.picks:
        yield f"{pick.quantity} × {pick.part_number}", pick
    for oil in task.oil:
        yield f"{volumes.shown(oil.volume.value):g} {volumes.symbol} of {oil.fluid}", oil


def shelf_of(pick: Pick | OilPick) -> str:
    """Store, bin and lot of what is there."""
    bin_ = pick.bin if isinstance(pick, Pick) else None
    words = [pick.store or "", *([f"bin {bin_}"] if bin_ else []), *([f"lot {pick.lot}"] if pick.lot else [])]
    return " ".join(words)


def short_lines(task: Task, volumes: VolumeUnit) -> list[str]:
    """What is short, with when supply covers it."""
    return [f"{line}, {_when(pick)}" for line, pick in lines_of(task, volumes) if pick.store is None]


def _when(pick: Pick | OilPick) -> str:
    if pick.arrives_at is None:
        return "none on order"
    return f"arrives {pick.arrives_at.date().isoformat()} with {pick.arrives_with}"
