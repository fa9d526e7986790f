"""Work and stops as a calendar: what other programs read of it, and that it says the same until something changes.

The format is RFC 5545; read back with the library that wrote it, and where bytes matter by hand.
"""

import base64
from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

import pytest
import sqlalchemy as sa
from icalendar import Calendar, Component

from scheduler.vocabulary import Scope
from service.calendar.events import NO_PERMISSION, stop_event
from service.keys.keeping import make_key
from service.schema import metadata
from tests.flow.command_line import run_here
from tests.flow.running_plant import RunningPlant, _client, add_plant, iso
from tests.flow.small_folder import BREATHER, NOW, RETURN, SmallPlant

PATH = "/v1/calendar"
OSLO = ZoneInfo("Europe/Oslo")


def content_of(plant: RunningPlant, /, **query: Any) -> bytes:
    answer = plant.client.get(PATH, params=query)
    assert answer.status_code == 200, answer.text
    assert answer.headers["content-type"] == "text/calendar; charset=utf-8"
    return answer.content


def events_of(plant: RunningPlant, /, **query: Any) -> dict[str, Component]:
    """By what stands before the dot in their UID."""
    found = Calendar.from_ical(content_of(plant, **query)).walk("VEVENT")
    told = {str(event["UID"]).partition(".")[0].partition("@")[0]: event for event in found}
    assert len(told) == len(found)
    return told


def work_at(plant: RunningPlant, position: str) -> Component:
    return events_of(plant)[f"work-order-{plant.order_of(position)['id']}"]


def stop(starts_at: datetime, ends_at: datetime, **more: Any) -> SmallPlant:
    row = {"system": "PRESS", "starts_at": iso(starts_at), "ends_at": iso(ends_at)}
    return SmallPlant(starts_at, {"stops": [row | more]})


def change(plant: RunningPlant, order: int, **values: Any) -> None:
    """What no verb of a person does."""
    table = metadata.tables["work_orders"]
    with plant.database.writing() as connection:
        connection.execute(sa.update(table).where(table.c.id == order).values(**values))


def test_every_open_order_is_one_event_and_every_stop_one(plant: RunningPlant) -> None:
    found = events_of(plant)
    assert {name for name in found if name.startswith("work")} == {
        f"work-order-{row['id']}" for row in plant.orders()
    }
    (told,) = [event for name, event in found.items() if name.startswith("stop")]
    assert str(told["SUMMARY"]) == "Stop: plant MILL: shift change"
    (row,) = plant.rows("stops")
    assert (told["DTSTART"].dt, told["DTEND"].dt) == (row["starts_at"], row["ends_at"])


def test_work_in_a_stop_has_its_hours_and_other_work_its_day(plant: RunningPlant) -> None:
    order = plant.order_of(BREATHER)
    change(plant, order["id"], stop_starts_at=None, stop_ends_at=None)
    told = work_at(plant, BREATHER)
    day = datetime.fromisoformat(order["planned_for"]).astimezone(OSLO).date()
    assert (told["DTSTART"].dt, told["DTEND"].dt) == (day, day + timedelta(days=1))  # RFC 5545, 3.6.1
    starts_at = plant.now + timedelta(days=2)
    change(plant, order["id"], stop_starts_at=starts_at, stop_ends_at=starts_at + timedelta(hours=8))
    told = work_at(plant, BREATHER)
    assert (told["DTSTART"].dt, told["DTEND"].dt) == (starts_at, starts_at + timedelta(hours=8))


def test_an_event_says_what_is_done_what_is_short_and_that_it_permits_nothing(plant: RunningPlant) -> None:
    told = work_at(plant, BREATHER)
    assert BREATHER in str(told["SUMMARY"])
    assert "change breather" in str(told["SUMMARY"])
    words = str(told["DESCRIPTION"])
    assert words.startswith(NO_PERMISSION)
    assert "short: 1 × BR-1, arrives 2026-03-13 with PO-9/1" in words
    assert str(told["TRANSP"]) == "TRANSPARENT"


def test_issued_work_says_why_and_a_pass_without_news_changes_nothing_that_is_subscribed_to(
    plant: RunningPlant,
) -> None:
    plant.post(f"/v1/work-orders/{plant.order_of(BREATHER)['id']}/issue")
    reason = plant.task_of(BREATHER)["reason"]
    assert reason in str(work_at(plant, BREATHER)["DESCRIPTION"])
    before, draft_reason = plant.client.get("/v1/calendar").content, plant.task_of(RETURN)["reason"]
    plant.later(hours=1)
    plant.run_pass()
    assert plant.task_of(RETURN)["reason"] != draft_reason
    assert plant.client.get("/v1/calendar").content == before


