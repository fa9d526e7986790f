"""What was told of a job is corrected or taken back, some of it at once."""

import json
from dataclasses import replace
from datetime import datetime, timedelta

from hypothesis import strategies as st
from hypothesis.stateful import precondition, rule

from api_schemas.close_outs import CorrectionIn
from service.close_outs import routes
from tests.flow.any_order.books import Books, Row, differing_tables
from tests.flow.any_order.closing_out import ClosingOut
from tests.flow.any_order.jobs import Done, Job, Told, jobs
from tests.flow.any_order.plant_in_hand import CALLER
from tests.flow.any_order.tiny_plant import SPECIFIED, SYSTEM_OF, WRONG, shown_hours
from tests.flow.any_order.walking import Request, any_of, one, positions
from tests.flow.running_plant import iso
from tests.flow.small_folder import NOW

EARLIER_MIN = {0: 20, 1: 90, 20: -30, 26: 1000, 100: 6000}
"""By how much a job was earlier than it was told, by how long ago another job was; minus is later."""
CORRECTED = ("hours", "hours", "at", "lot", "type", "wrong type", "parts", "oil", "stayed", "changed")


class Correcting(ClosingOut):
    """Corrections of any member of a close-out, and what they must leave as it was."""

    @precondition(lambda self: self._with_position())
    @rule(which=any_of, what=st.sampled_from(CORRECTED), job=jobs)
    def correct_a_close_out(self, which: int, what: str, job: Job) -> None:
        done = one(self._with_position(), which)
        self._correct(f"correct {what}", done, self._correction(what, done, job))

    @precondition(lambda self: self.jobs)
    @rule(which=any_of)
    def undo_a_close_out(self, which: int) -> None:
        self._correct("undo_a_close_out", one(list(self.jobs.values()), which), {"undo": True})

    @rule(position=positions, job=jobs, wrong=st.booleans())
    def close_and_think_better_of_it(self, position: str, job: Job, wrong: bool) -> None:
        """A job that was told and taken back at once leaves the plant as it was known to be."""
        stood, shown = _standing(self.books), self.plant.shown(self.now).shelves
        element = WRONG[position] if wrong else None
        done = self._close("close_and", self._usual_task(position), {"position": position}, job, element)
        if done is not None:
            assert self._correct("close_and_think_better_of_it", done, {"undo": True})
            assert differing_tables(stood, _standing(self.plant.books())) == {}
            assert self.plant.shown(self.now).shelves == shown

    @precondition(lambda self: self._with_position())
    @rule(which=any_of, what=st.sampled_from(["hours", "at", "lot", "oil", "parts"]), job=jobs)
    def correct_and_think_better_of_it(self, which: int, what: str, job: Job) -> None:
        """What was corrected and is corrected back at once is as it was known to be."""
        done = one(self._with_position(), which)
        stood = _standing(self.books)
        if not self._correct(f"correct {what} and", done, self._correction(what, done, job)):
            return
        back: Told = {what: done.told.get(what)}
        if what == "lot":
            element = done.told.get("element")
            back = {"element": None if element is None else {"lot": element.get("lot")}}
        if self._correct("correct_and_think_better_of_it", self.jobs[done.id], back):
            assert differing_tables(stood, _standing(self.plant.books())) == {}

    def _correction(self, what: str, done: Done, job: Job) -> Told:
        at = datetime.fromisoformat(done.told["at"])
        element = SPECIFIED[done.position]
        shown_h = shown_hours(SYSTEM_OF[done.position], NOW, at)
        said: dict[str, Told] = {
            "hours": {
                "hours": round(shown_h / 10.0 if job.hours == "mistyped" else shown_h - job.took_min / 100.0, 1)
            },
            "at": {"at": iso(at - timedelta(minutes=EARLIER_MIN[job.hours_ago]))},
            "lot": {"element": job.of_lot(element)},
            "type": {"element": {"part_number": element}},
            "wrong type": {"element": {"part_number": WRONG[done.position]}},
            "parts": {"parts": job.parts_used()},
            "oil": {"oil": job.oil()},
            "stayed": {"element_changed": False, "element": None},
            "changed": {"element_changed": True},
        }
        return said[what]

    def _correct(self, name: str, done: Done, said: Told) -> bool:
        """Whether anything was corrected."""

        def request_of(body: Told) -> Request:
            read = CorrectionIn.model_validate_json(json.dumps({"why": "told wrongly"} | body))
            return Request(
                f"correction of {done.id}: {body}",
                lambda key: routes.correct(CALLER, self.plant.database, self.now, done.id, read, key),
            )

        answer = self._confirmed(name, said, request_of)
        if answer is None or self.may_change is not None:
            return False
        self.jobs[done.id] = replace(done, undone=True) if said.get("undo") else done.corrected(said)
        self.planned = [answer["system"]]
        return True


_OF_A_VERSION = ("id", "recorded_at", "superseded_at", "source")


def _standing(books: Books) -> dict[str, list[Row]]:
    """What is known to be so now, whoever told it and when."""
    return {
        table: sorted(
            (
                {name: value for name, value in row.items() if name not in _OF_A_VERSION}
                for row in books.holding(table)
            ),
            key=str,
        )
        for table in ("installations", "meter_readings", "dp_readings", "top_ups")
    }
