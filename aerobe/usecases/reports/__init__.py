"""Reports to read, to hand on and to check: of a brew, a trial, a test; a folder of static pages."""

from __future__ import annotations

from typing import TYPE_CHECKING

from aerobe.usecases._door import lazy_door

if TYPE_CHECKING:
    from aerobe.charts import Picture, Poster
    from aerobe.reports import Facts, Report, Shown, as_pdf
    from aerobe.usecases.reports._certificate import certificate_as_pdf, poster_of_certificate
    from aerobe.usecases.reports._showing import (
        brew_as_tests_came,
        packed_pictures,
        packed_poster,
        picture_to_show,
        pictures_to_show,
        poster_of_evidence,
        poster_of_food,
        poster_of_report,
    )
    from aerobe.usecases.reports._site import static_site
    from aerobe.usecases.reports._writing import (
        StudiedTest,
        Wanted,
        check_package,
        is_invented,
        report_as_html,
        report_of_assay,
        report_of_brew,
        report_of_trial,
    )
else:
    __getattr__, __dir__ = lazy_door(
        __name__,
        {
            "_certificate": ("certificate_as_pdf", "poster_of_certificate"),
            "_showing": (
                "brew_as_tests_came",
                "packed_pictures",
                "packed_poster",
                "picture_to_show",
                "pictures_to_show",
                "poster_of_evidence",
                "poster_of_food",
                "poster_of_report",
            ),
            "_site": ("static_site",),
            "_writing": (
                "StudiedTest",
                "Wanted",
                "check_package",
                "is_invented",
                "report_as_html",
                "report_of_assay",
                "report_of_brew",
                "report_of_trial",
            ),
            "aerobe.charts": ("Picture", "Poster"),
            "aerobe.reports": ("Facts", "Report", "Shown", "as_pdf"),
        },
    )

__all__ = [
    "Facts",
    "Picture",
    "Poster",
    "Report",
    "Shown",
    "StudiedTest",
    "Wanted",
    "as_pdf",
    "brew_as_tests_came",
    "certificate_as_pdf",
    "check_package",
    "is_invented",
    "packed_pictures",
    "packed_poster",
    "picture_to_show",
    "pictures_to_show",
    "poster_of_certificate",
    "poster_of_evidence",
    "poster_of_food",
    "poster_of_report",
    "report_as_html",
    "report_of_assay",
    "report_of_brew",
    "report_of_trial",
    "static_site",
]
