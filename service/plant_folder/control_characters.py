"""Signs that no cell of a table holds on purpose: line breaks, tabs and other control characters."""

import re

from service.plant_folder.refusals import CellRefused, shown

_CONTROL_CHARACTER = re.compile(r"[\x00-\x1f\x7f-\x9f]")
_NAMED = {"\n": "a line break", "\r": "a line break", "\t": "a tab"}


def refuse_control(text: str) -> None:
    """Raises CellRefused where `text` holds a control character."""
    if text.isprintable():
        return
    found = _CONTROL_CHARACTER.search(text)
    if found:
        what = _NAMED.get(found[0], f"the control character U+{ord(found[0]):04X}")
        raise CellRefused(f"'{shown(text)}' holds {what}; write the cell without it")
