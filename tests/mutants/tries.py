"""Tries a mutant: a process of its own loads the room with the one change and runs the tests that may notice."""

from __future__ import annotations

import ast
import hashlib
import importlib.abc
import importlib.util
import itertools
import shutil
import signal
import sys
import tempfile
import time
from collections import defaultdict
from collections.abc import Iterator
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from types import CodeType, FrameType, ModuleType

import pytest

from tests.mutants.forks import Work, finished
from tests.mutants.sites import Mutant, mutated

ROOT = Path(__file__).parents[2]
KEPT = ROOT / ".aerobe" / "mutants"
# All in seconds of processor time, so that a busy machine changes nothing.
ENDLESS = 4.0  # a mutant that takes this many times as long as its tests and what they may cost has an endless loop
COMPILING_S = 120.0  # more where the changed file is compiled
ENOUGH_S = 15.0  # what the tests chosen for a mutant may cost together
DEAR = 0.3  # a test that costs more than this share of it is for the whole suite; here each mutant would pay for it
LOOK = 20.0  # a file of tests is looked at for this many times as long; tests that come later in it are left out


@dataclass(frozen=True, slots=True, kw_only=True)
class Known:
    """What a run of a room's tests without any change showed: who enters which function, and what each test costs [s]."""

    enters: dict[str, set[str]]
    seconds: dict[str, float]

    def chosen(self, mutant: Mutant, enough_s: float = ENOUGH_S) -> list[str]:
        """Tests that may notice, those that enter the function and are quick first.

        Whole files are taken, since a test may look at what another test's fixture computed. What no test is seen to enter
        (numbers set at import) is tried by the tests that enter anything of its file; compiled code by all.
        """
        enter = self._entering(mutant)
        files = {test.split("::")[0] for test in enter} or {test.split("::")[0] for test in self.seconds}
        fit = [test for test, took in self.seconds.items() if test.split("::")[0] in files and took < DEAR * enough_s]
        in_turn = sorted(fit, key=lambda test: (test not in enter, self.seconds[test]))
        spent = itertools.accumulate(self.seconds[test] for test in in_turn)
        return [test for test, so_far in zip(in_turn, spent, strict=True) if so_far < enough_s]

    def _entering(self, mutant: Mutant) -> set[str]:
        # A test that loads a module has not looked at its numbers.
        place = "" if mutant.where == "<module>" else mutant.where
        while place:
            if enter := self.enters.get(f"{mutant.file}::{place}"):
                return enter
            place = place.rpartition(".")[0]  # a function within a function is seen as the outer one
        return {test for function, tests in self.enters.items() if function.startswith(f"{mutant.file}::") for test in tests}


def look(rooms: list[str], jobs: int, enough_s: float = ENOUGH_S, files: str = "test_*.py") -> dict[str, Known]:
    """Run the rooms' tests once without a change, each file in a process of its own; what was seen is kept until a file changes.

    Raises RuntimeError if a test fails.
    """
    kept = {path: _kept(room, path) for room in rooms for path in sorted((ROOT / "tests" / room).glob(files))}
    KEPT.mkdir(parents=True, exist_ok=True)
    works = [
        Work(key=path, do=partial(_watch, path), limit_s=LOOK * enough_s) for path, seen in kept.items() if not seen.exists()
    ]
    for path, code in finished(works, jobs):
        if code not in (0, -signal.SIGXCPU):
            raise RuntimeError(f"These tests fail without any change: python3 run.py test {path.relative_to(ROOT)}")
        _half(path).replace(kept[path])
    return {room: _known([seen for path, seen in kept.items() if path.parent.name == room]) for room in rooms}


def _known(kept: list[Path]) -> Known:
    enters: dict[str, set[str]] = defaultdict(set)
    seconds: dict[str, float] = {}
    for seen in kept:
        for line in filter(None, seen.read_text(encoding="utf-8").splitlines()):
            test, took, *functions = line.split("\t")
            seconds[test] = float(took)
            for function in functions:
                enters[function].add(test)
    return Known(enters=dict(enters), seconds=seconds)


def _kept(room: str, path: Path) -> Path:
    return KEPT / f"{room}-{path.stem}-{hashlib.sha256(path.read_bytes()).hexdigest()[:12]}.tsv"


def _half(path: Path) -> Path:
    return KEPT / f"{path.parent.name}-{path.stem}.half"


