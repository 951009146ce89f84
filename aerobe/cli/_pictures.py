"""A picture as a file, for whoever wants to print or post it."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

from aerobe.errors import UnusableRecord
from aerobe.units import display_units
from aerobe.usecases.notebook import write_new

if TYPE_CHECKING:
    from aerobe.usecases.reports import Picture, Poster


def save_picture(picture: Picture, path: Path) -> str:
    """Write a picture as SVG or PNG, by the name's ending; gives a line that says so, with the picture's sentence."""
    picture = picture.in_units(display_units())
    match path.suffix.lower():
        case ".svg":
            content: str | bytes = picture.svg(background="white")
        case ".png":
            content = picture.png()
        case _:
            raise UnusableRecord(f"'{path}' is neither SVG nor PNG.", "End the name in .svg or .png.")
    write_new({path: content})
    return f"Picture {path}: {picture.says}"


def save_poster(poster: Poster, folder: Path, stem: str) -> list[str]:
    """Write all pictures to show of a poster to a folder; gives a line that says so."""
    from aerobe.usecases.reports import pictures_to_show

    write_new({folder / f"{stem}-{name}": content for name, content in pictures_to_show(poster).items()})
    return [f"Pictures to show are in {folder}."]
