"""Factorials, whole and in fractions, and what a fraction cannot tell apart."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import combinations, product

from aerobe.errors import NotFound, UnusableRecord
from aerobe.records import Arm

# Generators of the usual two-level fractions: number of factors and runs -> the words that define the added factors.
# Tabled as in Box, Hunter & Hunter and the NIST/SEMATECH handbook, 5.3.3.4.7.
_GENERATORS: dict[tuple[int, int], tuple[str, ...]] = {
    (3, 4): ("AB",),
    (4, 8): ("ABC",),
    (5, 16): ("ABCD",),
    (5, 8): ("AB", "AC"),
    (6, 32): ("ABCDE",),
    (6, 16): ("ABC", "BCD"),
    (6, 8): ("AB", "AC", "BC"),
    (7, 64): ("ABCDEF",),
    (7, 32): ("ABCD", "ABDE"),
    (7, 16): ("ABC", "BCD", "ACD"),
    (7, 8): ("AB", "AC", "BC", "ABC"),
}
_LETTERS = "ABCDEFG"
_ROMAN = {3: "III", 4: "IV", 5: "V", 6: "VI", 7: "VII"}


@dataclass(frozen=True, slots=True, kw_only=True)
class Factorial:
    """Arms of a factorial, and the effects that it mixes up."""

    arms: tuple[Arm, ...]
    resolution: str  # "full", or III, IV, V ...
    aliases: tuple[str, ...]  # "kelp = molasses x aeration": one and the same number in this design

    @property
    def runs(self) -> int:
        """Number of arms. [-]"""
        return len(self.arms)


def arm_in_words(arm: Arm) -> str:
    """`low-high (molasses 0, kelp 1)`: an arm of factors with its levels, any other by its key."""
    levels = ", ".join(f"{name} {level:.6g}" for name, level in arm.levels.items())
    return f"{arm.key} ({levels})" if levels else arm.key


def factorial(factors: Mapping[str, tuple[float, float]], *, runs: int | None = None) -> Factorial:
    """All combinations of two levels of each factor, or a fraction of them.

    Parameters
    ----------
    factors
        Low and high level of each factor, two to seven of them. [any]
    runs
        Number of arms; None for all combinations. [-]

    Returns
    -------
    Factorial
        Arms with their levels, resolution and aliases of main effects and two-factor interactions. [-]

    Raises
    ------
    UnusableRecord
        If a factor has equal levels, or there are too few or too many factors.
    NotFound
        If there is no such fraction; the remedy lists those there are.

    Source
    ------
    box-hunter-hunter-2005, nist-handbook
    """
    names = list(factors)
    if not 2 <= len(names) <= len(_LETTERS):
        raise UnusableRecord(
            f"{len(names)} factors are {'too few' if len(names) < 2 else 'too many'}.", "Use two to seven factors."
        )
    for name, (low, high) in factors.items():
        if low == high:
            raise UnusableRecord(f"Factor {name} has the same low and high level.", "Give two different levels.")
    full = 2 ** len(names)
    if runs is None or runs == full:
        return Factorial(arms=_arms(names, factors, list(product((-1, 1), repeat=len(names)))), resolution="full", aliases=())
    words = _GENERATORS.get((len(names), runs))
    if words is None:
        sizes = sorted(size for count, size in _GENERATORS if count == len(names))
        raise NotFound(
            f"There is no design of {runs} arms for {len(names)} factors.", f"Use one of: {', '.join(map(str, [*sizes, full]))}."
        )
    basic = len(names) - len(words)
    codes = []
    for row in product((-1, 1), repeat=basic):
        added = [_product(row, word) for word in words]
        codes.append((*row, *added))
    relation = _defining_relation(basic, words)
    return Factorial(
        arms=_arms(names, factors, codes), resolution=_ROMAN[min(map(len, relation))], aliases=_aliases(names, relation)
    )


def _product(row: Sequence[int], word: str) -> int:
    value = 1
    for letter in word:
        value *= row[_LETTERS.index(letter)]
    return value


def _arms(names: Sequence[str], factors: Mapping[str, tuple[float, float]], codes: Sequence[tuple[int, ...]]) -> tuple[Arm, ...]:
    found = []
    for code in codes:
        levels = {name: factors[name][(sign + 1) // 2] for name, sign in zip(names, code, strict=True)}
        key = "".join(letter.lower() if sign > 0 else "" for letter, sign in zip(_LETTERS, code, strict=False)) or "none"
        found.append(Arm(key=key, recipe=key, is_standard=all(sign < 0 for sign in code), levels=levels))
    return tuple(found)


def _defining_relation(basic: int, words: Sequence[str]) -> list[frozenset[str]]:
    """All products of the defining words: sets of letters whose product is always one."""
    generators = [frozenset(word) ^ {_LETTERS[basic + i]} for i, word in enumerate(words)]
    relation = []
    for size in range(1, len(generators) + 1):
        for chosen in combinations(generators, size):
            merged: frozenset[str] = frozenset()
            for word in chosen:
                merged = merged ^ word
            relation.append(merged)
    return relation


def _aliases(names: Sequence[str], relation: Sequence[frozenset[str]]) -> tuple[str, ...]:
    """Chains of main effects and two-factor interactions that share one number."""
    letters = _LETTERS[: len(names)]
    effects = [frozenset(letter) for letter in letters] + [frozenset(pair) for pair in combinations(letters, 2)]
    named = dict(zip(letters, names, strict=True))
    seen: set[frozenset[str]] = set()
    chains = []
    for effect in effects:
        if effect in seen:
            continue
        chain = [effect] + [other for other in effects if other != effect and any(effect ^ word == other for word in relation)]
        seen.update(chain)
        if len(chain) > 1:
            chains.append(" = ".join(" x ".join(named[letter] for letter in sorted(one)) for one in chain))
    return tuple(chains)
