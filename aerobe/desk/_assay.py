"""Characterise a test, keep its error with the assay, and the small counting tools, from what a person typed."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from typing import TYPE_CHECKING, Any

from aerobe import assay as room
from aerobe.assay import Certificate, as_lines, characterise, conclusion, error_for, study_from_table
from aerobe.errors import NotAllowed, NotEnoughData, UnusableReading
from aerobe.records import METHODS, Assay, AssayError, as_plain
from aerobe.sources import cite
from aerobe.units import parse_number

if TYPE_CHECKING:
    from aerobe.charts import Picture
    from aerobe.notebook import Notebook, Receipt

STUDY_COLUMNS = room.COLUMNS
STUDY_METHODS = METHODS
CERTIFICATE_SOURCES = (
    "rocke-lorenzato-1995",
    "iso-5725-2",
    "iso-5725-3",
    "harville-1977",
    "grubbs-1969",
    "currie-1968",
    "iso-11843-2",
    "helsel-2012",
    "clsi-ep06",
    "iupac-recovery-2002",
)
MOST_NUMBERS = 1000  # pairs of pairs are compared, so a longer list would take minutes
LARGEST = 1e18  # of a number that a person counts or reads off
PAGE_SOURCES = ("rocke-lorenzato-1995", "iso-5725-3", "currie-1968")  # as many as one page holds
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
    conclusion: str
    lines: tuple[tuple[str, str], ...]
    references: tuple[str, ...]
    caution: str = ASSAY_CAUTION

    def as_text(self) -> list[str]:
        """One page of text."""
        study = self.certificate.study
        head = [f"Certificate: {study.name}", f"Method: {study.method}. Readings: {len(study.readings)}. Unit: {study.unit}.", ""]
        body = [f"{heading}: {words}" for heading, words in self.lines]
        return [*head, *body, "", f"! {self.caution}", "", "Sources:", *(f"- {line}" for line in self.references)]

    def as_data(self) -> dict[str, Any]:
        """Everything for programs: plain JSON values, an open end as null."""
        found: dict[str, Any] = plain_answer(
            {
                "name": self.certificate.study.name,
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


def certificate_as_pdf(form: StudyForm, *, now: datetime) -> bytes:
    """The certificate on one page as a tagged PDF; attached is the study as an open data package.

    The longer report with all readings and sources is `report_of_assay`.
    """
    from aerobe.desk._reports import report_as_pdf, report_of_assay
    from aerobe.reports import Points, Shown

    answer = certify(form)
    study = answer.certificate.study
    full = report_of_assay(
        form.table,
        name=study.name,
        method=study.method,
        now=now,
        price=study.price,
        scale_low=study.scale_low,
        scale_high=study.scale_high,
        recipe=answer.recipe,
    )
    lines = tuple(f"{heading}: {words}" for heading, words in answer.lines if heading != "Conclusion")
    page = (Shown(picture=certificate_pictures(answer)[0]), Points(items=lines))
    return report_as_pdf(replace(full, headline=answer.conclusion, first=page, sections=(), sources=tuple(cite(*PAGE_SOURCES))))


def content_by_addition(added: str, signals: str, *, background: float = 0.0) -> room.StandardAddition:
    """Content of a sample from known additions to it, free of a matrix that changes the slope."""
    return room.standard_addition(numbers_typed(added, "additions"), numbers_typed(signals, "signals"), background=background)


def keep_certificate(notebook: Notebook, assay_key: str, answer: AssayAnswer, *, now: datetime, who: str = "") -> Receipt:
    """Write the error found into an assay of the notebook; the earlier one stays in the record of changes.

    Raises
    ------
    NotAllowed
        If the study was read in another unit than the assay.
    """
    kept = notebook.get(Assay, assay_key)
    if kept.unit != answer.certificate.study.unit:
        raise NotAllowed(
            f"The assay '{kept.name}' is read in {kept.unit}, the study in {answer.certificate.study.unit}.",
            "Convert the study to the unit of the assay, or keep it with another assay.",
        )
    return notebook.change(
        replace(kept, error=answer.error), at=now, who=who, why=f"characterised: {answer.certificate.study.name}"
    )


# --- counting tools --------------------------------------------------------------------------------------------------


def numbers_typed(text: str, what: str) -> list[float]:
    """Numbers separated by spaces, semicolons or lines; commas separate too when no number has a decimal comma."""
    parts = text.replace(";", " ").replace("\n", " ").replace(", ", " ").split()
    if len(parts) == 1 and parts[0].count(",") > 1:
        parts = parts[0].split(",")
    if not parts:
        raise UnusableReading(f"No {what} given.", "Type the numbers with spaces between them.")
    if len(parts) > MOST_NUMBERS:
        raise UnusableReading(f"{len(parts)} {what} given.", f"Give at most {MOST_NUMBERS}.")
    found = [parse_number(part) for part in parts]
    if max(map(abs, found)) > LARGEST:
        raise UnusableReading(f"The {what} hold a number that no test gives.", f"Numbers go up to {LARGEST:g}.")
    return found


def count_tubes(amounts: str, tubes: str, positives: str, *, level: float = 0.95) -> room.MostProbableNumber:
    """Most probable number from typed lists."""
    return room.most_probable_number(
        numbers_typed(amounts, "amounts"),
        _whole(tubes, "numbers of tubes"),
        _whole(positives, "numbers of positive tubes"),
        level=level,
    )


def count_plates(text: str, *, lowest: int = 10, highest: int = 300) -> tuple[room.PlateCount, room.PlateCount | None]:
    """Weighted mean of typed plates (`0.01:120 0.01:>300`), and the likelihood that also uses crowded plates if there are any."""
    plates = [_plate(part) for part in text.replace(";", " ").split()]
    if not plates:
        raise UnusableReading(
            "No plates given.", "Type mL of sample and colonies of each: 0.01:120 0.001:14; too many as 0.01:>300."
        )
    crowded = room.crowded_plates(plates) if any(plate.too_many for plate in plates) else None
    try:
        return room.weighted_mean(plates, lowest=lowest, highest=highest), crowded
    except NotEnoughData:
        if crowded is None:
            raise
        return crowded, crowded


def count_fields(counts: str, *, volume_ml: float, dilution: float = 1.0) -> room.Density:
    """Objects per mL from typed counts of fields, each of which shows `volume_ml` of the liquid as counted."""
    if volume_ml <= 0 or dilution < 1:
        raise UnusableReading(
            "The volume of a field or the dilution is impossible.",
            "Give mL shown in one field (1 mm2 of a 0.1 mm chamber: 0.0001) and a dilution of at least 1.",
        )
    return room.density_from_fields(numbers_typed(counts, "counts"), dilution / volume_ml)


def compare_tests(first: str, second: str) -> tuple[room.Line, room.Line | None, room.Agreement]:
    """Deming, Passing-Bablok (from ten pairs on) and limits of agreement of typed pairs."""
    x, y = numbers_typed(first, "results of the first test"), numbers_typed(second, "results of the second test")
    robust = room.passing_bablok(x, y) if len(x) >= 10 else None
    return room.deming(x, y), robust, room.limits_of_agreement(x, y)


def picture_of_tests(first: str, second: str, line: room.Line, *, names: tuple[str, str], unit: str) -> Picture:
    """The pairs with their line."""
    from aerobe.charts import two_tests

    return two_tests(
        numbers_typed(first, "results"),
        numbers_typed(second, "results"),
        slope=line.slope,
        intercept=line.intercept,
        names=names,
        unit=unit,
    )


def compare_by_phase(first: str, second: str, foods: Sequence[str], phases: Sequence[str]) -> room.PhaseBias:
    """Whether the ratio of two tests moves with food and phase of growth."""
    return room.phase_bias(
        numbers_typed(first, "results of the first test"), numbers_typed(second, "results of the second test"), foods, phases
    )


def picture_of_phases(found: room.PhaseBias, names: tuple[str, str]) -> Picture:
    """The ratios by food and phase."""
    from aerobe.charts import ratio_by_phase

    return ratio_by_phase(found, names=names)


def carbon_of_cells(cells_per_ml: str, cell_um3: str, group: str) -> room.CarbonEstimate:
    """Carbon of cells by every published factor. [ug C/mL]"""
    return room.carbon_from_volume(parse_number(cells_per_ml), parse_number(cell_um3), group)


def hyphae_of_crossings(
    crossings: str, *, grid_line_mm: float, filter_mm2: float, filtered_ml: float, width_um: float, dilution: float = 1.0
) -> tuple[room.Density, room.CarbonEstimate]:
    """Hyphal length [m/mL] by crossings of grid lines, and its carbon by every published factor. [ug C/mL]"""
    length = room.hyphal_length_m_per_ml(
        numbers_typed(crossings, "crossings"),
        grid_line_mm=grid_line_mm,
        filter_mm2=filter_mm2,
        filtered_ml=filtered_ml,
        dilution=dilution,
    )
    return length, room.carbon_from_hyphae(length.value, width_um)


def result_on_basis(result: str, *, given: str, wanted: str, density: str, moisture: str = "0") -> room.PropagationAgreement:
    """A result per mL, per gram wet or per gram dry on another basis; each number typed alone or as `value +- uncertainty`."""
    material = room.Material(density_g_per_ml=_uncertain(density), moisture=_uncertain(moisture))
    return room.convert_basis(_uncertain(result), given=given, wanted=wanted, material=material)


def _uncertain(text: str) -> room.Uncertain:
    value, _, sd = text.replace("\u00b1", "+-").partition("+-")
    return room.Uncertain(value=parse_number(value), sd=parse_number(sd) if sd.strip() else 0.0)


def ratio_of_parts(
    fungi: str, bacteria: str, fungi_sd: str, bacteria_sd: str, kind: str
) -> tuple[room.FungalRatio, room.RatioInterval]:
    """A fungal to bacterial ratio with Fieller's interval, its kind kept with it."""
    f, b, sf, sb = (parse_number(item) for item in (fungi, bacteria, fungi_sd, bacteria_sd))
    return room.ratio_from_parts(f, b, sf, sb, kind), room.fieller(f, b, sf, sb, level=0.9)


