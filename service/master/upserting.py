"""One thing told by its code: new, or brought in line with what is told, by the rules of a plant folder's row."""

from collections.abc import Mapping
from contextlib import closing
from dataclasses import dataclass
from datetime import datetime
from typing import Any

import sqlalchemy as sa

from api_schemas.problems import MemberProblem
from service.conditional import names, names_strongly
from service.imports.importing import merge_and_keep
from service.keys.answering import Answer
from service.keys.keeping import Caller
from service.master.resources import Resource, etag_of, found, is_recorded
from service.plant_folder.known_now import known_now
from service.plant_folder.refusals import FolderRefused
from service.plant_folder.register import Register
from service.plant_folder.told_rows import folder_of_one, problems_of
from service.problems import BadInput, ChangedMeanwhile, NotAllowed


@dataclass(frozen=True, slots=True)
class Conditions:
    """`If-Match` and `If-None-Match` of the request (RFC 9110, 13.1); None where there was none."""

    if_match: str | None = None
    if_none_match: str | None = None

    def check(self, named: str, etag: str | None) -> None:
        """Raises ChangedMeanwhile where the thing, of `etag` or None where there is none, is not as meant."""
        if self.if_match is not None and (etag is None or not names_strongly(self.if_match, etag)):
            stands = "there is none yet" if etag is None else f"its ETag is {etag}"
            raise ChangedMeanwhile(f"{named} is not as If-Match says: {stands}")
        if self.if_none_match is not None and etag is not None and names(self.if_none_match, etag):
            raise ChangedMeanwhile(f"{named} exists already, with the ETag {etag}")


def refuse_limited(caller: Caller, resource: Resource) -> None:
    """Raises NotAllowed where a key of some plants would change what all of them share."""
    if resource.is_shared and caller.plants is not None:
        raise NotAllowed(
            f"{resource.noun}s are shared by all plants: a key of all plants may change them,"
            f" key '{caller.name}' is for {', '.join(sorted(caller.plants)) or 'none'}"
        )


def upsert(
    connection: sa.Connection,
    resource: Resource,
    code: str,
    told: Mapping[str, Any],
    conditions: Conditions,
    *,
    caller: Caller,
    now: datetime,
) -> Answer:
    """Do it in the caller's transaction; `changed` says each member before and after.

    Raises NotFound where the code is in use in a plant that the caller's key is not for, ChangedMeanwhile where it
    is not as the conditions say, BadInput with everything that cannot be.
    """
    refuse_limited(caller, resource)
    if told.get(resource.key, code) != code:
        says = f"the address says '{code}'; leave the member out, or say the same"
        problem = MemberProblem(member=resource.key, value=str(told[resource.key]), says=says)
        raise BadInput(f"{resource.key}: {says}", [problem])
    is_new = not is_recorded(connection, resource, code)
    earlier = {} if is_new else found(connection, resource, code, caller)
    conditions.check(f"{resource.noun} '{code}'", None if is_new else etag_of(earlier))
    remarks = _merged(connection, resource, {resource.key: code} | dict(told), caller, now)
    item = found(connection, resource, code, caller)
    changed = {
        name: {"earlier": earlier.get(name), "new": value}
        for name, value in item.items()
        if earlier.get(name) != value
    }
    body = {"is_new": is_new, "changed": changed, "item": item, "remarks": remarks}
    return Answer(201 if is_new else 200, body, headers={"ETag": etag_of(item)})


def _merged(
    connection: sa.Connection, resource: Resource, told: Mapping[str, Any], caller: Caller, now: datetime
) -> list[str]:
    """Take it in as a folder of one row; what is to be looked at all the same."""
    register = Register(known_now(connection).of_plants(caller.plants), reads_files=False)
    name = f"PUT /v1/{resource.path}/{told[resource.key]}"
    try:
        with closing(folder_of_one(resource.layout, told, register, now)) as folder:
            outcome = merge_and_keep(connection, folder, name=name, now=now, by=caller.name, keep_unchanged=False)
    except FolderRefused as refused:
        problems = problems_of(refused)
        raise BadInput("; ".join(f"{each.member}: {each.says}" for each in problems[:3]), problems) from None
    return [remark.says for remark in outcome.remarks]
