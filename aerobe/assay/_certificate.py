"""The certificate of a test: its figures, and what they mean in plain words."""

from __future__ import annotations

import math
from dataclasses import dataclass

from aerobe.assay._colour import ColourBias, describe
from aerobe.assay._limits import Limits
from aerobe.assay._linearity import Linearity, ValidRange
from aerobe.assay._matrix import Parallelism, Recovery
from aerobe.assay._outliers import OutlierTest
from aerobe.assay._result import Biomass, biomass_from_reading, decision_limit
from aerobe.assay._study import Study
from aerobe.assay._two_component import TwoComponent
from aerobe.assay._variance import Components
from aerobe.errors import OutsideValidity
from aerobe.records import AssayError
from aerobe.units import number, span


@dataclass(frozen=True, slots=True, kw_only=True)
class Precision:
    """Relative scatter of single tests and where it comes from."""

    components: Components | None  # of log results; None when the design shows none
    single_cv: float  # of one test on another sample and day, same kit [-]
    sample_cv: float
    day_cv: float
    lot_log_sd: float
    operator_log_sd: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Certificate:
    """What a study shows about a test."""

    study: Study
    level: float
    background: float  # mean of the water blanks [unit of the study]
    scatter: TwoComponent
    precision: Precision
    colour: ColourBias | None
    limits_blanks: Limits | None
    limits_model: Limits | None
    linearity: Linearity | None
    parallelism: Parallelism | None
    recoveries: tuple[tuple[str, Recovery], ...]
    valid_range: ValidRange
    outliers: tuple[OutlierTest, ...]
    odd_groups: tuple[str, ...]  # days, operators and lots that stand out by Mandel's h and k
    gain_log_sd: float
    gain_words: str
    missing: tuple[str, ...]  # what the study could not show, with the remedy
    censored: int  # readings kept as below or above the scale

    @property
    def suspects(self) -> tuple[str, ...]:
        """Controls that cannot be trusted as they are."""
        return self.colour.suspects if self.colour else ()

    @property
    def outlier_sentences(self) -> tuple[str, ...]:
        """Stragglers and outliers. They stay in the data."""
        return tuple(item.says for item in self.outliers if item.verdict != "inconspicuous")


