"""Long logs in letters of two bytes, or with old ends of lines, written anew as the compiled reader takes them."""

from __future__ import annotations

import codecs
import tempfile
from typing import BinaryIO, cast

from aerobe.errors import ImportFault
from aerobe.tables._text import decode

_PIECE = 4 << 20


def plain_stream(stream: BinaryIO, name: str) -> BinaryIO:
    """The same text in letters of one byte with line feeds: the stream itself where it is so, else a temporary copy.

    Raises
    ------
    ImportFault
        If it is no text.
    """
    stream.seek(0)
    head = stream.read(1 << 16)
    _, letters = decode(head[: len(head) // 2 * 2], name)
    two_bytes = letters.what.startswith("utf-16")
    if not two_bytes and (b"\n" in head or b"\r" not in head):
        return stream
    coded = letters.what if two_bytes else "utf-8"
    reader = codecs.getincrementaldecoder(coded)(errors="replace")
    copy = tempfile.TemporaryFile()  # noqa: SIM115  (handed on; it goes when it is closed)
    stream.seek(0)
    try:
        while piece := stream.read(_PIECE):
            copy.write(_lines(reader.decode(piece) if two_bytes else piece.decode("latin-1"), two_bytes))
    except OSError as fault:
        raise ImportFault(f"{name} cannot be written anew: {fault.strerror}.", "Make room, or save it as UTF-8.") from None
    return cast(BinaryIO, copy)


def _lines(text: str, two_bytes: bool) -> bytes:
    text = text.replace("\r\n", "\n").replace("\r", "\n").replace("\ufeff", "")
    return text.encode("utf-8" if two_bytes else "latin-1")
