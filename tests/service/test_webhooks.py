"""Webhooks: signed, in order, at least once, to listed places alone, and never to two at the same time."""

import base64
import hashlib
import hmac
import time
from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest
import sqlalchemy as sa

from service.clock.now import now_utc
from service.webhooks import outbox
from service.webhooks.courier import Courier
from service.webhooks.outbox import RETRIES_AFTER_S, claim
from service.webhooks.retention import FeedRetention
from service.webhooks.sending import Sender
from service.webhooks.signing import new_secret, signed_headers
from service.webhooks.tables import webhook_deliveries, webhooks
from service.webhooks.targets import Targets
from tests.flow.running_plant import RunningPlant, copied, make_planned, running
from tests.flow.small_folder import small_plant
from tests.service.webhook_receiver import (
    SOURCE,
    Receiver,
    SignsNow,
    courier,
    made,
    notes,
    receiving,
    states,
    touch,
)


@pytest.fixture(scope="module")
def planned(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return make_planned(tmp_path_factory.mktemp("hooks") / "plant.sqlite", small_plant())


@pytest.fixture
def plant(planned: Path, tmp_path: Path) -> Iterator[RunningPlant]:
    with running(copied(planned, tmp_path / "plant.sqlite")) as opened:
        yield opened


@pytest.fixture
def receiver() -> Iterator[Receiver]:
    with receiving() as opened:
        yield opened


@pytest.fixture
def at_once(monkeypatch: pytest.MonkeyPatch) -> None:
    """Retries need not be waited for."""
    monkeypatch.setattr(outbox, "RETRIES_AFTER_S", tuple(0.0 for _ in RETRIES_AFTER_S))


def test_each_line_arrives_signed_and_in_order_as_an_event(plant: RunningPlant, receiver: Receiver) -> None:
    webhook = made(plant, receiver)
    touch(plant, "one", "two", "three")
    sends = courier(plant, receiver)
    assert [sends.turn() for _ in range(4)] == [1, 1, 1, 0]
    lines = plant.get("/v1/feed", limit=1000)["items"][-3:]
    assert notes(receiver) == ["one", "two", "three"]
    for line, event in zip(lines, receiver.seen, strict=True):
        # CloudEvents 1.0, 3.1 and 3.2: the required attributes, and those of the data
        assert (event["specversion"], event["id"], event["source"]) == ("1.0", line["id"], SOURCE)
        assert (event["type"], event["subject"]) == (line["type"], line["subject"])
        assert event["datacontenttype"] == "application/json"
        assert datetime.fromisoformat(event["time"]) == datetime.fromisoformat(line["at"])
        assert (event["data"], event["number"], event["plant"]) == (line["data"], line["number"], line["plant"])
    assert receiver.ids == [line["id"] for line in lines]
    assert states(plant, webhook) == ["delivered"] * 3


@pytest.mark.one_database_is_enough
def test_a_signature_is_the_published_one() -> None:
    """The example of the specification's own libraries (secret, id, time, body, signature; from memory)."""
    secret, event = "whsec_MfKQ9r8GKYqrTwjUPD8ILPZIo2LaLaSw", "msg_p5jXN8AQM9LWM0D4loKWxJek"
    at, body = datetime.fromtimestamp(1614265330, UTC), '{"test": 2432232314}'
    headers = signed_headers(secret, event, body, at)
    assert headers["webhook-timestamp"] == "1614265330"
    assert headers["webhook-signature"] == "v1,g0hM9SsE+OTPJTGt/tmIKtSyZlE3uFJELVlNIOLJ1OE="


@pytest.mark.one_database_is_enough
def test_a_signature_is_the_one_that_hand_computation_gives() -> None:
    """Standard Webhooks, symmetric signatures: base64 of HMAC-SHA256 over `id.timestamp.body`."""
    secret, at, body = new_secret(), datetime(2026, 3, 5, 9, 0, 0, 700_000, tzinfo=UTC), '{"note":"Öl\\u0301"}'
    key = base64.b64decode(secret.removeprefix("whsec_"))
    assert 24 <= len(key) <= 64
    signed = hmac.new(key, f"evt_1.{int(at.timestamp())}.{body}".encode(), hashlib.sha256).digest()
    assert signed_headers(secret, "evt_1", body, at)["webhook-signature"] == f"v1,{base64.b64encode(signed).decode()}"


def test_a_line_that_is_refused_is_tried_again_under_its_id_before_the_next_one(
    plant: RunningPlant, receiver: Receiver, at_once: None
) -> None:
    webhook = made(plant, receiver)
    receiver.answers = [500, 302, 429]
    touch(plant, "one", "two")
    sends = courier(plant, receiver)
    assert sends.turn() == 1
    (delivery,) = plant.get(f"/v1/webhooks/{webhook}/deliveries")["items"]
    assert (delivery["attempts"], delivery["last_status"], delivery["state"]) == (1, 500, "waiting")
    assert delivery["says"].startswith("no no")
    assert len(delivery["says"]) <= 200
    assert sends.turn() == 1
    assert plant.get(f"/v1/webhooks/{webhook}/deliveries")["items"][0]["says"] == "redirects are not followed"
    while sends.turn():
        pass
    assert notes(receiver) == ["one", "two"]
    assert len(receiver.ids) == 5
    assert len(set(receiver.ids[:4])) == 1


def test_the_waits_between_attempts_grow_and_the_last_failure_is_a_dead_letter(
    plant: RunningPlant, receiver: Receiver
) -> None:
    webhook = made(plant, receiver)
    receiver.answers = [503] * (len(RETRIES_AFTER_S) + 1)
    touch(plant, "never", "but this")
    clock = [now_utc()]
    sends = Courier(plant.database, SignsNow(Targets([receiver.entry])), lambda: clock[0], SOURCE, jitter=lambda: 1.0)
    for wait_s in RETRIES_AFTER_S:
        assert sends.turn() == 1
        clock[0] += timedelta(seconds=wait_s)  # the jitter makes it a tenth longer
        assert sends.turn() == 0
        clock[0] += timedelta(seconds=wait_s * 0.11)
    assert sends.turn() == 1
    assert states(plant, webhook) == ["dead"]
    assert sends.turn() == 1
    assert states(plant, webhook) == ["dead", "delivered"]
    assert notes(receiver) == ["but this"]
    shown = plant.get(f"/v1/webhooks/{webhook}")
    assert (shown["dead"], shown["waiting"]) == (1, 0)
    plant.post(f"/v1/webhooks/{webhook}/replay")
    assert sends.turn() == 1
    assert notes(receiver) == ["but this", "never"]
    assert len(set(receiver.ids)) == 2
    assert states(plant, webhook) == ["delivered", "delivered"]


def test_one_dead_letter_can_be_sent_again_by_itself(plant: RunningPlant, receiver: Receiver, at_once: None) -> None:
    webhook = made(plant, receiver)
    receiver.answers = [500] * (2 * len(RETRIES_AFTER_S) + 2)
    touch(plant, "one", "two")
    sends = courier(plant, receiver)
    while sends.turn():
        pass
    assert states(plant, webhook) == ["dead", "dead"]
    dead = plant.get(f"/v1/webhooks/{webhook}/deliveries", state="dead", limit=1)
    two, next_ = dead["items"][0]["id"], dead["next"]
    assert plant.get(f"/v1/webhooks/{webhook}/deliveries", cursor=next_)["items"][0]["id"] < two
    plant.post(f"/v1/webhooks/{webhook}/replay?delivery={two}")
    sends.turn()
    assert notes(receiver) == ["two"]
    plant.post(f"/v1/webhooks/{webhook}/replay?delivery={two}", expect=409)
    plant.post(f"/v1/webhooks/{webhook}/replay?delivery=9999", expect=404)


def test_a_receiver_that_sleeps_is_not_waited_for(plant: RunningPlant, receiver: Receiver, at_once: None) -> None:
    def sleep() -> int:
        time.sleep(0.8)
        return 500

    made(plant, receiver)
    receiver.answers = [sleep]
    touch(plant, "one")
    sends = courier(plant, receiver, timeout_s=0.3)
    began = time.monotonic()
    assert sends.turn() == 1
    assert time.monotonic() - began < 0.8
    (delivery,) = plant.rows("webhook_deliveries")
    assert (delivery["last_status"], delivery["says"]) == (None, "no answer within 0.3 s")
    assert courier(plant, receiver).turn() == 1
    assert notes(receiver) == ["one"]


def test_a_receiver_that_is_gone_pauses_its_webhook_which_goes_on_where_it_was(
    plant: RunningPlant, receiver: Receiver
) -> None:
    webhook = made(plant, receiver)
    receiver.answers = [410]
    touch(plant, "one", "two")
    sends = courier(plant, receiver)
    assert [sends.turn(), sends.turn()] == [1, 0]
    shown = plant.get(f"/v1/webhooks/{webhook}")
    assert "410" in shown["paused_because"]
    assert plant.post(f"/v1/webhooks/{webhook}/resume")["paused_at"] is None
    assert [sends.turn(), sends.turn(), sends.turn()] == [1, 1, 0]
    assert notes(receiver) == ["one", "two"]


def test_a_courier_that_is_killed_after_sending_sends_the_same_id_again(
    plant: RunningPlant, receiver: Receiver, monkeypatch: pytest.MonkeyPatch
) -> None:
    class Killed(BaseException):
        pass

    def killed(*_told: Any) -> None:
        raise Killed

    made(plant, receiver)
    touch(plant, "one")
    with monkeypatch.context() as patched:
        patched.setattr("service.webhooks.courier.mark", killed)
        with pytest.raises(Killed):
            courier(plant, receiver).turn()
    other = courier(plant, receiver)
    assert other.turn() == 0  # the lease of the one that was killed still runs
    late = Courier(plant.database, other._sender, lambda: now_utc() + outbox.LEASE, SOURCE)
    assert late.turn() == 1
    assert notes(receiver) == ["one", "one"]
    assert receiver.ids[0] == receiver.ids[1]


def test_two_processes_do_not_send_to_one_target_at_the_same_time(plant: RunningPlant, receiver: Receiver) -> None:
    webhook = made(plant, receiver)
    other = courier(plant, receiver)
    heard: list[int] = []

    def meanwhile() -> int:
        heard.append(other.turn())
        return 204

    receiver.answers = [meanwhile]
    touch(plant, "one", "two")
    assert courier(plant, receiver).turn() == 1
    assert heard == [0]
    with plant.database.writing() as connection:
        assert claim(connection, webhook, "one", now_utc(), SOURCE) is not None
        assert claim(connection, webhook, "other", now_utc(), SOURCE) is None


def test_the_thread_of_a_serving_process_sends_and_ends(plant: RunningPlant, receiver: Receiver) -> None:
    made(plant, receiver)
    sends = courier(plant, receiver)
    sends.start()
    touch(plant, "one")
    give_up = time.monotonic() + 20
    while not receiver.seen and time.monotonic() < give_up:
        time.sleep(0.02)
    began = time.monotonic()
    sends.stop()
    assert time.monotonic() - began < 5
    touch(plant, "two")
    time.sleep(0.1)
    assert notes(receiver) == ["one"]


def test_a_webhook_is_told_of_its_plants_and_types_alone(plant: RunningPlant, receiver: Receiver) -> None:
    webhook = made(plant, receiver, types=["close_out.recorded"])
    (other_plant,) = [made(plant, receiver, plants=[row["plant"]]) for row in plant.rows("plants")][:1]
    with plant.database.writing() as connection:
        elsewhere = sa.update(webhooks).where(webhooks.c.id == other_plant)
        connection.execute(elsewhere.values(plants=["ELSEWHERE"]))
    touch(plant, "one")
    assert courier(plant, receiver).turn() == 0
    assert (states(plant, webhook), states(plant, other_plant)) == ([], [])


def test_what_does_not_concern_a_webhook_is_not_looked_through_for_ever(
    plant: RunningPlant, receiver: Receiver, monkeypatch: pytest.MonkeyPatch
) -> None:
    webhook = made(plant, receiver, types=["close_out.recorded"])
    monkeypatch.setattr(outbox, "_LOOKED_THROUGH_AGAIN", 3)
    touch(plant, "one", "two", "three")
    assert courier(plant, receiver).turn() == 0
    (row,) = plant.rows("webhooks", id=webhook)
    assert row["after"] == plant.get("/v1/feed")["newest"]


def test_what_a_paused_webhook_was_not_told_before_the_feed_gave_it_up_is_a_dead_letter(
    plant: RunningPlant, receiver: Receiver
) -> None:
    webhook = made(plant, receiver)
    plant.post(f"/v1/webhooks/{webhook}/pause")
    assert plant.post(f"/v1/webhooks/{webhook}/pause")["paused_because"].startswith("by ")
    touch(plant, "one", "two")
    assert courier(plant, receiver).turn() == 0
    with plant.database.writing() as connection:
        FeedRetention(7, SOURCE).apply(connection, now_utc() + timedelta(days=8))
    assert plant.get("/v1/feed")["items"] == []
    assert states(plant, webhook) == ["dead", "dead"]
    plant.post(f"/v1/webhooks/{webhook}/resume")
    plant.post(f"/v1/webhooks/{webhook}/replay")
    sends = courier(plant, receiver)
    assert [sends.turn(), sends.turn(), sends.turn()] == [1, 1, 0]
    assert notes(receiver) == ["one", "two"]
    with plant.database.writing() as connection:
        FeedRetention(7, SOURCE).apply(connection, now_utc() + timedelta(days=8))
    assert states(plant, webhook) == []


def test_a_target_that_is_no_longer_listed_or_turns_out_to_be_inside_is_not_asked(
    plant: RunningPlant, receiver: Receiver, monkeypatch: pytest.MonkeyPatch
) -> None:
    made(plant, receiver)
    touch(plant, "one")
    Courier(plant.database, Sender(Targets(["erp.mill.example"])), now_utc, SOURCE).turn()
    assert plant.rows("webhook_deliveries")[0]["says"].endswith("is not on the list of targets")
    port = int(receiver.entry.rpartition(":")[2])

    async def resolves_to_this_machine(*_told: Any, **_more: Any) -> list[Any]:
        return [(2, 1, 6, "", ("127.0.0.1", port))]

    monkeypatch.setattr("service.webhooks.sending.anyio.getaddrinfo", resolves_to_this_machine)
    with plant.database.writing() as connection:
        target = f"https://erp.mill.example:{port}/"
        connection.execute(sa.update(webhooks).values(target=target))
        connection.execute(sa.update(webhook_deliveries).values(next_at=now_utc()))
    Courier(plant.database, Sender(Targets([f"erp.mill.example:{port}"])), now_utc, SOURCE).turn()
    assert "is 127.0.0.1, which is inside" in plant.rows("webhook_deliveries")[0]["says"]
    assert receiver.ids == []
