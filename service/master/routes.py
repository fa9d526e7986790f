"""`/v1/systems`, `/v1/positions`, `/v1/element-types`, `/v1/fluids`: master data by the plant's own codes."""

from collections.abc import Callable
from typing import Annotated, Any

import sqlalchemy as sa
from fastapi import APIRouter, Body, Depends, Header, Path, Query
from pydantic import BaseModel
from starlette.responses import JSONResponse

from api_schemas.master_data import ElementType, Fluid, Page, Position, Status, System, Upserted
from api_schemas.quantities import Code
from service.cursors import PageAfter
from service.dependencies import IdempotencyKey, Integrator, Now, OnlyPlant, OpenDatabase, Reader
from service.keys.answering import Answer, answer_once, digest_of, response_of
from service.keys.keeping import Caller
from service.master import examples
from service.master.listing import page_of
from service.master.resources import ELEMENT_TYPES, FLUIDS, POSITIONS, SYSTEMS, Resource, etag_of, found
from service.master.upserting import Conditions, upsert
from service.plant_folder import tables as t

router = APIRouter(tags=["master data"])

_Code = Annotated[Code, Path()]
_Asked = Annotated[str | None, Query(max_length=200)]
_Limit = Annotated[int, Query(ge=1, le=1000)]
_ETag = Annotated[str | None, Header(max_length=200)]


class Put:
    """One thing told by its code, once for its `Idempotency-Key`, if it is still as the conditions say."""

    def __init__(
        self,
        database: OpenDatabase,
        now: Now,
        idempotency_key: IdempotencyKey = None,
        if_match: _ETag = None,
        if_none_match: _ETag = None,
    ) -> None:
        self._database, self._now, self._idempotency_key = database, now, idempotency_key
        self._conditions = Conditions(if_match, if_none_match)

    def do(self, resource: Resource, code: str, body: BaseModel, caller: Caller) -> JSONResponse:
        """201 where it is new, else 200."""
        told = body.model_dump(mode="json", exclude_unset=True)

        def work(connection: sa.Connection) -> Answer:
            return upsert(connection, resource, code, told, self._conditions, caller=caller, now=self._now)

        digest = digest_of(f"PUT {resource.path}/{code}", told)
        answer = answer_once(self._database, caller, self._idempotency_key, digest, self._now, work)
        return response_of(answer)


_Put = Annotated[Put, Depends()]


class Look:
    """What a key may read of it."""

    def __init__(self, caller: Reader, database: OpenDatabase) -> None:
        self.caller, self._database = caller, database

    def one(self, resource: Resource, code: str) -> JSONResponse:
        """With its ETag."""
        told = self._read(lambda connection: found(connection, resource, code, self.caller))
        return JSONResponse(told, headers={"ETag": etag_of(told)})

    def page(
        self, resource: Resource, limit: int, cursor: str | None, filters: dict[sa.Column[Any], str | None]
    ) -> JSONResponse:
        """By code."""
        told = self._read(
            lambda connection: page_of(connection, resource, self.caller, filters, limit=limit, cursor=cursor)
        )
        return JSONResponse(told)

    def _read(self, ask: Callable[[sa.Connection], dict[str, Any]]) -> dict[str, Any]:
        with self._database.reading() as connection:
            return ask(connection)


_Look = Annotated[Look, Depends()]


@router.get("/systems", response_model=Page[System], summary="Systems, by code", responses=examples.SYSTEMS)
def list_systems(
    look: _Look,
    plant: OnlyPlant,
    status: Annotated[Status | None, Query()] = None,
    external_ref: _Asked = None,
    limit: _Limit = 100,
    cursor: PageAfter = None,
) -> JSONResponse:
    """Retired ones too; what is not known of a system is left out."""
    own = t.systems.c
    return look.page(SYSTEMS, limit, cursor, {own.plant: plant, own.status: status, own.external_ref: external_ref})


@router.get("/systems/{system}", response_model=System, summary="One system", responses=examples.SYSTEM)
def show_system(look: _Look, system: _Code) -> JSONResponse:
    """As it can be told again by PUT; its ETag changes with what it says."""
    return look.one(SYSTEMS, system)