def tests_needed(
    error: AssayError,
    *,
    expected: float,
    wanted_percent: float,
    test_price: float,
    sample_price: float = 0.0,
    sample_cv: float = 0.0,
    same_kit: bool = True,
) -> room.TestPlan:
    """How many tests on this sample, and what they cost."""
    return room.plan_tests(
        error,
        expected=expected,
        wanted_percent=wanted_percent,
        test_price=test_price,
        sample_price=sample_price,
        sample_cv=sample_cv,
        same_kit=same_kit,
    )


def meaning(error: AssayError, reading: float, *, readings: int = 1, with_scale: bool = False) -> room.Biomass:
    """What a reading means by an error record."""
    return room.biomass_from_reading(error, reading, readings=readings, with_scale=with_scale)


def assays_with_error(notebook: Notebook) -> list[Assay]:
    """Assays of the notebook whose error is known or assumed."""
    return [item for item in notebook.find(Assay) if item.error is not None]


def error_of_assay(kept: Assay) -> AssayError:
    """The error of an assay of the notebook.

    Raises
    ------
    NotEnoughData
        If it has none.
    """
    if kept.error is None:
        raise NotEnoughData(
            f"The assay '{kept.name}' has no known error.", "Characterise it first: enter a study and keep its certificate."
        )
    return kept.error


def plain_answer(value: Any) -> Any:
    """Plain values with null where a number is not finite, as JSON wants it."""
    plain = as_plain(value)
    if isinstance(plain, float) and not math.isfinite(plain):
        return None
    if isinstance(plain, dict):
        return {key: plain_answer(item) for key, item in plain.items()}
    if isinstance(plain, list):
        return [plain_answer(item) for item in plain]
    return plain


def _plate(part: str) -> room.Plate:
    volume, _, count = part.partition(":")
    if not count:
        raise UnusableReading(
            f"'{part}' is no plate.", "Type mL of sample and colonies with a colon: 0.01:120, or 0.01:>300 if too many."
        )
    colonies = parse_number(count.lstrip(">"))
    return room.Plate(
        sample_ml=parse_number(volume),
        colonies=int(colonies) if colonies == int(colonies) else -1,
        too_many=count.startswith(">"),
    )


def _whole(text: str, what: str) -> Sequence[int]:
    found = numbers_typed(text, what)
    if any(value != int(value) for value in found):
        raise UnusableReading(f"The {what} are not whole.", "Type whole numbers with spaces between them.")
    return [int(value) for value in found]
