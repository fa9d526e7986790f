"""The invented oils, element types, spare parts and what stands in for what."""

from __future__ import annotations

import math
from dataclasses import dataclass

from tests.flow.foreign_plant.table import Row


@dataclass(frozen=True)
class Fluid:
    """An oil; `shown` says which of its properties the plant wrote down."""

    code: str
    name: str
    family: str
    grade: str
    v40: float
    v100: float
    density: float
    shown: str

    def viscosity(self, celsius: float) -> float:
        """Kinematic viscosity in mm2/s: a straight line in log-log against log of temperature."""
        lo, hi = math.log10(313.15), math.log10(373.15)
        z40, z100 = (math.log10(math.log10(v + 0.7)) for v in (self.v40, self.v100))
        z = z40 + (z100 - z40) * (math.log10(celsius + 273.15) - lo) / (hi - lo)
        return float(10 ** (10**z) - 0.7)


FLUIDS = (
    Fluid("OEL-46", "Quellbeck Gleitan HM 46", "HM", "46", 46.0, 6.8, 872.0, "all"),
    Fluid("OEL-32V", "Quellbeck Gleitan HV 32, long drain", "HV", "32", 32.4, 6.5, 864.0, "index"),
    Fluid("T-68", "Tarnholm Stayput 68", "HM", "68", 68.0, 8.6, 880.0, "grade"),
    Fluid("E-46", 'Ovendale "Meadow" 46, ester', "HEES", "", 47.5, 9.3, 921.0, "v40"),
)
GLASS, PAPER, MESH = "glass fibre", "cellulose", "wire mesh"


@dataclass(frozen=True)
class Part:
    """An element type of the invented catalogue."""

    number: str
    place: str
    kind: str
    media: str
    text: str
    clean: float
    flow: float
    rating: float
    beta: float | None
    capacity: float
    top: float
    collapse: float
    seals: str
    seal_kit: str
    price: float
    currency: str
    lead: int
    shelf: int | None
    pack: int

    def load(self, x: float) -> float:
        """How many times its clean ΔP the element has when it holds the fraction `x` of its capacity."""
        k = (self.top / self.clean - 1.5) / (math.exp(4.0) - 1.0)
        return 1.0 + 0.5 * x + k * (math.exp(4.0 * x) - 1.0)


PARTS = (
    Part("LB-PX05-160", "pressure", "element", GLASS, "pressure element, 5 um", 0.95, 160, 5, 1000, 34, 8.0,
         210, "FKM", "LB-SK-PX", 128.0, "EUR", 21, 3650, 1),
    Part("LB-PX10-160", "pressure", "element", GLASS, "pressure element, 10 um", 0.60, 160, 10, 1000, 39, 8.0,
         210, "FKM", "LB-SK-PX", 119.5, "EUR", 21, 3650, 1),
    Part("LB-RT10-400", "return", "element", GLASS, "return element, 10 um, tank top", 0.32, 400, 10, 200, 96,
         3.5, 10, "NBR", "LB-SK-RT", 84.0, "EUR", 14, 1825, 2),
    Part("LB-RT25-400", "return", "element", PAPER, "return element, 25 um; store dry, flat", 0.21, 400,
         25, 2, 70, 3.5, 10, "NBR", "LB-SK-RT", 41.0, "EUR", 10, 1095, 4),
    Part("OKH 7-118", "return", "element", GLASS, "return cartridge, spin-on", 0.40, 230, 10, 75, 52, 3.5,
         7, "NBR", "", 38.75, "USD", 9, 1460, 12),
    Part("LB-OF03-060", "offline", "element", GLASS, "off-line element, 3 um, with water-binding layer", 0.25,
         60, 3, 1000, 260, 4.0, 10, "NBR", "LB-SK-OF", 165.0, "EUR", 28, 1095, 1),
    Part("LB-PI05-030", "pilot", "element", GLASS, "pilot line element, 5 um", 0.70, 30, 5, 1000, 9, 8.0, 210,
         "FKM", "LB-SK-PI", 72.0, "EUR", 21, 3650, 1),
    Part("LB-CD20-100", "case_drain", "element", GLASS, "drain element, 20 um", 0.15, 100, 20, 75, 40,
         2.0, 10, "NBR", "LB-SK-RT", 58.0, "EUR", 14, 1825, 1),
    Part("OKH 4-061", "charge", "element", GLASS, "charge line element, 10 um", 0.50, 120, 10, 200, 36, 6.0,
         70, "FKM", "LB-SK-PX", 96.0, "USD", 30, None, 1),
    Part("LB-SU125-300", "suction", "strainer", MESH, "suction strainer, 125 um", 0.02, 300, 125, None, 45,
         0.4, 1, "", "LB-GK-SU", 54.0, "EUR", 18, None, 1),
    Part("LB-FI300", "filler", "strainer", MESH, "filler basket", 0.01, 40, 300, None, 30, 0.3, 1, "",
         "", 17.0, "EUR", 7, None, 5),
    Part("LB-BR03-DX", "breather", "breather", "silica gel, glass", "drying breather, 3 um", 0.02, 500,
         3, None, 22, 0.2, 1, "", "", 61.0, "EUR", 7, 1095, 1),
    Part("OKH 2-009", "breather", "breather", PAPER, "breather cap, 10 um", 0.02, 450, 10, None, 15, 0.2, 1,
         "", "", 19.9, "USD", 5, 1825, 6),
    Part("LB-OT40-050", "other", "element", MESH, "last-chance screen of a valve", 0.20, 50, 40, None, 6,
         6.0, 210, "FKM", "LB-SK-PI", 33.0, "EUR", 21, None, 1),
)  # fmt: skip
ALTERNATES = {
    "LB-PX05-160": ("LB-PX10-160", 2, "coarser; ask first, never for servo valves"),
    "LB-PX10-160": ("LB-PX05-160", 1, "finer, shorter life"),
    "LB-RT25-400": ("LB-RT10-400", 1, ""),
    "LB-RT10-400": ("LB-RT25-400", 2, "emergency, at most 250 h"),
    "OKH 2-009": ("LB-BR03-DX", 1, "needs the adapter ring"),
}
SPARES = (
    ("LB-SK-PX", "seal_kit", "bowl O-ring and back-up ring, FKM", 6.2, "EUR", 10, 3650, 5),
    ("LB-SK-RT", "seal_kit", "lid seal, stem seal", 4.1, "EUR", 10, 2555, 5),
    ("LB-SK-OF", "seal_kit", "lid seal, drain plug seal", 5.5, "EUR", 10, 2555, 5),
    ("LB-SK-PI", "seal_kit", "bowl O-ring, small", 3.0, "EUR", 10, 3650, 10),
    ("LB-GK-SU", "gasket", "flange gasket, suction", 2.4, "EUR", 10, 1825, 10),
    ("WIPE-LF", "consumable", "lint-free wipes, pack of 50", 9.9, "USD", 4, None, 1),
)


