"""Safe use on the phone: gates, compost, tests, water and gear, and the question "may this tea go there?"."""

from __future__ import annotations

from typing import Annotated
from urllib.parse import quote

from fastapi import APIRouter, Depends, Request, Response

from aerobe import usecases
from aerobe.errors import AerobeError, UnusableReading
from aerobe.units import VOLUME, parse_number, whole_numbers
from aerobe.web._frame import Fields, clock_of, fields, go_to, live_of, menu_entry, notebook_of, page
from aerobe.web._views import thinker_of

router = APIRouter()
nav = menu_entry("Safe use", "/safety", order=50, icon="safety")
Sent = Annotated[Fields, Depends(fields)]


@router.get("/safety")
def hub(request: Request) -> Response:
    """Whose rules, which brews, and the tools."""
    notebook, now = notebook_of(request), clock_of(request)
    overview = usecases.brews.brews_overview(notebook, now=now)
    cards = [*overview.under_way, *overview.earlier]
    return page(
        request,
        "safety/hub.html",
        title="Safe use",
        place=usecases.safety.place_of(notebook),
        places=usecases.safety.places(),
        cards=cards,
        cautions=usecases.safety.cautions_for("brewing", "edible"),
        own=usecases.safety.own_rule_of(notebook),
    )


@router.post("/safety/place")
def choose(request: Request, sent: Sent) -> Response:
    """Choose whose rules count."""
    usecases.safety.choose_place(notebook_of(request), sent.text("place"), now=clock_of(request))
    thinker_of(request).renew()
    return go_to("/safety?done=Chosen.+Check+your+local+code+all+the+same.")


@router.post("/safety/own-rule")
def own_rule(request: Request, sent: Sent) -> Response:
    """Keep a stricter rule of one's own."""
    usecases.safety.set_own_rule(notebook_of(request), days=sent.text("days"), test=sent.text("test"), now=clock_of(request))
    return go_to("/safety?done=Kept.+It+counts+beside+the+rules+of+the+place.")


@router.get("/safety/brews/{key}")
def brew(request: Request, key: str) -> Response:
    """The harvest gates of one brew, and the notes that open them."""
    return page(request, "safety/brew.html", context=_brew_context(request, key))


@router.post("/safety/brews/{key}/smell")
def smell(request: Request, key: str, sent: Sent) -> Response:
    """Note the smell."""
    try:
        usecases.safety.note_smell(notebook_of(request), key, sent.text("smell"), now=clock_of(request), token=sent.text("entry"))
    except AerobeError as fault:
        return page(request, "safety/brew.html", status=422, context=_brew_context(request, key), fault=fault, sent=sent)
    live_of(request).tell("brew", key)
    return go_to(f"/safety/brews/{quote(key)}?done=The+smell+is+noted.")


@router.post("/safety/brews/{key}/air")
def air(request: Request, key: str, sent: Sent) -> Response:
    """Note whether the air ran without a break, or when it was started again."""
    try:
        usecases.safety.note_air(
            notebook_of(request),
            key,
            now=clock_of(request),
            unbroken=usecases.safety.yes_or_no(sent.text("unbroken")),
            restarted=sent.text("restarted"),
            token=sent.text("entry"),
        )
    except AerobeError as fault:
        return page(request, "safety/brew.html", status=422, context=_brew_context(request, key), fault=fault, sent=sent)
    live_of(request).tell("brew", key)
    return go_to(f"/safety/brews/{quote(key)}?done=The+air+is+noted.")


@router.post("/safety/brews/{key}/test")
def indicator(request: Request, key: str, sent: Sent) -> Response:
    """Note an indicator test."""
    try:
        test = usecases.safety.IndicatorTest(
            brew=key,
            germ=sent.text("germ"),
            amounts_ml=tuple(parse_number(word) for word in sent.text("amounts").split()),
            tubes=whole_numbers(sent.text("tubes")),
            positives=whole_numbers(sent.text("positives")),
            colonies=whole_numbers(sent.text("colonies")),
        )
        found = usecases.safety.note_indicator_test(notebook_of(request), test, now=clock_of(request), token=sent.text("entry"))
    except AerobeError as fault:
        return page(request, "safety/brew.html", status=422, context=_brew_context(request, key), fault=fault, sent=sent)
    return page(request, "safety/brew.html", context=_brew_context(request, key, finding=found))


@router.post("/safety/brews/{key}/germ")
def germ(request: Request, key: str, sent: Sent) -> Response:
    """Note what a laboratory found."""
    try:
        usecases.safety.note_germ(
            notebook_of(request),
            key,
            sent.text("disease_germ"),
            sent.text("outcome"),
            now=clock_of(request),
            token=sent.text("entry"),
        )
    except AerobeError as fault:
        return page(request, "safety/brew.html", status=422, context=_brew_context(request, key), fault=fault, sent=sent)
    live_of(request).tell("brew", key)
    return go_to(f"/safety/brews/{quote(key)}?done=Noted.+A+germ+that+was+found+is+not+undone.")


@router.get("/safety/compost/{key}")
def compost(request: Request, key: str) -> Response:
    """What a compost's record shows."""
    return page(request, "safety/compost.html", context=_compost_context(request, key))


