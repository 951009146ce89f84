"""Writes the run-time table of every subject's door from its typed imports: `python -m tests.house.lazy_doors`."""

from __future__ import annotations

import ast
from pathlib import Path

USECASES = Path(__file__).parents[2] / "aerobe" / "usecases"
DOORS = sorted(path for path in USECASES.glob("*/__init__.py"))
MARK = "else:\n"


def typed_names(source: str) -> dict[str, tuple[str, ...]]:
    """File behind the door, or another room -> names that the type checker sees, from the imports under TYPE_CHECKING."""
    found: dict[str, set[str]] = {}
    for node in ast.parse(source).body:
        if isinstance(node, ast.If):
            for line in node.body:
                assert isinstance(line, ast.ImportFrom) and line.module, "only imports stand under TYPE_CHECKING at a door"
                assert all(alias.asname is None for alias in line.names), "a name at a door is the name of its file"
                own = line.module.rpartition(".")[2]
                found.setdefault(own if own.startswith("_") else line.module, set()).update(alias.name for alias in line.names)
    return {file: tuple(sorted(names)) for file, names in sorted(found.items())}


def table_of(source: str) -> dict[str, tuple[str, ...]]:
    """File behind the door, or another room -> names that are loaded when used, from the table beside the typed imports."""
    for node in ast.walk(ast.parse(source)):
        if isinstance(node, ast.Call) and isinstance(node.func, ast.Name) and node.func.id == "lazy_door":
            table = ast.literal_eval(node.args[1])
            assert isinstance(table, dict)
            return table
    return {}


def shown(source: str) -> list[str]:
    """What `__all__` says."""
    for node in ast.parse(source).body:
        if isinstance(node, ast.Assign) and isinstance(node.targets[0], ast.Name) and node.targets[0].id == "__all__":
            return list(ast.literal_eval(node.value))
    return []


def with_table(source: str) -> str:
    """The door's text with table and `__all__` made anew from its typed imports."""
    typed = typed_names(source)
    rows = "".join(f"        {file!r}: {names!r},\n" for file, names in typed.items())
    names = "".join(f"    {name!r},\n" for name in sorted({name for names in typed.values() for name in names}))
    head = source.partition(MARK)[0]
    lazy = f"{MARK}    __getattr__, __dir__ = lazy_door(\n        __name__,\n        {{\n{rows}        }},\n    )\n"
    return f"{head}{lazy}\n__all__ = [\n{names}]\n".replace("'", '"')


if __name__ == "__main__":
    for door in DOORS:
        door.write_text(with_table(door.read_text(encoding="utf-8")), encoding="utf-8")