@router.put(
    "/systems/{system}",
    response_model=Upserted[System],
    summary="Tell of a system by its code",
    responses=examples.SYSTEM_TOLD,
)
def put_system(
    caller: Integrator, put: _Put, system: _Code, body: Annotated[System, Body(examples=[examples.A_SYSTEM])]
) -> JSONResponse:
    """It is new, or brought in line; a member that is left out takes nothing back, and a repeat changes nothing.

    It moves to another plant with its positions, for a key that sees both.
    """
    return put.do(SYSTEMS, system, body, caller)


@router.get("/positions", response_model=Page[Position], summary="Positions, by code", responses=examples.POSITIONS)
def list_positions(
    look: _Look,
    plant: OnlyPlant,
    system: _Asked = None,
    status: Annotated[Status | None, Query()] = None,
    external_ref: _Asked = None,
    limit: _Limit = 100,
    cursor: PageAfter = None,
) -> JSONResponse:
    """Retired ones too; what is not known of a position is left out."""
    own = t.positions.c
    asked = {own.system: system, own.status: status, own.external_ref: external_ref}
    return look.page(POSITIONS, limit, cursor, {t.systems.c.plant: plant, **asked})


@router.get("/positions/{position}", response_model=Position, summary="One position", responses=examples.POSITION)
def show_position(look: _Look, position: _Code) -> JSONResponse:
    """As it can be told again by PUT; what is fitted there is told by its due date."""
    return look.one(POSITIONS, position)


@router.put(
    "/positions/{position}",
    response_model=Upserted[Position],
    summary="Tell of a position by its code",
    responses=examples.POSITION_TOLD,
)
def put_position(
    caller: Integrator, put: _Put, position: _Code, body: Annotated[Position, Body(examples=[examples.A_POSITION])]
) -> JSONResponse:
    """It is new, or brought in line; a member that is left out takes nothing back.

    The element that sits in it comes with the plant folder or a close-out. Due dates follow with the next pass.
    """
    return put.do(POSITIONS, position, body, caller)


@router.get(
    "/element-types",
    response_model=Page[ElementType],
    summary="Element types, by part number",
    responses=examples.ELEMENT_TYPES,
)
def list_element_types(
    look: _Look, external_ref: _Asked = None, limit: _Limit = 100, cursor: PageAfter = None
) -> JSONResponse:
    """All plants share them."""
    return look.page(ELEMENT_TYPES, limit, cursor, {t.element_types.c.external_ref: external_ref})


@router.get(
    "/element-types/{part_number}",
    response_model=ElementType,
    summary="One element type",
    responses=examples.ELEMENT_TYPE,
)
def show_element_type(look: _Look, part_number: _Code) -> JSONResponse:
    """As it can be told again by PUT."""
    return look.one(ELEMENT_TYPES, part_number)


@router.put(
    "/element-types/{part_number}",
    response_model=Upserted[ElementType],
    summary="Tell of an element type by its part number",
    responses=examples.ELEMENT_TYPE_TOLD,
)
def put_element_type(
    caller: Integrator,
    put: _Put,
    part_number: _Code,
    body: Annotated[ElementType, Body(examples=[examples.AN_ELEMENT_TYPE])],
) -> JSONResponse:
    """For keys of all plants, which share it. Part numbers of elements and of other parts are one name space."""
    return put.do(ELEMENT_TYPES, part_number, body, caller)


@router.get("/fluids", response_model=Page[Fluid], summary="Fluids, by code", responses=examples.FLUIDS)
def list_fluids(
    look: _Look, external_ref: _Asked = None, limit: _Limit = 100, cursor: PageAfter = None
) -> JSONResponse:
    """All plants share them."""
    return look.page(FLUIDS, limit, cursor, {t.fluids.c.external_ref: external_ref})


@router.get("/fluids/{fluid}", response_model=Fluid, summary="One fluid", responses=examples.FLUID)
def show_fluid(look: _Look, fluid: _Code) -> JSONResponse:
    """As it can be told again by PUT."""
    return look.one(FLUIDS, fluid)


@router.put(
    "/fluids/{fluid}",
    response_model=Upserted[Fluid],
    summary="Tell of a fluid by its code",
    responses=examples.FLUID_TOLD,
)
def put_fluid(
    caller: Integrator, put: _Put, fluid: _Code, body: Annotated[Fluid, Body(examples=[examples.A_FLUID])]
) -> JSONResponse:
    """For keys of all plants, which share it. Viscosities are held against ISO 3448 and against each other."""
    return put.do(FLUIDS, fluid, body, caller)
