"""The segments of a JPEG file (ITU-T T.81, annex B): those that make the picture are kept as they are, the rest goes.

What goes: EXIF and XMP (APP1), IPTC (APP13), thumbnails, comments, a second picture or a film behind the first one.
Entropy-coded data are copied, so that no pixel changes.
"""

import re
from collections.abc import Iterator
from dataclasses import dataclass

from service.evidence.content import Unfit

_SOI, _EOI, _SOS = 0xD8, 0xD9, 0xDA
_FRAMES = frozenset(range(0xC0, 0xD0)) - {0xC4, 0xC8, 0xCC}  # T.81, table B.1: SOF, without DHT, JPG and DAC
_TABLES = frozenset({0xC4, 0xCC, 0xDB, 0xDC, 0xDD})  # DHT, DAC, DQT, DNL, DRI
_APP0, _APP1, _APP2, _APP14 = 0xE0, 0xE1, 0xE2, 0xEE
_TEM = 0x01  # a marker without a segment, as RST

_NEXT_MARKER = re.compile(rb"\xff[^\x00\xff\xd0-\xd7]")  # T.81, F.1.2.3: a stuffed byte and RST belong to the scan
_EXIF = b"Exif\x00\x00"
_MOST_SCANS = 100  # ours: each scan costs a look at every pixel; a progressive picture has about ten


@dataclass(frozen=True, slots=True)
class JpegPicture:
    """The picture alone as a whole file, its size as its frame says it, and the EXIF block that was taken out."""

    content: bytes
    width: int
    height: int
    exif: bytes


def jpeg_picture(content: bytes) -> JpegPicture:
    """The picture of a file that begins as a JPEG. Raises Unfit where it is cut short or damaged."""
    kept = [b"\xff\xd8"]
    size: tuple[int, int] | None = None
    exif = b""
    scans = 0
    for marker, segment, scan in _segments(content):
        if marker in _FRAMES:
            if size is not None or len(segment) < 6:
                raise Unfit("the JPEG is damaged: it has a second or a broken frame header")
            size = int.from_bytes(segment[3:5]), int.from_bytes(segment[1:3])
        elif marker == _SOS:
            scans += 1
            if scans > _MOST_SCANS:
                raise Unfit(f"the JPEG has more than {_MOST_SCANS} scans, which no camera makes")
        elif marker == _APP1 and segment.startswith(_EXIF) and not exif:
            exif = segment[len(_EXIF) :]
        part = _kept(marker, segment)
        if part is not None:
            kept += [bytes((0xFF, marker)), (len(part) + 2).to_bytes(2), part, scan]
    if size is None or not scans:
        raise Unfit("the JPEG holds no picture")
    return JpegPicture(b"".join([*kept, b"\xff\xd9"]), *size, exif)


def _segments(content: bytes) -> Iterator[tuple[int, bytes, bytes]]:
    """Marker, what its segment holds and, behind the header of a scan, the coded data; up to the picture's end."""
    at = 2
    while True:
        found = _NEXT_MARKER.search(content, at)
        if found is None:
            raise Unfit("the JPEG is cut short: it has no end (EOI)")
        marker, at = content[found.start() + 1], found.end()
        if marker == _EOI:
            return
        if marker == _TEM:
            continue
        if marker == _SOI:
            raise Unfit("the JPEG is damaged: a second picture begins inside the first one")
        ends = at + int.from_bytes(content[at : at + 2])
        if ends < at + 2:
            raise Unfit("the JPEG is damaged: a segment has no length")
        if ends > len(content):
            raise Unfit("the JPEG is cut short in the middle of a segment")
        segment, at = content[at + 2 : ends], ends
        scan = b""
        if marker == _SOS:
            after = _NEXT_MARKER.search(content, at)
            scan = content[at : len(content) if after is None else after.start()]
            at += len(scan)
        yield marker, segment, scan


def _kept(marker: int, segment: bytes) -> bytes | None:
    """What of a segment the picture needs: without it the colours would be others."""
    if marker in _FRAMES or marker in _TABLES or marker == _SOS:
        return segment
    if marker == _APP0 and segment.startswith(b"JFIF\x00") and len(segment) >= 14:
        return segment[:12] + b"\x00\x00"  # JFIF 1.02: the last two bytes are the size of a thumbnail
    if marker == _APP2 and segment.startswith(b"ICC_PROFILE\x00"):
        return segment
    if marker == _APP14 and segment.startswith(b"Adobe"):
        return segment[:12]  # T.872, 6.5.3: which colours the components are
    return None
