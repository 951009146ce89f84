"""Trials: plan what can be answered, print the run sheet, start its brews, judge, and compare recipes afterwards."""

from __future__ import annotations

from typing import Annotated
from urllib.parse import urlencode

from fastapi import APIRouter, Body, Depends, Request, Response

from aerobe import usecases
from aerobe.errors import AerobeError, NotEnoughData
from aerobe.records import QUESTIONS, Assay, Recipe, Vessel, as_json
from aerobe.units import given, number, percent
from aerobe.web._frame import Fields, clock_of, fields, go_to, live_of, menu_entry, notebook_of, page, settings_of

router = APIRouter()
nav = menu_entry("Compare recipes", "/trials", order=30, icon="trial")
Sent = Annotated[Fields, Depends(fields)]
JUDGED_BY = (
    "biomass",
    "peak biomass",
    "area under the curve",
    "count",
    "peak time",
    "ratio",
    "cost per biomass",
    "oxygen",
    "yield",
    "score",
    "damage score",
    "plants affected",
    "plants thriving",
    "damage count",
    "growth count",
)
SCATTER_CHOICES = (
    ("one day and heap", "I don't know: brewed on one day from one heap"),
    ("weekly batches", "A lot: as weekly batches"),
    ("same-day bottles", "Little: as bottles of one day"),
    ("own brews", "As my own brews did"),
)


@router.get("/trials")
def trials(request: Request) -> Response:
    """All trials, and what can be done."""
    return page(request, "trials/list.html", title="Trials", trials=usecases.trials.trial_list(notebook_of(request)))


@router.get("/trials/new")
def new(request: Request) -> Response:
    """The question and the budget; an address can carry what was typed before."""
    typed = Fields(values={name: tuple(request.query_params.getlist(name)) for name in request.query_params})
    return page(request, "trials/new.html", sent=typed, context=_new_context(request, typed))


@router.post("/trials/plan")
def plan(request: Request, sent: Sent) -> Response:
    """What the budget can answer; nothing is written yet."""
    try:
        planned = usecases.trials.plan_for(notebook_of(request), _wish(sent), now=clock_of(request))
    except AerobeError as fault:
        return page(request, "trials/new.html", status=422, fault=fault, sent=sent, context=_new_context(request, sent))
    return page(
        request,
        "trials/plan.html",
        title=f"Plan: {planned.trial.name}",
        planned=planned,
        sent=sent,
        pictures=usecases.trials.plan_pictures(planned.plan),
        rows=_design_rows(planned.plan),
        lever_rows=usecases.trials.lever_rows(planned.plan.levers),
        idle=usecases.trials.idle_in_words(planned.plan.levers),
        wish=_typed(planned.wish),
        again=urlencode(_typed(planned.wish)),
        missing=usecases.trials.not_written_in(notebook_of(request), planned),
        smaller=usecases.trials.smaller_margin(planned),
        arms=[usecases.trials.arm_in_words(arm) for arm in planned.trial.arms],
    )


@router.post("/trials")
def start(request: Request, sent: Sent) -> Response:
    """Write the trial down and draw its run sheet."""
    try:
        key = usecases.trials.start_trial(notebook_of(request), _wish(sent), now=clock_of(request))
    except AerobeError as fault:
        return page(request, "trials/new.html", status=422, fault=fault, sent=sent, context=_new_context(request, sent))
    return go_to(f"/trials/{key}?done=Written+down+and+drawn+by+lot.")


@router.get("/trials/run-sheet.css")
def sheet_style() -> Response:
    """The style of the printed page."""
    return Response(usecases.trials.run_sheet_style(), media_type="text/css")


@router.get("/trials/{key}")
def one(request: Request, key: str) -> Response:
    """A trial: what to do next, its brews, and its papers."""
    return page(request, "trials/one.html", context=_one_context(request, key))


@router.post("/trials/{key}/begin")
def begin(request: Request, key: str, sent: Sent) -> Response:
    """The air is on in a planned brew."""
    receipt = usecases.trials.start_planned_brew(
        notebook_of(request), key, sent.text("code"), now=clock_of(request), token=sent.text("entry")
    )
    live_of(request).tell("brew", receipt.key)
    return go_to(f"/trials/{key}?done=The+brew+has+begun.")


@router.get("/trials/{key}/sheet")
def sheet(request: Request, key: str, with_arms: bool = False) -> Response:
    """The run sheet, to print: one page a brew."""
    base = str(getattr(settings_of(request), "address", "") or "").rstrip("/")
    link = f"{base}/brews/{{brew}}/record" if base else ""
    text = usecases.trials.print_run_sheet(
        notebook_of(request), key, with_arms=with_arms, link=link, style_href="/trials/run-sheet.css", now=clock_of(request)
    )
    return Response(text, media_type="text/html; charset=utf-8")


