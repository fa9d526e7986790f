"""What a plant's other systems say and follow: master data, readings in bulk, orders taken over, and the feed."""

from collections.abc import Iterator, Mapping, Sequence
from datetime import datetime
from typing import Any, TypeVar

from pydantic import BaseModel, JsonValue

from api_schemas.client.asking import headers, in_path, moment, read_as
from api_schemas.client.client import Client
from api_schemas.close_outs import CloseOutList, CloseOutTold
from api_schemas.feed import FeedPage
from api_schemas.master_data import ElementType, Fluid, Page, Position, System, Upserted
from api_schemas.readings import ReadingsIn, ReadingsTold
from api_schemas.work_orders import Acknowledgement, GivenBack, WorkOrder

Thing = TypeVar("Thing", System, Position, ElementType, Fluid)


class Integrator(Client):
    """As `Client`, with a key that may `integrate` besides.

    What is told is known once it is answered, and a repeat changes nothing: keep the Idempotency-Key of a write with
    the write until then, and `next` of a page of the feed with what was made of the page.
    """

    # what changed

    def feed(self, after: int | None = None, *, wait_s: int = 0, limit: int = 500) -> FeedPage:
        """The lines after that number, by default from the oldest kept; waits so long for the first of them."""
        return self._get(FeedPage, "/v1/feed", {"after": after, "wait": wait_s, "limit": limit})

    def close_outs(
        self,
        *,
        system: str | None = None,
        work_order: int | None = None,
        external_ref: str | None = None,
        recorded_after: datetime | None = None,
    ) -> Iterator[CloseOutTold]:
        """As they stand, in the order in which they were recorded, page after page."""
        query = {
            "system": system,
            "work_order": work_order,
            "external_ref": external_ref,
            "recorded_after": moment(recorded_after),
        }
        for page in self._pages(CloseOutList, "/v1/close-outs", query):
            yield from page.items

    # master data

    def systems(self, *, external_ref: str | None = None) -> Iterator[System]:
        """By code, page after page."""
        for page in self._pages(Page[System], "/v1/systems", {"external_ref": external_ref}):
            yield from page.items

    def positions(self, *, system: str | None = None, external_ref: str | None = None) -> Iterator[Position]:
        """By code, page after page."""
        query = {"system": system, "external_ref": external_ref}
        for page in self._pages(Page[Position], "/v1/positions", query):
            yield from page.items

    def tell_system(self, code: str, told: System, *, idempotency_key: str | None = None) -> Upserted[System]:
        """It is new, or brought in line; what is not said stays as it is."""
        return self._put(Upserted[System], f"/v1/systems/{in_path(code)}", told, idempotency_key)

    def tell_position(self, code: str, told: Position, *, idempotency_key: str | None = None) -> Upserted[Position]:
        """It is new, or brought in line; what is not said stays as it is."""
        return self._put(Upserted[Position], f"/v1/positions/{in_path(code)}", told, idempotency_key)

    def tell_element_type(
        self, part_number: str, told: ElementType, *, idempotency_key: str | None = None
    ) -> Upserted[ElementType]:
        """Of all plants: with a key that is for all of them."""
        path = f"/v1/element-types/{in_path(part_number)}"
        return self._put(Upserted[ElementType], path, told, idempotency_key)

    def tell_fluid(self, code: str, told: Fluid, *, idempotency_key: str | None = None) -> Upserted[Fluid]:
        """Of all plants: with a key that is for all of them."""
        return self._put(Upserted[Fluid], f"/v1/fluids/{in_path(code)}", told, idempotency_key)

    # readings

    def tell_hours(
        self, rows: Sequence[Mapping[str, JsonValue]], *, idempotency_key: str | None = None
    ) -> ReadingsTold:
        """Hours of meters: `system`, `at`, `hours` and, of another than the main one, `meter`. Up to 50,000 rows."""
        return self._rows("/v1/meter-readings", {"hours": "h"}, rows, idempotency_key)

    def tell_dp(
        self,
        rows: Sequence[Mapping[str, JsonValue]],
        units: Mapping[str, str],
        *,
        idempotency_key: str | None = None,
    ) -> ReadingsTold:
        """Differential pressures: `position`, `at`, `dp` and what was read beside it, in these units."""
        return self._rows("/v1/dp-readings", units, rows, idempotency_key)

    # orders

    def acknowledge(
        self, order: int, external_ref: str, *, if_version: int | None = None, idempotency_key: str | None = None
    ) -> WorkOrder:
        """Take an issued order over: from then on it is changed by nobody but who took it."""
        body = Acknowledgement(external_ref=external_ref)
        return self._verb(order, "acknowledge", body, if_version, idempotency_key)

    def give_back(
        self, order: int, external_ref: str, why: str | None = None, *, idempotency_key: str | None = None
    ) -> WorkOrder:
        """It is issued work of the service again."""
        body = GivenBack(external_ref=external_ref, why=why)
        return self._verb(order, "give-back", body, None, idempotency_key)

    def _rows(
        self, path: str, units: Mapping[str, str], rows: Sequence[Mapping[str, Any]], idempotency_key: str | None
    ) -> ReadingsTold:
        body = ReadingsIn(units=dict(units), rows=[dict(row) for row in rows])
        return self._post(ReadingsTold, path, body, idempotency_key)

    def _put(
        self, model: type[Upserted[Thing]], path: str, told: BaseModel, idempotency_key: str | None
    ) -> Upserted[Thing]:
        content = told.model_dump(mode="json", exclude_unset=True)
        return read_as(model, self.sender.send("PUT", path, headers=headers(idempotency_key), json=content))
