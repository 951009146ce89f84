"""In and out of the house: tables that others made, packages of the notebook or of one trial."""

from __future__ import annotations

from typing import TYPE_CHECKING

from aerobe.usecases._door import lazy_door

if TYPE_CHECKING:
    from aerobe.usecases.exchange._intake import Preview, TakenIn, Wishes, preview_table, take_in
    from aerobe.usecases.exchange._origin import start_in_words
    from aerobe.usecases.exchange._packages import export_package, import_package
else:
    __getattr__, __dir__ = lazy_door(
        __name__,
        {
            "_intake": ("Preview", "TakenIn", "Wishes", "preview_table", "take_in"),
            "_origin": ("start_in_words",),
            "_packages": ("export_package", "import_package"),
        },
    )

__all__ = [
    "Preview",
    "TakenIn",
    "Wishes",
    "export_package",
    "import_package",
    "preview_table",
    "start_in_words",
    "take_in",
]
