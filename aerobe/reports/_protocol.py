"""A protocol as one page: what to brew, when to test, how to send it back. No script, nothing from outside."""

from __future__ import annotations

import base64
from collections.abc import Sequence

from aerobe.charts import COLOURS
from aerobe.reports._html import _template


def protocol_page(
    *,
    name: str,
    facts: Sequence[tuple[str, str]],
    arms: Sequence[tuple[str, str]],
    fingerprint: str,
    cautions: Sequence[str],
    file: bytes,
) -> str:
    """The page. Text of the trial is never taken for markup.

    Parameters
    ----------
    name
        Of the trial.
    facts, arms
        Named values of the plan; each arm with what goes into it.
    fingerprint
        The same at every site that follows the plan.
    cautions
        Short cautions for people's health.
    file
        The protocol to import; it lies in the page.
    """
    return _template("protocol.html").render(
        name=name,
        facts=facts,
        arms=arms,
        fingerprint=fingerprint[:16],
        cautions=cautions,
        file=f"data:application/json;base64,{base64.b64encode(file).decode()}",
        colours=COLOURS,
    )
