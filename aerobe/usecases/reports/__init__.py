"""Reports to read, to hand on and to check: of a brew, a trial, a test; a folder of static pages."""

from __future__ import annotations

from typing import TYPE_CHECKING

from aerobe.usecases._door import lazy_door

if TYPE_CHECKING:
    from aerobe.charts import Picture
    from aerobe.reports import Facts, Report, Shown
    from aerobe.usecases.reports._certificate import certificate_as_pdf
    from aerobe.usecases.reports._site import static_site
    from aerobe.usecases.reports._writing import (
        Wanted,
        check_package,
        report_as_html,
        report_as_pdf,
        report_of_assay,
        report_of_brew,
        report_of_trial,
    )
else:
    __getattr__, __dir__ = lazy_door(
        __name__,
        {
            "_certificate": ("certificate_as_pdf",),
            "_site": ("static_site",),
            "_writing": (
                "Wanted",
                "check_package",
                "report_as_html",
                "report_as_pdf",
                "report_of_assay",
                "report_of_brew",
                "report_of_trial",
            ),
            "aerobe.charts": ("Picture",),
            "aerobe.reports": ("Facts", "Report", "Shown"),
        },
    )

__all__ = [
    "Facts",
    "Picture",
    "Report",
    "Shown",
    "Wanted",
    "certificate_as_pdf",
    "check_package",
    "report_as_html",
    "report_as_pdf",
    "report_of_assay",
    "report_of_brew",
    "report_of_trial",
    "static_site",
]
