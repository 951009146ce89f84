"""What stands beside the answer on a pair of recipes, in sentences."""

from __future__ import annotations

from aerobe.evidence._weigh import Weighed
from aerobe.units import number, ratio_words

MOST_PLACES_NAMED = 12


def notes_of(weighed: Weighed) -> tuple[str, ...]:
    """Checks and reasons, the gravest first: copies, what was left out, influence of each place, what may be missing."""
    found = [double.words for double in weighed.duplicates]
    found += [f"{flag.trial}: {flag.words}" for flag in weighed.flags if flag.severity == "leaves it out"]
    if weighed.hinges_on:
        found.append(f"The answer hinges on {', '.join(weighed.hinges_on)}: without it, it would be another.")
    if weighed.without:
        found.append(_influence(weighed))
    found += [check.in_words() for check in (weighed.small, weighed.missing) if check is not None]
    return tuple(dict.fromkeys(line for line in found if line not in weighed.says))


def _influence(weighed: Weighed) -> str:
    pairs = sorted(
        zip(weighed.sites, weighed.without, strict=True),
        key=lambda pair: -abs(pair[1].estimate - (weighed.pooled.estimate if weighed.pooled else 0.0)),
    )
    shown = [f"{name} {ratio_words(*other.as_ratio())}" for name, other in pairs[:MOST_PLACES_NAMED]]
    more = f"; {number(len(pairs) - len(shown))} more move it less" if len(pairs) > len(shown) else ""
    return f"Without each place in turn the ratio would be: {'; '.join(shown)}{more}."
