"""Tests: the certificate of a study, counting, two tests side by side, what a reading means and how many to make."""

from __future__ import annotations

from typing import Annotated

from fastapi import APIRouter, Body, Depends, Request, Response
from fastapi.concurrency import run_in_threadpool
from fastapi.responses import JSONResponse, PlainTextResponse

from aerobe import usecases
from aerobe.errors import AerobeError, ImportFault, UnusableReading
from aerobe.records import Assay, as_json
from aerobe.units import parse_number, whole_numbers
from aerobe.web._frame import Fields, clock_of, fields, menu_entry, notebook_of, page, zipped

router = APIRouter()
nav = menu_entry("Is my test any good?", "/assay", order=35, icon="assay")
Sent = Annotated[Fields, Depends(fields)]
TITLE = "Is my test any good?"


@router.get("/assay")
def study_form(request: Request) -> Response:
    """The form of a characterisation study."""
    return page(request, "assay/study.html", title=TITLE, context=_study_context(request))


@router.get("/assay/example.csv")
def example(request: Request) -> Response:
    """The table of an invented study."""
    return PlainTextResponse(usecases.assay.example_study(), media_type="text/csv")


@router.post("/assay")
async def study(request: Request, sent: Sent) -> Response:
    """The certificate of a study; kept with an assay if asked. What was typed comes back with a fault."""
    context = await run_in_threadpool(_study_context, request)
    try:
        table = await _table(sent)
        context["table"] = table
        context |= await run_in_threadpool(_certify, request, sent, table)
    except AerobeError as fault:
        return page(request, "assay/study.html", status=422, title=TITLE, fault=fault, sent=sent, context=context)
    return page(request, "assay/study.html", title=TITLE, sent=sent, context=context)


@router.post("/assay/paper")
def paper(request: Request, sent: Sent) -> Response:
    """The certificate as a PDF for the shelf, with its data attached; or as pictures to show."""
    form = _form(sent, sent.text("table"))
    if sent.text("as") == "pictures":
        return zipped(usecases.reports.poster_of_certificate(form, now=clock_of(request)), "certificate")
    content = usecases.reports.certificate_as_pdf(form, now=clock_of(request))
    return Response(
        content, media_type="application/pdf", headers={"Content-Disposition": 'attachment; filename="certificate.pdf"'}
    )


@router.post("/api/assay/certificate")
def certificate_data(asked: Annotated[dict[str, object], Body()]) -> Response:
    """The certificate as data. Send `table`, and what else the form asks for, as JSON text fields."""
    known = ("table", "name", "method", "price", "scale_low", "scale_high", "recipe", "reading")
    unknown = sorted(set(asked) - set(known))
    if unknown or not isinstance(asked.get("table"), str):
        raise ImportFault("The study cannot be read.", f"Send JSON with the text fields {', '.join(known)}; table is needed.")
    answer = usecases.assay.certify(usecases.assay.StudyForm(**{name: str(asked[name]) for name in known if name in asked}))
    return JSONResponse(answer.as_data())


@router.get("/api/assay/tubes")
def tubes_data(amounts: str, tubes: str, positives: str, level: float = 0.95) -> Response:
    """A most probable number as data."""
    return JSONResponse(as_json(usecases.assay.count_tubes(amounts, tubes, positives, level=level)))


@router.get("/api/assay/plates")
def plates_data(plates: str, lowest: int = 10, highest: int = 300) -> Response:
    """A plate count as data."""
    found, crowded = usecases.assay.count_plates(plates, lowest=lowest, highest=highest)
    return JSONResponse({"weighted_mean": as_json(found), "with_crowded": as_json(crowded)})


@router.get("/assay/count")
def count_form(request: Request) -> Response:
    """Forms of tubes, plates, fields and ratios."""
    return page(request, "assay/count.html", title="Counts and ratios", asked="", answers=())


@router.post("/assay/count")
def count(request: Request, sent: Sent) -> Response:
    """One count."""
    asked = sent.text("asked")
    try:
        answers = _COUNTS[asked](sent) if asked in _COUNTS else ()
    except AerobeError as fault:
        return page(
            request, "assay/count.html", status=422, title="Counts and ratios", fault=fault, sent=sent, asked=asked, answers=()
        )
    return page(request, "assay/count.html", title="Counts and ratios", sent=sent, asked=asked, answers=answers)


@router.get("/assay/compare")
def compare_form(request: Request) -> Response:
    """The form of two tests on the same samples."""
    return page(request, "assay/compare.html", title="Two tests side by side", answers=(), pictures=())


@router.post("/assay/compare")
def compare(request: Request, sent: Sent) -> Response:
    """Line and limits of agreement."""
    context: dict[str, object] = {"answers": (), "pictures": ()}
    try:
        first, second = sent.text("first"), sent.text("second")
        line, robust, agreement = usecases.assay.compare_tests(first, second)
        answers = [line.says, robust.says if robust else "Passing-Bablok needs ten pairs.", agreement.says]
        names = (sent.text("first_name", "first test"), sent.text("second_name", "second test"))
        pictures = [usecases.assay.picture_of_tests(first, second, line, names=names, unit=sent.text("unit", "-"))]
        if sent.text("foods") and sent.text("phases"):
            moving = usecases.assay.compare_by_phase(first, second, sent.text("foods").split(), sent.text("phases").split())
            answers.append(moving.says)
            pictures.append(usecases.assay.picture_of_phases(moving, names))
        context = {"answers": answers, "pictures": pictures}
    except AerobeError as fault:
        return page(
            request, "assay/compare.html", status=422, title="Two tests side by side", fault=fault, sent=sent, context=context
        )
    return page(request, "assay/compare.html", title="Two tests side by side", sent=sent, context=context)


