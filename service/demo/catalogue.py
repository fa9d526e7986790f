"""Oils, element types and parts of the demo plant: makers, media and part numbers are all invented."""

from scheduler.vocabulary import ElementKind, FluidFamily, PartKind
from service.demo.records import DemoFluid, Row

MINERAL_OIL = "OST-M46"
LOOKALIKE_ESTER = "OST-M46E"
LOOKALIKE_WATER_GLYCOL = "OST-W46"

FLUIDS: dict[str, DemoFluid] = {
    code: DemoFluid(
        code=code,
        name=name,
        family=family,
        grade=grade,
        viscosity_40_mm2_s=at_40,
        viscosity_100_mm2_s=at_100,
        density_15_kg_m3=density,
    )
    for code, name, family, grade, at_40, at_100, density in (
        (MINERAL_OIL, "Ostrel M 46", FluidFamily.HM, 46, 46.0, 6.8, 872.0),
        (LOOKALIKE_ESTER, "Ostrel M 46 E", FluidFamily.HEES, 46, 46.5, 9.1, 918.0),
        (LOOKALIKE_WATER_GLYCOL, "Ostrel W 46", FluidFamily.HFC, 46, 46.0, 10.2, 1080.0),
        ("OST-M32", "Ostrel M 32", FluidFamily.HM, 32, 32.0, 5.4, 866.0),
        ("OST-M68", "Ostrel M 68", FluidFamily.HM, 68, 68.0, 8.7, 878.0),
        ("OST-V46", "Ostrel V 46", FluidFamily.HV, 46, 46.0, 8.2, 870.0),
    )
}
"""The first three differ by one letter and must never meet: mineral oil, ester, water glycol."""

REFERENCE_VISCOSITY_MM2_S = 32.0
"""At which every element type of the demo is rated (makers quote at 30 or 32 mm²/s)."""

_GLASS, _PAPER, _WIRE = "glass microfibre", "cellulose", "stainless wire mesh"
_DRY, _DUST = "desiccant with dust layer", "dust layer"

ELEMENT_SHELF_LIFE_D = 1825

_ELEMENT_COLUMNS = (
    *("part_number", "description", "media", "clean_dp", "rated_flow", "rating", "beta", "capacity"),
    *("capacity_dp", "collapse_dp", "seals", "seal_kit", "price", "lead_time"),
)
_ELEMENTS = (
    ("QR-600-10G", "return element, long", _GLASS, 0.32, 600, 10, 200, 182, 3.5, 10, "NBR", "QK-R6", 236, 18),
    ("QR-330-10G", "return element", _GLASS, 0.30, 330, 10, 200, 96, 3.5, 10, "NBR", "QK-R3", 148, 14),
    ("QR-330-06G", "return element, fine", _GLASS, 0.42, 330, 6, 200, 88, 3.5, 10, "NBR", "QK-R3", 171, 21),
    ("QR-130-10G", "return element, small", _GLASS, 0.30, 130, 10, 200, 38, 3.5, 10, "NBR", "QK-R1", 74, 10),
    ("QR-130-10C", "return element, small", _PAPER, 0.18, 130, 10, 2, 21, 3.5, 10, "NBR", "QK-R1", 31, 7),
    ("QR-130-10F", "return element, FKM", _GLASS, 0.30, 130, 10, 200, 38, 3.5, 10, "FKM", "QK-R1F", 92, 21),
    ("QP-240-06G", "pressure element", _GLASS, 0.90, 240, 6, 200, 42, 5.0, 20, "NBR", "QK-P2", 189, 21),
    ("QP-160-03G", "pressure element", _GLASS, 1.60, 160, 3, 200, 30, 8.0, 210, "NBR", "QK-P1", 264, 42),
    ("QP-060-06G", "pressure element, small", _GLASS, 0.70, 60, 6, 200, 12, 5.0, 20, "NBR", "QK-P0", 88, 14),
    ("QL-030-03G", "pilot element", _GLASS, 1.00, 30, 3, 200, 7, 5.0, 210, "NBR", "QK-L0", 96, 28),
    ("QC-040-20G", "case drain element", _GLASS, 0.50, 40, 20, 75, 18, 2.0, 10, "NBR", "QK-C0", 46, 10),
    ("QC-040-20F", "case drain element, FKM", _GLASS, 0.50, 40, 20, 75, 18, 2.0, 10, "FKM", "QK-C0", 58, 21),
    ("QO-080-03G", "off-line element, deep", _GLASS, 0.25, 80, 3, 1000, 420, 2.5, 5, "NBR", "QK-O8", 310, 28),
    ("QO-040-03G", "off-line element", _GLASS, 0.25, 40, 3, 1000, 210, 2.5, 5, "NBR", "QK-O4", 198, 28),
    ("QH-120-10F", "charge element, FKM", _GLASS, 0.50, 120, 10, 200, 34, 3.5, 20, "FKM", "QK-H1F", 104, 21),
)

