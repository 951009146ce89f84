"""A finding as a page to link: question, answer, one picture, how sure, what it can't tell, and how to check it yourself."""

from __future__ import annotations

import csv
import hashlib
import io
import json
import zipfile
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from importlib import resources

from aerobe.charts import COLOURS, Look, Poster, poster_png
from aerobe.evidence import Weighed, site_means
from aerobe.reports._blocks import Report, Warned
from aerobe.reports._deposit import (
    Cited,
    as_sentence,
    citation_file,
    datacite_metadata,
    dataset_described,
    deposit_metadata,
)
from aerobe.reports._finding import pool_sure, poster_of, poster_of_pool
from aerobe.reports._html import _data_url, _template, as_html
from aerobe.reports._pdf import as_pdf
from aerobe.units import as_cell, signs_of_page

WIDTHS_PX = {"narrow": 340, "wide": 600}  # of the picture on the page: its letters are read on a phone
SHOWN_LIMITS = 3  # the others stand behind a line
CARD = "card.png"
YOURS = "Whether it holds with your compost, water and air: only a trial of your own tells."
SAFE = "Nothing here says that a tea is safe or allowed. Local codes and licensed practice decide."
POOL_FOLDER = "recompute"
_EPOCH = (1980, 1, 1, 0, 0, 0)


@dataclass(frozen=True, slots=True, kw_only=True)
class FindingPage:
    """A finding ready to become a folder of a site.

    Parameters
    ----------
    slug, kind
        Its folder; "pool", "trial" or "brew".
    question, answer
        The answer never says more than the verdict.
    sure, cannot_tell
        How sure, and what it can't tell, in sentences.
    poster
        Its picture; the square one is the card that others see when the page is linked.
    package_name, package
        The data.
    how
        What to run on the data, each a few words and a command.
    made_at, licence, version, invented
        When, under which licence, with which program, and whether the data are made up.
    files
        What else lies in the folder: the full report.
    checks
        Further checks of how sure it is, for who wants them.
    trials
        Of a pooled answer, the slugs of the trials of one's own that it rests on.
    """

    slug: str
    kind: str
    question: str
    answer: str
    sure: tuple[str, ...]
    cannot_tell: tuple[str, ...]
    poster: Poster
    package_name: str
    package: bytes
    how: tuple[tuple[str, str], ...]
    made_at: datetime
    licence: str
    version: str
    invented: bool
    files: Mapping[str, bytes] = field(default_factory=dict)
    checks: tuple[str, ...] = ()
    trials: tuple[str, ...] = ()

    @property
    def sure_in_short(self) -> str:
        """How sure, in a sentence."""
        return self.sure[0] if self.sure else ""


def finding_of_report(key: str, report: Report) -> FindingPage:
    """The finding of a trial or a brew, with its full report beside it.

    Raises
    ------
    NotEnoughData
        If the report has no chart.
    """
    warned = [block for block in report.first if isinstance(block, Warned)]
    limits = [item for block in warned if "cannot tell" in block.title for item in block.items]
    name = report.package_name
    how = [("Compute everything anew and compare", f"aerobe report check {name}")]
    if report.beside:
        how.append(("Or without this program, in the unpacked data", "python recompute/recompute.py"))
    return FindingPage(
        slug=f"{report.kind}-{key}",
        kind=report.kind,
        question=report.title,
        answer=report.in_passing or report.headline,
        sure=tuple(filter(None, (report.sure, report.basis))),
        cannot_tell=tuple(limits),
        poster=poster_of(report),
        package_name=name,
        package=report.package,
        how=tuple(how) if report.package else (),
        made_at=report.made_at,
        licence=report.licence,
        version=report.versions.get("aerobe", ""),
        invented=report.invented,
        files={"report.html": as_html(report).encode(), "report.pdf": as_pdf(report)},
    )


def finding_of_pool(
    slug: str,
    weighed: Weighed,
    *,
    notes: Sequence[str],
    made_at: datetime,
    licence: str,
    version: str,
    invented: bool,
    trials: tuple[str, ...] = (),
) -> FindingPage:
    """The finding of all trials on a pair of recipes.

    Parameters
    ----------
    slug
        Its folder.
    notes
        Checks and reasons beside the answer.
    made_at, licence, version, invented, trials
        As in `Finding`.

    Raises
    ------
    NotEnoughData
        If no trial compared the pair directly.
    """
    name = f"{slug}-data.zip"
    package = pool_package(weighed)
    poster = poster_of_pool(
        weighed, made_at=made_at, source=f"Data and recompute script: {name}; Aerobe {version}".rstrip(), invented=invented
    )
    flags = dict.fromkeys(flag.words for flag in weighed.flags if flag.severity != "note")
    return FindingPage(
        slug=slug,
        kind="pool",
        question=poster.question,
        answer=poster.headline,
        sure=(pool_sure(weighed), weighed.says),
        cannot_tell=tuple(dict.fromkeys([*weighed.held_back, *flags, YOURS])),
        checks=tuple(notes),
        poster=poster,
        package_name=name,
        package=package,
        how=(("In the unpacked data, with Python alone", "python recompute/recompute_pool.py"),) if weighed.pooled else (),
        made_at=made_at,
        licence=licence,
        version=version,
        invented=invented,
        trials=trials,
    )


