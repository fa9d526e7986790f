"""A file as it is kept: a picture without where and with what it was taken, upright, and seen to be readable.

The segments and chunks that make the picture are copied bit for bit. Only a picture that a camera stored lying down
is coded anew: a JPEG with its own quantisation tables, so that little is lost.
"""

import threading
from io import BytesIO
from typing import Any

from PIL import Image, JpegImagePlugin, UnidentifiedImageError
from PIL.Image import Transpose

from scheduler.vocabulary import EvidenceKind
from service.evidence.content import Unfit, check_pdf, kind_of
from service.evidence.jpeg import JpegPicture, jpeg_picture
from service.evidence.orientation import UPRIGHT, orientation_of
from service.evidence.png import PngPicture, png_picture

MOST_PIXELS = 50_000_000
"""Ours: about 8,000 × 6,000; decoded it takes up to 200 MB, and as much again to be turned."""

_TURNS = {  # CIPA DC-008, 4.6.4: what brings row 0 to the top and column 0 to the left
    2: Transpose.FLIP_LEFT_RIGHT,
    3: Transpose.ROTATE_180,
    4: Transpose.FLIP_TOP_BOTTOM,
    5: Transpose.TRANSPOSE,
    6: Transpose.ROTATE_270,
    7: Transpose.TRANSVERSE,
    8: Transpose.ROTATE_90,
}
_FIRST_ON_ITS_SIDE = 5
_BLOCK = 8  # T.81, A.3.3
_FULL_COLOUR, _BOTH_WAYS = 0, 2  # the library's numbers for 4:4:4 and 4:2:0

_one_at_a_time = threading.Lock()  # each decoded picture may take the memory of MOST_PIXELS


def cleaned(content: bytes) -> tuple[EvidenceKind, bytes]:
    """What the file is, and what of it is kept. Raises Unfit naming what was found and what was expected."""
    kind = kind_of(content)
    if kind is EvidenceKind.PDF:
        check_pdf(content)
        return kind, content
    picture = jpeg_picture(content) if kind is EvidenceKind.JPEG else png_picture(content)
    _check_size(picture)
    with _one_at_a_time:
        image = _decoded(kind, picture.content)
        orientation = orientation_of(picture.exif)
        if orientation == UPRIGHT:
            return kind, picture.content
        turned = _turned_jpeg if kind is EvidenceKind.JPEG else _turned_png
        return kind, turned(image, orientation)


def _check_size(picture: JpegPicture | PngPicture) -> None:
    """Before anything is decoded: a few kilobytes can claim gigabytes."""
    size = f"{picture.width:,} × {picture.height:,} pixels"
    if picture.width < 1 or picture.height < 1:
        raise Unfit(f"the picture says that it has {size}")
    if picture.width * picture.height > MOST_PIXELS:
        raise Unfit(f"the picture has {size}; it may have {MOST_PIXELS:,} in all")


def _decoded(kind: EvidenceKind, content: bytes) -> Image.Image:
    try:
        image = Image.open(BytesIO(content), formats=(_name(kind),))
        image.load()
    except MemoryError:
        raise
    except Exception as error:  # the decoder has no one error for what it cannot read
        says = " ".join(str(error).split()).rstrip(".") or type(error).__name__
        if isinstance(error, UnidentifiedImageError):
            says = "its header says what no decoder knows"  # the library's text shows an address in memory
        raise Unfit(f"the {_name(kind)} cannot be decoded: {says}") from None
    return image


def _name(kind: EvidenceKind) -> str:
    return "JPEG" if kind is EvidenceKind.JPEG else "PNG"


def _turned_jpeg(image: Image.Image, orientation: int) -> bytes:
    """With the tables of the first coding: what they have cut away once is not cut away again.

    That holds where the blocks lie as before, which is so where both sides are whole numbers of blocks. Elsewhere the
    tables are made finer and the colours are not halved again, so that the file grows rather than the loss.
    """
    assert isinstance(image, JpegImagePlugin.JpegImageFile)  # noqa: S101 - it was opened as one
    on_its_side = orientation >= _FIRST_ON_ITS_SIDE
    tables = [_on_its_side(each) if on_its_side else each for _, each in sorted(image.quantization.items())]
    if not _lies_on(_BLOCK, image):
        tables = [[(step + 1) // 2 for step in table] for table in tables]
    is_halved = JpegImagePlugin.get_sampling(image) == _BOTH_WAYS
    sampling = _BOTH_WAYS if is_halved and _lies_on(2 * _BLOCK, image) else _FULL_COLOUR
    return jpeg_picture(
        _saved(
            image.transpose(_TURNS[orientation]),
            "JPEG",
            qtables=tables,
            subsampling=sampling,
            icc_profile=image.info.get("icc_profile"),
        )
    ).content


def _lies_on(grid: int, image: Image.Image) -> bool:
    return image.width % grid == 0 and image.height % grid == 0


def _on_its_side(table: list[int]) -> list[int]:
    """A table of 8 × 8 with its rows as columns."""
    return [table[_BLOCK * column + row] for row in range(_BLOCK) for column in range(_BLOCK)]


def _turned_png(image: Image.Image, orientation: int) -> bytes:
    """Without loss up to 8 bits a colour and in 16 bits of grey; of 16 bits a colour the decoder gives 8."""
    return png_picture(_saved(image.transpose(_TURNS[orientation]), "PNG")).content


def _saved(image: Image.Image, name: str, **told: Any) -> bytes:
    out = BytesIO()
    image.save(out, name, **told)
    return out.getvalue()
