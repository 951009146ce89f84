"""Commands about tests: the certificate of a study, counting, ratios, two tests side by side, how many tests."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import Annotated, Any

from cyclopts import App, Parameter

from aerobe.cli import NOT_SETTLED
from aerobe.cli._common import JSON_ONLY, OWN, Where, now, progress, say
from aerobe.cli._files import write_whole
from aerobe.cli._pictures import save_picture
from aerobe.errors import ImportFault, UnusableRecord
from aerobe.records import Assay, AssayError
from aerobe.units import number

app = App(name="assay", help="Is my test any good? Certificates, counts, ratios, and how many tests to make.")


@app.command
def example(*, json: JSON_ONLY = False) -> None:
    """Print the table of an invented study, to see what to enter."""
    from aerobe.desk import example_study

    table = example_study()
    say({"table": table}, as_json=json, text=table.rstrip("\n"))


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

    from aerobe.desk import StudyForm, certificate_pictures, certify, keep_certificate

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
        write_whole(out / "certificate.txt", "\n".join(answer.as_text()) + "\n")
        write_whole(out / "certificate.json", json.dumps(answer.as_data(), ensure_ascii=False, indent=2) + "\n")
        for drawn, file in zip(certificate_pictures(answer), ("meaning", "colour"), strict=False):
            write_whole(out / f"certificate-{file}.svg", drawn.svg())
    if keep:
        with where.open(create=False) as open_one:
            keep_certificate(open_one, keep, answer, now=now())
    say(answer.as_data(), as_json=where.json, text=answer.as_text())


@app.command
def tubes(amounts: str, tubes_set: str, positives: str, /, *, level: float = 0.95, json: JSON_ONLY = False) -> None:
    """Most probable number of a set of tubes.

    Parameters
    ----------
    amounts
        Undiluted sample in each tube of a set [mL or g], for example "10 1 0.1".
    tubes_set
        Tubes in each set, for example "3 3 3".
    positives
        Positive tubes in each set, for example "3 1 0".
    level
        Of the limits.
    """
    from aerobe.desk import count_tubes

    found = count_tubes(amounts, tubes_set, positives, level=level)
    say(found, as_json=json, text=f"Most probable number per mL or g of the amounts given: {found.says}")


@app.command
def plates(counted: str, /, *, lowest: int = 10, highest: int = 300, json: JSON_ONLY = False) -> None:
    """Colonies per mL from plates.

    Parameters
    ----------
    counted
        mL of undiluted sample and colonies of each plate: "0.01:120 0.01:131 0.001:14"; too many as "0.01:>300".
    lowest
        Fewest colonies of a plate that counts: 10 after ISO 7218, 30 after ISO 21149, 25 after the US FDA manual.
    highest
        Most colonies of a plate that counts: 300 after ISO 7218 and ISO 21149, 250 after the US FDA manual.
    """
    from aerobe.desk import count_plates

    found, crowded = count_plates(counted, lowest=lowest, highest=highest)
    lines = [
        f"{count.says} 95 % limits {number(count.low)} to {number(count.high)} per mL." for count in (found, crowded) if count
    ]
    say({"weighted_mean": found, "with_crowded": crowded}, as_json=json, text=lines)


@app.command
def fields(counts: str, /, *, volume_ml: float = 1e-4, dilution: float = 1.0, json: JSON_ONLY = False) -> None:
    """Objects per mL from counts in equal fields or squares.

    Parameters
    ----------
    counts
        Objects in each field, for example "12 9 15 8".
    volume_ml
        Liquid that one field shows [mL]; 1 mm2 of a chamber 0.1 mm deep is 0.0001.
    dilution
        Final volume over sample volume.
    """
    from aerobe.desk import count_fields

    found = count_fields(counts, volume_ml=volume_ml, dilution=dilution)
    say(
        found,
        as_json=json,
        text=(
            f"{number(found.value)} per mL ({number(found.low)} to {number(found.high)}, 95 %), {found.counted} counted. "
            f"{found.says}"
        ),
    )


@app.command
def ratio(fungi: str, bacteria: str, /, *, fungi_sd: str, bacteria_sd: str, kind: str = "mass", json: JSON_ONLY = False) -> None:
    """Fungal to bacterial ratio of two measured parts, with its interval and its kind.

    Parameters
    ----------
    fungi
        Fungi, in the unit of the bacteria.
    bacteria
        Bacteria, in the unit of the fungi.
    fungi_sd
        Standard uncertainty of the fungi, in that unit.
    bacteria_sd
        Standard uncertainty of the bacteria, in that unit.
    kind
        mass, count, plate or marker: unlike kinds cannot be compared.
    """
    from aerobe.desk import ratio_of_parts

    found, interval = ratio_of_parts(fungi, bacteria, fungi_sd, bacteria_sd, kind)
    share, low, high = found.fungal_fraction()
    say(
        {"ratio": found, "interval": interval, "fungal_fraction": [share, low, high]},
        as_json=json,
        text=[
            f"Ratio ({kind}): {interval.says}",
            f"Fungal share: {100 * share:.0f} % ({100 * low:.0f} to {100 * high:.0f} %).",
        ],
    )


@app.command
def compare(
    first: str, second: str, /, *, foods: str = "", phases: str = "", names: str = "first second",
    picture: Path | None = None, json: JSON_ONLY = False,
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
    from aerobe.desk import compare_by_phase, compare_tests, picture_of_phases, picture_of_tests

    line, robust, agreement = compare_tests(first, second)
    lines = [line.says, *([robust.says] if robust else ["Passing-Bablok needs ten pairs."]), agreement.says]
    data: dict[str, Any] = {"deming": line, "passing_bablok": robust, "agreement": agreement}
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
    from aerobe.desk import content_by_addition

    found = content_by_addition(added, signals, background=background)
    text = f"{number(found.content)} ({number(found.low)} to {number(found.high)}, 95 %), in the unit of the additions."
    say(found, as_json=json, text=text)


@app.command
def carbon(cells_per_ml: str, cell_um3: str, /, *, group: str = "bacteria", json: JSON_ONLY = False) -> None:
    """Carbon of cells by every published factor, and how far these lie apart.

    Parameters
    ----------
    cells_per_ml
        Cells per mL.
    cell_um3
        Mean volume of one [um3].
    group
        bacteria or fungi.
    """
    from aerobe.desk import carbon_of_cells

    found = carbon_of_cells(cells_per_ml, cell_um3, group)
    lines = [f"{number(found.value)} ug C/mL ({number(found.low)} to {number(found.high)} by factor). {found.says}"]
    lines += [f"  {name}: {number(value)}" for name, value in found.by_factor]
    say(found, as_json=json, text=lines)


@app.command
def hyphae(
    crossings: str,
    /,
    *,
    grid_line_mm: float,
    filter_mm2: float,
    filtered_ml: float,
    width_um: float,
    dilution: float = 1.0,
    json: JSON_ONLY = False,
) -> None:
    """Length of hyphae by their crossings of grid lines, and its carbon.

    Parameters
    ----------
    crossings
        Crossings in each field, for example "4 7 2 5".
    grid_line_mm
        Length of grid lines seen in one field [mm].
    filter_mm2
        Area over which the hyphae lie [mm2].
    filtered_ml
        Liquid filtered [mL].
    width_um
        Mean width of the hyphae [um].
    dilution
        Final volume over sample volume.
    """
    from aerobe.desk import hyphae_of_crossings

    length, found = hyphae_of_crossings(
        crossings, grid_line_mm=grid_line_mm, filter_mm2=filter_mm2, filtered_ml=filtered_ml, width_um=width_um, dilution=dilution
    )
    lines = [
        f"{number(length.value)} m/mL of hyphae ({number(length.low)} to {number(length.high)}, 95 %). {length.says}",
        f"{number(found.value)} ug C/mL ({number(found.low)} to {number(found.high)} by factor). {found.says}",
    ]
    say({"length": length, "carbon": found}, as_json=json, text=lines)


@app.command
def basis(result: str, /, *, given: str, wanted: str, density: str = "1", moisture: str = "0", json: JSON_ONLY = False) -> None:
    """A result on another basis, with its uncertainty.

    Parameters
    ----------
    result
        Number alone or with its standard uncertainty: "300 +- 30".
    given
        Basis of the result: "per mL", "per g wet" or "per g dry".
    wanted
        Basis wanted: one of the same.
    density
        Of the material as sampled [g/mL], alone or with its uncertainty.
    moisture
        Grams of water per gram of wet material: 0.55 is 55 %.
    """
    from aerobe.desk import result_on_basis

    found = result_on_basis(result, given=given, wanted=wanted, density=density, moisture=moisture)
    drawn = found.simulated
    say(
        found,
        as_json=json,
        text=f"{number(found.linear.value)} {wanted} ({number(drawn.low)} to {number(drawn.high)}, 95 %). {found.says}",
    )


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
    from aerobe.desk import meaning as meaning_of

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
    from aerobe.desk import tests_needed

    error, own_price = _error_of(assay, where), _assay_of(assay, where).price
    found = tests_needed(
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
    from aerobe.desk import error_of_assay

    return error_of_assay(_assay_of(key, where))
