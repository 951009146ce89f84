"""Tries a mutant: a process of its own loads the room with the one change and runs the tests that may notice."""

from __future__ import annotations

import ast
import hashlib
import importlib.abc
import importlib.util
import itertools
import os
import resource
import signal
import sys
import tempfile
import time
from collections import defaultdict
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from types import CodeType, FrameType, ModuleType

import pytest

from tests.mutants.sites import Mutant, mutated

ROOT = Path(__file__).parents[2]
KEPT = ROOT / ".aerobe" / "mutants"
# All in seconds of processor time, so that a busy machine changes nothing.
LEAST_S = 60.0  # a mutant that makes a loop endless is noticed by time
DEAR_S = 2.0  # a test that takes longer is for the whole suite; here it would be paid for by each mutant
ENOUGH_S = 6.0  # what the chosen tests may cost together


@dataclass(frozen=True, slots=True, kw_only=True)
class Known:
    """What a run of a room's tests without any change showed: who enters which function, and what each test costs [s]."""

    enters: dict[str, set[str]]
    seconds: dict[str, float]

    def chosen(self, mutant: Mutant) -> list[str]:
        """Tests that may notice, those that enter the function and are quick first.

        Whole files are taken, since a test may look at what another test's fixture computed. Code that no test is seen to
        enter (compiled, or run at import) is tried by all.
        """
        place = mutant.where.split(".<locals>")[0]
        enter = self.enters.get(f"{mutant.file}::{place}", set())
        files = {test.split("::")[0] for test in enter} or {test.split("::")[0] for test in self.seconds}
        fit = [test for test, took in self.seconds.items() if test.split("::")[0] in files and took < DEAR_S]
        in_turn = sorted(fit, key=lambda test: (test not in enter, self.seconds[test]))
        spent = itertools.accumulate(self.seconds[test] for test in in_turn)
        return [test for test, so_far in zip(in_turn, spent, strict=True) if so_far < ENOUGH_S]


def look(room: str) -> Known:
    """Run a room's tests once without a change, in a process of its own; what was seen of a file is kept until it changes.

    Raises RuntimeError if a test fails.
    """
    kept = {path: _kept(room, path) for path in sorted((ROOT / "tests" / room).glob("test_*.py"))}
    new = [path for path, seen in kept.items() if not seen.exists()]
    if new:
        KEPT.mkdir(parents=True, exist_ok=True)
        with tempfile.TemporaryDirectory() as folder:
            out = Path(folder) / "seen"
            if _apart(lambda: _watch(room, [str(path) for path in new], out), 3600.0) != 0:
                raise RuntimeError(f"The tests of {room} fail without any change: python3 run.py test tests/{room}")
            lines = out.read_text(encoding="utf-8").splitlines()
        for path in new:
            mine = [line for line in lines if line.startswith(f"tests/{room}/{path.name}::")]
            kept[path].write_text("\n".join(mine), encoding="utf-8")
    enters: dict[str, set[str]] = defaultdict(set)
    seconds: dict[str, float] = {}
    for seen in kept.values():
        for line in filter(None, seen.read_text(encoding="utf-8").splitlines()):
            test, took, *functions = line.split("\t")
            seconds[test] = float(took)
            for function in functions:
                enters[function].add(test)
    return Known(enters=dict(enters), seconds=seconds)


def _kept(room: str, path: Path) -> Path:
    return KEPT / f"{room}-{path.stem}-{hashlib.sha256(path.read_bytes()).hexdigest()[:12]}.tsv"


def try_one(mutant: Mutant, known: Known) -> tuple[str, str]:
    """`caught`, `survived` or `no test`, and the test that noticed, if one did."""
    tests = known.chosen(mutant)
    if not tests:
        return "no test", ""
    limit_s = LEAST_S + 4.0 * sum(known.seconds[test] for test in tests)
    with tempfile.TemporaryDirectory() as folder:
        out = Path(folder) / "noticed"
        code = _apart(lambda: _judge(mutant, tests, out, folder), limit_s)
        noticed = out.read_text(encoding="utf-8") if out.exists() else ""
    if code == -signal.SIGXCPU:
        return "caught", "the time limit"
    return ("survived", "") if code == 0 else ("caught", noticed or "the import")


class _Watcher:
    """Which functions of a room each test enters."""

    def __init__(self, room: str, out: Path) -> None:
        self.folder, self.out = str(ROOT / "aerobe" / room), out
        self.seen: set[CodeType] = set()

    @pytest.hookimpl(wrapper=True)
    def pytest_runtest_protocol(self, item: pytest.Item) -> object:
        self.seen = set()
        began = time.process_time()
        sys.setprofile(self._enter)
        try:
            return (yield)
        finally:
            sys.setprofile(None)
            took = time.process_time() - began
            places = sorted({self._place(code) for code in self.seen if code.co_filename.startswith(self.folder)})
            with self.out.open("a", encoding="utf-8") as stream:
                stream.write("\t".join([item.nodeid, f"{took:.3f}", *places]) + "\n")

    def _enter(self, frame: FrameType, event: str, _: object) -> None:
        if event == "call":
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


def _watch(room: str, files: list[str], out: Path) -> int:
    return int(pytest.main([*files, *_QUIET], plugins=[_Watcher(room, out)]))


def _judge(mutant: Mutant, tests: list[str], out: Path, folder: str) -> int:
    source = (ROOT / mutant.file).read_text(encoding="utf-8")
    if "njit" in source:
        import numba

        numba.config.CACHE_DIR = folder  # compiled code of the unchanged file must not be found
    sys.meta_path.insert(0, _Changed(mutant, mutated(source, mutant.file, mutant.name)))
    return int(pytest.main([*tests, "-x", *_QUIET], plugins=[_First(out)]))


_QUIET = ["-q", "-p", "no:cacheprovider", "--no-header", "--tb=no"]


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


def _apart(work: Callable[[], int], limit_s: float) -> int:
    """Do the work in a forked process, silent; its exit code, below 0 for the signal that ended it."""
    child = os.fork()
    if child == 0:
        code = 70
        try:
            resource.setrlimit(resource.RLIMIT_CPU, (int(limit_s), int(limit_s) + 5))
            quiet = os.open(os.devnull, os.O_RDWR)
            for stream in (0, 1, 2):
                os.dup2(quiet, stream)
            code = work()
        finally:
            os._exit(code)
    return os.waitstatus_to_exitcode(os.waitpid(child, 0)[1])
