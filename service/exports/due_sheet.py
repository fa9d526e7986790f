"""The due list as a sheet."""

from api_schemas.due import DiagnosisNote, DueItem, DueList
from service.exports.sheet import Row, Sheet, moments, numbers, texts

_COLUMNS = (
    *texts("position", "system", "plant", "part_number"),
    *moments("due_at", "due_early", "due_median", "due_late"),
    *numbers("hours_left [h]", "overdue_hours [h]"),
    *texts("trigger", "runner_up"),
    *moments("without_trigger_at"),
    *texts("reason"),
    *numbers("pressure_hours_left_10 [h]", "pressure_hours_left_50 [h]", "pressure_hours_left_90 [h]"),
    *texts("diagnoses"),
    *moments("as_of"),
)


def due_sheet(found: DueList) -> Sheet:
    """One row for each position, in the order of the list."""
    return Sheet("due", _COLUMNS, [_row(item) for item in found.items])


def _row(item: DueItem) -> Row:
    pressure = item.pressure
    return (
        *(item.position, item.system, item.plant, item.part_number),
        *(item.due_at, item.due_early, item.due_median, item.due_late),
        *(item.hours_left, item.overdue_hours, item.trigger, item.runner_up, item.without_trigger_at, item.reason),
        *(
            (None, None, None)
            if pressure is None
            else (pressure.hours_left_10, pressure.hours_left_50, pressure.hours_left_90)
        ),
        " ".join(_says(note) for note in item.diagnoses),
        item.as_of,
    )


def _says(note: DiagnosisNote) -> str:
    known = note.acknowledged
    says = f"{note.severity.upper()}: {note.says}"
    return says if known is None else f"{says} (known to {known.by} since {known.at:%Y-%m-%d}: {known.note})"
