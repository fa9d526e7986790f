"""What lies in the demo plant's stores, what is on order, and which small parts a change takes."""

from datetime import timedelta

from scheduler.vocabulary import Place
from service.demo.cases import LOW_WITH_SUPPLY, LOW_WITHOUT_SUPPLY, OIL_STORE
from service.demo.catalogue import (
    LOOKALIKE_ESTER,
    LOOKALIKE_WATER_GLYCOL,
    MINERAL_OIL,
    SEAL_KIT,
    SHELF_LIFE_D,
)
from service.demo.positions import POSITIONS
from service.demo.records import Row
from service.demo.shifts import Timeline

MAIN_STORE = "MAIN-STORE"
COUNTED_D = 3
SUPPLY_IN_D = 16

OIL_LOT = {
    MINERAL_OIL: "D-7741",
    LOOKALIKE_ESTER: "D-7714",
    LOOKALIKE_WATER_GLYCOL: "D-6120",
    "OST-M32": "D-7302",
    "OST-M68": "D-7588",
    "OST-V46": "D-7490",
}
"""The mineral oil's and the ester's lots are as easily mixed up as their names."""

# part number, pieces, lot, days to its expiry where not from its shelf life
_COUNTED: tuple[tuple[str, int, str, int | None], ...] = (
    (LOW_WITH_SUPPLY, 1, "R-2207", None),
    (LOW_WITHOUT_SUPPLY, 1, "R-1190", None),
    ("QR-330-10G", 4, "R-1832", None),
    ("QR-330-10G", 2, "R-0977", 35),
    ("QR-330-06G", 2, "R-1544", None),
    ("QR-130-10C", 3, "R-1020", None),
    ("QR-130-10F", 2, "R-1633", None),
    ("QP-240-06G", 5, "P-3310", None),
    ("QP-160-03G", 2, "P-3127", None),
    ("QP-060-06G", 3, "P-3254", None),
    ("QL-030-03G", 4, "L-0811", None),
    ("QC-040-20G", 4, "C-0415", None),
    ("QC-040-20F", 1, "C-0420", None),
    ("QO-080-03G", 2, "O-0702", None),
    ("QO-040-03G", 1, "O-0688", None),
    ("QH-120-10F", 2, "H-0233", None),
    ("QS-250-125W", 1, "S-0120", None),
    ("QS-100-125W", 1, "S-0119", None),
    ("QF-080-200W", 2, "F-0077", None),
    ("QB-300-D", 2, "B-1406", 190),
    ("QB-100-D", 2, "B-1388", None),
    ("QB-100-A", 2, "B-0951", None),
    ("QB-100-D", 1, "B-1102", -20),
)
_SMALL_PARTS = {"QX-WIPE": 220, "QX-MAT": 46, "QX-LABEL": 130, "QG-TANK-400": 3, "QG-FLANGE-80": 10}
_SEAL_KITS_EACH = 6

# fluid, container L, full containers and the share of an opened one, days since it was opened
_DRUMS: tuple[tuple[str, float, float, int | None], ...] = (
    (MINERAL_OIL, 210, 3.4, 30),
    (LOOKALIKE_ESTER, 210, 1.9, 25),
    (LOOKALIKE_WATER_GLYCOL, 210, 4, None),
    (MINERAL_OIL, 20, 6, None),
    (LOOKALIKE_ESTER, 20, 3, None),
    ("OST-M32", 20, 5, None),
    ("OST-M68", 210, 0.7, 44),
    ("OST-V46", 210, 2, None),
)


def kit_line_rows() -> list[Row]:
    """Seals by element, and what every change takes; a suction strainer needs the tank lid and flange sealed."""
    rows: list[Row] = []
    for position in POSITIONS.values():
        takes = {"QX-WIPE": 4, "QX-LABEL": 1}
        if position.place not in {Place.BREATHER, Place.FILLER}:
            takes["QX-MAT"] = 2
        if position.part_number in SEAL_KIT:
            takes[SEAL_KIT[position.part_number]] = 1
        if position.place is Place.SUCTION:
            takes |= {"QG-TANK-400": 1, "QG-FLANGE-80": 1}
        rows += [
            {"position": position.code, "part_number": part_number, "quantity": quantity}
            for part_number, quantity in takes.items()
        ]
    return rows


def stock_rows(timeline: Timeline) -> list[Row]:
    counted_at = timeline.day(timeline.today_index - COUNTED_D)
    seal_kits = [(kit, _SEAL_KITS_EACH, "", None) for kit in sorted(set(SEAL_KIT.values()))]
    small = [(part_number, on_hand, "", None) for part_number, on_hand in _SMALL_PARTS.items()]
    rows: list[Row] = []
    for shelf, (part_number, on_hand, lot, expires_in) in enumerate((*_COUNTED, *seal_kits, *small)):
        shelf_life = SHELF_LIFE_D.get(part_number)
        ahead = expires_in if expires_in is not None else shelf_life and shelf_life * 2 // 3
        rows.append(
            {
                "part_number": part_number,
                "store": MAIN_STORE,
                "lot": lot or None,
                "on_hand": on_hand,
                "counted_at": counted_at,
                "bin": f"{'ABCDE'[shelf // 9]}{shelf % 9 + 1:02d}",
                "expires_at": None if ahead is None else timeline.today + timedelta(days=ahead),
            }
        )
    return rows


def oil_stock_rows(timeline: Timeline) -> list[Row]:
    """The oil room, where the mineral oil, the ester and the water glycol stand side by side."""
    return [
        {
            "fluid": fluid,
            "store": OIL_STORE,
            "lot": OIL_LOT[fluid],
            "container": container_L,
            "on_hand": on_hand,
            "counted_at": timeline.day(timeline.today_index - COUNTED_D),
            "opened_at": None if opened is None else timeline.day(timeline.today_index - opened),
            "expires_at": timeline.today + timedelta(days=540),
        }
        for fluid, container_L, on_hand, opened in _DRUMS
    ]


def supply_rows(timeline: Timeline) -> list[Row]:
    """Deliveries received, and those still to come: the second return element lot and a drum."""
    today = timeline.today
    received = (("Q-4417", LOW_WITH_SUPPLY, 3, 130), ("Q-4440", "QP-240-06G", 6, 88), ("Q-4475", "QB-300-D", 4, 40))
    rows: list[Row] = [
        {
            "order": order,
            "line": 1,
            "part_number": part_number,
            "quantity": quantity,
            "expected_at": today - timedelta(days=back + 2),
            "received_at": today - timedelta(days=back),
        }
        for order, part_number, quantity, back in received
    ]
    arrives = today + timedelta(days=SUPPLY_IN_D)
    ahead: tuple[Row, ...] = (
        {
            "line": 1,
            "part_number": LOW_WITH_SUPPLY,
            "quantity": 4,
            "expected_at": arrives,
        },
        {"line": 2, "fluid": "OST-M68", "quantity": 2, "expected_at": today + timedelta(days=9)},
    )
    ordered_at = today - timedelta(days=10)
    shared: Row = {"order": "Q-4502", "recorded_at": ordered_at}
    return rows + [shared | line for line in ahead]
