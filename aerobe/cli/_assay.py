"""Commands about tests: the certificate of a study, counting, ratios, two tests side by side, how many tests."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import Annotated

from cyclopts import App, Parameter

from aerobe.cli import NOT_SETTLED
from aerobe.cli._assay_counts import basis, below, carbon, fields, hyphae, plates, ratio, tubes
from aerobe.cli._common import JSON_ONLY, OWN, Where, now, progress, say
from aerobe.cli._pictures import save_picture
from aerobe.errors import ImportFault, UnusableRecord
from aerobe.records import Assay, AssayError
from aerobe.units import display_units, number
from aerobe.usecases.notebook import write_new

app = App(name="assay", help="Is my test any good? Certificates, counts, ratios, and how many tests to make.")

for counting in (tubes, plates, fields, below, ratio, carbon, hyphae, basis):
    app.command(counting)


@app.command
def example(*, json: JSON_ONLY = False) -> None:
    """Print the table of an invented study, to see what to enter."""
    from aerobe.usecases.assay import example_study

    table = example_study()
    if json:
        say({"table": table}, as_json=True)
    else:
        print(table, end="")  # a file to be read again: in the letters and units it is kept in


@app.command
def certificate(
    study: str,
    /,
    *,
    name: str = "My test",
    method: str = "colour test",
    price: str = "",
    scale_low: str = "",
    scale_high: str = "",
    recipe: str = "",
    reading: str = "",
    keep: str = "",
    out: Annotated[Path | None, Parameter(help="Folder for the certificate as text, picture and JSON.")] = None,
    where: Where = OWN,
) -> None:
    """The one-page certificate of a characterisation study.

    Parameters
    ----------
    study
        Table of readings (see `aerobe assay example`), or - for standard input.
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
        The tea that the conclusion speaks of.
    reading
        The reading that the conclusion speaks of.
    keep
        Key of an assay in the notebook that takes the error found.
    """
    import json

    from aerobe.usecases.assay import StudyForm, certificate_pictures, certify, keep_certificate

    form = StudyForm(
        table=_text_of(study),
        name=name,
        method=method,
        price=price,
        scale_low=scale_low,
        scale_high=scale_high,
        recipe=recipe,
        reading=reading,
    )
    with progress("Fitting the error of the test"):
        answer = certify(form)
    if out is not None:
        files: dict[Path, bytes | str] = {
            out / "certificate.txt": "\n".join(answer.as_text()) + "\n",
            out / "certificate.json": json.dumps(answer.as_data(), ensure_ascii=False, indent=2) + "\n",
        }
        for drawn, file in zip(certificate_pictures(answer), ("meaning", "colour"), strict=False):
            files[out / f"certificate-{file}.svg"] = drawn.in_units(display_units()).svg()
        write_new(files)
    if keep:
        with where.open(create=False) as open_one:
            keep_certificate(open_one, keep, answer, now=now())
    say(answer.as_data(), as_json=where.json, text=answer.as_text())


@app.command
def compare(
    first: str,
    second: str,
    /,
    *,
    foods: str = "",
    phases: str = "",
    names: str = "first second",
    picture: Path | None = None,
    json: JSON_ONLY = False,
) -> None:
    """Two tests on the same samples: line, limits of agreement, and whether their ratio moves with food and phase.

    Parameters
    ----------
    first
        Results of the first test: "12 30 55".
    second
        Results of the second test, in the same order of samples.
    foods
        Food of each sample, words with spaces between them; goes with --phases.
    phases
        Phase of growth of each sample, words with spaces between them; goes with --foods.
    names
        What the two tests are called, two words.
    picture
        Also draw the pairs, or with --foods and --phases the ratios, to this file (.svg or .png).
    """
    from aerobe.usecases.assay import compare_by_phase, compare_tests, picture_of_phases, picture_of_tests

    line, robust, agreement = compare_tests(first, second)
    lines = [line.says, *([robust.says] if robust else ["Passing-Bablok needs ten pairs."]), agreement.says]
    data: dict[str, object] = {"deming": line, "passing_bablok": robust, "agreement": agreement}
    named = _two(names)
    drawn = picture_of_tests(first, second, line, names=named, unit="-") if picture is not None else None
    if foods and phases:
        moving = compare_by_phase(first, second, foods.split(), phases.split())
        lines.append(moving.says)
        data["by_phase"] = moving
        drawn = picture_of_phases(moving, named) if picture is not None else None
    if picture is not None and drawn is not None:
        lines.append(save_picture(drawn, picture))
    say(data, as_json=json, text=lines)


@app.command
def addition(added: str, signals: str, /, *, background: float = 0.0, json: JSON_ONLY = False) -> None:
    """Content of a sample by standard addition, where the tea itself changes the slope of the test.

    Parameters
    ----------
    added
        Known additions to equal portions, nothing added as 0: "0 50 100 150".
    signals
        Their readings, in the same order.
    background
        Signal without microbes: water blank plus colour.
    """
    from aerobe.usecases.assay import content_by_addition

    found = content_by_addition(added, signals, background=background)
    text = f"{number(found.content)} ({number(found.low)} to {number(found.high)}, 95 %), in the unit of the additions."
    say(found, as_json=json, text=text)


@app.command
def meaning(assay: str, reading: float, /, *, readings: int = 1, with_scale: bool = False, where: Where = OWN) -> None:
    """What a reading means, by the error that the notebook keeps for an assay.

    Parameters
    ----------
    assay
        Key of the assay.
    reading
        The reading, or the mean of several of one sample, in the assay's unit.
    readings
        How many are in that mean.
    with_scale
        Include the uncertain scale of the kit, to compare with another kind of test.
    """
    from aerobe.usecases.assay import biomass_from_reading as meaning_of

    found = meaning_of(_error_of(assay, where), reading, readings=readings, with_scale=with_scale)
    unit = _assay_of(assay, where).unit
    say(found, as_json=where.json, text=f"In {unit}, 90 % interval: {found.says}")


@app.command
def how_many(
    assay: str,
    /,
    *,
    expected: float,
    within: float,
    price: float | None = None,
    sample_price: float = 0.0,
    sample_cv: float = 0.0,
    true_value: bool = False,
    where: Where = OWN,
) -> int:
    """How many tests on this sample, and what they cost. Exit code 4: no number of tests reaches it.

    Parameters
    ----------
    assay
        Key of the assay.
    expected
        Result that you expect, in its unit.
    within
        Wanted half-width of the 90 % interval, in per cent of that.
    price
        Of one test; the assay's own if left out.
    sample_price
        Of taking one more sample.
    sample_cv
        Scatter between samples of one brew, as a fraction.
    true_value
        Count bias and scale too, which repeats do not remove.
    """
    from aerobe.usecases.assay import plan_tests

    error, own_price = _error_of(assay, where), _assay_of(assay, where).price
    found = plan_tests(
        error,
        expected=expected,
        wanted_percent=within,
        test_price=own_price if price is None else price,
        sample_price=sample_price,
        sample_cv=sample_cv,
        same_kit=not true_value,
    )
    say(found, as_json=where.json, text=found.says)
    return 0 if found.reachable else NOT_SETTLED


def _two(names: str) -> tuple[str, str]:
    first, _, second = names.strip().partition(" ")
    if not first or not second.strip():
        raise UnusableRecord(f"'{names}' does not name two tests.", "Write two words: --names 'cytometry microscopy'.")
    return first, second.strip()


def _text_of(study: str) -> str:
    if study == "-":
        return sys.stdin.read()
    try:
        return Path(study).read_text(encoding="utf-8-sig")
    except (OSError, UnicodeDecodeError) as fault:
        raise ImportFault(
            f"The study '{study}' cannot be read ({fault}).", "Give the path of a CSV table, or - to type it in."
        ) from None


def _assay_of(key: str, where: Where) -> Assay:
    with where.open(create=False) as open_one:
        found: Assay = open_one.get(Assay, key)
    return found


def _error_of(key: str, where: Where) -> AssayError:
    from aerobe.usecases.assay import error_of_assay

    return error_of_assay(_assay_of(key, where))
