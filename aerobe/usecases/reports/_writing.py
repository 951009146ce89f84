"""Reports from the notebook: a copy that may leave the house is made first, and the report is computed from that copy.

So a stranger who runs the attached package finds the numbers of the report, and nothing in the report rests on what the
package lacks. What earlier brews of the person taught is left out for the same reason.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from typing import Any

from aerobe.errors import ImportFault, NotEnoughData
from aerobe.notebook import Notebook, brew_history
from aerobe.records import Assay, Brew, Compost, Reading, Recipe, Trial, as_plain
from aerobe.reports import Again, FromTable, Imprint, Report, as_html, compare, with_licence
from aerobe.units import display_units
from aerobe.usecases.exchange._origin import start_in_words, tables_of
from aerobe.usecases.exchange._packages import export_package, import_package, versions
from aerobe.usecases.notebook._display import display_units_for
from aerobe.usecases.reports._publishing import copy_of, empty_notebook, table_of_study
from aerobe.usecases.trials._afterwards import KIND as AFTERWARDS
from aerobe.usecases.trials._afterwards import keep_once
from aerobe.usecases.trials._blinding import refuse_while_hidden
from aerobe.usecases.trials._judging import JudgedBy, judged_with_facts

KIND = "report"
Options = dict[str, Any]  # JSON as it is kept beside a report


@dataclass(frozen=True, slots=True, kw_only=True)
class Wanted:
    """How a report is to be made."""

    licence: str = "CC-BY-4.0"  # of the data, SPDX name
    with_people: bool = False  # keep names and free notes
    at_h: float | None = None  # trials: the hour to compare at; None takes each brew's last sample [h]
    assay: str = ""  # trials: key of the assay judged by; "" takes the one that measured the most brews
    asks: bool = True  # trials: whether a report asks anew, which is written down and counts; else only what was asked is shown


def report_of_brew(notebook: Notebook, key: str, *, now: datetime, wanted: Wanted | None = None) -> Report:
    """The report of a brew with its data package.

    Parameters
    ----------
    notebook, key
        Where the brew is.
    now
        The moment the report speaks of.
    wanted
        Licence and what may leave the house.

    Raises
    ------
    NotFound
        If there is no such brew.
    """
    wanted = wanted or Wanted()
    with copy_of(notebook, brews=(key,), trial="", now=now, with_people=wanted.with_people) as copy:
        made = _finished(copy, "brew", key, {"invented": is_invented(notebook)}, now, wanted)
    return replace(made, units=display_units_for(notebook, key))


def report_of_trial(notebook: Notebook, key: str, *, now: datetime, wanted: Wanted | None = None) -> Report:
    """The report of a trial with its data package.

    Raises
    ------
    NotFound
        If there is no such trial.
    NotEnoughData
        If an arm has no finished brew.
    NotAllowed
        If codes are closed, or it is only to be shown again and nobody has asked it of these results.
    """
    from aerobe.usecases.evidence._with_others import copy_evidence

    wanted = wanted or Wanted()
    notebook.get(Trial, key)
    brews = tuple(brew.key for brew in notebook.find(Brew, of=key))
    if not brews:
        raise NotEnoughData(f"Trial {key} has no brew yet.", "Start the brews of its run sheet first.")
    refuse_while_hidden(notebook, [notebook.get(Brew, brew) for brew in brews])
    # A report is a look like any other: it is asked of the notebook itself, where looks are counted.
    by = JudgedBy(assay=wanted.assay, at_h=wanted.at_h)
    _, changed = judged_with_facts(notebook, key, by=by, now=now, asks=wanted.asks)
    with copy_of(notebook, brews=brews, trial=key, now=now, with_people=wanted.with_people) as copy:
        if changed is not None:
            keep_once(copy, AFTERWARDS, key, changed, now=now)
        copy_evidence(notebook, copy, now=now, with_people=wanted.with_people)
        options = {"invented": is_invented(notebook), "at_h": wanted.at_h, "assay": wanted.assay}
        return replace(_finished(copy, "trial", key, options, now, wanted), units=display_units())


@dataclass(frozen=True, slots=True, kw_only=True)
class StudiedTest:
    """The test that a characterisation study is about."""

    name: str
    method: str
    price: float = 0.0  # of one test [money]
    scale_low: float | None = None  # limits of its scale [unit of the study]
    scale_high: float | None = None


def report_of_assay(
    table: str,
    test: StudiedTest,
    *,
    now: datetime,
    recipe: str | None = None,
    wanted: Wanted | None = None,
) -> Report:
    """The report of an assay from the table of its characterisation study.

    Parameters
    ----------
    table
        As for `aerobe.assay.study_from_table`.
    test
        That was studied.
    recipe
        Recipe whose colour the conclusion is about, if one.
    now, wanted
        As in `report_of_brew`.
    """
    from aerobe.assay import study_from_table

    wanted = wanted or Wanted()
    about = as_plain(test)
    study = study_from_table(table, **about)
    options = {**about, "recipe": recipe, "table": table_of_study(study, with_people=wanted.with_people), "invented": False}
    with empty_notebook(now) as copy:
        return replace(_finished(copy, "assay", "assay", options, now, wanted), units=display_units())


def report_as_html(report: Report) -> bytes:
    """One page that opens anywhere without a connection."""
    return as_html(report).encode()


def check_package(content: bytes, *, now: datetime) -> tuple[Again, ...]:
    """Compute the reports in a data package anew and compare every number.

    Parameters
    ----------
    content
        The package of a report. Nothing of it reaches the person's own notebook.

    Raises
    ------
    ImportFault
        If the package is refused, or holds no report.
    """
    with empty_notebook(now) as copy:
        import_package(copy, content, now=now)
        found = copy.kept(KIND)
        if not found:
            raise ImportFault("The package holds no report to check.", "Give the data package of a report, not a plain export.")
        return tuple(_again(copy, item.payload, item.subject, now) for item in found)


def _again(copy: Notebook, payload: Options, subject: str, now: datetime) -> Again:
    try:
        kind, then, made_by = str(payload["kind"]), dict(payload["numbers"]), dict(payload["versions"])
        options = dict(payload["options"])
        build = _BUILDERS[kind]
    except (KeyError, TypeError, ValueError):
        raise ImportFault("The report in the package cannot be read.", "Ask for a package written by `aerobe report`.") from None
    report = build(copy, subject, options, now)
    return compare(kind, subject, then, report.numbers, versions_then=made_by, versions_now=versions())


def _finished(copy: Notebook, kind: str, key: str, options: Options, now: datetime, wanted: Wanted) -> Report:
    """The report with its package: built once to know the numbers, kept beside the data, and packed with them."""
    report = _BUILDERS[kind](copy, key, options, now)
    payload = {"kind": kind, "numbers": report.numbers, "versions": versions(), "seed": report.seed, "options": options}
    copy.keep(KIND, key, payload, at=now)
    packed = with_licence(
        export_package(copy, now=now, with_codes=True),  # of a copy whose codes were asked about before
        wanted.licence,
        title=report.title,
        made_at=now,
        about=report.headline,
        tables=tables_of(copy, copy.find(Brew)),
        beside=report.beside,
    )
    return replace(report, package=packed, licence=wanted.licence)


def is_invented(notebook: Notebook) -> bool:
    """Whether a notebook holds the invented yard."""
    return notebook.setting("demo") is not None


def _build_brew(copy: Notebook, key: str, options: Options, now: datetime) -> Report:
    from aerobe.inference import infer_brew
    from aerobe.reports import BrewRecords, brew_report
    from aerobe.usecases.brews._beliefs import story_of_history
    from aerobe.usecases.reports._pictures import brew_pictures_of

    history = brew_history(copy, key)
    story, notes = story_of_history(history)
    posterior = infer_brew(story, seed=history.brew.seed)
    kept = BrewRecords(
        brew=history.brew,
        recipe=history.recipe,
        compost=history.compost,
        vessel=history.vessel,
        readings=[item for item in copy.readings(key, with_corrected=True) if item.key not in copy.taken_back(key)],
        assays=history.assays,
        logs=history.logs,
        harvest=history.harvest,
        advice=[(item.at, _call(item.payload)) for item in history.advice],
        start=start_in_words(copy, history.brew),
    )
    imprint = _imprint(options, now, tables_of(copy, [history.brew]))
    return brew_report(kept, posterior, imprint, pictures=brew_pictures_of(history, posterior, now), notes=notes)


def _build_trial(copy: Notebook, key: str, options: Options, now: datetime) -> Report:
    from aerobe.reports import TrialRecords, trial_report
    from aerobe.usecases.evidence._with_others import weighed_with_others
    from aerobe.usecases.trials._results import judged
    from aerobe.usecases.trials._tests import rests_on
    from aerobe.usecases.trials._view import sheet_of

    trial = copy.get(Trial, key)
    brews = copy.find(Brew, of=key)
    assays = {item.key: item for item in copy.find(Assay)}
    gone = copy.taken_back()
    readings: list[Reading] = [item for item in copy.readings(with_corrected=True) if item.key not in gone]
    at_h, assay = options.get("at_h"), str(options.get("assay", ""))
    verdict, _, notes = judged(copy, key, at_h=None if at_h is None else float(at_h), now=now, assay=assay)
    recipes = [copy.get(Recipe, name) for name in dict.fromkeys(arm.recipe for arm in trial.arms) if name]
    kept = TrialRecords(
        trial=trial,
        run_sheet=sheet_of(copy, key),
        brews=brews,
        recipes=[(recipe, copy.get(Compost, recipe.compost)) for recipe in recipes],
        readings=readings,
        assays=assays,
        starts={brew.key: start_in_words(copy, brew) for brew in brews},
    )
    basis = rests_on(copy, key, assay=assay).words
    imprint = _imprint(options, now, tables_of(copy, brews))
    return trial_report(kept, verdict, imprint, pooled=weighed_with_others(copy), notes=notes, basis=basis)


def _build_assay(copy: Notebook, key: str, options: Options, now: datetime) -> Report:
    from aerobe.assay import characterise, study_from_table
    from aerobe.reports import AssayStudy, assay_report
    from aerobe.usecases.assay._certificate import ASSAY_CAUTION, CERTIFICATE_SOURCES, certificate_pictures, certify_study
    from aerobe.usecases.reports._pictures import study_readings

    about = {name: options[name] for name in ("name", "method", "price", "scale_low", "scale_high")}
    study = study_from_table(options["table"], **about)
    answer = certify_study(characterise(study), recipe=options.get("recipe"))
    error, certificate = answer.error, answer.certificate
    numbers: dict[str, float | None] = {}
    for name in ("constant_sd", "proportional_cv", "bias", "bias_sd", "gain_log_sd", "detection_limit"):
        value = getattr(error, name)
        numbers[name.replace("_", " ")] = None if value is None else float(f"{value:.6g}")
    found = AssayStudy(
        name=study.name,
        method=study.method,
        unit=study.unit,
        price=study.price,
        conclusion=answer.conclusion,
        lines=answer.lines,
        cannot_tell=(*certificate.missing, *certificate.suspects),
        readings=study_readings(study),
    )
    return assay_report(
        found,
        Imprint(made_at=now, versions=versions(), cautions=(ASSAY_CAUTION,)),
        pictures=certificate_pictures(answer),
        numbers={"conclusion": answer.conclusion, **numbers},
        sources=CERTIFICATE_SOURCES,
    )


def _imprint(options: Options, now: datetime, tables: Sequence[FromTable]) -> Imprint:
    return Imprint(made_at=now, versions=versions(), cautions=_cautions(), tables=tables, invented=bool(options.get("invented")))


_BUILDERS: dict[str, Callable[[Notebook, str, dict[str, object], datetime], Report]] = {
    "brew": _build_brew,
    "trial": _build_trial,
    "assay": _build_assay,
}


def _call(payload: Options) -> str:
    return f"{payload.get('call', '')}: {payload.get('because', '')}" if isinstance(payload, dict) else ""


def _cautions() -> tuple[str, ...]:
    from aerobe.safety import cautions

    return tuple(item.short for item in cautions("harvest", "spraying", "edible"))
