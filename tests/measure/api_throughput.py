"""How fast are `POST /v1/dp-readings` of 1,000 rows and `GET /v1/due` beside a bare endpoint with the same rows?

The demo plant in two databases, ours and the bare one (`bare_endpoint.py`), each served by a process and asked in
turn over one connection, so that what else the machine does slows both. `cold` is a due list that was not asked for
since the last pass, `again` one that was, `unchanged` one asked for with its ETag. The bare `POST` holds rows against
a model of its own, in one unit and with bounds only; in `rows alike` it reads and checks them by the rules of ours.

Run: python tests/measure/api_throughput.py [turns]
"""

import os
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import httpx

CHECKOUT = Path(__file__).resolve().parents[2]
COMMAND = (sys.executable, "-c", "from service.cli.main import main; main()")
ROWS, POSITIONS = 1000, ("RING1-RET", "BENDER1-RET", "PRESS1-RET", "SHEAR1-RET")
UNITS = {"dp": "bar", "flow": "L/min", "oil_temperature": "degC"}
A_TURN = timedelta(seconds=ROWS // len(POSITIONS))
WARM_UP = 5


class Served:
    """A server process and a client with one connection."""

    def __init__(self, words: tuple[str, ...], database: str, port: int, key: Callable[[], str | None]) -> None:
        environment = {**os.environ, "PYTHONPATH": str(CHECKOUT), "ELEMENTDUE_DATABASE": database}
        environment |= {"OPENBLAS_NUM_THREADS": "1", "ELEMENTDUE_REQUESTS_PER_MINUTE": "0"}
        self._process = subprocess.Popen(words, cwd=CHECKOUT, env=environment, stderr=subprocess.DEVNULL)
        self.client = httpx.Client(base_url=f"http://127.0.0.1:{port}", timeout=60.0, trust_env=False)
        self._wait()
        if (secret := key()) is not None:
            self.client.headers["Authorization"] = f"Bearer {secret}"

    def _wait(self) -> None:
        give_up = time.monotonic() + 60.0
        while time.monotonic() < give_up:
            try:
                self.client.get("/openapi.json")
            except httpx.TransportError:
                time.sleep(0.05)
            else:
                return
        raise RuntimeError("the server did not start")

    def end(self) -> None:
        self.client.close()
        self._process.terminate()
        self._process.wait()


def timed_s(ask: Callable[[], httpx.Response]) -> float:
    began = time.perf_counter()
    answer = ask()
    took = time.perf_counter() - began
    assert answer.status_code in {200, 304}, answer.text
    return took


def body(turn: int, first: datetime) -> dict[str, Any]:
    """The readings of a logger that sends each second: newer than all that came before."""
    rows = [
        {
            "position": POSITIONS[number % len(POSITIONS)],
            "at": (first + turn * A_TURN + timedelta(seconds=number // len(POSITIONS))).isoformat(),
            "dp": round(0.5 + number % 97 / 100, 3),
            "flow": 170 + number % 13,
            "oil_temperature": 45 + number % 7,
        }
        for number in range(ROWS)
    ]
    return {"units": UNITS, "rows": rows}


def measure(turns: int, at: Path) -> dict[str, tuple[float, float]]:
    """Median seconds of ours and of the bare endpoint, by what was asked."""
    urls = [f"sqlite:///{at / name / 'demo.sqlite'}" for name in ("ours", "bare")]
    for url in urls:
        environment = {**os.environ, "PYTHONPATH": str(CHECKOUT), "ELEMENTDUE_DATABASE": url}
        for words in (("demo",), ("plan",)):
            subprocess.run([*COMMAND, *words], cwd=CHECKOUT, env=environment, check=True, capture_output=True)
    key_file = at / "ours" / "administrator.key"
    ours = Served(
        (*COMMAND, "serve", "--no-clock", "--port", "8631"), urls[0], 8631, lambda: key_file.read_text().strip()
    )
    bare = Served((sys.executable, "-m", "tests.measure.bare_endpoint", urls[1], "8632"), urls[1], 8632, lambda: None)
    try:
        return {what: _medians(times) for what, times in _ask_in_turn(ours.client, bare.client, turns).items()}
    finally:
        ours.end()
        bare.end()


def _medians(times: list[tuple[float, float]]) -> tuple[float, float]:
    counted = times[WARM_UP:]
    return statistics.median(ours for ours, _ in counted), statistics.median(bare for _, bare in counted)


def _ask_in_turn(ours: httpx.Client, bare: httpx.Client, turns: int) -> dict[str, list[tuple[float, float]]]:
    asked = ("POST", "POST, rows alike", "GET cold", "GET again", "GET unchanged")
    times: dict[str, list[tuple[float, float]]] = {what: [] for what in asked}
    first = datetime.now(UTC) - (turns + WARM_UP) * A_TURN
    for turn in range(turns + WARM_UP):
        told, key = body(turn, first), {"Idempotency-Key": f"turn {turn}"}
        post = timed_s(lambda: ours.post("/v1/dp-readings", json=told, headers=key))  # noqa: B023 - asked at once
        times["POST"].append((post, timed_s(lambda: bare.post("/dp-readings", json=told))))  # noqa: B023
        again = body(turn, first - timedelta(days=9000))
        key = {"Idempotency-Key": f"again {turn}"}
        bare_s = timed_s(lambda: bare.post("/dp-readings-as-ours", json=again))  # noqa: B023
        post = timed_s(lambda: ours.post("/v1/dp-readings", json=again, headers=key))  # noqa: B023
        times["POST, rows alike"].append((post, bare_s))
        assert ours.post("/v1/passes").status_code == 201
        cold = timed_s(lambda: ours.get("/v1/due"))
        times["GET cold"].append((cold, timed_s(lambda: bare.get("/due"))))
        times["GET again"].append((timed_s(lambda: ours.get("/v1/due")), timed_s(lambda: bare.get("/due"))))
        known = {"If-None-Match": ours.get("/v1/due").headers["ETag"]}
        unchanged = timed_s(lambda: ours.get("/v1/due", headers=known))  # noqa: B023
        times["GET unchanged"].append((unchanged, timed_s(lambda: bare.get("/due"))))
    return times


def main() -> None:
    turns = int(sys.argv[1]) if len(sys.argv) > 1 else 40
    with tempfile.TemporaryDirectory(prefix="elementdue-") as at:
        for name in ("ours", "bare"):
            (Path(at) / name).mkdir()
        found = measure(turns, Path(at))
    sys.stdout.write("| asked | ours ms | bare ms | of the bare throughput |\n|---|---|---|---|\n")
    for what, (ours_s, bare_s) in found.items():
        sys.stdout.write(f"| {what} | {1e3 * ours_s:.1f} | {1e3 * bare_s:.1f} | {bare_s / ours_s:.0%} |\n")


if __name__ == "__main__":
    main()
