"""What a file is by its content, never by its name or by what the sender calls it.

The signatures: JPEG, ITU-T T.81, B.1.1.3 (SOI, then another marker); PNG, W3C PNG (third edition), 5.2; PDF,
ISO 32000-1, 7.5.2. Those of what is refused are from memory and only word the refusal.
"""

import re

from scheduler.vocabulary import EvidenceKind

LARGEST_FILE_BYTES = 10_000_000
"""Ours: a camera's picture at full size, and small enough to be kept in the database with its transaction."""

MOST_FILES = 20
"""Of one close-out, ours: before, after, the element from all sides, and a laboratory's report."""

EXPECTED = "a JPEG or PNG picture or a PDF"

_SIGNATURES: dict[bytes, EvidenceKind] = {
    b"\xff\xd8\xff": EvidenceKind.JPEG,
    b"\x89PNG\r\n\x1a\n": EvidenceKind.PNG,
    b"%PDF-": EvidenceKind.PDF,
}
_FOREIGN: tuple[tuple[re.Pattern[bytes], str], ...] = (
    (re.compile(rb"GIF8"), "a GIF picture"),
    (re.compile(rb"RIFF....WEBP", re.DOTALL), "a WebP picture"),
    (re.compile(rb"....ftyp(?:hei|hev|mif1|msf1)", re.DOTALL), "a HEIF picture (set the camera to JPEG)"),
    (re.compile(rb"....ftypavi", re.DOTALL), "an AVIF picture"),
    (re.compile(rb"....ftyp", re.DOTALL), "a video"),
    (re.compile(rb"II\*\x00|MM\x00\*"), "a TIFF picture"),
    (re.compile(rb"BM.{12}", re.DOTALL), "a BMP picture"),
    (re.compile(rb"PK\x03\x04"), "a ZIP archive or an office document"),
    (re.compile(rb"\s*<(?:!doctype|html|head|body|script|svg|\?xml)", re.IGNORECASE), "a web page, SVG or XML"),
)
_SHOWN_BYTES = 8

_END_WITHIN = 1024  # a reader looks for the end in that many last bytes: ISO 32000-1, annex H, from memory
_LARGEST_DICTIONARY = 100_000  # ours
_LAST_REFERENCE = re.compile(rb"startxref\s+(\d{1,10})\s+%%EOF")
_ESCAPED = re.compile(rb"#([0-9A-Fa-f]{2})")
_ENCRYPT = re.compile(rb"/Encrypt(?![A-Za-z0-9_.-])")


class Unfit(ValueError):
    """Why a file cannot be taken: what was found and, where that helps, what was expected."""


def kind_of(content: bytes) -> EvidenceKind:
    """The kind that the first bytes say. Raises Unfit naming what was found and expected.

    >>> kind_of(b"%PDF-1.7 ...")
    <EvidenceKind.PDF: 'application/pdf'>
    """
    for signature, kind in _SIGNATURES.items():
        if content.startswith(signature):
            return kind
    raise Unfit(f"it is {_found(content)}; expected {EXPECTED}")


def _found(content: bytes) -> str:
    if not content:
        return "empty"
    for pattern, what in _FOREIGN:
        if pattern.match(content):
            return what
    return f"of no known kind (it begins with the bytes {content[:_SHOWN_BYTES].hex(' ')})"


def check_pdf(content: bytes) -> None:
    """A PDF is kept as it came. Raises Unfit where it has no end, or where nobody could read it without a password.

    Whether it is encrypted stands in the dictionary of the cross-reference table or stream that its last lines name
    (ISO 32000-1, 7.5.5 and 7.5.8), which is never compressed; where that cannot be found, in the whole file.
    """
    if b"%%EOF" not in content[-_END_WITHIN:]:
        raise Unfit(f"the PDF is cut short: its end (%%EOF) is not within its last {_END_WITHIN:,} bytes")
    if _ENCRYPT.search(_ESCAPED.sub(_unescaped, _last_dictionary(content))):
        raise Unfit("the PDF is encrypted; expected one that can be read without a password")


def _unescaped(escaped: re.Match[bytes]) -> bytes:
    return bytes.fromhex(escaped[1].decode())


def _last_dictionary(content: bytes) -> bytes:
    """The trailer, or the dictionary of the cross-reference stream; the whole file where there is neither."""
    last = list(_LAST_REFERENCE.finditer(content, max(0, len(content) - 2 * _END_WITHIN)))
    if not last:
        return content
    at = int(last[-1][1])
    if content.startswith(b"xref", at):
        begins = content.find(b"trailer", at)
        ends = content.find(b"startxref", begins)
        return content[begins:ends] if 0 <= begins < ends else content
    ends = content.find(b"stream", at, at + _LARGEST_DICTIONARY)
    return content[at:ends] if ends > at else content
