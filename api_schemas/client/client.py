"""The typed client: a method for each thing that the service answers, with the models of `api_schemas`."""

from collections.abc import Iterator, Sequence
from datetime import datetime
from typing import Any

from pydantic import BaseModel, ConfigDict

from api_schemas.checks import Check, CheckIn, CheckList
from api_schemas.client.asking import ANY, Asking, headers, in_path, moment, read_as
from api_schemas.client.errors import ProblemRefused
from api_schemas.client.sending import server_time
from api_schemas.clock import Clock
from api_schemas.close_outs import CloseOut, CloseOutIn, CorrectionIn, LaterReadings
from api_schemas.demand import BuyingLine, BuyingList, DemandItem, DemandLearned, DemandList
from api_schemas.due import DueItem, DueList, PassNote
from api_schemas.due_history import DueChange, DueChanges, DueHistory, DueMove
from api_schemas.evidence import EvidenceFile, EvidenceList
from api_schemas.oil import SystemOilList
from api_schemas.packs import Pack
from api_schemas.work_orders import (
    History,
    HistoryEntry,
    KitSheet,
    NotDone,
    ReserveIn,
    WorkOrder,
    WorkOrderList,
    WorkOrderNote,
)
from scheduler.vocabulary import WorkOrderState

NOT_AS_SPECIFIED = "/problems/not-as-specified"


class KeyHolder(BaseModel):
    """Who the key stands for, and what it may do; `plants` None: in all of them."""

    model_config = ConfigDict(frozen=True)

    name: str
    scopes: list[str]
    plants: list[str] | None = None


