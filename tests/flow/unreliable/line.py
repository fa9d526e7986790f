"""A line that cuts requests, cuts answers and stalls: a proxy whose every connection has a drawn fate."""

import asyncio
import random
import threading
from collections import Counter
from collections.abc import Callable
from contextlib import suppress
from enum import StrEnum

_STALL_S = 30.0
_CHUNK_BYTES = 65536


class Fate(StrEnum):
    """What becomes of one connection."""

    PASSES = "passes"
    CUT_IN_REQUEST = "cut in the request"
    CUT_BEFORE_ANSWER = "cut before the answer"
    CUT_IN_ANSWER = "cut in the answer"
    STALLS = "the answer does not come"


_WEIGHTS = {
    Fate.PASSES: 74,
    Fate.CUT_IN_REQUEST: 8,
    Fate.CUT_BEFORE_ANSWER: 8,
    Fate.CUT_IN_ANSWER: 8,
    Fate.STALLS: 2,
}


class UnreliableLine:
    """Listens on a port of this machine and hands each connection, one request long, to one of `upstream()`."""

    def __init__(self, upstream: Callable[[], str], seed: int) -> None:
        self._upstream = upstream
        self._draw = random.Random(seed)  # noqa: S311
        self._loop = asyncio.new_event_loop()
        self._thread = threading.Thread(target=self._run, daemon=True)
        self._ready = threading.Event()
        self.good = False
        self.fates: Counter[Fate] = Counter()
        self.url = ""

    def __enter__(self) -> "UnreliableLine":
        self._thread.start()
        assert self._ready.wait(10)
        return self

    def __exit__(self, *_: object) -> None:
        self._loop.call_soon_threadsafe(self._stop.set)
        self._thread.join()

    def _run(self) -> None:
        asyncio.set_event_loop(self._loop)
        try:
            self._loop.run_until_complete(self._serve())
        finally:
            self._loop.close()

    async def _serve(self) -> None:
        self._stop = asyncio.Event()
        self._open: set[asyncio.Task[None]] = set()
        server = await asyncio.start_server(self._accept, "127.0.0.1", 0)
        self.url = f"http://127.0.0.1:{server.sockets[0].getsockname()[1]}"
        self._ready.set()
        await self._stop.wait()
        server.close()
        for task in self._open:
            task.cancel()
        await asyncio.gather(*self._open, return_exceptions=True)

    async def _accept(self, reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        task = asyncio.current_task()
        assert task is not None
        self._open.add(task)
        try:
            with suppress(OSError, asyncio.IncompleteReadError, asyncio.CancelledError):  # the last at the end of all
                await self._carry(reader, writer)
        finally:
            self._open.discard(task)
            writer.transport.abort()

    def _fate(self) -> Fate:
        fate = Fate.PASSES if self.good else self._draw.choices(list(_WEIGHTS), list(_WEIGHTS.values()))[0]
        self.fates[fate] += 1
        return fate

    async def _carry(self, reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        fate = self._fate()
        request = await _whole_request(reader)
        _, _, port = self._upstream().rpartition(":")
        there, back = None, None
        there, back = await asyncio.open_connection("127.0.0.1", int(port))
        try:
            if fate is Fate.CUT_IN_REQUEST:
                back.write(request[: self._draw.randrange(len(request))])
                await back.drain()
                return
            back.write(request)
            await back.drain()
            answer = await there.read(-1)  # the server closes after one answer
            if fate is Fate.STALLS:
                await asyncio.sleep(_STALL_S)
            elif fate is Fate.CUT_IN_ANSWER and answer:
                writer.write(answer[: self._draw.randrange(len(answer))])
            elif fate is Fate.PASSES:
                writer.write(answer)
            with suppress(OSError):
                await writer.drain()
                if fate is Fate.PASSES:
                    writer.close()
                    await writer.wait_closed()
        finally:
            back.transport.abort()


async def _whole_request(reader: asyncio.StreamReader) -> bytes:
    head = await reader.readuntil(b"\r\n\r\n")
    length = 0
    for line in head.split(b"\r\n"):
        name, _, value = line.partition(b":")
        if name.strip().lower() == b"content-length":
            length = int(value)
    return head + (await reader.readexactly(length) if length else b"")
