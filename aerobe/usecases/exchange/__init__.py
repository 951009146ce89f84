"""In and out of the house: tables that others made, packages of the notebook or of one trial."""

from __future__ import annotations

from typing import TYPE_CHECKING

from aerobe.usecases._door import lazy_door

if TYPE_CHECKING:
    from aerobe.tables import FIELDS, RowRead
    from aerobe.usecases.exchange._intake import Preview, preview_table, take_in
    from aerobe.usecases.exchange._joining import OwnSite, SiteTaken, join_trial, take_site
    from aerobe.usecases.exchange._keeper import TakenIn
    from aerobe.usecases.exchange._long_log import is_long, long_log_envelope, look_at_long_log, take_in_long_log
    from aerobe.usecases.exchange._origin import start_in_words
    from aerobe.usecases.exchange._packages import export_package, import_package
    from aerobe.usecases.exchange._protocol import (
        Protocol,
        protocol_as_file,
        protocol_as_page,
        protocol_facts,
        protocol_of_trial,
        read_protocol,
    )
    from aerobe.usecases.exchange._tried import require_harmless
    from aerobe.usecases.exchange._wishes import Wishes
else:
    __getattr__, __dir__ = lazy_door(
        __name__,
        {
            "_intake": ("Preview", "preview_table", "take_in"),
            "_joining": ("OwnSite", "SiteTaken", "join_trial", "take_site"),
            "_keeper": ("TakenIn",),
            "_long_log": ("is_long", "long_log_envelope", "look_at_long_log", "take_in_long_log"),
            "_origin": ("start_in_words",),
            "_packages": ("export_package", "import_package"),
            "_protocol": (
                "Protocol",
                "protocol_as_file",
                "protocol_as_page",
                "protocol_facts",
                "protocol_of_trial",
                "read_protocol",
            ),
            "_tried": ("require_harmless",),
            "_wishes": ("Wishes",),
            "aerobe.tables": ("FIELDS", "RowRead"),
        },
    )

__all__ = [
    "FIELDS",
    "OwnSite",
    "Preview",
    "Protocol",
    "RowRead",
    "SiteTaken",
    "TakenIn",
    "Wishes",
    "export_package",
    "import_package",
    "is_long",
    "join_trial",
    "long_log_envelope",
    "look_at_long_log",
    "preview_table",
    "protocol_as_file",
    "protocol_as_page",
    "protocol_facts",
    "protocol_of_trial",
    "read_protocol",
    "require_harmless",
    "start_in_words",
    "take_in",
    "take_in_long_log",
    "take_site",
]