def typical_reading(certificate: Certificate, recipe: str | None = None) -> float:
    """A reading people will meet: the median of undiluted teas in the study, of one recipe if it was tested. [of the test]"""
    plain = [
        item for item in certificate.study.of("sample") if item.dilution == 1 and not (item.below_detection or item.above_range)
    ]
    signals = sorted(item.signal for item in plain if item.what == recipe) or sorted(item.signal for item in plain)
    return signals[len(signals) // 2] if signals else certificate.background + 10 * certificate.scatter.constant_sd


def conclusion(certificate: Certificate, error: AssayError, recipe: str | None = None, *, reading: float | None = None) -> str:
    """The certificate in one sentence or two: what a reading means, from when it means anything, what colour adds."""
    unit = certificate.study.unit
    at = typical_reading(certificate, recipe) if reading is None else reading
    meant = biomass_from_reading(error, at, level=certificate.level)
    floor = error.bias + decision_limit(error)
    if meant.told_from_zero and math.isfinite(meant.high):
        parts = [f"A single reading of {number(at)} {unit} means {span(meant.low, meant.high, unit)} of biomass"]
    elif meant.told_from_zero:
        parts = [f"A single reading of {number(at)} {unit} means more than {number(meant.low)} {unit} and has no upper bound"]
    else:
        parts = [f"A single reading of {number(at)} {unit} shows no microbes for sure (at most {number(meant.high)} {unit})"]
    parts.append(f"a reading below {number(floor)} cannot be told from no microbes")
    own = (
        next((item for item in certificate.colour.recipes if item.recipe == recipe), None)
        if certificate.colour and recipe
        else None
    )
    if own is not None:
        shown = own.colour_alone - own.sd * 1.645 > 0
        parts.append(
            f"the colour of {own.recipe} adds about {number(own.colour_alone, 2)}"
            if shown
            else f"the colour of {own.recipe} adds {number(max(0.0, own.colour_alone), 2)}, which may be nothing"
        )
    return "; ".join(parts) + "."


def meaning_of(
    certificate: Certificate, error: AssayError, reading: float, *, readings: int = 1, with_scale: bool = False
) -> Biomass:
    """What a reading means by this certificate; refused above the top of the scale.

    Raises
    ------
    OutsideValidity
        If the reading lies above the scale.
    """
    if certificate.study.scale_high is not None and reading > certificate.study.scale_high:
        raise OutsideValidity(f"{reading:g} lies above the scale of this test.", "Dilute the sample and repeat.")
    return biomass_from_reading(error, reading, readings=readings, level=certificate.level, with_scale=with_scale)


def as_lines(certificate: Certificate, error: AssayError, recipe: str | None = None) -> list[tuple[str, str]]:
    """The certificate as headings and sentences, in the order of one page."""
    unit, s, p = certificate.study.unit, certificate.scatter, certificate.precision
    lines = [("Conclusion", conclusion(certificate, error, recipe))]
    lines.append(
        (
            "Scatter",
            f"Near zero {number(s.constant_sd)} {unit} ({span(s.constant_low, s.constant_high)}), and "
            f"{100 * s.proportional_cv:.1f} % of the result "
            f"({100 * s.proportional_low:.1f} to {100 * s.proportional_high:.1f} %).",
        )
    )
    if p.components is not None:
        shares = ", ".join(
            f"{share.name} {100 * share.sd:.1f} % ({100 * share.low:.1f} to "
            + (f"{100 * share.high:.1f} %)" if math.isfinite(share.high) and share.high < 10 else "not bounded)")
            for share in p.components.shares
        )
        lines.append(("Where it comes from", f"{shares}."))
    for name, limits in (
        ("Limits from the blanks", certificate.limits_blanks),
        ("Limits from the error model", certificate.limits_model),
    ):
        if limits is not None:
            quant = (
                f"; {100 * limits.relative_sd:.0f} % precision from {number(limits.quantification)}"
                if math.isfinite(limits.quantification)
                else f"; {100 * limits.relative_sd:.0f} % precision is never reached by one test"
            )
            lines.append(
                (
                    name,
                    f"Above the background, {number(limits.critical)} {unit} is told from nothing; {number(limits.detection)} is "
                    f"hardly ever missed{quant}.",
                )
            )
    if certificate.colour is not None:
        lines += [("Colour", describe(item, unit)) for item in certificate.colour.recipes]
        lines += [
            (
                "Bias per unit of colour",
                ", ".join(
                    f"{name} {number(slope)} +- {number(certificate.colour.slope(name)[1], 2)}"
                    for name, slope in zip(certificate.colour.names, certificate.colour.slopes, strict=True)
                )
                + f" {unit}.",
            )
        ]
    lines += [("Suspect controls", sentence) for sentence in certificate.suspects]
    if certificate.linearity is not None:
        lines.append(("Dilution", certificate.linearity.says))
    if certificate.parallelism is not None:
        lines.append(("Parallelism", certificate.parallelism.says))
    lines += [("Recovery", f"{what}: {item.says}") for what, item in certificate.recoveries]
    reach = certificate.valid_range
    lines.append(
        (
            "Valid range",
            f"{span(reach.low, reach.high, unit)} above the bias (below: {reach.limited_below_by}; above: "
            f"{reach.limited_above_by}).",
        )
    )
    lines.append(("Scale", certificate.gain_words))
    lines += [("Odd readings", sentence) for sentence in certificate.outlier_sentences]
    lines += [("Odd groups", f"{sentence} One group in twenty does so by chance.") for sentence in certificate.odd_groups]
    if certificate.censored:
        lines.append(
            (
                "Below or above the scale",
                f"{certificate.censored} readings are kept as 'less than' or 'more than', never as zero.",
            )
        )
    lines += [("Not shown by this study", sentence) for sentence in certificate.missing]
    return lines