def test_the_state_is_the_status_and_the_version_the_sequence(plant: RunningPlant) -> None:
    order = plant.order_of(RETURN)
    assert str(work_at(plant, RETURN)["STATUS"]) == "TENTATIVE"
    plant.later(hours=1)
    issued = plant.post(f"/v1/work-orders/{order['id']}/issue")
    told = work_at(plant, RETURN)
    assert (str(told["STATUS"]), told["SEQUENCE"]) == ("CONFIRMED", issued["version"])
    assert told["DTSTAMP"].dt == told["LAST-MODIFIED"].dt == plant.now


def test_withdrawn_work_is_cancelled_for_thirty_days_and_then_gone(plant: RunningPlant) -> None:
    name = f"work-order-{plant.order_of(RETURN)['id']}"
    plant.later(hours=1)
    plant.post(f"/v1/work-orders/{name.rpartition('-')[2]}/withdraw", {"note": "press is sold"}, If_Match="*")
    told = events_of(plant)[name]
    assert str(told["STATUS"]) == "CANCELLED"
    assert "press is sold" in str(told["DESCRIPTION"])
    plant.later(days=29)
    assert name in events_of(plant)
    plant.later(days=2)
    assert name not in events_of(plant)


def test_the_same_state_gives_the_same_bytes_and_no_answer_to_who_has_them(plant: RunningPlant) -> None:
    first = plant.client.get(PATH)
    plant.later(minutes=1)
    plant.run_pass()
    plant.run_pass()
    same = plant.client.get(PATH, headers={"If-None-Match": f'"other", W/{first.headers["ETag"]}'})
    assert (same.status_code, same.content) == (304, b"")  # RFC 9110, 13.1.2 and 15.4.5
    assert same.headers["ETag"] == first.headers["ETag"]
    uids = {event["UID"] for event in events_of(plant).values()}
    plant.post(f"/v1/work-orders/{plant.order_of(RETURN)['id']}/issue")
    changed = plant.client.get(PATH, headers={"If-None-Match": first.headers["ETag"]})
    assert changed.status_code == 200
    assert {event["UID"] for event in events_of(plant).values()} == uids


def test_lines_end_with_crlf_and_hold_75_octets_at_most(plant: RunningPlant) -> None:
    """RFC 5545, 3.1: the octets of a line, its end apart; a folded line goes on after one space."""
    note = "Ø µ ΔP " * 40 + "– 油" * 30
    plant.post(f"/v1/work-orders/{plant.order_of(RETURN)['id']}/issue")
    plant.post(f"/v1/work-orders/{plant.order_of(RETURN)['id']}/hold", {"note": note})
    content = content_of(plant)
    assert content.endswith(b"END:VCALENDAR\r\n")
    lines = content.split(b"\r\n")
    assert not [line for line in lines if b"\n" in line or b"\r" in line]
    assert max(map(len, lines)) <= 75
    for line in lines:
        line.decode()  # no fold inside a character
    assert note.strip() in str(work_at(plant, RETURN)["DESCRIPTION"])


def test_commas_semicolons_backslashes_and_new_lines_are_escaped() -> None:
    """RFC 5545, 3.3.11: COLON and DQUOTE are not; no control character but the tab is left."""
    row = {"system": "PRESS", "starts_at": NOW, "ends_at": NOW + timedelta(hours=1)}
    event = stop_event(row | {"note": 'a, b; c\\d "9:00"\r\nBEGIN:VEVENT\x0b'}, "MILL", NOW)
    (line,) = [line for line in event.to_ical().replace(b"\r\n ", b"").split(b"\r\n") if b"SUMMARY" in line]
    assert line == rb'SUMMARY:Stop: PRESS: a\, b\; c\\d "9:00"\nBEGIN:VEVENT '
    (told,) = Calendar.from_ical(b"BEGIN:VCALENDAR\r\n" + event.to_ical() + b"END:VCALENDAR\r\n").walk("VEVENT")
    assert str(told["SUMMARY"]) == 'Stop: PRESS: a, b; c\\d "9:00"\nBEGIN:VEVENT '


