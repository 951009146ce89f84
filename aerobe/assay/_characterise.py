"""From a characterisation study to a certificate: every step says what it used, and what it could not do and why."""

from __future__ import annotations

import dataclasses
import math
from collections.abc import Callable
from dataclasses import dataclass
from typing import TypeVar

import numpy as np

from aerobe.assay._certificate import Certificate, Precision
from aerobe.assay._colour import ColourBias, ColourReading, estimate_colour_bias
from aerobe.assay._limits import censored_mean, limits_from_blanks, limits_from_model
from aerobe.assay._linearity import Linearity, Parallelism, Recovery, linearity, parallelism, spike_recovery, valid_range
from aerobe.assay._outliers import OutlierTest, cochran, grubbs
from aerobe.assay._result import decision_limit
from aerobe.assay._study import Study, StudyReading, replicate_groups
from aerobe.assay._two_component import TwoComponent, fit_two_component
from aerobe.assay._variance import Components, components
from aerobe.errors import AerobeError, NotEnoughData, UnusableReading
from aerobe.records import AssayError

ASSUMED_GAIN_LOG_SD = 0.3  # twofold between the 12th and 88th percentile; used when nothing in the study tells the scale
R = TypeVar("R")


@dataclass(slots=True)
class _Notes:
    """What could not be done, in the order met."""

    missing: list[str]

    def attempt(self, what: str, do: Callable[[], R]) -> R | None:
        """The result, or a note with the remedy."""
        try:
            return do()
        except AerobeError as fault:
            self.missing.append(f"{what}: {fault.problem} {fault.remedy}")
            return None


def characterise(study: Study, *, level: float = 0.9) -> Certificate:
    """What a study shows about a test: precision, limits, colour, linearity, recovery, range, and the error record for later use.

    Raises
    ------
    NotEnoughData
        Without repeated readings there is no error to state.
    UnusableReading
        If the water blanks read more than the teas.

    Source
    ------
    rocke-lorenzato-1995, iso-5725-3, currie-1968, iso-11843-2
    """
    notes = _Notes([])
    water = [item.signal for item in study.of("water blank")]
    teas = _plain(study.of("sample"))
    _refuse_swapped(water, teas)
    background = _background(study, notes)
    groups = replicate_groups(study.readings)
    scatter = fit_two_component(
        [[item.signal for item in group] for group in groups.values()],
        background=background,
        level=level,
        below=[[item.below_detection for item in group] for group in groups.values()],
    )
    odd = _outliers(groups)
    precision = _precision(study, scatter, background, level, notes)
    colour = _colour(study, scatter, level, notes)
    blanks = notes.attempt("Limits from blanks", lambda: limits_from_blanks(water)) if not _censored(study) else None
    worst = max((item.sd for item in colour.recipes), default=0.0) if colour else 0.0
    model = notes.attempt(
        "Limits from the error model",
        lambda: limits_from_model(
            scatter.constant_sd,
            precision.single_cv,
            blanks=max(1, len(water)),
            bias_sd=worst,
            relative_sd=max(0.3, 1.25 * precision.single_cv),
        ),
    )
    straight = _linear(study, scatter, background, notes)
    side_by_side = _parallel(study, background, notes)
    recoveries = _recoveries(study, level, notes)
    gain, gain_words = _gain(precision, recoveries)
    top = max((item.signal for item in teas), default=math.inf)
    detection = model.detection if model else (blanks.detection if blanks else 0.0)
    reach = valid_range(
        detection=detection,
        quantification=model.quantification if model else math.inf,
        linear_low=straight.valid_low if straight else math.nan,
        linear_high=straight.valid_high if straight else math.nan,
        highest_tested=top - background,
        upper_limit=study.scale_high if study.scale_high is not None else math.inf,
    )
    return Certificate(
        study=study,
        level=level,
        background=background,
        scatter=scatter,
        precision=precision,
        colour=colour,
        limits_blanks=blanks,
        limits_model=model,
        linearity=straight,
        parallelism=side_by_side,
        recoveries=recoveries,
        valid_range=reach,
        outliers=odd,
        gain_log_sd=gain,
        gain_words=gain_words,
        missing=tuple(notes.missing),
        censored=sum(item.below_detection or item.above_range for item in study.readings),
    )


