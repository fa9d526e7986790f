"""The page that a card's QR code opens: it holds no plant data, asks for a key, and fetches the card with it."""

from pathlib import Path

from fastapi import APIRouter
from starlette.responses import Response

from service.work_orders.card_page import STYLE_FILE

router = APIRouter(include_in_schema=False)

_HERE = Path(__file__).parent
_POLICY = (
    "default-src 'none'; script-src 'self'; style-src 'self'; connect-src 'self'; img-src data:; base-uri 'none'; "
    "form-action 'none'; frame-ancestors 'none'"
)
_HEADERS = {
    "Content-Security-Policy": _POLICY,
    "Referrer-Policy": "no-referrer",
    "X-Content-Type-Options": "nosniff",
    "Cache-Control": "no-cache",
}


@router.get("/cards/card.js")
def script() -> Response:
    """Its script, in a file of its own, so that the page needs none inside."""
    return _file(_HERE / "card.js", "text/javascript")


@router.get("/cards/card.css")
def style() -> Response:
    """The look of the card."""
    return _file(STYLE_FILE, "text/css")


@router.get("/cards/{order_id:int}")
def shell() -> Response:
    """The same page for every number: whether there is such an order is told with a key only."""
    return _file(_HERE / "card_shell.html", "text/html")


def _file(path: Path, media_type: str) -> Response:
    return Response(path.read_text(encoding="utf-8"), media_type=media_type, headers=_HEADERS)
