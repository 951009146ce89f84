"""A data package made fit to publish: a licence and RO-Crate metadata beside the tables. The tables stay as they are."""

from __future__ import annotations

import io
import json
import zipfile
from collections.abc import Mapping, Sequence
from datetime import datetime
from typing import Any

from aerobe.errors import ImportFault, NotFound
from aerobe.reports._origin import FromTable, described_origin

# SPDX name -> (title, address of the text)
LICENCES = {
    "CC0-1.0": ("Creative Commons Zero 1.0", "https://creativecommons.org/publicdomain/zero/1.0/"),
    "CC-BY-4.0": ("Creative Commons Attribution 4.0", "https://creativecommons.org/licenses/by/4.0/"),
    "CC-BY-SA-4.0": ("Creative Commons Attribution-ShareAlike 4.0", "https://creativecommons.org/licenses/by-sa/4.0/"),
    "ODC-By-1.0": ("Open Data Commons Attribution 1.0", "https://opendatacommons.org/licenses/by/1-0/"),
    "ODbL-1.0": ("Open Database Licence 1.0", "https://opendatacommons.org/licenses/odbl/1-0/"),
}
_EPOCH = (1980, 1, 1, 0, 0, 0)
CRATE = "ro-crate-metadata.json"


def with_licence(
    package: bytes,
    licence: str,
    *,
    title: str,
    made_at: datetime,
    about: str = "",
    tables: Sequence[FromTable] = (),
    beside: Mapping[str, bytes] | None = None,
) -> bytes:
    """The package with its licence in `datapackage.json` and an RO-Crate description.

    Parameters
    ----------
    package
        A data package as written by the notebook; our own, not one from outside.
    licence
        SPDX name of one of `LICENCES`.
    title, made_at, about
        For the description.
    tables
        Tables that data came in from: named as its sources, with whose licence it is to give.
    beside
        Further files by path, such as a script that finds the numbers again.

    Raises
    ------
    NotFound
        If the licence is not in the list.
    ImportFault
        If the package has no datapackage.json.

    Source
    ------
    frictionless-data-package, ro-crate-1-1
    """
    if licence not in LICENCES:
        raise NotFound(f"'{licence}' is no licence for data that this program knows.", f"Use one of: {', '.join(LICENCES)}.")
    with zipfile.ZipFile(io.BytesIO(package)) as packed:
        files = {name: packed.read(name) for name in packed.namelist()}
    if "datapackage.json" not in files:
        raise ImportFault("The package has no datapackage.json.", "Give a package that Aerobe exported.")
    name, path = LICENCES[licence]
    described = json.loads(files["datapackage.json"])
    described |= {"title": title, "licenses": [{"name": licence, "title": name, "path": path}]} | described_origin(tables)
    files["datapackage.json"] = json.dumps(described, ensure_ascii=False, indent=2).encode()
    files[CRATE] = json.dumps(_crate(described, files, title, made_at, about, path), ensure_ascii=False, indent=2).encode()
    return _packed({**files, **(beside or {})})


def _crate(described: dict[str, Any], files: dict[str, bytes], title: str, made_at: datetime, about: str, licence: str) -> Any:
    parts = [entry["path"] for entry in described.get("resources", [])]
    says = " ".join(filter(None, [about or title, described.get("description", "")]))
    kinds = {entry["path"]: entry.get("mediatype", "text/plain") for entry in described.get("resources", [])}
    return {
        "@context": "https://w3id.org/ro/crate/1.1/context",
        "@graph": [
            {
                "@id": CRATE,
                "@type": "CreativeWork",
                "conformsTo": {"@id": "https://w3id.org/ro/crate/1.1"},
                "about": {"@id": "./"},
            },
            {
                "@id": "./",
                "@type": "Dataset",
                "name": title,
                "description": says,
                "datePublished": made_at.isoformat(),
                "license": {"@id": licence},
                "hasPart": [{"@id": path} for path in ["datapackage.json", *parts]],
            },
            {
                "@id": "datapackage.json",
                "@type": "File",
                "encodingFormat": "application/json",
                "name": "Frictionless Data Package",
            },
            *(
                {"@id": path, "@type": "File", "encodingFormat": kinds[path], "contentSize": str(len(files[path]))}
                for path in parts
            ),
        ],
    }


def _packed(files: dict[str, bytes]) -> bytes:
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as packed:
        for name in sorted(files, key=lambda item: (item != "datapackage.json", item)):
            packed.writestr(zipfile.ZipInfo(name, date_time=_EPOCH), files[name], compress_type=zipfile.ZIP_DEFLATED)
    return out.getvalue()
