"""The XML parts of a workbook, parsed as a stream: no part is held whole and no entity is ever expanded."""

from collections.abc import Iterator
from typing import BinaryIO, Protocol
from xml.parsers import expat

from service.plant_folder.limits import LONGEST_MARKUP
from service.plant_folder.refusals import FileRefused

_CHUNK_BYTES = 64 * 1024
_DEEPEST = 64  # ours: a workbook's parts nest a dozen elements


class PartHandler(Protocol):
    """What becomes of a part's elements; names come without their namespace's prefix."""

    def start(self, name: str, attributes: dict[str, str]) -> None: ...

    def end(self, name: str) -> None: ...

    def text(self, data: str) -> None: ...


def parsed(part: BinaryIO, handler: PartHandler) -> Iterator[None]:
    """Feed the part to `handler`, pausing after each piece. Raises FileRefused for what is no plain XML."""
    parser = _parser(handler)
    fed = 0
    try:
        while chunk := part.read(_CHUNK_BYTES):
            parser.Parse(chunk, False)
            fed += len(chunk)
            if fed - parser.CurrentByteIndex > LONGEST_MARKUP:
                raise FileRefused(f"holds a tag of more than {LONGEST_MARKUP} bytes: that is no table")
            yield
        parser.Parse(b"", True)
        yield
    except expat.ExpatError as error:
        raise FileRefused(f"is damaged inside the workbook ({error}); save it again") from error


def parse(part: BinaryIO, handler: PartHandler) -> None:
    """Feed the whole part to `handler`. Raises FileRefused."""
    for _ in parsed(part, handler):
        pass


def _parser(handler: PartHandler) -> expat.XMLParserType:
    parser = expat.ParserCreate()
    parser.buffer_text = True
    depth = 0

    def start(name: str, attributes: dict[str, str]) -> None:
        nonlocal depth
        depth += 1
        if depth > _DEEPEST:
            raise FileRefused(f"nests more than {_DEEPEST} elements: that is no table")
        handler.start(name.rpartition(":")[2] if ":" in name else name, attributes)

    def end(name: str) -> None:
        nonlocal depth
        depth -= 1
        handler.end(name.rpartition(":")[2] if ":" in name else name)

    parser.StartElementHandler = start
    parser.EndElementHandler = end
    parser.CharacterDataHandler = handler.text
    # ECMA-376 part 2, 8.1.4: a part has no document type declaration, and with none there is no entity to expand
    parser.StartDoctypeDeclHandler = _refuse_doctype
    return parser


def _refuse_doctype(*_declared: object) -> None:
    raise FileRefused("declares a document type, which no workbook does")
