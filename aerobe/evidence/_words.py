"""What stands beside the answer on a pair of recipes, in sentences."""

from __future__ import annotations

from aerobe.evidence._sites import near_names
from aerobe.evidence._weigh import Weighed
from aerobe.units import number, ratio_words

MOST_PLACES_NAMED = 12


def notes_of(weighed: Weighed) -> tuple[str, ...]:
    """Checks and reasons, the gravest first: copies, what was left out, influence of each place, what may be missing."""
    found = [double.words for double in weighed.duplicates]
    found += [f"{flag.trial}: {flag.words}" for flag in weighed.flags if flag.severity == "leaves it out"]
    found += [
        f"'{one}' and '{other}' count as two places, though their names differ by a slip of the pen: ask whether they are one."
        for one, other in near_names(weighed.contrasts)
    ]
    found += _unlike(weighed)
    if weighed.hinges_on:
        found.append(f"The answer hinges on {', '.join(weighed.hinges_on)}: without it, it would be another.")
    if weighed.without:
        found.append(_influence(weighed))
    found += [check.in_words() for check in (weighed.small, weighed.missing) if check is not None]
    return tuple(dict.fromkeys(line for line in found if line not in weighed.says))


def _unlike(weighed: Weighed) -> list[str]:
    """In what the trials of one pool differ so far that they may answer different questions."""
    said = []
    for name, apart, words in _MODERATORS:
        told = [item.moderators[name] for item in weighed.contrasts if name in item.moderators]
        if told and max(told) - min(told) > apart * (max(told) if apart < 1.0 else 1.0):
            said.append(f"{words.format(f'{min(told):.3g}', f'{max(told):.3g}')}: the ratio may depend on that.")
    return said


# Beyond these (hours, degrees; a share of the larger dose) trials are hardly of one question (our choice, no source).
_MODERATORS = (
    ("hour_h", 6.0, "These trials were read at hours from {} to {}"),
    ("temperature_degc", 5.0, "These trials were brewed at {} to {} degC"),
    ("compost_g_per_l", 0.4, "These trials took {} to {} g of compost per litre"),
)


def pool_in_passing(weighed: Weighed) -> str:
    """The answer on a pair for who reads it in passing: never more than `says`, with its interval where it claims anything."""
    first, second = weighed.recipe, weighed.against
    if weighed.pooled is None or weighed.answer == "cannot tell":
        return f"Can't tell yet whether {first} gives more than {second}."
    ratio = ratio_words(*weighed.pooled.as_ratio())
    if weighed.answer == "about the same":
        return f"{first} and {second} give about the same: {ratio} times."
    return f"{first} gives {'more' if weighed.answer == 'better' else 'less'} than {second}: {ratio} times."


def _influence(weighed: Weighed) -> str:
    pairs = sorted(
        zip(weighed.sites, weighed.without, strict=True),
        key=lambda pair: -abs(pair[1].estimate - (weighed.pooled.estimate if weighed.pooled else 0.0)),
    )
    shown = [f"{name} {ratio_words(*other.as_ratio())}" for name, other in pairs[:MOST_PLACES_NAMED]]
    more = f"; {number(len(pairs) - len(shown))} more move it less" if len(pairs) > len(shown) else ""
    return f"Without each place in turn the ratio would be: {'; '.join(shown)}{more}."
