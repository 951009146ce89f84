"""How large the sheets of a spreadsheet are, read from their cells' own addresses before anything is made of them.

One value in a far corner makes a reader fill the rectangle up to it; the size that a sheet claims for itself need not be true.
"""

from __future__ import annotations

import io
import re
import zipfile
from typing import IO
from xml.parsers import expat

from aerobe.errors import ImportFault

MOST_CELLS = 20_000_000  # rows times columns of one sheet
_BLOCK = 1 << 20
_ADDRESS = re.compile(r"([A-Z]{1,3})([0-9]{1,7})")


def require_small(content: bytes, name: str) -> None:
    """Raises if a sheet of an XLSX file spans more than `MOST_CELLS`; other kinds of files pass.

    Raises
    ------
    ImportFault
        If it does, or if the XML of a sheet defines entities of its own.
    """
    if content[:4] != b"PK\x03\x04":
        return
    with zipfile.ZipFile(io.BytesIO(content)) as packed:
        for item in packed.infolist():
            if item.filename.startswith("xl/worksheets/") and item.filename.endswith(".xml"):
                with packed.open(item) as stream:
                    _measure(stream, name)


def _measure(stream: IO[bytes], name: str) -> None:
    size = {"rows": 0, "columns": 0}

    def start(tag: str, attributes: dict[str, str]) -> None:
        if not tag.endswith("c") or tag.rpartition(":")[2] != "c":
            return
        found = _ADDRESS.fullmatch(attributes.get("r", ""))
        if found is None:
            return
        size["rows"] = max(size["rows"], int(found[2]))
        size["columns"] = max(size["columns"], _column(found[1]))
        if size["rows"] * size["columns"] > MOST_CELLS:
            raise ImportFault(
                f"{name} has a cell at {found[0]}: its sheet would have {size['rows']} rows and {size['columns']} columns.",
                "Delete what stands far from the table, or save the table as CSV.",
            )

    def entity(*_: object) -> None:
        raise ImportFault(f"{name} is no ordinary spreadsheet: it defines texts of its own.", "Save it again, or as CSV.")

    reader = expat.ParserCreate()
    reader.StartElementHandler = start
    reader.EntityDeclHandler = entity
    try:
        while block := stream.read(_BLOCK):
            reader.Parse(block, False)
        reader.Parse(b"", True)
    except expat.ExpatError as fault:
        raise ImportFault(f"{name} is damaged: {fault}.", "Save the spreadsheet again.") from None


def _column(letters: str) -> int:
    number = 0
    for letter in letters:
        number = 26 * number + ord(letter) - 64
    return number
