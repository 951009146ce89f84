"""What a finding needs to be cited, kept and found: a citation file, metadata of repositories, a description for search."""

from __future__ import annotations

import json
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

from aerobe.reports._publish import LICENCES

NOBODY = "Author not named"
UNKNOWN = ":unkn"  # datacite's own word for a value that is known to be unknown
KEYWORDS = ("compost tea", "microbial biomass", "brewing trial")


@dataclass(frozen=True, slots=True, kw_only=True)
class Cited:
    """What is said of a finding's data to who cites or keeps them.

    Parameters
    ----------
    title, about
        What it is; `about` in a sentence or more.
    authors
        Names as they want to be cited; empty where nobody is named.
    made_at
        The day it speaks of.
    licence
        SPDX name of one of `LICENCES`.
    version
        Of the program that computed it.
    address
        Where the page will stand; empty if that is not known.
    package, sha256
        File name of the data and its fingerprint; empty without data.
    """

    title: str
    about: str
    authors: tuple[str, ...]
    made_at: datetime
    licence: str
    version: str
    address: str = ""
    package: str = ""
    sha256: str = ""


def citation_file(cited: Cited) -> bytes:
    """CITATION.cff of a data set.

    Source
    ------
    citation-file-format-1-2-0
    """
    lines = [
        "cff-version: 1.2.0",
        'message: "If you use these data, please cite them as below."',
        f"title: {_quoted(cited.title)}",
        "type: dataset",
        "authors:",
        *(line for name in cited.authors or (NOBODY,) for line in _cff_author(name)),
        f"date-released: {cited.made_at:%Y-%m-%d}",
        f"license: {cited.licence}",
        f"abstract: {_quoted(cited.about)}",
        "keywords:",
        *(f"  - {_quoted(word)}" for word in KEYWORDS),
    ]
    if cited.address:
        lines.append(f"url: {_quoted(cited.address)}")
    return ("\n".join(lines) + "\n").encode()


def datacite_metadata(cited: Cited) -> bytes:
    """What a repository tells DataCite when it gives a DOI; the DOI and the publisher are the repository's to fill in.

    Source
    ------
    datacite-4-5
    """
    _, address = LICENCES[cited.licence]
    names = cited.authors or (UNKNOWN,)
    return _json(
        {
            "creators": [_datacite_creator(name) for name in names],
            "titles": [{"title": cited.title}],
            "publisher": {"name": UNKNOWN},
            "publicationYear": f"{cited.made_at:%Y}",
            "types": {"resourceType": "trial data", "resourceTypeGeneral": "Dataset"},
            "subjects": [{"subject": word} for word in KEYWORDS],
            "dates": [{"date": f"{cited.made_at:%Y-%m-%d}", "dateType": "Issued"}],
            "rightsList": [{"rights": cited.licence, "rightsUri": address, "rightsIdentifier": cited.licence}],
            "descriptions": [{"description": cited.about, "descriptionType": "Abstract"}],
            "formats": ["application/zip"] if cited.package else [],
            "schemaVersion": "http://datacite.org/schema/kernel-4",
        }
    )


def deposit_metadata(cited: Cited) -> bytes:
    """The draft of a record in a repository that runs on InvenioRDM, ready to be posted before its files.

    Source
    ------
    invenio-rdm-metadata
    """
    names = cited.authors or (NOBODY,)
    return _json(
        {
            "access": {"record": "public", "files": "public"},
            "files": {"enabled": bool(cited.package)},
            "metadata": {
                "resource_type": {"id": "dataset"},
                "title": cited.title,
                "publication_date": f"{cited.made_at:%Y-%m-%d}",
                "creators": [{"person_or_org": _invenio_creator(name)} for name in names],
                "description": cited.about,
                "rights": [{"id": cited.licence.lower()}],
                "subjects": [{"subject": word} for word in KEYWORDS],
            },
        }
    )


def dataset_described(cited: Cited) -> str:
    """A data set as schema.org describes it, safe to stand inside a page.

    Source
    ------
    schema-org-dataset
    """
    _, address = LICENCES[cited.licence]
    told: dict[str, object] = {
        "@context": "https://schema.org/",
        "@type": "Dataset",
        "name": cited.title,
        "description": cited.about,
        "license": address,
        "isAccessibleForFree": True,
        "datePublished": f"{cited.made_at:%Y-%m-%d}",
        "keywords": list(KEYWORDS),
        "measurementTechnique": f"computed with Aerobe {cited.version}".strip(),
    }
    if cited.authors:
        told["creator"] = [{"@type": "Person" if _family(name) else "Organization", "name": name} for name in cited.authors]
    if cited.address:
        told["url"] = cited.address
    if cited.package:
        where = f"{cited.address}{cited.package}"
        told["distribution"] = [
            {"@type": "DataDownload", "encodingFormat": "application/zip", "contentUrl": where, "sha256": cited.sha256}
        ]
    # Text of the notebook must not end the element it stands in.
    return json.dumps(told, ensure_ascii=False, indent=1).replace("<", "\\u003c").replace(">", "\\u003e").replace("&", "\\u0026")


def _family(name: str) -> tuple[str, str] | None:
    """Family and given name of a person who is written "Family, Given"; None of a group."""
    family, comma, given = (part.strip() for part in name.partition(","))
    return (family, given) if comma and family and given else None


def _cff_author(name: str) -> list[str]:
    person = _family(name)
    if person is None:
        return [f"  - name: {_quoted(name)}"]
    return [f"  - family-names: {_quoted(person[0])}", f"    given-names: {_quoted(person[1])}"]


def _datacite_creator(name: str) -> dict[str, str]:
    if name == UNKNOWN:
        return {"name": name}
    person = _family(name)
    if person is None:
        return {"name": name, "nameType": "Organizational"}
    return {"name": name, "nameType": "Personal", "familyName": person[0], "givenName": person[1]}


def _invenio_creator(name: str) -> dict[str, str]:
    person = _family(name)
    if person is None:
        return {"type": "organizational", "name": name}
    return {"type": "personal", "family_name": person[0], "given_name": person[1]}


def authors_of(words: str) -> tuple[str, ...]:
    """Names from a line, apart by semicolons: a comma stands within a name."""
    return tuple(name for part in words.split(";") if (name := " ".join(part.split())[:200]))


def _quoted(words: str) -> str:
    # A JSON text is a YAML text; a break of line would end it.
    return json.dumps(" ".join(words.split()), ensure_ascii=False)


def _json(told: dict[str, object]) -> bytes:
    kept = {name: value for name, value in told.items() if value != []}
    return json.dumps(kept, ensure_ascii=False, indent=1).encode() + b"\n"


def as_sentence(parts: Sequence[str]) -> str:
    """Sentences joined, empty ones left out."""
    return " ".join(part.strip() for part in parts if part.strip())