_STRAINER_COLUMNS = (
    *("part_number", "description", "clean_dp", "rated_flow", "rating", "max_cleanings", "price"),
    "lead_time",
)
_STRAINERS = (
    ("QS-250-125W", "suction strainer, 125 µm", 0.050, 250, 125, 8, 118, 30),
    ("QS-100-125W", "suction strainer, small, 125 µm", 0.045, 100, 125, 8, 64, 30),
    ("QF-080-200W", "filler strainer, 200 µm", None, None, 200, 12, 22, 7),
)

_BREATHER_COLUMNS = ("part_number", "description", "media", "rating", "price", "lead_time", "shelf_life")
_BREATHERS = (
    ("QB-300-D", "reservoir breather, desiccant", _DRY, 3, 87, 10, 730),
    ("QB-100-D", "reservoir breather, desiccant, small", _DRY, 3, 52, 10, 730),
    ("QB-100-A", "reservoir breather", _DUST, 3, 19, 7, 1460),
)

# part number, kind, description, price, lead time, shelf life, pack
_PARTS = (
    *(
        (code, PartKind.SEAL_KIT, f"cover seals for {fits}, {seals}", price, 10, shelf_life, 1)
        for code, fits, seals, price, shelf_life in (
            *(("QK-R6", "QR-600", "NBR", 14.5, 1825), ("QK-R3", "QR-330", "NBR", 9.8, 1825)),
            *(("QK-R1", "QR-130", "NBR", 6.4, 1825), ("QK-R1F", "QR-130", "FKM", 11.9, 3650)),
            *(("QK-P2", "QP-240", "NBR", 12.2, 1825), ("QK-P1", "QP-160", "NBR", 12.2, 1825)),
            *(("QK-P0", "QP-060", "NBR", 7.1, 1825), ("QK-L0", "QL-030", "NBR", 5.9, 1825)),
            *(("QK-C0", "QC-040", "FKM", 6.0, 3650), ("QK-H1F", "QH-120", "FKM", 13.4, 3650)),
            *(("QK-O8", "QO-080", "NBR", 15.0, 1825), ("QK-O4", "QO-040", "NBR", 11.0, 1825)),
        )
    ),
    ("QG-TANK-400", PartKind.GASKET, "tank lid gasket, 400 mm", 18.0, 14, 1825, 1),
    ("QG-FLANGE-80", PartKind.GASKET, "suction flange O-ring, 80 mm, NBR", 3.6, 7, 1825, 5),
    ("QX-WIPE", PartKind.CONSUMABLE, "lint-free wipe", 0.4, 5, None, 50),
    ("QX-MAT", PartKind.CONSUMABLE, "oil-absorbing mat", 1.9, 5, None, 20),
    ("QX-LABEL", PartKind.CONSUMABLE, "element label, oil-proof", 0.3, 5, None, 100),
)

CURVE_POINTS: dict[str, tuple[tuple[float, float], ...]] = {
    "QR-330-10G": (
        *((0, 0.30), (20, 0.31), (40, 0.34), (55, 0.41), (65, 0.52), (75, 0.77), (82, 1.15), (88, 1.80)),
        *((93, 2.75), (96, 3.50)),
    ),
    "QP-240-06G": (
        *((0, 0.90), (8, 0.92), (16, 1.00), (24, 1.18), (30, 1.52), (35, 2.20), (38, 3.00), (40, 3.85)),
        (42, 5.00),
    ),
}
"""Invented multipass curves (retained g, element ΔP bar at rated flow): flat, then a sharp knee."""

