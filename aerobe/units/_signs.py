"""Units with the signs that people print: µg, °C, ±. Files and commands keep the letters of every keyboard; both are read."""

from __future__ import annotations

import re

_SIGNS: tuple[tuple[re.Pattern[str], str], ...] = (
    (re.compile(r"\bdeg ?([CF])\b"), r"°\1"),
    (re.compile(r"\bug(?=/| C\b)"), "µg"),
    (re.compile(r"\buS(?=/)"), "µS"),
    (re.compile(r"\bumol\b"), "µmol"),
    (re.compile(r"\buM\b"), "µM"),
    (re.compile(r"\bm3(?=/h\b)"), "m³"),
    (re.compile(r"(?<=\d )m2\b"), "m²"),
    (re.compile(r"(?<=\d )m3\b"), "m³"),
    (re.compile(r" \+- "), " ± "),
)
_ANY = re.compile(r"deg|ug|u[SM]|umol|m[23]| \+- ")  # most pieces of a page hold none of them
# What is no text of a page: marks and their attributes, scripts, what a person typed, what is to be copied.
_NO_TEXT = re.compile(r"(<(script|style|textarea|code|pre)\b.*?</\2>|<[^>]*>)", re.DOTALL)
_ENDS = re.compile(r"<(?:script|style|textarea|code|pre)\b")
_LABEL = re.compile(r'(?<= aria-label=")[^"]*')


def signs(text: str) -> str:
    """The same text with printed signs: `µg C/mL` for `ug C/mL`, `°C` for `degC`, `±` for `+-`."""
    if _ANY.search(text) is None:
        return text
    for pattern, sign in _SIGNS:
        text = pattern.sub(sign, text)
    return text


def signs_of_page(html: str) -> str:
    """The same page with printed signs in its text and in the names it gives to listeners; values of fields stay as they are."""
    out, at = [], 0
    for found in _NO_TEXT.finditer(html):
        out.append(signs(html[at : found.start()]))
        mark = found[0]
        out.append(mark if " aria-label=" not in mark or _ENDS.match(mark) else _LABEL.sub(lambda label: signs(label[0]), mark))
        at = found.end()
    out.append(signs(html[at:]))
    return "".join(out)


def same_unit(one: str, other: str) -> bool:
    """Whether two written units are one, whichever signs and capitals they are written with: `ug C/mL` and `µg C/mL`."""
    return one == other or _folded(one) == _folded(other)


def _folded(unit: str) -> str:
    plain = (
        unit.replace("\u00b5", "u").replace("\u03bc", "u").replace("\u00b0", "deg").replace("\u00b3", "3").replace("\u00b2", "2")
    )
    return plain.replace(" ", "").lower()
