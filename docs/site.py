"""Makes the searchable site of guide and API: python3 run.py docs [FOLDER]. Made anew each time, kept nowhere."""

from __future__ import annotations

import importlib
import pkgutil
import re
import sys
from pathlib import Path
from types import ModuleType

import pdoc.doc
import pdoc.render

ROOT = Path(__file__).parents[1]
sys.path.insert(0, str(ROOT))


def rooms() -> list[ModuleType]:
    """The doors of the house; what lies behind them is no one's to call."""
    import aerobe

    found = [importlib.import_module("aerobe")]
    for info in pkgutil.walk_packages(aerobe.__path__, "aerobe."):
        if not any(part.startswith("_") for part in info.name.split(".")[1:]):
            found.append(importlib.import_module(info.name))
    for door in found:
        for name in getattr(door, "__all__", ()):
            setattr(door, name, getattr(door, name))  # a lazy door shows nothing that was not asked for
    return found


def pages() -> list[ModuleType]:
    """Each page that a person wrote, as if it were the text of a module, so that one search finds both."""
    files = sorted([*(ROOT / "docs").glob("*.md"), *(ROOT / "docs" / "guide").glob("*.md")])
    known = {path.stem for path in files}
    front = _page("guide", ROOT / "README.md", known, "guide/")
    return [front, *(_page(f"guide.{_address(path.stem)}", path, known, "") for path in files)]


def _page(name: str, path: Path, known: set[str], folder: str) -> ModuleType:
    page = ModuleType(name)

    def link(match: re.Match[str]) -> str:
        return f"]({folder}{_address(match[1])}.html{match[2] or ''})" if match[1] in known else match[0]

    page.__doc__ = re.sub(r"\]\((?:[a-z]+/|\.\./)*([a-z-]+)\.md(#[^)]*)?\)", link, path.read_text(encoding="utf-8"))
    page.__all__ = []
    return page


def _address(stem: str) -> str:
    return stem.replace("-", "_")


def write(folder: Path, found: list[ModuleType]) -> list[Path]:
    """Write the site of these modules; gives its pages."""
    pdoc.render.configure(docformat="numpy", show_source=False, footer_text="Aerobe")
    modules = {module.__name__: pdoc.doc.Module(module) for module in found}
    written = []
    for name, module in modules.items():
        path = folder / f"{name.replace('.', '/')}.html"
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_text(pdoc.render.html_module(module, modules), encoding="utf-8")
        written.append(path)
    (folder / "index.html").write_text(pdoc.render.html_index(modules), encoding="utf-8")
    (folder / "search.js").write_text(pdoc.render.search_index(modules), encoding="utf-8")
    return written


if __name__ == "__main__":
    to = Path(sys.argv[1]) if len(sys.argv) > 1 else ROOT / ".aerobe" / "site"
    print(f"{len(write(to, [*pages(), *rooms()]))} pages: {to / 'index.html'}")