def pool_package(weighed: Weighed) -> bytes:
    """The trials and places of a pooled answer as tables, with a script that finds the pooled ratio again."""
    places = site_means(weighed.contrasts)
    trials = [
        [item.key, item.site, repr(item.effect), repr(item.variance), item.brews, item.brews_against]
        for item in weighed.contrasts
    ]
    rows = [
        [name, repr(float(y)), repr(float(v))] for name, y, v in zip(places.names, places.effects, places.variances, strict=True)
    ]
    files = {
        "trials.csv": _table(("trial", "place", "effect", "variance", "brews", "brews_against"), trials),
        f"{POOL_FOLDER}/places.csv": _table(("place", "effect", "variance"), rows),
    }
    if weighed.pooled is not None:
        found = weighed.pooled
        said = {"recipe": weighed.recipe, "against": weighed.against, "outcome": weighed.outcome, "level": weighed.level}
        said |= {name: getattr(found, name) for name in ("estimate", "low", "high")}
        said["t"] = (found.high - found.low) / (2.0 * found.se)
        files[f"{POOL_FOLDER}/pool.json"] = json.dumps(said, ensure_ascii=False, indent=1).encode()
        script = resources.files("aerobe.reports").joinpath("scripts", "recompute_pool.py.script")
        files[f"{POOL_FOLDER}/recompute_pool.py"] = script.read_bytes()
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as packed:
        for name in sorted(files):
            packed.writestr(zipfile.ZipInfo(name, date_time=_EPOCH), files[name], compress_type=zipfile.ZIP_DEFLATED)
    return out.getvalue()


def finding_files(one: FindingPage, *, authors: tuple[str, ...], address: str) -> dict[str, bytes]:
    """The folder of a finding: its page, its card, data, and what it needs to be cited and kept.

    Parameters
    ----------
    authors
        Names to cite; empty where nobody is named.
    address
        Where the site will stand, ending in a slash; empty if that is not known.
    """
    here = f"{address}{one.slug}/" if address else ""
    about = as_sentence(
        ("Invented data, for practice." if one.invented else "", f"{one.question}.", one.answer, one.sure_in_short)
    )
    cited = Cited(
        title=one.question,
        about=about,
        authors=authors,
        made_at=one.made_at,
        licence=one.licence,
        version=one.version,
        address=here,
        package=one.package_name if one.package else "",
        sha256=hashlib.sha256(one.package).hexdigest() if one.package else "",
    )
    files = {
        "index.html": _page(one, cited).encode(),
        CARD: poster_png(one.poster, "square"),
        "CITATION.cff": citation_file(cited),
        "datacite.json": datacite_metadata(cited),
        "deposit.json": deposit_metadata(cited),
        **one.files,
    }
    if one.package:
        files[one.package_name] = one.package
    return {f"{one.slug}/{name}": content for name, content in files.items()}


def _page(one: FindingPage, cited: Cited) -> str:
    looks: tuple[Look, Look] = ("light", "dark")
    picture = one.poster.pictures[-1]
    drawn = {
        f"{look}_{name}": _data_url("image/svg+xml", picture.svg(look, width_px=width).encode())
        for look in looks
        for name, width in WIDTHS_PX.items()
    }
    text = _template("finding.html").render(
        one=one,
        cited=cited,
        card=f"{cited.address}{CARD}",
        described=dataset_described(cited),
        picture=picture,
        drawn=drawn,
        first_limits=one.cannot_tell[:SHOWN_LIMITS],
        more_limits=one.cannot_tell[SHOWN_LIMITS:],
        data_kb=-(-len(one.package) // 1024),
        safe=SAFE,
        colours=COLOURS,
    )
    return signs_of_page(text)


def _table(columns: Sequence[str], rows: Sequence[Sequence[object]]) -> bytes:
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(columns)
    writer.writerows([[as_cell(cell) for cell in row] for row in rows])
    return out.getvalue().encode()