@router.get("/assay/tests")
def tests_form(request: Request) -> Response:
    """What a reading means, and how many tests to make."""
    known = usecases.assay.assays_with_error(notebook_of(request))
    return page(request, "assay/tests.html", title="How many tests?", assays=known, meant=None, plan=None)


@router.post("/assay/tests")
def tests(request: Request, sent: Sent) -> Response:
    """Answer from the error that the notebook keeps."""
    notebook = notebook_of(request)
    context: dict[str, object] = {"assays": usecases.assay.assays_with_error(notebook), "meant": None, "plan": None}
    try:
        kept = notebook.get(Assay, sent.text("assay"))
        error = usecases.assay.error_of_assay(kept)
        if sent.text("reading"):
            context["meant"] = usecases.assay.biomass_from_reading(
                error,
                parse_number(sent.text("reading")),
                readings=int(parse_number(sent.text("readings", "1"))),
                with_scale=sent.ticked("with_scale"),
            )
        if sent.text("expected"):
            context["plan"] = usecases.assay.plan_tests(
                error,
                expected=parse_number(sent.text("expected")),
                wanted_percent=parse_number(sent.text("within", "20")),
                test_price=parse_number(sent.text("price", f"{kept.price:g}")),
                sample_price=parse_number(sent.text("sample_price", "0")),
                sample_cv=parse_number(sent.text("sample_cv", "0")) / 100,
                same_kit=not sent.ticked("true_value"),
            )
    except AerobeError as fault:
        return page(request, "assay/tests.html", status=422, title="How many tests?", fault=fault, sent=sent, context=context)
    return page(request, "assay/tests.html", title="How many tests?", sent=sent, context=context)


def _study_context(request: Request) -> dict[str, object]:
    return {
        "columns": usecases.assay.STUDY_COLUMNS,
        "steps": usecases.assay.STEPS,
        "methods": usecases.assay.STUDY_METHODS,
        "assays": notebook_of(request).find(Assay),
        "table": "",
        "caution": usecases.assay.ASSAY_CAUTION,
        "answer": None,
        "pictures": (),
        "kept": "",
    }


async def _table(sent: Fields) -> str:
    """The file that was chosen, the typed table, or the readings of the steps."""
    upload = sent.upload("file")
    if upload is None:
        return sent.text("table") or _table_of_steps(sent)
    try:
        return (await upload.read()).decode("utf-8-sig")
    except UnicodeDecodeError:
        raise ImportFault("The file is not a text table.", "Save it as CSV with UTF-8 text, then choose it again.") from None


def _table_of_steps(sent: Fields) -> str:
    """The table from the steps, if any was filled in."""
    typed = {step.name: sent.text(step.name) for step in usecases.assay.STEPS}
    if not any(typed.values()):
        return ""
    return usecases.assay.table_of_steps(
        usecases.assay.StudySteps(**typed, unit=sent.text("unit", "ug C/mL"), tea=sent.text("recipe", "this tea"))
    )


def _form(sent: Fields, table: str) -> usecases.assay.StudyForm:
    return usecases.assay.StudyForm(
        table=table,
        name=sent.text("name", "My test"),
        method=sent.text("method", "colour test"),
        price=sent.text("price"),
        scale_low=sent.text("scale_low"),
        scale_high=sent.text("scale_high"),
        recipe=sent.text("recipe"),
        reading=sent.text("reading"),
    )


def _certify(request: Request, sent: Fields, table: str) -> dict[str, object]:
    answer = usecases.assay.certify(_form(sent, table))
    kept = ""
    if sent.text("assay"):
        usecases.assay.keep_certificate(notebook_of(request), sent.text("assay"), answer, now=clock_of(request))
        kept = sent.text("assay")
    return {"answer": answer, "pictures": usecases.assay.certificate_pictures(answer), "kept": kept}


def _tubes(sent: Fields) -> tuple[str, ...]:
    found = usecases.assay.count_tubes(sent.text("amounts"), sent.text("tubes"), sent.text("positives"))
    return (f"Most probable number per mL or g: {found.says}", f"Rarity of this pattern {found.rarity:.2g} (1 is the likeliest).")


def _plates(sent: Fields) -> tuple[str, ...]:
    rule = sent.text("rule", "10-300")
    numbers = whole_numbers(rule.replace("-", " "))
    if len(numbers) != 2:
        raise UnusableReading(f"'{rule}' is no countable range.", "Choose one of the list.")
    found, crowded = usecases.assay.count_plates(sent.text("plates"), lowest=numbers[0], highest=numbers[1])
    return tuple(f"{item.says} Limits {item.low:.4g} to {item.high:.4g} per mL." for item in (found, crowded) if item is not None)


def _fields(sent: Fields) -> tuple[str, ...]:
    found = usecases.assay.count_fields(
        sent.text("counts"), volume_ml=parse_number(sent.text("volume_ml")), dilution=parse_number(sent.text("dilution", "1"))
    )
    return (f"{found.value:.3g} per mL ({found.low:.3g} to {found.high:.3g}), {found.counted} counted.", found.says)


def _ratio(sent: Fields) -> tuple[str, ...]:
    found, interval = usecases.assay.ratio_of_parts(
        sent.text("fungi"), sent.text("bacteria"), sent.text("fungi_sd"), sent.text("bacteria_sd"), sent.text("kind")
    )
    share, low, high = found.fungal_fraction()
    return (
        f"Ratio ({found.kind}): {interval.says}",
        f"Fungal share {100 * share:.0f} % ({100 * low:.0f} to {100 * high:.0f} %).",
    )


_COUNTS = {"tubes": _tubes, "plates": _plates, "fields": _fields, "ratio": _ratio}
