"""`/v1/me`: what the key that asks may do."""

from fastapi import APIRouter
from pydantic import BaseModel

from service.dependencies import Reader

router = APIRouter(tags=["keys"])


class Me(BaseModel):
    """The key's name, which stands in every record that it makes."""

    name: str
    scopes: list[str]


@router.get("/me", summary="Who this key is")
def show_me(caller: Reader) -> Me:
    """Its name and scopes."""
    return Me(name=caller.name, scopes=sorted(caller.scopes))
