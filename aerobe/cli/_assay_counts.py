"""Commands that count: tubes, plates, fields, hyphae, carbon of cells, ratios, and the basis of a result.

`_assay` takes them into its group.
"""

from __future__ import annotations

from aerobe.cli._common import JSON_ONLY, say
from aerobe.units import number


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
    from aerobe.usecases.assay import count_tubes

    found = count_tubes(amounts, tubes_set, positives, level=level)
    say(found, as_json=json, text=f"Most probable number per mL or g, {100 * level:g} % limits: {found.says}")


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
    from aerobe.usecases.assay import count_plates

    found, crowded = count_plates(counted, lowest=lowest, highest=highest)
    lines = [
        f"{count.says} 95 % limits {number(count.low)} to {number(count.high)} per mL." for count in (found, crowded) if count
    ]
    say({"weighted_mean": found, "with_crowded": crowded}, as_json=json, text=lines)


def below(results: str, /, *, level: float = 0.9, method: str = "", json: JSON_ONLY = False) -> None:
    """Mean of results of which some lie below a limit.

    Parameters
    ----------
    results
        Results, those below a limit with their limit: "<10 34 12 <5 80".
    level
        Of the interval.
    method
        lognormal likelihood, normal likelihood, Kaplan-Meier, or regression on order statistics; left out: by the results.
    """
    from aerobe.usecases.assay import mean_of_censored

    found = mean_of_censored(results, level=level, method=method)
    say(found, as_json=json, text=found.says)


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
    from aerobe.usecases.assay import count_fields

    found = count_fields(counts, volume_ml=volume_ml, dilution=dilution)
    say(
        found,
        as_json=json,
        text=(
            f"{number(found.value)} per mL ({number(found.low)} to {number(found.high)}, 95 %), {found.counted} counted. "
            f"{found.says}"
        ),
    )


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
    from aerobe.usecases.assay import ratio_of_parts

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
    from aerobe.usecases.assay import carbon_of_cells

    found = carbon_of_cells(cells_per_ml, cell_um3, group)
    lines = [f"{number(found.value)} ug C/mL ({number(found.low)} to {number(found.high)} by factor). {found.says}"]
    lines += [f"  {name}: {number(value)}" for name, value in found.by_factor]
    say(found, as_json=json, text=lines)


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
    from aerobe.usecases.assay import hyphae_of_crossings

    length, found = hyphae_of_crossings(
        crossings, grid_line_mm=grid_line_mm, filter_mm2=filter_mm2, filtered_ml=filtered_ml, width_um=width_um, dilution=dilution
    )
    lines = [
        f"{number(length.value)} m/mL of hyphae ({number(length.low)} to {number(length.high)}, 95 %). {length.says}",
        f"{number(found.value)} ug C/mL ({number(found.low)} to {number(found.high)} by factor). {found.says}",
    ]
    say({"length": length, "carbon": found}, as_json=json, text=lines)


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
    from aerobe.usecases.assay import result_on_basis

    found = result_on_basis(result, given=given, wanted=wanted, density=density, moisture=moisture)
    drawn = found.simulated
    say(
        found,
        as_json=json,
        text=f"{number(found.linear.value)} {wanted} ({number(drawn.low)} to {number(drawn.high)}, 95 %). {found.says}",
    )