def try_all(mutants: list[tuple[Mutant, Known]], jobs: int, enough_s: float = ENOUGH_S) -> Iterator[tuple[Mutant, str, str]]:
    """Each mutant as it ends: `caught`, `survived` or `no test`, and the test that noticed, if one did.

    Raises RuntimeError if tests could not begin, neither with the change nor without it: they were edited meanwhile.
    """
    chosen = {mutant: known.chosen(mutant, enough_s) for mutant, known in mutants}
    limits_s = {
        mutant: ENDLESS * (enough_s + sum(known.seconds[test] for test in chosen[mutant]))
        + (COMPILING_S if _is_compiled(mutant) else 0.0)
        for mutant, known in mutants
    }
    unclear = []
    with tempfile.TemporaryDirectory() as folder:
        works = []
        for number, (mutant, tests) in enumerate(chosen.items()):
            if not tests:
                yield mutant, "no test", ""
                continue
            own = Path(folder) / str(number)
            works.append(Work(key=(mutant, own), do=partial(_judge, mutant, tests, own), limit_s=limits_s[mutant]))
        for (mutant, own), code in finished(works, jobs):
            out = own / "noticed"
            noticed = out.read_text(encoding="utf-8") if out.exists() else ""
            shutil.rmtree(own, ignore_errors=True)
            if code in (-signal.SIGXCPU, -signal.SIGALRM):
                yield mutant, "caught", "the time limit"
            elif code and not noticed:
                unclear.append(mutant)
            else:
                yield mutant, "caught" if code else "survived", noticed
    # No test failed, and none passed: the change is seen as the room is loaded, if only the same tests begin without it.
    plain = (Work(key=mutant, do=partial(_begin, chosen[mutant]), limit_s=limits_s[mutant]) for mutant in unclear)
    for mutant, code in finished(plain, jobs):
        if code:
            raise RuntimeError("Tests were edited while they ran: start again.")
        yield mutant, "caught", "the import"


class _Watcher:
    """Which functions of a room each test enters."""

    def __init__(self, room: str, out: Path) -> None:
        self.folder, self.out = str(ROOT / "aerobe" / room), out
        self.seen: set[CodeType] = set()

    @pytest.hookimpl(wrapper=True)
    def pytest_runtest_protocol(self, item: pytest.Item) -> object:
        self.seen = set()
        began = time.process_time()
        sys.settrace(self._enter)
        try:
            return (yield)
        finally:
            sys.settrace(None)
            took = time.process_time() - began
            places = sorted({self._place(code) for code in self.seen if code.co_filename.startswith(self.folder)})
            with self.out.open("a", encoding="utf-8") as stream:
                stream.write("\t".join([item.nodeid, f"{took:.3f}", *places]) + "\n")

    def _enter(self, frame: FrameType, event: str, _: object) -> None:
        """Told of each entry of a function, and of nothing within it: half the cost of a profile."""
        self.seen.add(frame.f_code)

    def _place(self, code: CodeType) -> str:
        return f"{Path(code.co_filename).relative_to(ROOT)}::{code.co_qualname.split('.<locals>')[0]}"


class _First:
    """Writes down the first test that fails."""

    def __init__(self, out: Path) -> None:
        self.out = out

    def pytest_runtest_logreport(self, report: pytest.TestReport) -> None:
        if report.failed and not self.out.exists():
            self.out.write_text(report.nodeid, encoding="utf-8")


def _watch(path: Path) -> int:
    _half(path).unlink(missing_ok=True)
    _half(path).touch()
    return int(pytest.main([str(path), *_QUIET], plugins=[_Watcher(path.parent.name, _half(path))]))


def _judge(mutant: Mutant, tests: list[str], folder: Path) -> int:
    folder.mkdir()
    source = (ROOT / mutant.file).read_text(encoding="utf-8")
    if _is_compiled(mutant):
        import numba

        numba.config.CACHE_DIR = str(folder)  # compiled code of the unchanged file must not be found
    sys.meta_path.insert(0, _Changed(mutant, mutated(source, mutant.file, mutant.name)))
    return int(pytest.main([*tests, "-x", *_QUIET], plugins=[_First(folder / "noticed")]))


def _begin(tests: list[str]) -> int:
    return int(pytest.main([*tests, "--collect-only", *_QUIET]))


def _is_compiled(mutant: Mutant) -> bool:
    return "njit" in (ROOT / mutant.file).read_text(encoding="utf-8")


_QUIET = ["-q", "-p", "no:cacheprovider", "-p", "no:unraisableexception", "--no-header", "--tb=no"]  # that one collects rubbish


class _Changed(importlib.abc.MetaPathFinder, importlib.abc.Loader):
    """Gives the changed file when its module is imported."""

    def __init__(self, mutant: Mutant, tree: ast.Module) -> None:
        self.module = mutant.file.removesuffix(".py").replace("/", ".")
        self.path, self.tree = str(ROOT / mutant.file), tree

    def find_spec(self, name: str, path: object, target: object = None) -> importlib.machinery.ModuleSpec | None:
        if name != self.module:
            return None
        return importlib.util.spec_from_file_location(name, self.path, loader=self)

    def create_module(self, spec: importlib.machinery.ModuleSpec) -> ModuleType | None:
        return None

    def exec_module(self, module: ModuleType) -> None:
        exec(compile(self.tree, self.path, "exec"), module.__dict__)
