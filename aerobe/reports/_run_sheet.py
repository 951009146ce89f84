"""The run sheet on paper: one page a brew, with clock times, boxes to tick, spare rows and labels."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime, timedelta
from typing import Any

from aerobe.assay import sampling_steps
from aerobe.records import PlannedBrew, RunSheet, Trial
from aerobe.reports._html import TEMPLATES, _template

SPARE_ROWS = 4
SAMPLING = {"vessel": "At the vessel", "way": "On the way", "bench": "At the bench"}


def sheet_page(
    sheet: RunSheet,
    trial: Trial,
    *,
    with_arms: bool = False,
    link: str = "",
    style_href: str = "",
    vessels: Mapping[str, str] | None = None,
    weighed: Mapping[str, str] | None = None,
) -> str:
    """The printable page (HTML, A4 or letter, nothing loaded from elsewhere).

    Parameters
    ----------
    sheet
        The run sheet. [-]
    trial
        For its name and question. [-]
    with_arms
        Whether to add the key of codes to arms, on a page of its own for the person who mixes the recipes. [-]
    link
        Address that a label opens, with `{brew}` where the key goes; empty puts the key alone into the code. [-]
    style_href
        Address of the style sheet, for a server that allows no inline style; empty writes the style into the page. [-]
    vessels
        Names of the vessels by key. [-]
    weighed
        What goes into each brew, by its key; it stands on the page of the key alone. [-]

    Returns
    -------
    str
        The page. [-]
    """
    brews = [_brew(brew, link) for brew in sheet.brews]
    return _template("run_sheet.html").render(
        sheet=sheet,
        trial=trial,
        brews=brews,
        with_arms=with_arms,
        vessels=vessels or {},
        weighed=weighed or {},
        spare=range(SPARE_ROWS),
        steps=[(words, sampling_steps(place)) for place, words in SAMPLING.items()],
        style=run_sheet_style(),
        style_href=style_href,
    )


def run_sheet_style() -> str:
    """The style sheet of the printable page."""
    return (TEMPLATES / "run_sheet.css").read_text(encoding="utf-8")


def _brew(brew: PlannedBrew, link: str) -> dict[str, Any]:
    rows = []
    for sample in brew.samples:
        clock = None if brew.starts_at is None else brew.starts_at + timedelta(hours=sample.elapsed_h)
        for test in range(sample.tests):
            rows.append(
                {
                    "clock": _clock(clock),
                    "elapsed_h": f"{sample.elapsed_h:g}",
                    "what": "sample" if sample.tests == 1 else f"sample, test {test + 1}",
                }
            )
        rows += [{"clock": _clock(clock), "elapsed_h": f"{sample.elapsed_h:g}", "what": role} for role in sample.controls]
    return {
        "planned": brew,
        "start": _clock(brew.starts_at),
        "rows": rows,
        "qr": _qr(link.format(brew=brew.brew) if link else brew.brew),
        "labels": [_label(brew, sample.elapsed_h, role) for sample in brew.samples for role in ("sample", *sample.controls)],
    }


def _label(brew: PlannedBrew, elapsed_h: float, role: str) -> dict[str, str]:
    return {"code": brew.blind_code, "text": f"{elapsed_h:g} h {role}", "qr": _qr(f"{brew.brew} {elapsed_h:g} h {role}")}


def _clock(moment: datetime | None) -> str:
    return "" if moment is None else moment.strftime("%a %d %b %H:%M")


def _qr(text: str) -> str:
    import segno

    # micro=False: many phone cameras do not read the small variant.
    return str(segno.make(text, error="m", micro=False).svg_inline(scale=2, border=2))
