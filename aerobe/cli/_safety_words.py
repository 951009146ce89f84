"""How the commands of safe use read and print."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from aerobe.errors import UnusableReading, UnusableRecord
from aerobe.units import number, parse_number

if TYPE_CHECKING:
    from aerobe.usecases.safety import Caution, Gate, Hazard, RuleQuestion, UseAnswer


def gate_lines(found: Iterable[Gate]) -> list[str]:
    """Gates for a person: state, why, what opens it."""
    lines = []
    for gate in found:
        lines.append(f"[{gate.state}] {gate.name}: {gate.why}")
        if not gate.is_open:
            lines.append(f"    opens: {gate.how_it_opens}")
    return lines


def answer_lines(answer: UseAnswer) -> list[str]:
    """The answer to a use in lines."""
    shut = answer.advice.held_back_by
    following = f"Answer: {_with_its_option(answer.asks[0])}" if answer.asks else shut[0].how_it_opens if shut else ""
    lines = [answer.sentence, *([f"Next: {following}"] if following else []), "", "Decided by:"]
    lines += [
        f"  {row['end']}: {row['state']}, {row['table']} {row['cell']} ({row['rule']} {row['paragraph']})"
        for row in answer.as_data()["decided_by"]
    ]
    lines += ["", *gate_lines(answer.gates)]
    put, applied = answer.amounts, answer.applied
    if put is not None:
        lines.append(f"Mix {put.mix_l:.3g} L, 1 part tea to {put.parts_water_to_one_tea:.3g} of water.")
        rates = ((put.mix_l_per_ha, "L/ha"), (put.mix_l_per_bed, "L a bed"), (put.mix_ml_per_pot, "mL a pot"))
        lines += [f"That is {number(value)} {unit}." for value, unit in rates if value is not None]
    if applied is not None:
        lines.append(f"{applied.per_m2:.2g} ({applied.low:.2g} to {applied.high:.2g}) microbes per m2.")
    lines += [f"{item.name}: {item.state}. {item.why}" for item in answer.field]
    lines += [note.text for note in answer.risks]
    return [*lines, *caution_lines(answer.advice.cautions)]


def _with_its_option(question: RuleQuestion) -> str:
    """A question with the option that answers it, or the command that notes it."""
    from aerobe.usecases.safety import FIELD_OF, NOTED_WITH

    field = FIELD_OF.get(question.fact)
    return f"{question.asks} ({'--' + field.replace('_', '-') if field else NOTED_WITH[question.fact]})"


def caution_lines(found: Iterable[Caution]) -> list[str]:
    """The short line of each caution."""
    return [f"! {item.short}" for item in found]


def hazard_lines(hazard: Hazard) -> list[str]:
    """One hazard for a person."""
    places = [
        *(f"gate '{name}'" for name in hazard.gates),
        *(item if item[0] == "/" else f"aerobe {item}" for item in hazard.shown),
    ]
    return [
        f"{hazard.name}: {hazard.harm}",
        f"    at risk: {hazard.who}",
        f"    ! {hazard.line}",
        f"    decided and shown: {', '.join(places)}",
        f"    source: {hazard.source}",
    ]


def source_line(keys: Sequence[str]) -> list[str]:
    """Keys of sources in one line."""
    return [f"Sources: {', '.join(keys)}."]


def numbers_of(text: str) -> tuple[float, ...]:
    """Numbers with spaces between."""
    return tuple(parse_number(word) for word in text.split())


def whole_numbers(text: str) -> tuple[int, ...]:
    """Whole numbers with spaces between."""
    try:
        return tuple(int(word) for word in text.split())
    except ValueError:
        raise UnusableReading(f"'{text}' are no whole numbers.", 'Write them with spaces between: "3 1 1".') from None


def text_of(path: Path) -> str:
    """A text file."""
    try:
        return path.read_text(encoding="utf-8")
    except (OSError, UnicodeDecodeError) as fault:
        raise UnusableRecord(f"The log {path} cannot be read: {fault}.", "Check the path; it must be plain text.") from None
