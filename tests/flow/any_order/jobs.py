"""How a job is told, and what it used by that: reckoned from what was told and picked, not from what was booked."""

from collections import Counter
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from typing import Any

from hypothesis import strategies as st

from tests.flow.any_order.books import Books
from tests.flow.any_order.tiny_plant import LOTS, SPECIFIED
from tests.flow.running_plant import bar, iso, oil

Told = dict[str, Any]

_RENEWS = frozenset({"change_element", "service_strainer", "change_breather"})
_PARTS: dict[str, list[dict[str, Any]]] = {
    "none": [],
    "one kit": [{"part_number": "SK-1"}],
    "many": [{"part_number": "SK-1", "quantity": 3}, {"part_number": "TRAY", "quantity": 2}],
}
_NO_SUCH_LOT = "Z-9"


@dataclass(frozen=True, slots=True)
class Job:
    """How a close-out is told, apart from where and of which task."""

    took_min: int
    hours_ago: int
    hours: str
    lot: int
    oil_L: int
    parts: str
    has_dp: bool

    def at(self, now: datetime) -> datetime:
        return now - timedelta(hours=self.hours_ago)

    def told(self, at: datetime, shown_h: float, element: str | None) -> Told:
        """The body of a close-out; `element` where one was fitted, of a lot that the store has or has not."""
        told: Told = {"at": iso(at), "oil": self.oil()}
        if self.hours != "not read":
            told["hours"] = shown_h if self.hours == "read" else round(shown_h / 10.0, 1)
        if element is not None:
            told["element"] = {"part_number": element} | self.of_lot(element)
        if self.parts_used() is not None:
            told["parts"] = self.parts_used()
        if self.has_dp:
            told["dp_before"] = {"dp": bar(1.7)}
        return told

    def of_lot(self, element: str) -> dict[str, str]:
        lots = [*LOTS.get(element, ()), _NO_SUCH_LOT]
        return {"lot": lots[self.lot]} if self.lot < len(lots) else {}

    def oil(self) -> list[dict[str, Any]]:
        return [oil("OIL-46", self.oil_L)] if self.oil_L else []

    def parts_used(self) -> list[dict[str, Any]] | None:
        """None where what was picked counts as used."""
        return _PARTS.get(self.parts)


jobs = st.builds(
    Job,
    took_min=st.sampled_from([30, 1, 0]),
    hours_ago=st.sampled_from([0, 0, 0, 1, 20, 26, 100]),
    hours=st.sampled_from(["read", "read", "read", "not read", "mistyped"]),
    lot=st.integers(0, 3),
    oil_L=st.sampled_from([0, 0, 4, 30]),
    parts=st.sampled_from(["as picked", "as picked", "none", "one kit", "many"]),
    has_dp=st.booleans(),
)


@dataclass(frozen=True, slots=True)
class Done:
    """A close-out that was acknowledged, as it was told and since corrected."""

    id: int
    task: int
    position: str
    kind: str
    told: Told
    picked: dict[str, float]
    cleaned: bool
    undone: bool = False

    @property
    def renewed(self) -> bool:
        changed = self.told.get("element_changed")
        return bool(self.kind in _RENEWS or self.told.get("element")) if changed is None else bool(changed)

    @property
    def used(self) -> dict[str, float]:
        """Pieces by part: the element, unless it was cleaned and put back, and the parts that were told or picked."""
        used: Counter[str] = Counter()
        if self.undone:
            return {}
        element = self.told.get("element") or {}
        if self.renewed and not (self.cleaned and not element):
            used[element.get("part_number") or SPECIFIED[self.position]] += 1
        parts = self.told.get("parts")
        if parts is not None:
            for part in parts:
                used[part["part_number"]] += part.get("quantity", 1)
        elif self.renewed:
            used.update(self.picked)
        return dict(used)

    @property
    def poured_L(self) -> dict[str, float]:
        return {} if self.undone else {each["fluid"]: each["volume"]["value"] for each in self.told["oil"]}

    def corrected(self, said: Told) -> "Done":
        """Of the element only what was wrong is told; every other member is told whole."""
        new = self.told | {name: value for name, value in said.items() if name != "element"}
        if "element" in said:
            element = said["element"]
            new["element"] = None if element is None else (self.told.get("element") or {}) | element
        return replace(self, told=new)


def picked_for(books: Books, task: int) -> dict[str, float]:
    """Seal kits and kit lines that lay ready; the element is told by itself."""
    elements = {row["part_number"] for row in books.rows("element_types")}
    picked: Counter[str] = Counter()
    for row in books.rows("picks", task=task):
        if row["store"] is not None and row["part_number"] not in elements:
            picked[row["part_number"]] += row["quantity"]
    return dict(picked)


def would_be_cleaned(books: Books, position: str, kind: str) -> bool:
    """Whether the job takes out what is cleaned and put back, unless another element is told."""
    cleanable = {row["part_number"] for row in books.rows("element_types", cleanable="yes")}
    sits = [row["part_number"] for row in books.holding("installations", position=position, removed_at=None)]
    return kind == "service_strainer" and (sits or [SPECIFIED[position]])[0] in cleanable
