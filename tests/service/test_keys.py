"""Keys over the network: a key grants no more than it has, a secret is told once, and what is revoked stays so."""

from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from typing import Any

import httpx
import pytest
import sqlalchemy as sa

from scheduler.vocabulary import Scope
from service.keys.tables import api_keys, kept_answers
from service.plant_folder import tables as t
from tests.service.served import Served, served
from tests.service.small_plant import PLANT

OTHER = "MILL"


@pytest.fixture(scope="module")
def service(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Served]:
    with served(tmp_path_factory.mktemp("keys")) as running:
        with running.database.writing() as connection:
            connection.execute(sa.insert(t.plants).values(plant=OTHER, time_zone="Europe/Oslo", currency="EUR"))
        yield running


@pytest.fixture(scope="module")
def office(service: Served) -> Iterator[httpx.Client]:
    """An administrator's of all plants."""
    with service.client(service.key(Scope.ADMINISTER, name="office")) as client:
        yield client


def made(client: httpx.Client, name: str, *scopes: str, **more: Any) -> Any:
    answer = client.post("/v1/keys", json={"name": name, "scopes": scopes or ("read",), **more})
    assert answer.status_code == 201, answer.text
    return answer.json()


def refused(client: httpx.Client, status: int, **body: Any) -> Any:
    answer = client.post("/v1/keys", json={"name": "never made", "scopes": ["read"]} | body)
    assert answer.status_code == status, answer.text
    listed = client.get("/v1/keys", params={"limit": 500}).json()["items"]
    assert "never made" not in [each["name"] for each in listed]
    return answer.json()


def test_a_key_may_what_it_was_made_for_and_says_so(service: Served, office: httpx.Client) -> None:
    key = made(office, "shift B", "read", "work", plants=[PLANT], days=90)
    with service.client(key["secret"]) as client:
        me = client.get("/v1/me").json()
        assert (me["name"], me["scopes"], me["plants"]) == ("shift B", ["read", "work"], [PLANT])
        lasts = datetime.fromisoformat(me["expires_at"]) - datetime.now(UTC)
        assert timedelta(days=89) < lasts <= timedelta(days=90)
        assert client.post("/v1/passes").status_code == 403
        assert client.get("/v1/keys").status_code == 403
    (listed,) = [each for each in office.get("/v1/keys").json()["items"] if each["name"] == "shift B"]
    assert listed.pop("last_used_at") is not None
    assert listed == {name: value for name, value in key.items() if name not in ("secret", "last_used_at")}


def test_a_secret_is_told_once_and_kept_nowhere(service: Served, office: httpx.Client) -> None:
    body, repeats = {"name": "told once", "scopes": ["read"]}, {"Idempotency-Key": "make it once"}
    answer = office.post("/v1/keys", json=body, headers=repeats)
    secret = answer.json()["secret"]
    assert answer.headers["Cache-Control"] == "no-store"  # RFC 9111, 5.2.2.5
    again = office.post("/v1/keys", json=body, headers=repeats)
    assert again.status_code == 409
    assert again.json()["type"] == "/problems/state-in-the-way"
    assert "'told once'" in again.json()["detail"]
    assert secret not in again.text + office.get("/v1/keys").text
    with service.database.reading() as connection:
        kept = [*connection.execute(sa.select(api_keys)), *connection.execute(sa.select(kept_answers))]
    assert secret not in str(kept)
    assert [row for row in kept if "told once" in row]


def test_override_is_granted_by_who_has_it_and_by_no_mere_administrator(
    service: Served, office: httpx.Client
) -> None:
    says = refused(office, 403, scopes=["read", "override"])["detail"]
    assert "override" in says
    assert "command line" in says
    both = service.key(Scope.ADMINISTER, Scope.OVERRIDE, name="foreman")
    with service.client(both) as foreman:
        assert made(foreman, "may override", "override")["scopes"] == ["override"]