class Client(Asking):
    """One server, asked with one key. Use it as a context manager, or `disconnect` it.

    A write carries an Idempotency-Key, its own or the one given, and is repeated with it as `patience` says; so is
    every look. `if_version` is an order's `version` as last read: where it has changed since, nothing is done.
    `ca_file` is a PEM file of the authority that signed the server's certificate, where it is not a public one.
    `transport`, `sleep` and `draw` stand in for the network, the wait and chance in tests.

    Every method raises ProblemRefused where the service refused, and NotReached where nobody or somebody else
    answered: then it is not known whether a write was done, and the same call with the same key finds out. Raises
    ValueError for a server that is not https, except on this machine, and for a time without an offset.
    """

    # who, and what time it is

    def me(self) -> KeyHolder:
        """Who this key is."""
        return self._get(KeyHolder, "/v1/me")

    def clock(self) -> Clock:
        """The clock that runs the planning pass."""
        return self._get(Clock, "/v1/clock")

    def server_time(self) -> datetime | None:
        """What the server's clock shows, to the second; None where it does not say."""
        return server_time(self.sender.send("GET", "/v1/me"))

    # what is due

    def due(
        self, *, plant: str | None = None, system: str | None = None, as_of: datetime | None = None
    ) -> Iterator[DueItem]:
        """Every position in service, the first due first; page after page, as they are wanted."""
        query = {"plant": plant, "system": system, "as_of": moment(as_of)}
        for page in self._pages(DueList, "/v1/due", query):
            yield from page.items

    def due_item(self, position: str) -> DueItem:
        """One position's due date."""
        return self._get(DueItem, f"/v1/due/{in_path(position)}")

    def due_history(self, position: str) -> Iterator[DueMove]:
        """How its due date moved, and why; the newest first."""
        for page in self._pages(DueHistory, f"/v1/due/{in_path(position)}/history", {}):
            yield from page.items

    def due_changes(
        self, since: datetime | str, *, plant: str | None = None, system: str | None = None
    ) -> Iterator[DueChange]:
        """What is new, earlier, later and done since then; also since `last-pass` or `last-week`."""
        told = moment(since) if isinstance(since, datetime) else since
        query = {"since": told, "plant": plant, "system": system}
        for page in self._pages(DueChanges, "/v1/due/changes", query):
            yield from page.items

    def run_pass(self, *, idempotency_key: str | None = None) -> PassNote:
        """Run a planning pass now."""
        return self._post(PassNote, "/v1/passes", None, idempotency_key)

    # work orders

    def work_orders(
        self,
        *,
        states: Sequence[WorkOrderState] = (),
        plant: str | None = None,
        system: str | None = None,
        position: str | None = None,
    ) -> Iterator[WorkOrder]:
        """By planned day, page after page, as they are wanted; by default the open ones."""
        told = [state.value for state in states] or None
        query = {"state": told, "plant": plant, "system": system, "position": position}
        for page in self._pages(WorkOrderList, "/v1/work-orders", query):
            yield from page.items

    def work_order(self, order: int) -> WorkOrder:
        """The job card, with steps."""
        return self._get(WorkOrder, f"/v1/work-orders/{order}")

    def pack(self, order: int) -> Pack:
        """All that the order needs where there is no network."""
        return self._get(Pack, f"/v1/work-orders/{order}/pack")

    def kit(self, order: int) -> KitSheet:
        """What to fetch, shelf by shelf."""
        return self._get(KitSheet, f"/v1/work-orders/{order}/kit")

    def history(self, order: int) -> list[HistoryEntry]:
        """Who did what, when and why."""
        return self._get(History, f"/v1/work-orders/{order}/history").items

    def issue(self, order: int, *, if_version: int | None = None, idempotency_key: str | None = None) -> WorkOrder:
        """Issue a draft."""
        return self._verb(order, "issue", None, if_version, idempotency_key)

    def start(self, order: int, *, if_version: int | None = None, idempotency_key: str | None = None) -> WorkOrder:
        """Begin the work."""
        return self._verb(order, "start", None, if_version, idempotency_key)

    def hold(
        self, order: int, why: str, *, if_version: int | None = None, idempotency_key: str | None = None
    ) -> WorkOrder:
        """Hold issued or begun work."""
        return self._verb(order, "hold", WorkOrderNote(note=why), if_version, idempotency_key)

    def release(self, order: int, *, if_version: int | None = None, idempotency_key: str | None = None) -> WorkOrder:
        """Release held work."""
        return self._verb(order, "release", None, if_version, idempotency_key)

    def withdraw(
        self, order: int, why: str, *, if_version: int | None = None, idempotency_key: str | None = None
    ) -> WorkOrder:
        """Withdraw an order; without `if_version` whatever became of it meanwhile."""
        return self._verb(order, "withdraw", WorkOrderNote(note=why), if_version or ANY, idempotency_key)

    def not_done(
        self, order: int, task: int, why: str, *, if_version: int | None = None, idempotency_key: str | None = None
    ) -> WorkOrder:
        """Leave a task undone."""
        return self._verb(order, "not-done", NotDone(task=task, why=why), if_version, idempotency_key)

    def accept_proposal(
        self, order: int, *, if_version: int | None = None, idempotency_key: str | None = None
    ) -> WorkOrder:
        """Do what the last pass proposed for issued work; without `if_version` whatever that is by now."""
        return self._verb(order, "accept-proposal", None, if_version or ANY, idempotency_key)

    def reserve(
        self,
        order: int,
        *,
        as_far_as_possible: bool = False,
        if_version: int | None = None,
        idempotency_key: str | None = None,
    ) -> WorkOrder:
        """Hold the kit for this order alone."""
        body = ReserveIn(as_far_as_possible=as_far_as_possible)
        return self._verb(order, "reserve", body, if_version, idempotency_key)

    def release_kit(
        self, order: int, *, if_version: int | None = None, idempotency_key: str | None = None
    ) -> WorkOrder:
        """Hold the kit no longer."""
        return self._verb(order, "release-kit", None, if_version, idempotency_key)

    # jobs

    def check(self, told: CheckIn, *, idempotency_key: str | None = None) -> Check:
        """Compare what was taken from the shelf; a verdict is an answer, also one that it must not be used."""
        try:
            return self._post(Check, "/v1/checks", told, idempotency_key)
        except ProblemRefused as refused:
            if refused.type != NOT_AS_SPECIFIED:
                raise
            return Check.model_validate(refused.document.model_extra, extra="ignore")

    def checks(self, *, task: int | None = None, position: str | None = None) -> Iterator[Check]:
        """The newest first, page after page."""
        for page in self._pages(CheckList, "/v1/checks", {"task": task, "position": position}):
            yield from page.items

    def close(self, told: CloseOutIn, *, idempotency_key: str | None = None) -> CloseOut:
        """How a job went: ends the installation, begins the next, books the stock."""
        return self._post(CloseOut, "/v1/close-outs", told, idempotency_key)

    def close_out(self, close_out: int) -> CloseOut:
        """As it stands, with its corrections."""
        return self._get(CloseOut, f"/v1/close-outs/{close_out}")

    def correct(self, close_out: int, told: CorrectionIn, *, idempotency_key: str | None = None) -> CloseOut:
        """What was told wrongly; a member that is set to None takes its value back."""
        return self._post(CloseOut, f"/v1/close-outs/{close_out}/corrections", told, idempotency_key)

    def later_readings(self, close_out: int, told: LaterReadings, *, idempotency_key: str | None = None) -> CloseOut:
        """ΔP that was read only after the close-out."""
        return self._post(CloseOut, f"/v1/close-outs/{close_out}/readings", told, idempotency_key)

    def attach(
        self,
        close_out: int,
        name: str,
        content: bytes,
        *,
        shows: str | None = None,
        idempotency_key: str | None = None,
    ) -> EvidenceFile:
        """A JPEG, PNG or PDF; the same content again is the same file."""
        answer = self.sender.send(
            "POST",
            f"/v1/close-outs/{close_out}/files",
            headers=headers(idempotency_key),
            files={"file": (name, content)},
            data={} if shows is None else {"shows": shows},
        )
        return read_as(EvidenceFile, answer)

    def files(self, close_out: int) -> list[EvidenceFile]:
        """What is attached to a close-out."""
        return self._get(EvidenceList, f"/v1/close-outs/{close_out}/files").items

    def file(self, file: int) -> bytes:
        """The content of a file."""
        return self.sender.send("GET", f"/v1/files/{file}").content

    # oil and what to buy

    def oil(self, *, system: str | None = None) -> SystemOilList:
        """The level and the loss of each system."""
        return self._get(SystemOilList, "/v1/oil", {"system": system})

    def demand(self, **asked: Any) -> Iterator[DemandItem]:
        """What will be used of each part and oil; `asked` as `GET /v1/demand` takes it: period, periods, level …"""
        for page in self._pages(DemandList, "/v1/demand", asked):
            yield from page.items

    def buying(self, **asked: Any) -> Iterator[BuyingLine]:
        """What to order, how much, by when and why; the most urgent first."""
        for page in self._pages(BuyingList, "/v1/demand/buying", asked):
            yield from page.items

    def demand_learned(self) -> DemandLearned:
        """Forecast against used."""
        return self._get(DemandLearned, "/v1/demand/learned")

    def _verb(
        self, order: int, verb: str, body: BaseModel | None, if_version: int | str | None, idempotency_key: str | None
    ) -> WorkOrder:
        return self._post(WorkOrder, f"/v1/work-orders/{order}/{verb}", body, idempotency_key, if_version)
