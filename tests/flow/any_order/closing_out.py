"""What is told of jobs: of planned ones and others, at the time or later, with the right element or a wrong one."""

import json
from dataclasses import replace
from datetime import timedelta

from hypothesis import strategies as st
from hypothesis.stateful import precondition, rule
from starlette.responses import JSONResponse

from api_schemas.close_outs import CloseOutIn, LaterReadings
from service.close_outs import routes
from tests.flow.any_order.books import Row
from tests.flow.any_order.jobs import Done, Job, Told, jobs, picked_for, would_be_cleaned
from tests.flow.any_order.plant_in_hand import CALLER
from tests.flow.any_order.tiny_plant import SPECIFIED, SYSTEM_OF, WRONG, shown_hours
from tests.flow.any_order.walking import Request, Walking, any_of, dp_bar, one, positions
from tests.flow.running_plant import bar
from tests.flow.small_folder import NOW


class ClosingOut(Walking):
    """Close-outs, and readings that follow them; what was told is kept in `jobs`."""

    @rule(which=any_of, job=jobs)
    def close_a_task(self, which: int, job: Job) -> None:
        row = one(self.books.tables["tasks"], which)
        self._close("close_a_task", row, {"task": row["id"]}, job, None)

    @precondition(lambda self: self.books.rows("tasks", state="open"))
    @rule(which=any_of, job=jobs, names_lot=st.booleans())
    def close_an_open_task(self, which: int, job: Job, names_lot: bool) -> None:
        row = one(self.books.rows("tasks", state="open"), which)
        element = SPECIFIED.get(row["position"]) if names_lot else None
        self._close("close_an_open_task", row, {"task": row["id"]}, job, element)

    @rule(position=positions, job=jobs, names_lot=st.booleans())
    def close_by_position(self, position: str, job: Job, names_lot: bool) -> None:
        element = SPECIFIED[position] if names_lot else None
        self._close("close_by_position", self._usual_task(position), {"position": position}, job, element)

    @rule(position=positions, job=jobs)
    def fit_the_wrong_element(self, position: str, job: Job) -> None:
        row = self._usual_task(position)
        self._close("fit_the_wrong_element", row, {"position": position}, job, WRONG[position])

    @precondition(lambda self: self._with_position())
    @rule(which=any_of, dp=dp_bar, side=st.sampled_from(["dp_before", "dp_after"]), ago=st.sampled_from([None, 0, 1]))
    def add_a_reading(self, which: int, dp: float, side: str, ago: int | None) -> None:
        done = one(self._with_position(), which)
        reading = {"dp": bar(dp)} | ({} if ago is None else {"at": self._told_at(ago)})
        body = LaterReadings.model_validate_json(json.dumps({side: reading}))

        def send(key: str) -> JSONResponse:
            return routes.add_later_readings(CALLER, self.plant.database, self.now, done.id, body, key)

        if self._acknowledged("add_a_reading", Request(f"{side} of {done.id}: {reading}", send)) is not None:
            self.planned = [SYSTEM_OF[done.position]]

    def _with_position(self) -> list[Done]:
        """Close-outs that can be corrected in every member."""
        return [done for done in self.jobs.values() if done.position]

    def _usual_task(self, position: str) -> Row:
        """The open task that a close-out by position ends, or what the one would be that it makes."""
        kind = {"STR-1": "service_strainer", "BR-1": "change_breather"}.get(SPECIFIED[position], "change_element")
        found = self.books.rows("tasks", position=position, kind=kind, state="open")
        return found[0] if found else {"id": 0, "position": position, "kind": kind, "system": SYSTEM_OF[position]}

    def _close(self, name: str, task: Row, subject: Told, job: Job, element: str | None) -> Done | None:
        self.now += timedelta(minutes=job.took_min)
        at, place = job.at(self.now), task["position"]
        of_place = replace(job, has_dp=job.has_dp and bool(place))
        told = subject | of_place.told(at, shown_hours(task["system"], NOW, at), element if place else None)
        picked = picked_for(self.books, task["id"])
        cleaned = bool(place) and would_be_cleaned(self.books, place, task["kind"])

        def request_of(body: Told) -> Request:
            read = CloseOutIn.model_validate_json(json.dumps(body))
            return Request(
                f"close-out: {body}", lambda key: routes.close(CALLER, self.plant.database, self.now, read, key)
            )

        answer = self._confirmed(name, told, request_of)
        if answer is None:
            return None
        kept = Done(answer["id"], answer["task"], place, task["kind"], told, picked, cleaned)
        self.jobs[kept.id] = kept
        self.planned = [task["system"]]
        return kept