def test_a_key_of_one_plant_gives_no_key_of_another_and_none_of_all(service: Served, office: httpx.Client) -> None:
    with service.client(made(office, "of one plant", "administer", plants=[PLANT])["secret"]) as client:
        assert made(client, "its shift", plants=[PLANT])["plants"] == [PLANT]
        assert "all plants" in refused(client, 403)["detail"]
        foreign, unknown = (refused(client, 403, plants=[PLANT, each]) for each in (OTHER, "NOWHERE"))
        assert foreign["detail"].replace(OTHER, "NOWHERE") == unknown["detail"]


def test_a_key_of_one_plant_neither_sees_nor_revokes_keys_of_others(service: Served, office: httpx.Client) -> None:
    with service.client(made(office, "keeper", "administer", plants=[PLANT])["secret"]) as client:
        made(office, "of both", plants=[PLANT, OTHER])
        names = {each["name"] for each in client.get("/v1/keys").json()["items"]}
        assert "keeper" in names
        assert not names & {"of both", "office"}
        for name in ("of both", "office", "nobody at all"):
            answer = client.post(f"/v1/keys/{name}/revoke")
            assert (answer.status_code, answer.json()["detail"]) == (404, f"there is no key '{name}'")
    assert office.get("/v1/me").status_code == 200


def test_a_plant_that_is_not_there_is_refused_by_name(office: httpx.Client) -> None:
    (error,) = refused(office, 422, plants=[PLANT, "NOWHERE"])["errors"]
    assert (error["member"], error["value"]) == ("plants.1", "NOWHERE")


def test_no_key_outlives_the_one_that_made_it(service: Served) -> None:
    ends = datetime.now(UTC) + timedelta(days=10)
    with service.client(service.key(Scope.ADMINISTER, name="ten days", expires_at=ends)) as client:
        assert made(client, "nine days", days=9)["expires_at"] is not None
        assert "outlives" in refused(client, 403, days=11)["detail"]
        assert "outlives" in refused(client, 403)["detail"]


@pytest.mark.parametrize(
    ("unfit", "member"),
    [
        ({"scopes": []}, "scopes"),
        ({"scopes": ["everything"]}, "scopes.0"),
        ({"plants": []}, "plants"),
        ({"days": 0}, "days"),
        ({"days": 3651}, "days"),
        ({"expires_at": "2020-01-01T00:00:00Z"}, "expires_at"),
        ({"expires_at": "2040-01-01T00:00:00"}, "expires_at"),
        ({"days": 1, "expires_at": "2040-01-01T00:00:00Z"}, "body"),
        ({"name": "shift/B"}, "name"),
        ({"name": ".."}, "name"),
        ({"name": " "}, "name"),
        ({"secret": "edk_mine"}, "secret"),
    ],
    ids=str,
)
def test_what_makes_no_key_is_refused_for_its_member(office: httpx.Client, unfit: Any, member: str) -> None:
    assert [error["member"] for error in refused(office, 422, **unfit)["errors"]] == [member]


def test_a_revoked_key_is_dead_at_once_and_revoking_again_changes_nothing(
    service: Served, office: httpx.Client
) -> None:
    secret = made(office, "lost on the way")["secret"]
    with service.client(secret) as client:
        assert client.get("/v1/me").status_code == 200
        first = office.post("/v1/keys/lost on the way/revoke")
        assert client.get("/v1/me").status_code == 401
    assert first.status_code == 200
    assert first.json()["revoked_at"] is not None
    assert office.post("/v1/keys/lost on the way/revoke").json() == first.json()
    assert refused(office, 409, name="lost on the way")["status"] == 409


def test_a_page_turned_while_a_key_is_made_neither_doubles_nor_loses_one(office: httpx.Client) -> None:
    for number in range(3):  # so that there is a page to turn, whichever tests ran before
        made(office, f"a key {number}")
    seen: list[str] = []
    cursor: dict[str, str] = {}
    for turned in range(100):
        page = office.get("/v1/keys", params={"limit": 2, **cursor}).json()
        seen += [each["name"] for each in page["items"]]
        if turned == 0:
            made(office, "made while turning")
        if page["next"] is None:
            break
        cursor = {"cursor": page["next"]}
    assert len(seen) == len(set(seen))
    assert {"office", "made while turning"} <= set(seen)