@router.get("/trials/{key}/calendar.ics")
def calendar(request: Request, key: str) -> Response:
    """Starts and samplings for the phone's calendar."""
    content = usecases.trials.trial_calendar(notebook_of(request), key, now=clock_of(request))
    headers = {"content-disposition": f'attachment; filename="{key}.ics"'}
    return Response(content, media_type="text/calendar", headers=headers)


@router.post("/trials/{key}/judge")
def judge(request: Request, key: str, sent: Sent) -> Response:
    """Judge now, by another outcome or test where one is named; each question and each look at growing data is counted."""
    notebook, now = notebook_of(request), clock_of(request)
    outcome, assay = sent.text("outcome"), sent.text("assay")
    try:
        verdict = usecases.trials.verdict_of_trial(
            notebook, key, by=usecases.trials.JudgedBy(outcome=outcome, assay=assay), now=now
        )
    except AerobeError as fault:
        return page(request, "trials/one.html", status=422, fault=fault, sent=sent, context=_one_context(request, key))
    usecases.trials.keep_verdict(notebook, key, verdict, now=now, token=sent.text("entry"))
    return go_to(f"/trials/{key}/verdict?" + urlencode({"outcome": verdict.outcome.key} | ({"assay": assay} if assay else {})))


@router.get("/trials/{key}/verdict")
def verdict(request: Request, key: str, outcome: str = "", assay: str = "") -> Response:
    """The verdict with its raw points, rivals and what would settle the rest; by another test where one is named."""
    notebook, now = notebook_of(request), clock_of(request)
    view = usecases.trials.trial_view(notebook, key)
    try:
        found = usecases.trials.verdict_of_trial(
            notebook, key, by=usecases.trials.JudgedBy(outcome=outcome, assay=assay), now=now, asks=False
        )
    except (usecases.trials.NotAskedYet, NotEnoughData) as why:
        can_ask = isinstance(why, usecases.trials.NotAskedYet)
        about = {"view": view, "can_ask": can_ask, "why": why, "outcome": outcome, "assay": assay, "outcomes": JUDGED_BY}
        return page(request, "trials/ask.html", title=f"Verdict: {view.trial.name}", context=about)
    return page(
        request,
        "trials/verdict.html",
        title=f"Verdict: {view.trial.name}",
        verdict=found,
        trial=view.trial,
        waiting=view.waiting,
        pictures=usecases.trials.verdict_pictures(found, view.trial.arms),
        rows=_comparison_rows(found),
        checks=_check_rows(found),
        hours=usecases.trials.hour_lines(found),
        beside=usecases.trials.informed_words(found),
        next_one=usecases.trials.next_trial(notebook, key, now=now, outcome=outcome, asks=False),
        basis=usecases.trials.rests_on(notebook, key, outcome_key=outcome, assay=assay),
        assay=assay,
        points=[usecases.trials.arm_in_words(arm) for arm in view.trial.arms if arm.levels],
    )


@router.get("/compare")
def compare(request: Request, first: str = "", second: str = "", outcome: str = "biomass", margin: str = "1.25") -> Response:
    """The form, and the answer to what was asked by it before."""
    asked = {"first": first, "second": second, "outcome": outcome, "margin": margin}
    if not (first and second):
        return page(request, "trials/compare.html", context=_compare_context(request, asked))
    try:
        found = _compared(request, asked, asks=False)
    except AerobeError as fault:
        return page(request, "trials/compare.html", status=422, fault=fault, context=_compare_context(request, asked))
    context = _compare_context(request, asked) | {
        "verdict": found,
        "pictures": usecases.trials.verdict_pictures(found, ()),
        "rows": _comparison_rows(found),
        "checks": _check_rows(found),
    }
    return page(request, "trials/compare.html", context=context)


@router.post("/compare")
def ask_to_compare(request: Request, sent: Sent) -> Response:
    """Two recipes by all their brews, planned or not; that it was asked is written down."""
    asked = {name: sent.text(name) for name in ("first", "second", "outcome", "margin")}
    try:
        _compared(request, asked, asks=True)
    except AerobeError as fault:
        return page(request, "trials/compare.html", status=422, fault=fault, context=_compare_context(request, asked))
    return go_to("/compare?" + urlencode(asked))


def _compared(request: Request, asked: dict[str, str], *, asks: bool) -> usecases.trials.Verdict:
    return usecases.trials.compare_recipes(
        notebook_of(request),
        asked["first"],
        asked["second"],
        outcome=asked["outcome"] or "biomass",
        margin=usecases.trials.read_margin(asked["margin"] or "1.25"),
        now=clock_of(request),
        asks=asks,
    )


def _compare_context(request: Request, asked: dict[str, str]) -> dict[str, object]:
    empty: dict[str, object] = {"verdict": None, "pictures": (), "rows": [], "checks": []}
    recipes = notebook_of(request).find(Recipe)
    return {"title": "Compare two recipes", "recipes": recipes, "outcomes": JUDGED_BY, **empty, **asked}