_ALTERNATES = (
    ("QR-330-10G", "QR-330-06G", 1, "finer, same housing; clean ΔP is higher"),
    ("QR-130-10G", "QR-130-10C", 2, "until the next stop only: far coarser in effect"),
    ("QR-130-10G", "QR-130-10F", 1, "same element with FKM seals"),
    ("QC-040-20G", "QC-040-20F", 1, "same element with FKM seals"),
)

CLEAN_DP_BAR: dict[str, float] = {
    **{row[0]: row[3] for row in _ELEMENTS},
    **{row[0]: row[2] for row in _STRAINERS if row[2] is not None},
}
RATED_FLOW_LPM: dict[str, float] = {
    **{row[0]: row[4] for row in _ELEMENTS},
    **{row[0]: row[3] for row in _STRAINERS if row[3] is not None},
}
SEAL_KIT: dict[str, str] = {row[0]: row[11] for row in _ELEMENTS}
STRAINER_CLEANINGS: dict[str, int] = {row[0]: row[5] for row in _STRAINERS}
PART_NUMBERS = tuple(row[0] for row in (*_ELEMENTS, *_STRAINERS, *_BREATHERS, *_PARTS))
SHELF_LIFE_D: dict[str, int] = {
    **{row[0]: ELEMENT_SHELF_LIFE_D for row in _ELEMENTS},
    **{row[0]: row[6] for row in _BREATHERS},
    **{row[0]: row[5] for row in _PARTS if row[5] is not None},
}


def fluid_rows() -> list[Row]:
    return [
        {
            "fluid": fluid.code,
            "name": fluid.name,
            "family": fluid.family,
            "grade": fluid.grade,
            "viscosity_40": fluid.viscosity_40_mm2_s,
            # a water glycol boils near 100 °C, so its sheet has no such figure
            "viscosity_100": None if fluid.family is FluidFamily.HFC else fluid.viscosity_100_mm2_s,
            "viscosity_index": 215 if fluid.family is FluidFamily.HFC else None,
            "density_15": fluid.density_15_kg_m3,
        }
        for fluid in FLUIDS.values()
    ]


def element_type_rows() -> list[Row]:
    shared: Row = {"cleanable": "no", "currency": "EUR"}
    element: Row = {
        "kind": ElementKind.ELEMENT,
        "rated_viscosity": REFERENCE_VISCOSITY_MM2_S,
        "shelf_life": ELEMENT_SHELF_LIFE_D,
    }
    strainer: Row = {"kind": ElementKind.STRAINER, "media": _WIRE, "cleanable": "yes"}
    breather: Row = {"kind": ElementKind.BREATHER}
    rows = [shared | element | _named(_ELEMENT_COLUMNS, row) for row in _ELEMENTS]
    for part in _STRAINERS:
        rated = REFERENCE_VISCOSITY_MM2_S if part[2] is not None else None
        rows.append(shared | strainer | _named(_STRAINER_COLUMNS, part) | {"rated_viscosity": rated})
    return rows + [shared | breather | _named(_BREATHER_COLUMNS, row) for row in _BREATHERS]


def part_rows() -> list[Row]:
    names = ("part_number", "kind", "description", "price", "lead_time", "shelf_life", "pack")
    return [_named(names, row) | {"currency": "EUR"} for row in _PARTS]


def curve_rows() -> list[Row]:
    return [
        {"part_number": part_number, "retained": retained_g, "dp": dp_bar}
        for part_number, points in CURVE_POINTS.items()
        for retained_g, dp_bar in points
    ]


def alternate_rows() -> list[Row]:
    return [_named(("part_number", "alternate", "rank", "note"), row) for row in _ALTERNATES]


def _named(names: tuple[str, ...], row: tuple[str | int | float | None, ...]) -> Row:
    return dict(zip(names, row, strict=True))