def fluid_rows() -> list[Row]:
    """The oils, each with what the plant knows of it."""
    rows: list[Row] = []
    for fluid in FLUIDS:
        row: Row = {
            "fluid": fluid.code,
            "name": fluid.name,
            "family": fluid.family,
            "grade": fluid.grade,
        }
        if fluid.shown != "grade":
            row["viscosity_40 [mm2/s]"] = fluid.v40
            row["density_15 [kg/m3]"] = fluid.density
        if fluid.shown == "all":
            row["viscosity_100 [mm2/s]"] = fluid.v100
        if fluid.shown == "index":
            row["viscosity_index"] = 160
        rows.append(row)
    return rows


def catalogue_rows() -> list[Row]:
    """The catalogue."""
    return [
        {
            "part_number": p.number,
            "kind": p.kind,
            "description": p.text,
            "media": p.media,
            "clean_dp [bar]": p.clean,
            "rated_flow [L/min]": p.flow,
            "rated_viscosity [mm2/s]": 32 if p.kind == "element" else "",
            "rating [um]": p.rating,
            "beta": "" if p.beta is None else p.beta,
            "capacity [g]": p.capacity,
            "capacity_dp [bar]": p.top,
            "collapse_dp [bar]": p.collapse if p.kind == "element" else "",
            "cleanable": "yes" if p.kind == "strainer" else "no",
            "max_cleanings": 5 if p.place == "suction" else "",
            "seals": p.seals,
            "seal_kit": p.seal_kit,
            "price": f"{p.price:.2f}",
            "currency": p.currency,
            "lead_time [d]": p.lead,
            "shelf_life [d]": "" if p.shelf is None else p.shelf,
            "pack": p.pack,
        }
        for p in PARTS
    ]


def curve_rows() -> list[Row]:
    """Multipass points of the glass elements."""
    return [
        {
            "part_number": p.number,
            "retained [g]": f"{p.capacity * x:.2f}",
            "dp [bar]": f"{p.clean * p.load(x):.3f}",
        }
        for p in PARTS
        if p.media == GLASS and p.place != "case_drain"
        for x in (0.0, 0.2, 0.4, 0.55, 0.7, 0.8, 0.9, 1.0)
    ]


def spare_rows() -> list[Row]:
    """Seal kits, gaskets, consumables."""
    names = (
        "part_number",
        "kind",
        "description",
        "price",
        "currency",
        "lead_time [d]",
        "shelf_life [d]",
        "pack",
    )
    return [dict(zip(names, ("" if v is None else v for v in spare), strict=True)) for spare in SPARES]
