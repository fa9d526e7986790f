"""What clients on a bad line asked, and what they were answered in the end."""

import threading
from collections.abc import Iterator
from dataclasses import dataclass, field
from typing import Any


@dataclass(frozen=True, slots=True)
class Acknowledged:
    """One write that was answered: `sent` and `answered` are readings of a monotonic clock, `tries` counts from 1."""

    client: str
    what: str
    key: str
    body: Any
    status: int
    answer: Any
    text: str
    sent: float
    answered: float
    tries: int


@dataclass
class History:
    """Everything that was acknowledged, in the order in which the answers came."""

    writes: list[Acknowledged] = field(default_factory=list)
    repeated: int = 0
    refused_reuse: int = 0
    kills: int = 0
    _lock: threading.Lock = field(default_factory=threading.Lock)

    def add(self, write: Acknowledged) -> None:
        with self._lock:
            self.writes.append(write)

    def of(self, what: str) -> Iterator[Acknowledged]:
        return (write for write in self.writes if write.what == what)
