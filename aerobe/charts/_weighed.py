"""The pictures of the evidence on a pair of recipes."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from aerobe.charts._evidence import RatioRow, forest, funnel
from aerobe.charts._style import Picture
from aerobe.units import ratio_of

if TYPE_CHECKING:
    from aerobe.evidence import Weighed


def weighed_pictures(weighed: Weighed) -> tuple[Picture, ...]:
    """Every trial with its interval and the pool; from three trials on the funnel too. Empty without direct trials."""
    if not weighed.contrasts:
        return ()
    pooled = weighed.pooled
    errors = [math.sqrt(item.variance) for item in weighed.contrasts]
    labels = [f"{item.key} ({item.site})" if item.site else item.key for item in weighed.contrasts]
    rows = [
        RatioRow(
            label=label,
            ratio=ratio_of(item.effect),
            weight=share,
            low=ratio_of(item.interval()[0]),
            high=ratio_of(item.interval()[1]),
        )
        for label, item, share in zip(labels, weighed.contrasts, weighed.shares, strict=True)
    ]
    if pooled is not None:
        ratio, low, high = pooled.as_ratio()
        rows.append(
            RatioRow(
                label="all together",
                ratio=ratio,
                low=low,
                high=high,
                is_pooled=True,
                outer_low=None if weighed.next_trial is None else ratio_of(weighed.next_trial[0]),
                outer_high=None if weighed.next_trial is None else ratio_of(weighed.next_trial[1]),
            )
        )
    title = f"{weighed.recipe} against {weighed.against}"
    level = f"{100 * weighed.level:.0f} %"
    trees = forest(rows, title=title, says=weighed.says, margin_ratio=weighed.margin_ratio, level=level)
    if pooled is None or len(rows) < 4:
        return (trees,)
    return trees, funnel([item.effect for item in weighed.contrasts], errors, labels, pooled=pooled.estimate)