def test_on_the_days_on_which_the_clocks_change_a_stop_has_its_true_hours(plant: RunningPlant) -> None:
    """The clocks of Oslo go on at 01:00 UTC on 29 March 2026, and back at 01:00 UTC on 25 October 2026."""
    in_utc = {
        "2026-03-29T01:30:00+01:00": datetime(2026, 3, 29, 0, 30, tzinfo=UTC),
        "2026-03-29T03:30:00+02:00": datetime(2026, 3, 29, 1, 30, tzinfo=UTC),
        "2026-10-25T02:30:00+02:00": datetime(2026, 10, 25, 0, 30, tzinfo=UTC),
        "2026-10-25T02:30:00+01:00": datetime(2026, 10, 25, 1, 30, tzinfo=UTC),
    }
    for local in map(datetime.fromisoformat, in_utc):
        plant.take_in(stop(local, local + timedelta(hours=2)))
    times = {(event["DTSTART"].dt, event["DTEND"].dt) for event in events_of(plant).values()}
    content = content_of(plant)
    for utc in in_utc.values():
        assert (utc, utc + timedelta(hours=2)) in times
        assert f"DTSTART:{utc:%Y%m%dT%H%M%SZ}".encode() in content  # form 2 of RFC 5545, 3.3.5


def test_a_day_is_the_plants_also_where_that_of_utc_is_another(plant: RunningPlant) -> None:
    order = plant.order_of(BREATHER)["id"]
    late = datetime(2026, 3, 28, 23, 30, tzinfo=UTC)  # 00:30 on the 29th in Oslo
    change(plant, order, planned_for=late, stop_starts_at=None, stop_ends_at=None)
    assert work_at(plant, BREATHER)["DTSTART"].dt == date(2026, 3, 29)


def test_a_calendar_of_one_system_has_its_work_and_the_stops_of_its_plant(plant: RunningPlant) -> None:
    starts_at = plant.now + timedelta(days=3)
    plant.take_in(stop(starts_at, starts_at + timedelta(hours=1)))
    summaries = [str(event["SUMMARY"]) for event in events_of(plant, system="CONV").values()]
    assert [words for words in summaries if words.startswith("Stop")] == ["Stop: plant MILL: shift change"]
    assert all(words.startswith(("Stop", "CONV")) for words in summaries)
    assert events_of(plant, plant="MILL").keys() == events_of(plant).keys()


def test_a_key_comes_as_a_password_here_and_nowhere_else(plant: RunningPlant) -> None:
    with plant.database.writing() as connection:
        key = make_key(connection, "calendar", [Scope.READ], now=plant.now)
        add_plant(connection, "OTHER")
        other = make_key(connection, "elsewhere", [Scope.READ], now=plant.now, plants=["OTHER"])
        stocks = make_key(connection, "store", [Scope.STOCK], now=plant.now)
    client = _client(plant.app, key)
    del client.headers["Authorization"]
    assert client.get(PATH, auth=("anybody", key)).content == content_of(plant)
    assert client.get(PATH, auth=("", stocks)).status_code == 403
    assert Calendar.from_ical(client.get(PATH, auth=("", other)).content).walk("VEVENT") == []
    assert client.get(PATH, params={"plant": "MILL"}, auth=("", other)).status_code == 403
    assert client.get("/v1/due", auth=("anybody", key)).status_code == 401
    for told in ("Basic", "Basic !!", "Basic " + base64.b64encode(b"no colon").decode(), "Basic " + "A" * 4000):
        refused = client.get(PATH, headers={"Authorization": told})
        assert (refused.status_code, refused.json()["type"]) == (401, "/problems/key-needed")
    assert client.get(PATH, auth=("anybody", "edk_" + "A" * 43)).status_code == 401


def test_an_empty_installation_has_an_empty_calendar(nothing_yet: RunningPlant) -> None:
    assert Calendar.from_ical(content_of(nothing_yet)).walk("VEVENT") == []


@pytest.mark.one_database_is_enough
def test_the_command_line_writes_the_same_calendar(plant: RunningPlant, tmp_path: Path) -> None:
    file = tmp_path / "work.ics"
    assert run_here(plant, "calendar", "--write", str(file), "--system", "CONV").exit_code == 0
    by_true_clock = Calendar.from_ical(file.read_bytes()).walk("VEVENT")
    assert {str(event["UID"]) for event in by_true_clock} <= {
        str(event["UID"]) for event in events_of(plant, system="CONV").values()
    }
