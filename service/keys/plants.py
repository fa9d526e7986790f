"""What a key may ask for of plants, and of what they share."""

from service.keys.keeping import Caller
from service.problems import NotAllowed


def refuse_other_plant(caller: Caller, plant: str | None) -> None:
    """Raises NotAllowed where a plant is asked for that the key does not see."""
    if plant is not None and not caller.sees(plant):
        raise NotAllowed(f"key '{caller.name}' does not see plant '{plant}'")


def refuse_without_all_plants(caller: Caller, what: str) -> None:
    """Raises NotAllowed where `what` is shared by plants and the key is for some of them only."""
    if caller.plants is not None:
        raise NotAllowed(f"plants share {what}: this needs a key for all plants; '{caller.name}' is for some of them")