@router.post("/safety/compost/{key}")
def compost_history(request: Request, key: str, sent: Sent) -> Response:
    """Add to a compost's history."""
    notebook, now = notebook_of(request), clock_of(request)
    try:
        pieces = parse_number(sent.text("pieces")) if sent.text("pieces") else None
        usecases.safety.note_compost_history(
            notebook,
            key,
            now=now,
            process=sent.text("process"),
            log=sent.text("log"),
            unit=sent.text("unit"),
            ratio=sent.text("ratio"),
        )
        made_of, said = ", ".join(filter(None, sent.all("made_of"))), (sent.text("certificate"), sent.text("soiled"))
        if made_of or any(said):
            usecases.safety.note_material(
                notebook,
                key,
                now=now,
                made_of=made_of,
                certificate=said[0],
                soiled=said[1],
                token=f"{sent.text('entry')}-material",
            )
        if pieces is not None:
            usecases.safety.note_pieces(notebook, key, pieces, now=now, token=sent.text("entry"))
    except AerobeError as fault:
        return page(request, "safety/compost.html", status=422, context=_compost_context(request, key), fault=fault, sent=sent)
    thinker_of(request).renew()
    return go_to(f"/safety/compost/{quote(key)}?done=Kept.")


@router.post("/safety/water/{recipe}")
def water(request: Request, recipe: str, sent: Sent) -> Response:
    """Note a water test of a recipe."""
    if sent.text("e_coli") not in ("found", "none"):
        raise UnusableReading("The outcome of the water test is missing.", "Choose found or none.")
    usecases.safety.note_water_test(
        notebook_of(request), recipe, e_coli_found=sent.text("e_coli") == "found", now=clock_of(request), token=sent.text("entry")
    )
    return go_to(f"/safety/brews/{quote(sent.text('brew'))}?done=The+water+test+is+noted.")


@router.get("/safety/gear")
def gear(
    request: Request,
    water: str = "",
    water_unit: str = "L",
    chlorine: str = "",
    chloramine: str = "not known",
    bath: str = "",
    bath_unit: str = "L",
    bleach: str = "",
) -> Response:
    """Chlorine out of the water, and a bath for clean gear."""
    typed = {
        "water": water,
        "water_unit": water_unit,
        "bath_unit": bath_unit,
        "chlorine": chlorine,
        "chloramine": chloramine,
        "bath": bath,
        "bleach": bleach,
    }
    sent = Fields(values={name: (value,) for name, value in typed.items()})
    out = wash = fault = None
    try:
        if water and chlorine:
            known = {"yes": True, "no": False}.get(chloramine)
            out = usecases.safety.dechlorinate(
                water_l=VOLUME.read(sent.quantity("water")), chlorine_mg_per_l=parse_number(chlorine), chloramine=known
            )
        if bath and bleach:
            wash = usecases.safety.sanitise(bath_l=VOLUME.read(sent.quantity("bath")), bleach_percent=parse_number(bleach))
    except AerobeError as found:
        fault = found
    return page(
        request,
        "safety/gear.html",
        status=422 if fault else 200,
        title="Water and gear",
        out=out,
        wash=wash,
        fault=fault,
        sent=sent,
        cautions=usecases.safety.cautions_for("sanitising", "chemicals"),
    )


@router.get("/safety/cautions")
def cautions(request: Request) -> Response:
    """All cautions in full."""
    return page(request, "safety/cautions.html", title="Cautions", cautions=usecases.safety.cautions_for())


@router.get("/safety/hazards")
def hazards(request: Request) -> Response:
    """The register of hazards: who is at risk, the caution, and where it is decided or shown."""
    return page(request, "safety/hazards.html", title="Hazards", hazards=usecases.safety.hazards())


@router.get("/safety/sampling")
def sampling(request: Request) -> Response:
    """Sampling and handling, step by step."""
    steps = {place: usecases.safety.sampling_steps(place) for place in ("vessel", "way", "bench")}
    warned = usecases.safety.cautions_for("sampling")
    return page(request, "safety/sampling.html", title="How to sample", steps=steps, cautions=warned)


@router.get("/safety/limits")
def limits(request: Request) -> Response:
    """Every limit on file with source and date."""
    found = usecases.safety.safety_limits()
    rows = [(item.says, f"{item.value:g} {item.unit}", item.source, item.date) for item in found["limits"]]
    rules = [(item.jurisdiction, item.says, item.source, item.date) for item in found["compost_rules"]]
    return page(request, "safety/limits.html", title="Limits and where they come from", rows=rows, rules=rules)


@router.get("/api/safety/brews/{key}")
def gates_json(request: Request, key: str) -> dict[str, object]:
    """The harvest gates of a brew, for programs."""
    found = usecases.safety.gates_of_brew(notebook_of(request), key, now=clock_of(request))
    return usecases.safety.gates_as_data(found, usecases.brews.stand_in_words(notebook_of(request), key))


def _brew_context(request: Request, key: str, finding: object = None) -> dict[str, object]:
    notebook, now = notebook_of(request), clock_of(request)
    view = usecases.brews.brew_view(notebook, key, now=now)
    return {
        "title": f"Safe use: {view.card.brew.name}",
        "view": view,
        "gates": usecases.safety.gates_of_brew(notebook, key, now=now),
        "stand_in": usecases.brews.stand_in_words(notebook, key),
        "smells": usecases.brews.SMELLS,
        "finding": finding,
        "germs": tuple(usecases.safety.GERM_FACTS),
        "cautions": usecases.safety.cautions_for("harvest"),
    }


def _compost_context(request: Request, key: str) -> dict[str, object]:
    notebook = notebook_of(request)
    place = usecases.safety.place_of(notebook)
    return {
        "title": "Compost history",
        "key": key,
        "place": place,
        "finding": usecases.safety.check_compost(notebook, key) if place else None,
        "noted": usecases.safety.material_of(notebook, key),
        "materials": usecases.safety.MADE_OF,
        "certificates": usecases.safety.CERTIFICATES,
        "cautions": usecases.safety.cautions_for("compost"),
    }