def error_for(certificate: Certificate, recipe: str | None = None) -> AssayError:
    """The error record for readings of one recipe (or of clear liquid), as later calculations use it.

    The colour's own proportional scatter goes into the constant part of that recipe.

    Raises
    ------
    NotEnoughData
        If the recipe had no controls in the study.
    """
    bias, bias_sd, extra = certificate.background, _background_sd(certificate), 0.0
    if recipe is not None:
        if certificate.colour is None or recipe not in {item.recipe for item in certificate.colour.recipes}:
            raise NotEnoughData(
                f"The study has no controls of '{recipe}'.",
                "Run its filtered blank and killed control, or use the bias expected for a new tea of its colour.",
            )
        found = next(item for item in certificate.colour.recipes if item.recipe == recipe)
        bias, bias_sd, extra = found.bias, found.sd, certificate.scatter.proportional_cv * max(0.0, found.colour_alone)
    return _error(certificate, bias, bias_sd, extra, f"certificate: {certificate.study.name}")


def error_for_new_tea(certificate: Certificate, colour: float) -> AssayError:
    """The error record for a tea of this colour that had no control of its own: the spread between colourants goes in."""
    if certificate.colour is None:
        raise NotEnoughData(
            "The study has no coloured reading without cells.", "Add filtered blanks, killed controls or colourants."
        )
    bias, bias_sd = certificate.colour.bias_of_new(colour)
    extra = certificate.scatter.proportional_cv * max(0.0, bias - certificate.background)
    return _error(certificate, bias, bias_sd, extra, f"certificate: {certificate.study.name}, a tea without its own control")


def _error(certificate: Certificate, bias: float, bias_sd: float, extra_sd: float, origin: str) -> AssayError:
    """The record; its detection limit is the decision limit of the net result, or the lowest mark of the scale if higher."""
    draft = AssayError(
        constant_sd=math.hypot(certificate.scatter.constant_sd, extra_sd),
        proportional_cv=certificate.precision.single_cv,
        bias=bias,
        bias_sd=bias_sd,
        gain_log_sd=certificate.gain_log_sd,
        upper_limit=certificate.study.scale_high,
        origin=origin,
    )
    return dataclasses.replace(draft, detection_limit=max(decision_limit(draft), certificate.study.scale_low or 0.0))


def _censored(study: Study) -> bool:
    return any(item.below_detection for item in study.of("water blank"))


def _background(study: Study, notes: _Notes) -> float:
    """Mean of the water blanks; blanks below the scale count as 'below', by likelihood."""
    water = study.of("water blank")
    if not water:
        notes.missing.append(
            "Background: no water blanks. Test clean water four times; until then the background is taken as zero."
        )
        return 0.0
    signals = [item.signal for item in water]
    if not _censored(study):
        return float(np.mean(signals))
    found = notes.attempt(
        "Background from blanks below the scale", lambda: censored_mean(signals, [item.below_detection for item in water])
    )
    # Nearly all below the scale: the background lies under its lowest mark; half of it is off by at most half a mark.
    return float(np.mean(signals)) / 2 if found is None else found[0]


def _plain(readings: list[StudyReading]) -> list[StudyReading]:
    return [item for item in readings if not (item.below_detection or item.above_range)]


def _background_sd(certificate: Certificate) -> float:
    blanks = max(1, len(certificate.study.of("water blank")))
    return certificate.scatter.constant_sd / math.sqrt(blanks)


def _refuse_swapped(water: list[float], teas: list[StudyReading]) -> None:
    undiluted = [item.signal for item in teas if item.dilution == 1]
    if water and undiluted and float(np.mean(water)) >= max(undiluted):
        raise UnusableReading(
            f"The water blanks read {np.mean(water):g} on average, as much as the strongest tea ({max(undiluted):g}).",
            "Check for swapped vials, dirty glass or the wrong column; then test fresh water.",
        )


def _outliers(groups: dict[tuple[object, ...], list[StudyReading]]) -> tuple[OutlierTest, ...]:
    """Grubbs in each group of three and more on its own scale, Cochran between groups of one role; all of them reported."""
    found: list[OutlierTest] = []
    named = {
        _label(key): [item.signal for item in group]
        for key, group in groups.items()
        if not any(item.below_detection for item in group)
    }
    for name, signals in named.items():
        if len(signals) >= 3 and len(set(signals)) > 1:
            found.append(
                grubbs({f"reading {place} ({value:g}) of {name}": value for place, value in enumerate(signals, start=1)})
            )
    # Relative scatter, or strong samples would always look like the odd ones.
    relative = {
        name: [value / float(np.mean(signals)) for value in signals]
        for name, signals in named.items()
        if len(signals) > 1 and float(np.mean(signals)) > 0 and name.startswith("sample")
    }
    if len(relative) >= 2 and any(len(set(values)) > 1 for values in relative.values()):
        found.append(cochran(relative))
    return tuple(found)


