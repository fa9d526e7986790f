"""The chunks of a PNG file (W3C PNG, third edition, 5.3 and 11): those that make the picture are kept as they are.

What goes: texts, XMP inside them, EXIF, the time, further pictures of an animation, chunks of nobody's and whatever
stands behind the end.
"""

import zlib
from collections.abc import Iterator
from dataclasses import dataclass

from service.evidence.content import Unfit

_SIGNATURE_BYTES = 8
_NEEDED = frozenset({b"IHDR", b"PLTE", b"IDAT", b"IEND"})  # critical chunks, 11.2
_COLOURS = frozenset(  # ancillary ones without which the colours or the proportions would be others, 11.3
    {b"tRNS", b"cHRM", b"gAMA", b"iCCP", b"sBIT", b"sRGB", b"cICP", b"mDCV", b"cLLI", b"bKGD", b"pHYs"}
)


@dataclass(frozen=True, slots=True)
class PngPicture:
    """The picture alone as a whole file, its size as its header says it, and the EXIF block that was taken out."""

    content: bytes
    width: int
    height: int
    exif: bytes


def png_picture(content: bytes) -> PngPicture:
    """The picture of a file that begins as a PNG. Raises Unfit where it is cut short or damaged."""
    kept = [content[:_SIGNATURE_BYTES]]
    header = exif = b""
    for name, inside, chunk in _chunks(content):
        if not header:
            if name != b"IHDR" or len(inside) != 13:
                raise Unfit("the PNG is damaged: it does not begin with its header")
            header = inside
        if name == b"eXIf":
            exif = inside
        elif name in _NEEDED or name in _COLOURS:
            kept.append(chunk)
        elif name[:1].isupper():
            raise Unfit(f"the PNG needs a chunk {name.decode()} that the standard does not know")
    width, height = int.from_bytes(header[:4]), int.from_bytes(header[4:8])
    return PngPicture(b"".join(kept), width, height, exif)


def _chunks(content: bytes) -> Iterator[tuple[bytes, bytes, bytes]]:
    """Name, what it holds, and the whole chunk; up to the picture's end."""
    at = _SIGNATURE_BYTES
    while True:
        name = content[at + 4 : at + 8]
        ends = at + 12 + int.from_bytes(content[at : at + 4])
        if len(name) < 4 or ends > len(content):
            raise Unfit("the PNG is cut short: it has no end (IEND)")
        if not (name.isascii() and name.isalpha()):
            raise Unfit("the PNG is damaged: a chunk has no name")
        chunk = content[at:ends]
        if zlib.crc32(chunk[4:-4]) != int.from_bytes(chunk[-4:]):
            raise Unfit(f"the PNG is damaged: the checksum of its chunk {name.decode()} is wrong")
        yield name, chunk[8:-4], chunk
        if name == b"IEND":
            return
        at = ends
