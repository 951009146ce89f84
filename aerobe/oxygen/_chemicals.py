"""Sulphite and cobalt in a clean-water test: how much, and what to mind."""

from __future__ import annotations

from dataclasses import dataclass

from aerobe.errors import OutsideValidity

# 2 Na2SO3 + O2 -> 2 Na2SO4: 2 x 126.04 / 32.00.
SULPHITE_MG_PER_MG_OXYGEN = 7.878

SULPHITE_CAUTION = (
    "Sodium sulphite can set off asthma and irritates eyes and skin; with acid it gives off sulphur dioxide. "
    "Wear gloves and glasses, dissolve it in water before pouring, work in moving air. Test in clean water only, never in a "
    "brew, and rinse the vessel afterwards."
)
COBALT_CAUTION = (
    "Cobalt salts are toxic, may cause cancer and allergy, and harm life in water. A bucket test works without them: sulphite "
    "alone needs some minutes longer. Where a standard asks for cobalt, leave it to a laboratory, and never pour the water on "
    "soil or plants: dispose of it as local rules for chemical waste say. Follow the safety data sheets."
)


@dataclass(frozen=True, slots=True, kw_only=True)
class SulphiteDose:
    """Sulphite for one clean-water test, with the cautions that go with it."""

    exact_g: float  # to remove the oxygen that is there [g]
    usual_g: float  # with a tenth more, so that zero is reached [g]
    cautions: tuple[str, ...]


def sulphite_dose(volume_l: float, oxygen_mg_per_l: float, *, excess: float = 0.1) -> SulphiteDose:
    """Sodium sulphite (anhydrous) that takes the oxygen out of clean water.

    Parameters
    ----------
    volume_l
        Water. [L]
    oxygen_mg_per_l
        Present oxygen. [mg/L]
    excess
        Share added on top; more than a fifth delays the rise and biases the run. [-]

    Returns
    -------
    SulphiteDose
        Grams, and cautions to show with them.

    Raises
    ------
    OutsideValidity
        If volume, oxygen or excess make no sense.

    Source
    ------
    stoichiometry, cee4530-2019

    Examples
    --------
    >>> round(1000 * sulphite_dose(4.0, 7.558).exact_g)
    238
    """
    if volume_l <= 0.0 or not 0.0 <= oxygen_mg_per_l <= 20.0 or not 0.0 <= excess <= 1.0:
        raise OutsideValidity(
            f"{volume_l:g} L at {oxygen_mg_per_l:g} mg/L with {excess:g} in excess is no clean-water test.",
            "Give litres, mg/L between 0 and 20, and an excess between 0 and 1.",
        )
    exact = volume_l * oxygen_mg_per_l * SULPHITE_MG_PER_MG_OXYGEN / 1000.0
    return SulphiteDose(exact_g=exact, usual_g=exact * (1.0 + excess), cautions=(SULPHITE_CAUTION, COBALT_CAUTION))
