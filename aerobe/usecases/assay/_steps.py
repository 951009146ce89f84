"""A study of a test step by step: a person types the readings of each step, and nobody has to make a table."""

from __future__ import annotations

import re
from dataclasses import dataclass

from aerobe.errors import NotEnoughData

_HEAD = "role,signal,unit,what,colour,dilution"
_READING = re.compile(r"[<>]?\s*\d+(?:[.,]\d+)?")


@dataclass(frozen=True, slots=True, kw_only=True)
class StudySteps:
    """The readings of each step as typed, with spaces or line breaks between; empty where a step was left out."""

    water: str = ""  # clean water
    again: str = ""  # one sample of the tea, several times
    killed: str = ""  # the same sample, killed
    filtered: str = ""  # the same sample through a filter that holds microbes back
    half: str = ""  # one part of tea and one of water
    quarter: str = ""  # one part of tea and three of water
    eighth: str = ""  # one part of tea and seven of water
    unit: str = "ug C/mL"
    tea: str = "this tea"


@dataclass(frozen=True, slots=True, kw_only=True)
class StudyStep:
    """One step as a person does it."""

    name: str
    title: str
    how: str
    count: int  # readings asked for


STEPS = (
    StudyStep(
        name="water", title="Clean water", how="Test clean water as if it were tea. It is the zero of all the rest.", count=4
    ),
    StudyStep(name="again", title="This sample again", how="Take one sample of tea, and test it again and again.", count=4),
    StudyStep(
        name="killed", title="The same, killed", how="Kill a part of the sample, and test it: what is left is no life.", count=3
    ),
    StudyStep(
        name="filtered", title="The same, filtered", how="Press a part through a 0.2 µm filter, and test what comes out.", count=2
    ),
    StudyStep(name="half", title="Half and half", how="One part of the sample, one part of clean water.", count=2),
    StudyStep(name="quarter", title="One in four", how="One part of the sample, three parts of clean water.", count=2),
    StudyStep(name="eighth", title="One in eight", how="One part of the sample, seven parts of clean water.", count=2),
)


def table_of_steps(steps: StudySteps) -> str:
    """The table of a study, as `StudyForm` takes it.

    Colour counts in units of this tea: one undiluted, a half of it in half and half, none in water. So what a killed or
    filtered sample still shows is taken for this tea's colour.

    Raises
    ------
    NotEnoughData
        If clean water or the tea itself was not tested often enough to see any scatter, or if something is no reading.
    """
    lines = [_HEAD]
    unit, tea = _cell(steps.unit or "ug C/mL"), _cell(steps.tea or "this tea")
    for name, role, what, colour, dilution in (
        ("water", "water blank", "", "0", ""),
        ("again", "sample", tea, "1", ""),
        ("killed", "killed control", tea, "1", ""),
        ("filtered", "filtered blank", tea, "1", ""),
        ("half", "sample", tea, "0.5", "2"),
        ("quarter", "sample", tea, "0.25", "4"),
        ("eighth", "sample", tea, "0.125", "8"),
    ):
        read = _readings(getattr(steps, name), next(step.title for step in STEPS if step.name == name))
        lines += [f"{role},{signal},{unit},{what},{colour},{dilution}" for signal in read]
        if name in ("water", "again") and len(read) < 3:
            title = next(step.title for step in STEPS if step.name == name)
            raise NotEnoughData(
                f"{title}: {len(read)} reading{'' if len(read) == 1 else 's'}, and three are the least.",
                "Test it again, and type every reading with a space between: without repeats no error can be seen.",
            )
    return "\n".join(lines) + "\n"


def _readings(text: str, title: str) -> list[str]:
    rest = _READING.sub(" ", text).strip(" ;\t\r\n")
    if rest:
        raise NotEnoughData(f"{title}: '{rest[:40]}' is no reading.", "Type numbers with spaces between, such as 140 152 147.")
    return [item.replace(" ", "").replace(",", ".") for item in _READING.findall(text)]


def _cell(text: str) -> str:
    return re.sub(r"[,;\t\r\n\"]+", " ", text).strip()
