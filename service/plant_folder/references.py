"""Whether a code refers to something that exists, and what to say where it does not."""

from service.plant_folder.nearest import did_you_mean
from service.plant_folder.refusals import shown
from service.plant_folder.register import Register

_NAMED = {
    "plants": ("plant", "plants.csv"),
    "systems": ("system", "systems.csv"),
    "positions": ("position", "positions.csv"),
    "fluids": ("fluid", "fluids.csv"),
    "element_types": ("element type", "element_types.csv"),
    "parts": ("part", "parts.csv"),
    "any_part": ("part number", "element_types.csv or parts.csv"),
}


def unknown_code(code: str, table: str, register: Register, *, suggest: bool) -> str | None:
    """Why `code` is no reference to `table`, or None where it is one or that cannot be known."""
    codes = register.codes(table)
    if codes is None or code in codes:
        return None
    noun, files = _NAMED[table]
    if table == "element_types" and (kind := register.kind_of_part(code)):
        return f"'{shown(code)}' is a {kind.replace('_', ' ')} in parts, not an element type"
    if table == "parts" and code in (register.codes("any_part") or ()):
        return f"'{shown(code)}' is an element type, not a part of parts.csv"
    near = did_you_mean(code, codes) if suggest else ""
    where = (
        f"it is neither in {files} nor in the database" if register.reads_files else "none of that code is recorded"
    )
    return f"unknown {noun} '{shown(code)}': {where}{near}"
