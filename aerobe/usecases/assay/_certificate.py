"""The certificate of a test: from a study as typed to its words, and its error kept with an assay."""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import datetime
from typing import TYPE_CHECKING, Any

from aerobe import assay as room
from aerobe.assay import Certificate, ThreeLines, as_lines, characterise, conclusion, error_for, in_three_lines, study_from_table
from aerobe.errors import NotAllowed
from aerobe.records import METHODS, Assay, AssayError, as_json
from aerobe.sources import cite
from aerobe.units import parse_number, same_unit

if TYPE_CHECKING:
    from aerobe.charts import Picture
    from aerobe.notebook import Notebook, Receipt

STUDY_COLUMNS = room.COLUMNS
STUDY_METHODS = METHODS
CERTIFICATE_SOURCES = (
    "rocke-lorenzato-1995",
    "iso-5725-2",
    "iso-5725-3",
    "iso-5725-6",
    "harville-1977",
    "grubbs-1969",
    "currie-1968",
    "iso-11843-2",
    "helsel-2012",
    "clsi-ep06",
    "iupac-recovery-2002",
)
ASSAY_CAUTION = (
    "Killing samples with chemicals, heat or pressure and handling stains can hurt you: wear gloves and eye protection, "
    "follow the kit's safety sheet and local rules. A tea may hold germs that make people ill, "
    "and most tests of biomass say nothing about them."
)


@dataclass(frozen=True, slots=True, kw_only=True)
class StudyForm:
    """A characterisation study as typed."""

    table: str
    name: str = "My test"
    method: str = "colour test"
    price: str = ""
    scale_low: str = ""
    scale_high: str = ""
    recipe: str = ""  # the tea the conclusion speaks of; the first with controls if left out
    reading: str = ""  # the reading the conclusion speaks of; a typical one if left out


@dataclass(frozen=True, slots=True, kw_only=True)
class AssayAnswer:
    """A certificate with its words and pictures."""

    certificate: Certificate
    error: AssayError
    recipe: str | None
    recipes: tuple[str, ...]  # those with controls of their own
    plainly: ThreeLines
    conclusion: str
    lines: tuple[tuple[str, str], ...]
    references: tuple[str, ...]
    caution: str = ASSAY_CAUTION

    def as_text(self) -> list[str]:
        """One page of text."""
        study = self.certificate.study
        head = [
            f"Certificate: {study.name}",
            f"Method: {study.method}. Readings: {len(study.readings)}. Unit: {study.unit}.",
            "",
        ]
        first = [
            f"Good for: {self.plainly.good_for}",
            f"Not for: {self.plainly.not_for}",
            f"Next: {self.plainly.what_next}",
            "",
        ]
        body = [f"{heading}: {words}" for heading, words in self.lines]
        return [*head, *first, *body, "", f"! {self.caution}", "", "Sources:", *(f"- {line}" for line in self.references)]

    def as_data(self) -> dict[str, object]:
        """Everything for programs: plain JSON values, an open end as null."""
        found: dict[str, Any] = as_json(
            {
                "name": self.certificate.study.name,
                "plainly": self.plainly,
                "conclusion": self.conclusion,
                "recipe": self.recipe,
                "recipes": self.recipes,
                "error": self.error,
                "level": self.certificate.level,
                "lines": self.lines,
                "certificate": self.certificate,
                "caution": self.caution,
                "sources": self.references,
            }
        )
        found["certificate"].pop("study")
        return found


def certify(form: StudyForm) -> AssayAnswer:
    """The certificate of a study as typed.

    Raises
    ------
    AerobeError
        If the study cannot be read or is too small; what was typed stays with the form.
    """

    def number_of(text: str) -> float | None:
        return parse_number(text) if text.strip() else None

    study = study_from_table(
        form.table,
        name=form.name or "My test",
        method=form.method,
        price=number_of(form.price) or 0.0,
        scale_low=number_of(form.scale_low),
        scale_high=number_of(form.scale_high),
    )
    reading = number_of(form.reading)
    return certify_study(characterise(study), recipe=form.recipe or None, reading=reading)


def certify_study(certificate: Certificate, *, recipe: str | None = None, reading: float | None = None) -> AssayAnswer:
    """Words and error record of a certificate, for one recipe."""
    known = tuple(item.recipe for item in certificate.colour.recipes) if certificate.colour else ()
    chosen = recipe or (known[0] if known else None)
    error = error_for(certificate, chosen)
    said = conclusion(certificate, error, chosen, reading=reading)
    lines = as_lines(certificate, error, chosen)
    return AssayAnswer(
        certificate=certificate,
        error=error,
        recipe=chosen,
        recipes=known,
        plainly=in_three_lines(certificate, error, chosen),
        conclusion=said,
        lines=tuple((heading, said if heading == "Conclusion" else words) for heading, words in lines),
        references=tuple(cite(*CERTIFICATE_SOURCES)),
    )


def example_study() -> str:
    """The table of an invented study, to start from."""
    return room.study_as_table(room.invented_study())


def certificate_pictures(answer: AssayAnswer) -> tuple[Picture, ...]:
    """What a reading means, and what colour adds."""
    from aerobe.charts import colour_without_cells, meaning_of_readings

    colour = colour_without_cells(answer.certificate)
    first = meaning_of_readings(answer.certificate, answer.error)
    return (first,) if colour is None else (first, colour)


def keep_certificate(notebook: Notebook, assay_key: str, answer: AssayAnswer, *, now: datetime, who: str = "") -> Receipt:
    """Write the error found into an assay of the notebook; the earlier one stays in the record of changes.

    Raises
    ------
    NotAllowed
        If the study was read in another unit than the assay.
    """
    kept = notebook.get(Assay, assay_key)
    if not same_unit(kept.unit, answer.certificate.study.unit):
        raise NotAllowed(
            f"The assay '{kept.name}' is read in {kept.unit}, the study in {answer.certificate.study.unit}.",
            "Convert the study to the unit of the assay, or keep it with another assay.",
        )
    return notebook.change(
        replace(kept, error=answer.error), at=now, who=who, why=f"characterised: {answer.certificate.study.name}"
    )
