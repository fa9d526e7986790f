"""Who is told by a webhook: verifies every delivery by the published scheme, fails now and then, and once sleeps."""

import json
import threading
import time
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from typing import Any

from standardwebhooks import Webhook, WebhookVerificationError

_FAILS_AT, _SLEEPS_AT = frozenset({3, 17}), frozenset({9})
_SLEEPS_S = 11.0  # longer than the sender waits


class Receiver:
    """Listens on a port of this machine; `secret` is told once the webhook is made."""

    def __init__(self) -> None:
        self.secret = ""
        self.taken: list[dict[str, Any]] = []
        self.attempts = 0
        self.unsigned: list[str] = []
        self._lock = threading.Lock()
        self._server = ThreadingHTTPServer(("127.0.0.1", 0), self._handler())
        self._thread = threading.Thread(target=self._server.serve_forever, daemon=True)

    @property
    def authority(self) -> str:
        return f"127.0.0.1:{self._server.server_address[1]}"

    def __enter__(self) -> "Receiver":
        self._thread.start()
        return self

    def __exit__(self, *_: object) -> None:
        self._server.shutdown()
        self._server.server_close()

    def answer(self, headers: dict[str, str], body: bytes) -> int:
        """The status of the answer."""
        with self._lock:
            self.attempts += 1
            attempt = self.attempts
        try:
            Webhook(self.secret).verify(body, headers)
        except WebhookVerificationError as error:
            self.unsigned.append(str(error))
            return 400
        event = json.loads(body)
        if attempt in _SLEEPS_AT:
            time.sleep(_SLEEPS_S)
        if attempt in _FAILS_AT:
            return 500
        with self._lock:
            self.taken.append({"webhook-id": headers["webhook-id"], "event": event})
        return 204

    def _handler(receiver) -> type[BaseHTTPRequestHandler]:  # noqa: N805 - the handler's self is another
        class Handler(BaseHTTPRequestHandler):
            def do_POST(self) -> None:
                body = self.rfile.read(int(self.headers["Content-Length"]))
                status = receiver.answer({name.lower(): value for name, value in self.headers.items()}, body)
                try:
                    self.send_response(status)
                    self.send_header("Content-Length", "0")
                    self.end_headers()
                except OSError:
                    pass  # the sender has given up waiting

            def log_message(self, *_: Any) -> None:
                pass

        return Handler
