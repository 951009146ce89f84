"""Measuring and sizing: transfer from a run, a probe checked, air for a vessel."""

from __future__ import annotations

from typing import Annotated, Any

from fastapi import APIRouter, Depends, Request, Response

from aerobe import usecases
from aerobe.errors import AerobeError
from aerobe.records import DIFFUSERS, Vessel
from aerobe.units import ELAPSED, LENGTH, OXYGEN, RATE, TEMPERATURE, VOLUME
from aerobe.web._frame import Fields, clock_of, fields, notebook_of, page

router = APIRouter()
Sent = Annotated[Fields, Depends(fields)]


@router.get("/oxygen/measure")
def measure_form(request: Request) -> Response:
    """The form of a re-aeration run."""
    return page(request, "oxygen/measure.html", title="Measure the air", context=_measure_context(request))


@router.post("/oxygen/measure")
def measure(request: Request, sent: Sent) -> Response:
    """Judge a run; keep its transfer with a vessel if asked."""
    context = _measure_context(request)
    try:
        warm, high = TEMPERATURE.read(sent.quantity("temperature")), LENGTH.read(sent.quantity("altitude", "0 m"))
        log = usecases.oxygen.read_run(
            _run_text(sent),
            time_unit=sent.text("time_unit"),
            oxygen_unit=sent.text("oxygen_unit"),
            temperature_degc=warm,
            altitude_m=high,
        )
        key = sent.text("vessel")
        vessel = notebook_of(request).get(Vessel, key) if key else None
        off, on = sent.quantity("off"), sent.quantity("on")
        if off or on:
            estimate: Any = usecases.oxygen.measure_steps(
                log,
                off_at_h=ELAPSED.read(off),
                on_at_h=ELAPSED.read(on),
                temperature_degc=warm,
                altitude_m=high,
                probe_t90_s=_seconds(sent, "t90"),
            )
            context["steps"] = estimate
        else:
            report = usecases.oxygen.measure_kla(
                log,
                temperature_degc=warm,
                altitude_m=high,
                probe_t90_s=_seconds(sent, "t90"),
                vessel=vessel,
                nominal_step_s=_seconds(sent, "step") or None,
            )
            estimate = report.estimate
            context |= {"report": report, "picture": usecases.oxygen.kla_picture(report)}
        if vessel is not None and sent.ticked("keep") and not any(found.forbids for found in estimate.faults):
            usecases.oxygen.keep_kla(notebook_of(request), vessel.key, estimate, now=clock_of(request))
            context["kept"] = vessel.name
    except AerobeError as fault:
        return page(request, "oxygen/measure.html", status=422, title="Measure the air", fault=fault, sent=sent, context=context)
    return page(request, "oxygen/measure.html", title="Measure the air", sent=sent, context=context)


@router.get("/oxygen/probe")
def probe_form(request: Request) -> Response:
    """The form of a probe check."""
    return page(
        request, "oxygen/probe.html", title="Check a probe", check=None, dose=None, caution=usecases.oxygen.SULPHITE_CAUTION
    )


@router.post("/oxygen/probe")
def probe(request: Request, sent: Sent) -> Response:
    """Judge a probe."""
    context: dict[str, object] = {"check": None, "dose": None, "caution": usecases.oxygen.SULPHITE_CAUTION}
    try:
        warm = TEMPERATURE.read(sent.quantity("temperature"))
        zero = sent.quantity("zero")
        context["check"] = usecases.oxygen.check_probe(
            OXYGEN.read(sent.quantity("reading")),
            warm,
            altitude_m=LENGTH.read(sent.quantity("altitude", "0 m")),
            zero_mg_per_l=OXYGEN.read(zero) if zero else None,
        )
    except AerobeError as fault:
        return page(request, "oxygen/probe.html", status=422, title="Check a probe", fault=fault, sent=sent, context=context)
    return page(request, "oxygen/probe.html", title="Check a probe", sent=sent, context=context)


@router.get("/oxygen/size")
def size_form(request: Request) -> Response:
    """The form of sizing and scaling."""
    return page(request, "oxygen/size.html", title="Size the air", diffusers=DIFFUSERS, plans=(), scaled=None)


@router.post("/oxygen/size")
def size(request: Request, sent: Sent) -> Response:
    """Air for a transfer, or for a larger vessel at equal transfer."""
    context: dict[str, object] = {"diffusers": DIFFUSERS, "plans": (), "scaled": None}
    try:
        vessel = usecases.brews.read_vessel(
            usecases.brews.VesselTyped(
                volume=sent.quantity("volume"),
                depth=sent.quantity("depth"),
                flow=sent.quantity("flow", "0 L/min"),
                diffuser=sent.text("diffuser", "coarse bubble"),
                kla=sent.quantity("kla"),
            )
        )
        if sent.text("to_volume"):
            depth = sent.quantity("to_depth")
            context["scaled"] = usecases.oxygen.scale_vessel(
                vessel, VOLUME.read(sent.quantity("to_volume")), depth_m=LENGTH.read(depth) if depth else None
            )
        else:
            need = sent.quantity("need")
            wanted = RATE.read(need) if need else usecases.oxygen.vessel_kla(vessel)[0]
            context["plans"] = usecases.oxygen.size_air(vessel, kla20_per_h=wanted)
    except AerobeError as fault:
        return page(request, "oxygen/size.html", status=422, title="Size the air", fault=fault, sent=sent, context=context)
    return page(request, "oxygen/size.html", title="Size the air", sent=sent, context=context)


def _measure_context(request: Request) -> dict[str, object]:
    return {
        "vessels": notebook_of(request).find(Vessel),
        "report": None,
        "steps": None,
        "picture": None,
        "kept": "",
        "sulphite": usecases.oxygen.sulphite_dose(10.0, 9.0),
    }


def _run_text(sent: Fields) -> str:
    file = sent.upload("file")
    return file.file.read(2_000_000).decode("utf-8-sig", errors="replace") if file is not None else sent.text("run")


def _seconds(sent: Fields, name: str) -> float:
    typed = sent.quantity(name)
    return 3600.0 * ELAPSED.read(typed) if typed else 0.0
