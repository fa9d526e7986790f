"""Answers of a kilobyte and more go compressed to who takes gzip, but for what is compressed by its own format."""

from starlette.datastructures import Headers, MutableHeaders
from starlette.middleware.gzip import DEFAULT_EXCLUDED_CONTENT_TYPES, GZipMiddleware
from starlette.types import ASGIApp, Message, Receive, Scope, Send

_SMALLEST_BYTES = 1000  # ours: below that the headers weigh as much as what is saved
_LEVEL = 6  # zlib's own default; 9 takes longer and saves little (from memory)
_COMPRESSED_ALREADY = (
    *DEFAULT_EXCLUDED_CONTENT_TYPES,
    "application/pdf",
    "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet",
)


class Compression:
    """Compresses, and gives what is compressed an ETag of its own: a strong one names bytes (RFC 9110, 8.8.3.3)."""

    def __init__(self, app: ASGIApp) -> None:
        self._compressed = GZipMiddleware(
            app,
            minimum_size=_SMALLEST_BYTES,
            compresslevel=_LEVEL,
            exclude_content_types=_COMPRESSED_ALREADY,
        )

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        async def send_named(message: Message) -> None:
            if message["type"] == "http.response.start":
                headers = MutableHeaders(raw=message["headers"])
                etag = headers.get("ETag", "")
                named = f'{etag[:-1]}-gzip"'
                is_known = message["status"] == 304 and named in Headers(scope=scope).get("If-None-Match", "")
                if etag.startswith('"') and (headers.get("Content-Encoding") == "gzip" or is_known):
                    headers["ETag"] = named
                message["headers"] = headers.raw
            await send(message)

        await self._compressed(scope, receive, send_named if scope["type"] == "http" else send)
