"""Which way up a picture is, from its EXIF block: CIPA DC-008, 4.6.4, tag 0112; built as TIFF 6.0, section 2."""

from typing import Literal

_ORIENTATION, _SHORT = 0x0112, 3
UPRIGHT = 1


def orientation_of(exif: bytes) -> int:
    """1 to 8; 1, upright, where the block does not say it or cannot be read.

    >>> orientation_of(b"MM" + bytes.fromhex("002a 00000008 0001 0112 0003 00000001 0006 0000"))
    6
    """
    order: Literal["little", "big"] = "little" if exif.startswith(b"II*\x00") else "big"
    if order == "big" and not exif.startswith(b"MM\x00*"):
        return UPRIGHT

    def number(at: int, size: int) -> int:
        return int.from_bytes(exif[at : at + size], order)

    first = number(4, 4)
    for entry in range(first + 2, min(first + 2 + 12 * number(first, 2), len(exif) - 11), 12):
        if (number(entry, 2), number(entry + 2, 2)) == (_ORIENTATION, _SHORT):
            found = number(entry + 8, 2)
            return found if 1 <= found <= 8 else UPRIGHT
    return UPRIGHT
