"""What is left of a picture: every pixel of it, the right way up, and nothing that says where it was taken."""

import random
from io import BytesIO
from urllib.parse import unquote

import pytest
from hypothesis import given
from hypothesis import strategies as st
from PIL import ExifTags, Image, ImageCms

from scheduler.vocabulary import EvidenceKind
from service.evidence.cleaning import cleaned
from service.evidence.content import Unfit
from service.evidence.names import attachment, name_to_save, safe_name
from service.evidence.orientation import orientation_of
from tests.service import evidence_files as made

pytestmark = pytest.mark.one_database_is_enough

WITH_A_PLACE = {"JPEG": made.jpeg_of_a_camera, "PNG": made.png_with_texts}
EACH_KIND = pytest.mark.parametrize("kind", WITH_A_PLACE)
TAIL = b"<html><script>alert(1)</script></html>"


def opened(content: bytes) -> Image.Image:
    image = Image.open(BytesIO(content))
    image.load()
    return image


def pixels(content: bytes) -> bytes:
    return opened(content).convert("RGB").tobytes()


@EACH_KIND
@pytest.mark.parametrize("orientation", [1, 6])
def test_where_a_picture_was_taken_is_gone(kind: str, orientation: int) -> None:
    sent = WITH_A_PLACE[kind](orientation)
    assert opened(sent).getexif().get_ifd(ExifTags.IFD.GPSInfo)[ExifTags.GPS.GPSLatitude] == (12.0, 34.0, 56.0)
    assert made.SECRET in sent
    _, kept = cleaned(sent)
    assert dict(opened(kept).getexif()) == {}
    assert not opened(kept).getexif().get_ifd(ExifTags.IFD.GPSInfo)
    assert not opened(kept).info.keys() & {"exif", "xmp", "comment", "photoshop", "Comment", "Software"}
    for trace in (made.SECRET, b"Exif", b"eXIf", b"xmpmeta", b"Photoshop", b"tEXt", b"zTXt", b"iTXt", b"ftyp"):
        assert trace not in kept, trace


@EACH_KIND
def test_a_picture_that_stands_upright_loses_no_pixel(kind: str) -> None:
    sent = WITH_A_PLACE[kind](1)
    _, kept = cleaned(sent)
    assert pixels(kept) == pixels(sent)
    assert cleaned(kept) == (EvidenceKind(f"image/{kind.lower()}"), kept)  # there is nothing left to take out


# CIPA DC-008, 4.6.4, tag 0112: where row 0 and column 0 of what is stored belong in what is seen
SIDES = {
    1: ("top", "left"),
    2: ("top", "right"),
    3: ("bottom", "right"),
    4: ("bottom", "left"),
    5: ("left", "top"),
    6: ("right", "top"),
    7: ("right", "bottom"),
    8: ("left", "bottom"),
}


def seen_from_stored(stored: Image.Image, orientation: int) -> Image.Image:
    """Pixel by pixel, by the words of the standard."""
    row_side, column_side = SIDES[orientation]
    upright = row_side in ("top", "bottom")
    width, height = stored.size if upright else stored.size[::-1]
    seen = Image.new("RGB", (width, height))
    for row in range(stored.height):
        for column in range(stored.width):
            across, down = (column, row) if upright else (row, column)
            x = width - 1 - across if "right" in (row_side, column_side) else across
            y = height - 1 - down if "bottom" in (row_side, column_side) else down
            seen.putpixel((x, y), stored.getpixel((column, row)))  # type: ignore[arg-type]
    return seen


@EACH_KIND
@pytest.mark.parametrize("orientation", SIDES)
def test_a_picture_that_was_stored_lying_down_is_kept_upright(kind: str, orientation: int) -> None:
    corner = made.two_halves()
    corner.paste((250, 250, 0), (0, 0, 16, 16))  # so that no two of the eight look alike
    exif = made.exif_with_place(orientation)
    sent = made.jpeg(corner, exif=exif, subsampling=0) if kind == "JPEG" else made.png(corner, exif=exif.tobytes())
    _, kept = cleaned(sent)
    expected = seen_from_stored(opened(sent).convert("RGB"), orientation)
    assert opened(kept).size == expected.size
    differences = [abs(a - b) for a, b in zip(pixels(kept), expected.tobytes(), strict=True)]
    # of 255 steps, ours: a JPEG is coded a second time with the same tables, a PNG loses nothing
    assert max(differences) <= (0 if kind == "PNG" else 6)


@pytest.mark.parametrize("size", [(64, 48), (72, 56), (61, 43)])  # whole blocks of 16, of 8, and neither
@pytest.mark.parametrize("subsampling", [0, 1, 2])
@pytest.mark.parametrize("orientation", [2, 8])
def test_little_of_a_turned_picture_is_lost_wherever_its_blocks_lie(
    size: tuple[int, int], subsampling: int, orientation: int
) -> None:
    exif = made.exif_with_place(orientation)
    sent = made.jpeg(made.shades(size), quality=75, subsampling=subsampling, exif=exif)
    expected = seen_from_stored(opened(sent).convert("RGB"), orientation).tobytes()
    differences = [abs(a - b) for a, b in zip(pixels(cleaned(sent)[1]), expected, strict=True)]
    assert sum(differences) / len(differences) < 1.5  # of 255 steps, ours: nobody sees it


