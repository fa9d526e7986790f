"""How often one may ask: a key so often a minute, whoever shows none by address, and an address with bad keys hardly.

The counts are in this process's memory: several processes give each caller as many times the limit. A key that this
process has known as good is answered even where others at its address, behind one proxy, try bad ones.
"""

import hashlib
import math
from collections import OrderedDict

from limits import RateLimitItem, RateLimitItemPerMinute
from limits.storage import MemoryStorage
from limits.strategies import MovingWindowRateLimiter
from starlette.datastructures import Headers
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from service.clock.now import now_utc
from service.problems import TooManyRequests, problem_response

_FAILURES_PER_MINUTE = 60  # ours: a forgotten script may be wrong once a second, a person never is so often
_KNOWN_KEYS = 10_000  # ours: more than an installation has, and a bound on the memory


class RateLimit:
    """Answers 429 with `Retry-After` to who has asked too often within the last minute."""

    def __init__(self, app: ASGIApp, *, per_minute: int, failures_per_minute: int = _FAILURES_PER_MINUTE) -> None:
        self._app = app
        self._limiter = MovingWindowRateLimiter(MemoryStorage())
        self._asked = RateLimitItemPerMinute(per_minute, namespace="asked")
        self._failed = RateLimitItemPerMinute(failures_per_minute, namespace="failed")
        self._good: OrderedDict[str, None] = OrderedDict()

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] != "http":
            await self._app(scope, receive, send)
            return
        address = str((scope.get("client") or ("unknown",))[0])
        told = Headers(scope=scope).get("Authorization", "")
        shown = hashlib.sha256(told.encode()).hexdigest() if told else ""
        is_known = shown in self._good
        if not is_known and not self._limiter.test(self._failed, address):
            await self._refuse(
                self._failed, address, "this address has shown too many bad keys", scope, receive, send
            )
            return
        who = shown if is_known else address
        if not self._limiter.hit(self._asked, who):
            says = (
                f"{'this key' if is_known else 'this address'} has asked {self._asked.amount} times within a minute"
            )
            await self._refuse(self._asked, who, says, scope, receive, send)
            return

        async def note(message: Message) -> None:
            if message["type"] == "http.response.start":
                if message["status"] == 401:
                    self._limiter.hit(self._failed, address)
                    self._good.pop(shown, None)
                elif "caller" in scope.get("state", {}):
                    self._remember(shown)
            await send(message)

        await self._app(scope, receive, note)

    def _remember(self, shown: str) -> None:
        self._good[shown] = None
        self._good.move_to_end(shown)
        if len(self._good) > _KNOWN_KEYS:
            self._good.popitem(last=False)

    async def _refuse(
        self, limit: RateLimitItem, who: str, says: str, scope: Scope, receive: Receive, send: Send
    ) -> None:
        again_s = max(math.ceil(self._limiter.get_window_stats(limit, who).reset_time - now_utc().timestamp()), 1)
        problem = TooManyRequests(f"{says}; ask again in {again_s} s", headers={"Retry-After": str(again_s)})
        await problem_response(problem)(scope, receive, send)