def _label(key: tuple[object, ...]) -> str:
    role, what, dilution, added, colour, sample, day, operator, lot = key
    extras = [str(what)] if what else []
    extras += [f"1:{dilution:g}"] if dilution != 1 else []
    extras += [f"+{added:g}"] if added else []
    extras += [f"colour {colour:g}"] if colour and role == "colourant" else []
    extras += [
        f"{name} {value}" for name, value in (("sample", sample), ("day", day), ("operator", operator), ("lot", lot)) if value
    ]
    return f"{role} {', '.join(extras)}".strip()


def _precision(study: Study, scatter: TwoComponent, background: float, level: float, notes: _Notes) -> Precision:
    """Relative components from teas well above the constant scatter; each effect that the design cannot show is named."""
    strong = [item for item in _plain(study.of("sample")) if item.signal - background > 3 * scatter.constant_sd]
    found: Components | None = None
    if len(strong) >= 4:
        logs = np.log([item.signal - background for item in strong])
        materials = [(item.what, item.dilution) for item in strong]
        design = np.array([[float(label == name) for name in dict.fromkeys(materials)] for label in materials])
        factors: dict[str, list[object]] = {}
        candidates = (
            ("kit lot", [item.kit_lot for item in strong]),
            ("operator", [item.operator for item in strong]),
            ("day", [item.day for item in strong]),
            ("sample", [(item.what, item.sample) for item in strong]),
        )
        for name, labels in candidates:
            if _estimable(design, labels, factors):
                factors[name] = list(labels)
            else:
                notes.missing.append(
                    f"Share of the {name}: not varied apart from the rest in this study. Repeat some readings with "
                    f"another {name} on otherwise equal terms."
                )
        if factors:
            found = notes.attempt("Components of scatter", lambda: components(tuple(logs), factors, fixed=design, level=level))
    else:
        notes.missing.append(
            "Shares of sample, day, operator and kit lot: too few readings well above the background. Repeat a strong tea on "
            "two days, by two people, with two kit lots."
        )
    day = found.sd("day") if found else 0.0
    sample = found.sd("sample") if found else 0.0
    lot = found.sd("kit lot") if found else 0.0
    operator = found.sd("operator") if found else 0.0
    return Precision(
        components=found,
        single_cv=math.sqrt(scatter.proportional_cv**2 + day**2 + sample**2),
        sample_cv=sample,
        day_cv=day,
        lot_log_sd=lot,
        operator_log_sd=operator,
    )


def _estimable(
    design: np.ndarray, labels: list[object] | list[str] | list[tuple[str, str]], factors: dict[str, list[object]]
) -> bool:
    """A random effect shows when its levels add to the rank of the fixed part, repeat, and equal no effect already there."""
    names = list(dict.fromkeys(labels))
    if len(names) < 2 or len(names) == len(labels):
        return False
    columns = np.array([[float(label == name) for name in names] for label in labels])
    if np.linalg.matrix_rank(np.hstack([design, columns])) <= np.linalg.matrix_rank(design):
        return False
    place = [names.index(label) for label in labels]  # type: ignore[arg-type]
    return all([list(dict.fromkeys(other)).index(item) for item in other] != place for other in factors.values())


def _colour(study: Study, scatter: TwoComponent, level: float, notes: _Notes) -> ColourBias | None:
    live: dict[str, tuple[float, float]] = {}
    for name in dict.fromkeys(item.what for item in study.of("sample")):
        own = [
            item for item in _plain(study.of("sample")) if item.what == name and item.dilution == 1 and math.isfinite(item.colour)
        ]
        if own:
            live[name] = float(np.mean([item.signal for item in own])), float(np.mean([item.colour for item in own]))
    without_cells = [
        item for item in study.of("water blank", "filtered blank", "killed control", "colourant") if not item.above_range
    ]
    unknown = [item for item in without_cells if math.isnan(item.colour)]
    if unknown:
        notes.missing.append(
            f"Colour: {len(unknown)} controls have no colour measured and could not be used. Read their absorbance."
        )
    readings = [
        ColourReading(
            kind=item.role, signal=item.signal, colour=item.colour, what=item.what, below_detection=item.below_detection
        )
        for item in without_cells
        if math.isfinite(item.colour)
    ]
    return notes.attempt(
        "Colour",
        lambda: estimate_colour_bias(
            readings, constant_sd=scatter.constant_sd, proportional_cv=scatter.proportional_cv, live=live, level=level
        ),
    )