def test_colours_are_those_of_the_camera() -> None:
    profile = ImageCms.ImageCmsProfile(ImageCms.createProfile("sRGB")).tobytes()
    for orientation in (1, 6):
        exif = made.exif_with_place(orientation)
        for sent in (
            made.jpeg(exif=exif, icc_profile=profile),
            made.png(exif=exif.tobytes(), icc_profile=profile),
        ):
            assert opened(cleaned(sent)[1]).info["icc_profile"] == profile


@pytest.mark.parametrize("mode", ["L", "CMYK"])
@pytest.mark.parametrize("orientation", [1, 8])
def test_a_picture_in_other_colours_keeps_them(mode: str, orientation: int) -> None:
    sent = made.jpeg(made.two_halves(mode), exif=made.exif_with_place(orientation), progressive=True)
    kept = opened(cleaned(sent)[1])
    assert kept.mode == mode
    stored, seen = opened(sent), kept.transpose(Image.Transpose.ROTATE_270) if orientation == 8 else kept
    differences = [abs(a - b) for a, b in zip(stored.tobytes(), seen.tobytes(), strict=True)]
    assert max(differences) <= (0 if orientation == 1 else 6)


@pytest.mark.parametrize("mode", ["P", "1", "LA", "RGBA", "I;16"])
def test_a_drawing_of_any_kind_is_turned_without_loss(mode: str) -> None:
    drawn = made.two_halves("L").convert("I").convert("I;16") if mode == "I;16" else made.two_halves(mode)
    kept = opened(cleaned(made.png(drawn, exif=made.exif_with_place(6).tobytes()))[1])
    assert kept.mode == mode
    assert kept.transpose(Image.Transpose.ROTATE_90).tobytes() == drawn.tobytes()


def test_the_thumbnail_in_a_picture_goes_with_the_place_that_it_may_show() -> None:
    sent = made.jpeg()
    jfif = sent.index(b"JFIF\x00")
    small = b"\x01\x01" + made.SECRET[:3]  # one pixel
    with_small = sent[: jfif - 2] + (16 + 3).to_bytes(2) + sent[jfif : jfif + 12] + small + sent[jfif + 14 :]
    assert cleaned(with_small)[1] == sent


@pytest.mark.parametrize("sent", [made.jpeg(), made.png()], ids=["JPEG", "PNG"])
def test_what_stands_behind_a_picture_is_cut_off(sent: bytes) -> None:
    assert cleaned(sent + TAIL)[1] == sent


def test_a_page_inside_a_picture_goes() -> None:
    assert TAIL not in cleaned(made.jpeg(comment=TAIL))[1]
    inside = made.png()
    inside = inside[:33] + made.chunk(b"paGe", TAIL) + inside[33:]
    assert cleaned(inside)[1] == made.png()


@pytest.mark.parametrize(
    "exif",
    [
        *(b"", b"II*\x00", b"MM\x00*\xff\xff\xff\xff", b"II*\x00\x08\x00\x00\x00\xff\xff", b"\x00" * 100),
        b"MM" + bytes.fromhex("002a 00000008 0001 0112 0003 00000001 0009 0000"),  # there is no ninth way
        b"MM" + bytes.fromhex("002a 00000008 0001 0112 0004 00000001 0000 0006"),  # a long where a short belongs
    ],
)
def test_a_block_that_does_not_say_which_way_up_leaves_the_picture_as_it_is(exif: bytes) -> None:
    assert orientation_of(exif) == 1


@EACH_KIND
def test_a_broken_file_is_refused_or_kept_whole_and_never_a_fault(kind: str) -> None:
    """Bytes flipped, cut out and doubled, by a fixed seed."""
    draw = random.Random(20260306)  # noqa: S311
    sent = WITH_A_PLACE[kind](6)
    refused, whole = [], 0
    for _ in range(400):
        broken = bytearray(sent)
        at = draw.randrange(8, len(broken))
        match draw.randrange(3):
            case 0:
                broken[at] = draw.randrange(256)
            case 1:
                del broken[at : at + draw.randrange(1, 40)]
            case _:
                broken[at:at] = broken[at - 8 : at]
        try:
            found, kept = cleaned(bytes(broken))
        except Unfit as unfit:
            refused.append(str(unfit))
        else:
            whole += 1
            assert made.SECRET not in kept
            assert cleaned(kept)[0] == found
    assert not [says for says in refused if "0x" in says]  # nothing of the inside
    assert len(refused) > 100
    assert whole > 0 or kind == "PNG"  # whose every chunk has a checksum


@given(st.text(max_size=400))
def test_no_name_at_all_leaves_its_header_or_its_folder(told: str) -> None:
    name = safe_name(told)
    assert 0 < len(name) <= 150
    assert name.isprintable()
    assert not set(name) & set('/\\"<>:|?*%;')
    assert name[0] not in " ."
    assert name[-1] not in " ."
    assert safe_name(name) == name
    header = attachment(name_to_save(name, EvidenceKind.PDF))
    assert header.isascii()
    assert header.count('"') == 2
    assert unquote(header.rpartition("UTF-8''")[2]).startswith(name)


def test_a_name_that_is_safe_is_left_as_it_is() -> None:
    for name in ("ring 1.jpg", "Öl-Probe (2).png", "前.jpeg", "a.tar.pdf"):
        assert safe_name(name) == name
        assert safe_name(safe_name(name)) == safe_name(name)
