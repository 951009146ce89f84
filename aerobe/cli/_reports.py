"""Commands of reports: write one, check one, make a folder of pages."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

from cyclopts import App, Parameter

from aerobe.cli import NOT_SETTLED
from aerobe.cli._common import JSON_ONLY, OWN, Where, now, progress, say
from aerobe.errors import ImportFault
from aerobe.usecases.notebook import require_new, write_new

if TYPE_CHECKING:
    from aerobe.usecases.reports import Poster, Report, Wanted

app = App(name="report", help="Reports with their data: write, check anew, publish a folder of pages.")

Folder = Annotated[Path, Parameter(name=["--to", "-o"], help="Folder to write to.")]
Licence = Annotated[str, Parameter(help="Of the data: CC0-1.0, CC-BY-4.0, CC-BY-SA-4.0, ODC-By-1.0 or ODbL-1.0.")]
People = Annotated[bool, Parameter(help="Keep names of people, places and free notes; left out by default.")]


@Parameter(name="*")
@dataclass(frozen=True, slots=True, kw_only=True)
class ReportOptions:
    """Where a report is written to, and what goes with it."""

    to: Folder = Path(".")
    licence: Licence = "CC-BY-4.0"
    with_people: People = False
    pictures: Annotated[bool, Parameter(help="Also write pictures to show: three sizes, light and dark, SVG and PNG.")] = False

    def wanted(self, *, at_h: float | None = None, assay: str = "") -> Wanted:
        """What the report is asked to hold."""
        from aerobe.usecases.reports import Wanted

        return Wanted(licence=self.licence, with_people=self.with_people, at_h=at_h, assay=assay)

    def require_free(self, stem: str) -> None:
        """Refuse, before anything is computed, to write a report over an earlier one."""
        require_new(self.to / f"{stem}{end}" for end in ENDINGS)


ENDINGS = (".html", ".pdf", "-data.zip")
OPTIONS = ReportOptions()


@app.command
def brew(
    key: str,
    /,
    *,
    options: ReportOptions = OPTIONS,
    where: Where = OWN,
) -> None:
    """Write the report of a brew: one HTML page, a tagged PDF, and the data package.

    Parameters
    ----------
    key
        Key of the brew.
    """
    from aerobe.usecases.reports import brew_as_tests_came, poster_of_report, report_of_brew

    options.require_free(f"brew-{key}")
    with where.open(create=False) as book, progress("fitting the brew and writing its report"):
        report = report_of_brew(book, key, now=now(), wanted=options.wanted())
        poster = poster_of_report(report, moving=brew_as_tests_came(book, key, now=now())) if options.pictures else None
    _written(report, f"brew-{key}", options.to, where.json, poster)


@app.command
def trial(
    key: str,
    /,
    *,
    assay: str = "",
    at_h: float | None = None,
    options: ReportOptions = OPTIONS,
    where: Where = OWN,
) -> None:
    """Write the report of a trial: one HTML page, a tagged PDF, and the data package.

    Parameters
    ----------
    key
        Key of the trial.
    assay
        Key of the assay whose readings are judged; the one that measured the most brews if left out.
    at_h
        Hour to compare the brews at; the last planned sample if left out. [h]
    """
    from aerobe.usecases.reports import poster_of_report, report_of_trial

    options.require_free(f"trial-{key}")
    wanted = options.wanted(at_h=at_h, assay=assay)
    with where.open(create=False) as book, progress("judging the trial and writing its report"):
        report = report_of_trial(book, key, now=now(), wanted=wanted)
    _written(report, f"trial-{key}", options.to, where.json, poster_of_report(report) if options.pictures else None)


@app.command
def assay(
    table: Path,
    /,
    *,
    name: str,
    method: str,
    price: float = 0.0,
    scale_low: float | None = None,
    scale_high: float | None = None,
    recipe: str = "",
    options: ReportOptions = OPTIONS,
    json: JSON_ONLY = False,
) -> None:
    """Write the report of an assay from the table of its characterisation study.

    Parameters
    ----------
    table
        Table of the study, as for `aerobe assay`.
    name
        What you call the test.
    method
        How it works: "colour test", turbidity, "plate count" ...
    price
        Of one test, in your currency.
    scale_low
        Lowest mark of its scale, in the unit of the study.
    scale_high
        Highest mark of its scale, in the unit of the study.
    recipe
        Recipe whose colour the conclusion is about.
    """
    from aerobe.usecases.reports import StudiedTest, poster_of_report, report_of_assay

    options.require_free(f"assay-{table.stem}")
    text = _read(table).decode("utf-8", errors="replace")
    with progress("characterising the assay and writing its report"):
        report = report_of_assay(
            text,
            test=StudiedTest(name=name, method=method, price=price, scale_low=scale_low, scale_high=scale_high),
            recipe=recipe or None,
            now=now(),
            wanted=options.wanted(),
        )
    _written(report, f"assay-{table.stem}", options.to, json, poster_of_report(report) if options.pictures else None)


@app.command
def check(package: Path, /, *, json: JSON_ONLY = False) -> int:
    """Compute the reports in a data package anew and compare every number. Exit code 4: something differs.

    Parameters
    ----------
    package
        The zip file that came with a report.
    """
    from aerobe.usecases.exchange import require_harmless
    from aerobe.usecases.reports import check_package

    content = _read(package)
    with progress("computing everything anew"):
        require_harmless(content, package.name, package=True)
        found = check_package(content, now=now())
    lines = [
        line
        for one in found
        for line in (one.in_words(), *(f"  {gap.name}: {gap.then} then, {gap.now} now" for gap in one.differences))
    ]
    say({"checks": found, "same": all(one.is_same for one in found)}, as_json=json, text=lines)
    return 0 if all(one.is_same for one in found) else NOT_SETTLED


@app.command
def site(
    folder: Path,
    /,
    *,
    title: str = "Tea trials",
    about: str = "",
    authors: str = "",
    address: str = "",
    licence: Licence = "CC-BY-4.0",
    with_people: People = False,
    where: Where = OWN,
) -> None:
    """Write a folder of static pages for any web host: answers by question, a page for each trial and finished brew.

    Parameters
    ----------
    folder
        A new or empty folder.
    title
        Heading of the first page.
    about
        A sentence or two for the first page.
    authors
        Names to cite, apart by semicolons: "Family, Given" for a person, a plain name for a group. Nobody is named if left out.
    address
        Where the folder will stand on the web; the card that others show of a link needs it.
    """
    from aerobe.usecases.reports import Wanted, static_site

    if folder.exists() and (not folder.is_dir() or any(folder.iterdir())):
        raise ImportFault(f"{folder} is not an empty folder.", "Name a new one; nothing is overwritten.")
    with where.open(create=False) as book, progress("writing all reports"):
        files, skipped = static_site(
            book,
            title=title,
            about=about,
            now=now(),
            wanted=Wanted(licence=licence, with_people=with_people),
            authors=authors,
            address=address,
        )
    write_new({folder / name: content for name, content in files.items()})
    lines = [f"Wrote {len(files)} files to {folder}; open {folder / 'index.html'}.", *skipped]
    say({"folder": str(folder), "files": sorted(files), "skipped": skipped}, as_json=where.json, text=lines)


def _written(report: Report, stem: str, to: Path, as_json: bool, poster: Poster | None) -> None:
    from aerobe.usecases.reports import as_pdf, pictures_to_show, report_as_html

    contents = (report_as_html(report), as_pdf(report), report.package)
    files = {f"{stem}{end}": content for end, content in zip(ENDINGS, contents, strict=True)}
    if poster is not None:
        files |= {f"{stem}-{name}": content for name, content in pictures_to_show(poster).items()}
    write_new({to / name: content for name, content in files.items()})
    paths = [str(to / name) for name in files]
    answer = {
        "headline": report.headline,
        "rests_on": report.basis,
        "files": paths,
        "numbers": report.numbers,
        "seed": report.seed,
        "versions": report.versions,
    }
    say(answer, as_json=as_json, text=[report.headline, *filter(None, [report.basis]), *(f"Wrote {path}" for path in paths)])


def _read(path: Path) -> bytes:
    try:
        return path.read_bytes()
    except OSError as fault:
        raise ImportFault(f"{path} cannot be read: {fault.strerror}.", "Check the path.") from None