def _linear(study: Study, scatter: TwoComponent, background: float, notes: _Notes) -> Linearity | None:
    """Dilutions of the tea that was diluted most often; the background is left in, as the line's intercept."""
    series: dict[str, list[StudyReading]] = {}
    for item in _plain(study.of("sample")):
        series.setdefault(item.what, []).append(item)
    best = max(series.values(), key=lambda group: len({item.dilution for item in group}), default=[])
    if len({item.dilution for item in best}) < 2:
        notes.missing.append("Linearity: no dilution series. Test one strong tea undiluted, 1:2, 1:4 and 1:8, each twice.")
        return None
    undiluted = float(np.mean([(item.signal - background) * item.dilution for item in best]))
    levels = [undiluted / item.dilution for item in best]
    return notes.attempt(
        "Linearity",
        lambda: linearity(
            levels, [item.signal for item in best], constant_sd=scatter.constant_sd, proportional_cv=scatter.proportional_cv
        ),
    )


def _parallel(study: Study, background: float, notes: _Notes) -> Parallelism | None:
    standards = [
        (item.added, item.signal - background)
        for item in _plain(study.of("standard"))
        if item.added > 0 and item.signal > background
    ]
    diluted: dict[str, list[tuple[float, float]]] = {}
    for item in _plain(study.of("sample")):
        if item.signal > background:
            diluted.setdefault(item.what, []).append((1 / item.dilution, item.signal - background))
    best = max(diluted.values(), key=lambda group: len({level for level, _ in group}), default=[])
    if not standards or len({level for level, _ in best}) < 2:
        return None
    return notes.attempt("Parallelism", lambda: parallelism(best, standards))


def _recoveries(study: Study, level: float, notes: _Notes) -> tuple[tuple[str, Recovery], ...]:
    found = []
    for what, added in dict.fromkeys((item.what, item.added) for item in study.of("spike")):
        after = [item.signal for item in _plain(study.of("spike")) if (item.what, item.added) == (what, added)]
        terms = {_terms(item) for item in study.of("spike") if (item.what, item.added) == (what, added)}
        before = [item.signal for item in _plain(study.of("sample")) if item.what == what and _terms(item) in terms]
        made = notes.attempt(
            f"Recovery in {what}",
            lambda before=before, after=after, added=added: spike_recovery(  # type: ignore[misc]
                before, after, added, level=level
            ),
        )
        if made is not None:
            found.append((what, made))
    if not found:
        notes.missing.append(
            "Recovery: no addition of known content. Add a known amount of a counted culture or standard to a tea."
        )
    return tuple(found)


def _terms(item: StudyReading) -> tuple[object, ...]:
    """What must be equal for a spiked and an unspiked reading to differ by the addition only."""
    return item.dilution, item.day, item.operator, item.kit_lot


def _gain(precision: Precision, recoveries: tuple[tuple[str, Recovery], ...]) -> tuple[float, str]:
    """Uncertainty of the scale shared by all readings of a kit."""
    between = math.hypot(precision.lot_log_sd, precision.operator_log_sd)
    usable = [item for _, item in recoveries if item.fraction > 0]
    if not usable:
        gain = math.hypot(ASSUMED_GAIN_LOG_SD, between)
        return gain, (
            f"Not tested; {100 * gain:.0f} % is assumed. "
            "Laboratories that measured the same soils by fumigation extraction "
            "differed by 12 to 24 %, without the conversion factors of a quick test."
        )
    logs = [math.log(item.fraction) for item in usable]
    mean = float(np.mean(logs))
    # A recovery off 1 is not corrected for: it is an error of the scale until somebody has explained it.
    parts = [item.sd / item.fraction for item in usable]
    gain = math.sqrt(
        mean**2
        + float(np.mean(np.square(parts))) / len(parts)
        + (float(np.var(logs, ddof=1)) if len(logs) > 1 else 0.0)
        + between**2
    )
    return gain, f"Additions were found to {100 * math.exp(mean):.0f} %; the scale is uncertain by {100 * gain:.0f} %."