@router.get("/api/trials")
def trials_json(request: Request) -> list[dict[str, object]]:
    """All trials, for programs."""
    return usecases.trials.trial_list(notebook_of(request))


@router.post("/api/trials/plan")
def plan_json(request: Request, sent: Annotated[dict[str, object], Body()]) -> object:
    """What a budget can answer, for programs; fields of `TrialWish`. Nothing is written."""
    planned = usecases.trials.plan_for(notebook_of(request), usecases.trials.TrialWish.from_form(sent), now=clock_of(request))
    return as_json(planned.plan) | {"beside": planned.beside}


@router.get("/api/trials/{key}/verdict")
def verdict_json(request: Request, key: str, outcome: str = "", assay: str = "") -> object:
    """The verdict, for programs; effects are logs of ratios."""
    notebook = notebook_of(request)
    found = usecases.trials.verdict_of_trial(
        notebook, key, by=usecases.trials.JudgedBy(outcome=outcome, assay=assay), now=clock_of(request), asks=False
    )
    return as_json(found) | {"rests_on": usecases.trials.rests_on(notebook, key, outcome_key=outcome, assay=assay).words}


def _wish(sent: Fields) -> usecases.trials.TrialWish:
    """The wish as typed: ticked recipes and typed arms are one list, the standard first; a spread typed beats the one chosen."""
    typed = {name: sent.text(name) for name in usecases.trials.TrialWish.__dataclass_fields__}
    standard, arms = sent.text("standard"), [arm for arm in sent.all("arms") if arm]
    if standard in arms:
        arms = [standard, *(arm for arm in arms if arm != standard)]
    if typed["question"] == "two recipes" and len(arms) > 2:
        typed["question"] = "several against a standard"
    typed["name"] = typed["name"].strip() or " or ".join(arms)[:80]
    typed |= {"arms": ", ".join(arms), "scatter": sent.text("spread") or typed["scatter"]}
    return usecases.trials.TrialWish.from_form({**typed, "token": sent.text("entry")})


def _typed(wish: usecases.trials.TrialWish) -> list[tuple[str, str]]:
    return [
        (name, getattr(wish, name))
        for name in usecases.trials.TrialWish.__dataclass_fields__
        if name != "token" and getattr(wish, name)
    ]


def _one_context(request: Request, key: str) -> dict[str, object]:
    notebook = notebook_of(request)
    view, lines = usecases.trials.trial_shown(notebook, key), usecases.trials.trial_lines(notebook, key)
    return {
        "title": view.trial.name,
        "view": view,
        "lines": lines,
        "says": usecases.trials.trial_says(lines, now=clock_of(request)),
        "arms": [usecases.trials.arm_in_words(arm) for arm in view.trial.arms],
    }


def _new_context(request: Request, typed: Fields) -> dict[str, object]:
    notebook = notebook_of(request)
    recipes, assays = notebook.find(Recipe), notebook.find(Assay)
    asked = [word.strip() for text in typed.all("arms") for word in text.split(",") if word.strip()]
    known = [recipe.key for recipe in recipes]
    return {
        "title": "Plan a trial",
        "questions": QUESTIONS,
        "outcomes": JUDGED_BY,
        "scatters": SCATTER_CHOICES,
        "usual_scatter": usecases.trials.usual_scatter(notebook),
        "recipes": recipes,
        "assays": assays,
        "vessels": notebook.find(Vessel),
        "ticked": [key for key in asked if key in known],
        "other_arms": ", ".join(key for key in asked if key not in known),
        "again": urlencode(
            [(name, value) for name in usecases.trials.TrialWish.__dataclass_fields__ for value in typed.all(name) if value]
        ),
    }


def _design_rows(plan: usecases.trials.Plan) -> list[tuple[str, ...]]:
    designs = [plan.recommended, *plan.alternatives] if plan.recommended else []
    return [
        (
            "recommended" if d is plan.recommended else "",
            str(d.brews_per_arm),
            str(d.tests_per_brew),
            str(d.rounds),
            str(d.tests),
            given(d.cost),
            percent(d.power.told),
            percent(d.power.same_told),
            percent(d.power.false_claims, 1),
            number(d.power.detectable_ratio) if d.power.detectable_ratio < 100.0 else "-",
        )
        for d in designs
    ]


def _comparison_rows(verdict: usecases.trials.Verdict) -> list[tuple[str, ...]]:
    return [
        (
            item.label + ("" if item.planned else " (unplanned)"),
            usecases.trials.effect_in_words(item, verdict),
            item.call,
            _percent(item.probability_better),
            _percent(item.probability_same),
            _percent(item.probability_worse),
        )
        for item in verdict.comparisons
    ]


def _check_rows(verdict: usecases.trials.Verdict) -> list[tuple[str, ...]]:
    return [(item.label, item.method, usecases.trials.check_in_words(item, verdict), f"{item.p:.3g}") for item in verdict.checks]


def _percent(share: float | None) -> str:
    return "–" if share is None else percent(share)
