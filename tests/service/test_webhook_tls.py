"""A webhook over https asks the address that was checked, and trusts it only under the name of its target."""

import ssl
import subprocess
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from http.server import BaseHTTPRequestHandler, HTTPServer
from pathlib import Path
from typing import Any

import pytest

from service.clock.now import now_utc
from service.webhooks.outbox import Job, Outcome
from service.webhooks.sending import Sender
from service.webhooks.signing import new_secret
from service.webhooks.targets import Targets

pytestmark = pytest.mark.one_database_is_enough

NAME = "erp.mill.example"


def certificate(folder: Path, name: str) -> tuple[Path, Path]:
    """Signed by itself, so that it is its own authority."""
    chain, key = folder / f"{name}.pem", folder / f"{name}.key"
    curve = ("-newkey", "ec", "-pkeyopt", "ec_paramgen_curve:P-256", "-nodes")
    of = ("-subj", f"/CN={name}", "-addext", f"subjectAltName=DNS:{name}", "-days", "2")
    command = ["openssl", "req", "-x509", *curve, *of, "-keyout", str(key), "-out", str(chain)]
    subprocess.run(command, check=True, capture_output=True)
    return chain, key


@contextmanager
def listening(chain: Path, key: Path, asked: list[str]) -> Iterator[int]:
    """A server with this certificate on this machine; `asked` gets the Host of each request."""

    class Handler(BaseHTTPRequestHandler):
        def do_POST(self) -> None:
            asked.append(self.headers["Host"])
            self.rfile.read(int(self.headers["Content-Length"]))
            self.send_response(204)
            self.end_headers()

        def log_message(self, *_told: Any) -> None:
            return

    context = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
    context.load_cert_chain(chain, key)
    server = HTTPServer(("127.0.0.1", 0), Handler)
    server.socket = context.wrap_socket(server.socket, server_side=True)
    thread = threading.Thread(target=server.serve_forever, kwargs={"poll_interval": 0.02})
    thread.start()
    try:
        yield server.server_address[1]
    finally:
        server.shutdown()
        thread.join()
        server.server_close()


@pytest.mark.parametrize("of", [NAME, "other.example"])
def test_the_address_is_pinned_and_the_name_is_still_the_one_that_is_verified(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, of: str
) -> None:
    async def resolves_to_this_machine(*_told: Any, **_more: Any) -> list[Any]:
        return [(2, 1, 6, "", ("127.0.0.1", 0))]

    monkeypatch.setattr("service.webhooks.sending.anyio.getaddrinfo", resolves_to_this_machine)
    chain, key = certificate(tmp_path, of)
    asked: list[str] = []
    with listening(chain, key, asked) as port:
        sender = Sender(Targets([f"{NAME}:{port}=127.0.0.0/8"]), 10.0, ssl.create_default_context(cafile=chain))
        job = Job(1, 1, f"https://{NAME}:{port}/hooks", new_secret(), "evt_1", "{}", 0)
        outcome = sender.send(job, now_utc())
    if of == NAME:
        assert outcome == Outcome(204)
        assert asked == [f"{NAME}:{port}"]
    else:
        assert outcome.status is None
        assert "not valid for 'erp.mill.example'" in str(outcome.says)
        assert asked == []
