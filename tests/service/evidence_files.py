"""Invented files for the evidence tests: pictures with a place in them, and papers, all made here."""

import struct
import zlib
from io import BytesIO
from typing import Any

from PIL import ExifTags, Image
from PIL.PngImagePlugin import PngInfo

SECRET = b"Nowhere Mill hall 7"
"""Stands wherever a camera or a program could have written where it was."""

PNG_SIGNATURE = b"\x89PNG\r\n\x1a\n"
WIDTH, HEIGHT = 64, 48
LEFT_HALF, RIGHT_HALF = (200, 30, 30), (30, 30, 200)


def two_halves(mode: str = "RGB", size: tuple[int, int] = (WIDTH, HEIGHT)) -> Image.Image:
    """Red on the left, blue on the right."""
    image = Image.new("RGB", size, LEFT_HALF)
    image.paste(RIGHT_HALF, (size[0] // 2, 0, *size))
    return image.convert(mode)


def shades(size: tuple[int, int]) -> Image.Image:
    """Slowly changing colours, as on metal under a lamp."""
    width, height = size
    image = Image.new("RGB", size)
    image.putdata(
        [
            (60 + 120 * x // width, 200 - 90 * y // height, 90 + 2 * (x + y) // 3)
            for y in range(height)
            for x in range(width)
        ]
    )
    return image


def exif_with_place(orientation: int = 1) -> Image.Exif:
    """An EXIF block as a camera writes it: maker, which way up, and a place."""
    exif = Image.Exif()
    exif[ExifTags.Base.Orientation] = orientation
    exif[ExifTags.Base.ImageDescription] = SECRET.decode()
    exif.get_ifd(ExifTags.IFD.GPSInfo).update(
        {
            ExifTags.GPS.GPSLatitudeRef: "N",
            ExifTags.GPS.GPSLatitude: (12.0, 34.0, 56.0),
            ExifTags.GPS.GPSLongitudeRef: "E",
            ExifTags.GPS.GPSLongitude: (65.0, 43.0, 21.0),
        }
    )
    return exif


def jpeg(image: Image.Image | None = None, **told: Any) -> bytes:
    out = BytesIO()
    (image or two_halves()).save(out, "JPEG", **{"quality": 92} | told)
    return out.getvalue()


def jpeg_with_broken_tables() -> bytes:
    """The quantisation tables are those of no component."""
    return jpeg().replace(b"\xff\xdb\x00\x43\x00", b"\xff\xdb\x00\x43\x03")


def segment(marker: int, content: bytes) -> bytes:
    return bytes((0xFF, marker)) + (len(content) + 2).to_bytes(2) + content


def jpeg_of_a_camera(orientation: int = 1) -> bytes:
    """With a place in every part of the file that can hold one, and a film behind the picture."""
    plain = jpeg(exif=exif_with_place(orientation), comment=SECRET)
    xmp = segment(0xE1, b"http://ns.adobe.com/xap/1.0/\x00<x:xmpmeta>" + SECRET + b"</x:xmpmeta>")
    iptc = segment(0xED, b"Photoshop 3.0\x008BIM\x04\x04\x00\x00\x00\x00" + SECRET)
    return plain[:2] + xmp + iptc + plain[2:] + b"\x00\x00\x00\x18ftypmp42" + SECRET


def png(image: Image.Image | None = None, **told: Any) -> bytes:
    out = BytesIO()
    (image or two_halves()).save(out, "PNG", **told)
    return out.getvalue()


def png_with_texts(orientation: int = 1) -> bytes:
    texts = PngInfo()
    texts.add_text("Comment", SECRET.decode())
    texts.add_text("Software", SECRET.decode() * 50, zip=True)
    texts.add_itxt("XML:com.adobe.xmp", f"<x:xmpmeta>{SECRET.decode()}</x:xmpmeta>")
    return png(pnginfo=texts, exif=exif_with_place(orientation).tobytes())


def chunk(name: bytes, content: bytes) -> bytes:
    return struct.pack(">I", len(content)) + name + content + struct.pack(">I", zlib.crc32(name + content))


def png_of_size(width: int, height: int) -> bytes:
    """A PNG that says how large it is, and holds next to nothing: black and white, the rows compressed."""
    header = struct.pack(">IIBBBBB", width, height, 1, 0, 0, 0, 0)
    return PNG_SIGNATURE + chunk(b"IHDR", header) + chunk(b"IDAT", zlib.compress(b"\x00")) + chunk(b"IEND", b"")


def pdf(trailer: bytes = b"<< /Size 4 /Root 1 0 R >>", text: bytes = b"4 mg/100 mL") -> bytes:
    """A page with one line of text, and a cross-reference table that is right."""
    stream = b"BT /F1 12 Tf 20 20 Td (" + text + b") Tj ET"
    objects = (
        b"<< /Type /Catalog /Pages 2 0 R >>",
        b"<< /Type /Pages /Kids [3 0 R] /Count 1 >>",
        b"<< /Type /Page /Parent 2 0 R /MediaBox [0 0 200 50] /Contents 4 0 R >>",
        b"<< /Length " + str(len(stream)).encode() + b" >>\nstream\n" + stream + b"\nendstream",
    )
    written, places = b"%PDF-1.4\n", []
    for number, told in enumerate(objects, start=1):
        places.append(len(written))
        written += f"{number} 0 obj\n".encode() + told + b"\nendobj\n"
    table = b"".join(f"{place:010d} 00000 n \n".encode() for place in places)
    at = len(written)
    written += b"xref\n0 5\n0000000000 65535 f \n" + table + b"trailer\n" + trailer
    return written + b"\nstartxref\n" + str(at).encode() + b"\n%%EOF\n"


def pdf_with_reference_stream(more: bytes = b"") -> bytes:
    """A PDF whose cross-references are a stream, as newer programs write it; `more` stands in its dictionary."""
    written = b"%PDF-1.5\n1 0 obj\n<< /Type /Catalog >>\nendobj\n"
    at = len(written)
    packed = zlib.compress(b"\x00" * 20)
    written += b"2 0 obj\n<< /Type /XRef /Size 3 /W [1 2 1] /Root 1 0 R " + more
    written += b"/Length " + str(len(packed)).encode() + b" >>\nstream\n" + packed + b"\nendstream\nendobj\n"
    return written + b"startxref\n" + str(at).encode() + b"\n%%EOF"
