"""Names of files: what a person sees, and never where something is kept or what it is."""

import re
import unicodedata
from urllib.parse import quote

from scheduler.vocabulary import EvidenceKind

ENDINGS: dict[EvidenceKind, tuple[str, ...]] = {
    EvidenceKind.JPEG: (".jpg", ".jpeg"),
    EvidenceKind.PNG: (".png",),
    EvidenceKind.PDF: (".pdf",),
}
"""How a name of each kind may end; the first one is given where it does not."""

_LONGEST = 150  # ours
_UNSAFE = re.compile(
    r'[<>:"|?*%;]'
)  # a shell, a header or another file system would take them for more than a letter
_ATTR_CHAR = "!#$&+-.^_`|~"  # RFC 8187, 3.2.1, beside letters and digits


def safe_name(told: str) -> str:
    """The last part of a path, of printable letters only, neither hidden nor ending in a dot.

    >>> safe_name("C:\\\\photos\\\\..\\\\ring 1\\r\\nSet-Cookie: a=b.jpg")
    'ring 1__Set-Cookie_ a=b.jpg'
    """
    last = re.split(r"[/\\]", unicodedata.normalize("NFC", told))[-1]
    name = _UNSAFE.sub("_", "".join(sign if sign.isprintable() else "_" for sign in last)).strip(" .")
    if len(name) > _LONGEST:
        stem, dot, ending = name.rpartition(".")
        ending = dot + ending if stem and len(ending) <= 5 else ""
        name = name[: _LONGEST - len(ending)].rstrip(" .") + ending
    return name or "file"


def name_to_save(name: str, kind: EvidenceKind) -> str:
    """The name with the ending of what the file really is.

    >>> name_to_save("gauge.html", EvidenceKind.PNG)
    'gauge.html.png'
    """
    return name if name.lower().endswith(ENDINGS[kind]) else name + ENDINGS[kind][0]


def attachment(name: str) -> str:
    """`Content-Disposition` (RFC 6266, 4 and appendix D): to be saved, with the name in ASCII and in full (RFC 8187).

    >>> attachment("Öl 1.png")
    'attachment; filename="_l 1.png"; filename*=UTF-8\\'\\'%C3%96l%201.png'
    """
    plain = "".join(sign if sign.isascii() and sign not in '"\\%' else "_" for sign in name)
    return f"attachment; filename=\"{plain}\"; filename*=UTF-8''{quote(name, safe=_ATTR_CHAR)}"
