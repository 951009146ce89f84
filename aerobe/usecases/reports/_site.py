"""All findings of a notebook as a folder of static pages: answers by question, then single brews."""

from __future__ import annotations

import re
from datetime import datetime

from aerobe.errors import AerobeError, UnusableRecord
from aerobe.evidence import notes_of, weigh
from aerobe.notebook import Notebook
from aerobe.records import Harvest, Trial
from aerobe.reports import FindingPage, authors_of, finding_of_pool, finding_of_report, site
from aerobe.usecases.evidence._pooling import OWN_PLACE, all_evidence
from aerobe.usecases.evidence._with_others import numbered_places
from aerobe.usecases.exchange._packages import versions
from aerobe.usecases.reports._writing import Wanted, is_invented, report_of_brew, report_of_trial


def static_site(
    notebook: Notebook,
    *,
    title: str,
    about: str,
    now: datetime,
    wanted: Wanted | None = None,
    authors: str = "",
    address: str = "",
) -> tuple[dict[str, bytes], tuple[str, ...]]:
    """Files by path, and a line for each trial or brew that cannot be reported yet.

    Parameters
    ----------
    title, about
        For the first page.
    now, wanted
        As for reports.
    authors
        Names to cite, apart by semicolons; empty where nobody is to be named.
    address
        Where the site will stand; empty if that is not known.

    Raises
    ------
    UnusableRecord
        If the address is none of the web.
    """
    if address and not re.fullmatch(r"https?://[^\s/<>\"']+(/[^\s<>\"']*)?", address):
        raise UnusableRecord(
            f"'{address[:80]}' is no address of a web site.", "Write it whole, such as https://example.org/tea/."
        )
    wanted = wanted or Wanted()
    findings: list[FindingPage] = []
    skipped: list[str] = []
    for trial in notebook.find(Trial):
        try:
            findings.append(finding_of_report(trial.key, report_of_trial(notebook, trial.key, now=now, wanted=wanted)))
        except AerobeError as fault:
            skipped.append(f"Trial {trial.key} is left out: {fault.problem}")
    pooled = pooled_findings(notebook, now=now, wanted=wanted, shown={one.slug for one in findings})
    for harvest in notebook.find(Harvest):
        try:
            findings.append(finding_of_report(harvest.brew, report_of_brew(notebook, harvest.brew, now=now, wanted=wanted)))
        except AerobeError as fault:
            skipped.append(f"Brew {harvest.brew} is left out: {fault.problem}")
    pages = site([*pooled, *findings], title=title, about=about, made_at=now, authors=authors_of(authors), address=address)
    return pages, tuple(skipped)


def pooled_findings(notebook: Notebook, *, now: datetime, wanted: Wanted, shown: set[str]) -> list[FindingPage]:
    """One finding for each pair of recipes that two trials or more have compared; places are numbered unless names may go out.

    Parameters
    ----------
    shown
        Slugs of trials that have a page of their own.
    """
    found, _ = all_evidence(notebook)
    told = found if wanted.with_people else numbered_places(found)
    made: list[FindingPage] = []
    pairs = dict.fromkeys((*sorted((item.recipe, item.against)), item.outcome) for item in told)
    for first, second, outcome in pairs:
        here = [item for item in told if {item.recipe, item.against} == {first, second} and item.outcome == outcome]
        if len(here) < 2:
            continue
        try:
            weighed = weigh(told, here[0].recipe, here[0].against, outcome=outcome)
            own = [f"trial-{item.key}" for item in weighed.contrasts if item.site == OWN_PLACE]
            made.append(
                finding_of_pool(
                    _slug(first, second, outcome, {one.slug for one in made}),
                    weighed,
                    notes=notes_of(weighed),
                    made_at=now,
                    licence=wanted.licence,
                    version=versions().get("aerobe", ""),
                    invented=is_invented(notebook) or any(item.invented for item in weighed.contrasts),
                    trials=tuple(slug for slug in dict.fromkeys(own) if slug in shown),
                )
            )
        except AerobeError:
            continue  # no usable trial of this pair: there is no answer to show
    return made


def _slug(first: str, second: str, outcome: str, taken: set[str]) -> str:
    """A folder name of plain letters: names of recipes are free text."""
    plain = re.sub(r"[^a-z0-9]+", "-", f"{first}-{second}-{outcome}".casefold()).strip("-")[:80] or "recipes"
    number = 2
    slug = f"pool-{plain}"
    while slug in taken:
        slug, number = f"pool-{plain}-{number}", number + 1
    return slug
