"""The certificate of a test as one page of PDF."""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime

from aerobe.charts import Poster
from aerobe.reports import PointList, Report, Shown, as_pdf, poster_of
from aerobe.sources import cite
from aerobe.usecases.assay._certificate import AssayAnswer, StudyForm, certificate_pictures, certify
from aerobe.usecases.reports._writing import StudiedTest, report_of_assay

PAGE_SOURCES = ("rocke-lorenzato-1995", "iso-5725-3", "currie-1968")  # as many as one page holds


def certificate_as_pdf(form: StudyForm, *, now: datetime) -> bytes:
    """The certificate on one page as a tagged PDF; attached is the study as an open data package.

    The longer report with all readings and sources is `report_of_assay`.
    """
    answer, full = _reported(form, now)
    lines = tuple(f"{heading}: {words}" for heading, words in answer.lines if heading != "Conclusion")
    page = (Shown(picture=certificate_pictures(answer)[0]), PointList(items=lines))
    return as_pdf(replace(full, headline=answer.conclusion, first=page, sections=(), sources=tuple(cite(*PAGE_SOURCES))))


def poster_of_certificate(form: StudyForm, *, now: datetime) -> Poster:
    """The certificate of a test as a picture to show: its conclusion, and no more."""
    _, full = _reported(form, now)
    return poster_of(full)


def _reported(form: StudyForm, now: datetime) -> tuple[AssayAnswer, Report]:
    """The certificate, and the long report of its study."""
    answer = certify(form)
    study = answer.certificate.study
    full = report_of_assay(
        form.table,
        test=StudiedTest(
            name=study.name, method=study.method, price=study.price, scale_low=study.scale_low, scale_high=study.scale_high
        ),
        now=now,
        recipe=answer.recipe,
    )
    return answer, full
