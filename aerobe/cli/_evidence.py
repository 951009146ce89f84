"""Commands of evidence: take in what others found, list it, weigh it, pool every brew."""

from __future__ import annotations

import math
from pathlib import Path
from typing import Annotated, Any

from cyclopts import App, Parameter

from aerobe.cli import NOT_SETTLED
from aerobe.cli._common import OWN, Where, now, progress, say, table
from aerobe.cli._pictures import save_poster
from aerobe.errors import ImportFault
from aerobe.records import as_json
from aerobe.units import ratio_of, ratio_words

app = App(name="evidence", help="What many people found: take in, list, weigh, pool every brew.")


@app.command
def take(file: Path, /, *, site: str = "", where: Where = OWN) -> None:
    """Take in the trials of a data package, or a table of ratios typed from papers. Own records stay as they are.

    Parameters
    ----------
    file
        A zip that came with a report, or a table (CSV).
    site
        What to call the place it comes from.
    """
    from aerobe.usecases.evidence import take_evidence
    from aerobe.usecases.exchange import require_harmless

    try:
        content = file.read_bytes()
    except OSError as fault:
        raise ImportFault(f"{file} cannot be read: {fault.strerror}.", "Check the path.") from None
    with where.open() as book, progress("reading and judging"):
        require_harmless(content, file.name, package=content[:4] == b"PK\x03\x04")
        taken = take_evidence(book, content, file.name, now=now(), site=site)
    lines = [f"{len(taken.new)} new, {taken.known} known already.", *taken.silent]
    lines += [f"  {item.key}: {item.recipe} against {item.against}, {item.outcome}" for item in taken.new]
    say(taken, as_json=where.json, text=lines)


@app.command(name="site")
def site_(key: str, package: Path, /, *, site: str, where: Where = OWN) -> None:
    """Take in what a site found that joined one of your trials; it is pooled with the others by site.

    Parameters
    ----------
    key
        Key of your trial, whose protocol was sent out.
    package
        The data package that came back.
    site
        What to call the site.
    """
    from aerobe.usecases.exchange import require_harmless, take_site

    try:
        content = package.read_bytes()
    except OSError as fault:
        raise ImportFault(f"{package} cannot be read: {fault.strerror}.", "Check the path.") from None
    with where.open(create=False) as book:
        require_harmless(content, package.name, package=True)
        found = take_site(book, key, content, package.name, site=site, now=now())
    lines = [f"{found.site}: {len(found.taken.new)} new, {found.taken.known} known already.", *found.says, *found.taken.silent]
    say(found, as_json=where.json, text=lines)


@app.command(name="list")
def list_(*, where: Where = OWN) -> None:
    """Pairs of recipes that trials speak of."""
    from aerobe.usecases.evidence import evidence_pairs

    with where.open(create=False) as book, progress("judging own trials"):
        pairs = evidence_pairs(book)
    answer = [{"recipe": pair[0], "against": pair[1], "outcome": pair[2], "trials": pair[3]} for pair in pairs]
    say(answer, as_json=where.json, text=table(("recipe", "against", "outcome", "trials"), pairs))


@app.command
def weigh(
    recipe: str,
    against: str,
    /,
    *,
    outcome: str = "biomass",
    margin: Annotated[float, Parameter(help="A difference worth having, as a ratio.")] = 1.25,
    show: Path | None = None,
    where: Where = OWN,
) -> int:
    """Pool what all trials say of one recipe against another. Exit code 4: that does not tell.

    Parameters
    ----------
    recipe
        Name of the recipe, as `aerobe evidence list` shows it.
    against
        Name of the recipe it is compared with.
    outcome
        What the trials were judged by.
    show
        Folder for pictures to show: three sizes, light and dark, SVG and PNG.
    """
    from aerobe.usecases.evidence import flags_by_words, weigh_evidence
    from aerobe.usecases.reports import is_invented, poster_of_evidence

    with where.open(create=False) as book, progress("pooling"):
        answer = weigh_evidence(book, recipe, against, outcome=outcome, margin_ratio=margin)
        invented = is_invented(book)
    weighed = answer.weighed
    lines = [weighed.says, *(line for picture in answer.pictures[:1] for line in picture.figures.as_text().splitlines())]
    if weighed.pooled is not None:
        pooled = weighed.pooled
        lines.append(
            f"Between trials: sd of ln ratio {math.sqrt(pooled.tau2):.2f} ({math.sqrt(pooled.tau2_low):.2f} to "
            f"{math.sqrt(pooled.tau2_high):.2f}), I2 {pooled.i2:.0f} %."
        )
    lines += answer.notes
    lines += [f"{words} ({', '.join(trials)})" for words, trials in flags_by_words(weighed).items()]
    if show is not None:
        lines += save_poster(poster_of_evidence(weighed, now=now(), invented=invented), show, "evidence")
    say({**as_json(weighed), "notes": list(answer.notes)} if where.json else weighed, as_json=where.json, text=lines)
    return NOT_SETTLED if weighed.answer == "cannot tell" else 0


@app.command
def brews(*, reference: str = "", outcome: str = "biomass", gpu: bool = False, where: Where = OWN) -> None:
    """Pool every brew of own and imported trials in one hierarchical model.

    Parameters
    ----------
    reference
        Recipe to compare with; the one in most trials if left out.
    outcome
        What the trials were judged by.
    gpu
        Run on a GPU through cupy.
    """
    from aerobe.usecases.evidence import pool_all_brews

    with where.open(create=False) as book, progress("pooling every brew"):
        found = pool_all_brews(book, reference=reference, outcome=outcome, on_gpu=gpu)
    rows = [
        (item.recipe, _ratio(item.effect), _ratio(item.next_trial), f"{item.probability_better:.2f}", item.brews, item.trials)
        for item in found.recipes
    ]
    head = ("recipe", f"times {found.reference} (90 %)", "in a next trial", "better?", "brews", "trials")
    lines = [f"{found.brews} brews of {found.trials} trials.", *table(head, rows)]
    lines += [f"sd {name}: {one.mean:.2f} ({one.low:.2f} to {one.high:.2f})" for name, one in found.spreads.items()]
    say(found, as_json=where.json, text=lines)


def _ratio(one: Any) -> str:
    return ratio_words(*map(ratio_of, (one.mean, one.low, one.high)))
