"""Pages of the due list as they were sent: the list of a pass never changes, so that its words are made once."""

import threading
from collections import OrderedDict
from collections.abc import Callable, Hashable

_MOST_PAGES = 32
"""Of a thousand positions each about a megabyte (ours)."""


class KeptPages:
    """Of one serving process; what was asked for longest ago goes first."""

    def __init__(self) -> None:
        self._lock = threading.Lock()
        self._pages: OrderedDict[Hashable, bytes] = OrderedDict()

    def page(self, key: Hashable, make: Callable[[], bytes]) -> bytes:
        """What was sent under this key, which must hold all that the page depends on, or what `make` gives."""
        with self._lock:
            if key in self._pages:
                self._pages.move_to_end(key)
                return self._pages[key]
        made = make()
        with self._lock:
            self._pages[key] = made
            while len(self._pages) > _MOST_PAGES:
                self._pages.popitem(last=False)
        return made
