"""Change the code a little, here and there, and list which changes no test notices.

    python tests/mutants.py --base origin/main                    # lines changed since then
    python tests/mutants.py sessions/services/due.py dosing/science
    python tests/mutants.py alerts/rules --share 0.1 --tests tests/alerts/test_every_rule.py

It is no part of the ordinary suite: it runs tests many times. One process reads the tests once, runs each of them once
to see which lines it passes, and then, for one small change at a time, those that pass the changed line, quickest
first, until one fails or `--seconds` are over. Nothing is written to disk: the change is compiled, and the running
functions get its code in the place of their own. So only code within functions is changed, not tables and classes.

Which tests: those whose text names the module, else the folder of its package; or `--tests`. What survives is printed
with the line before and after, and how many of the tests that pass the line were run. Changes that make no difference
are listed in mutants_accepted.txt, one a line: the file, the line before, the line after, and why. The command fails
where something survives that is not in that list.

Database tests need DATABASE_URL and BROKER_URL or the throwaway servers, as the suite does.
"""

from __future__ import annotations

import argparse
import ast
import copy
import gc
import random
import re
import signal
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from pathlib import Path
from types import CodeType, FrameType, FunctionType
from typing import Any, TextIO

ROOT = Path(__file__).resolve().parent.parent
ACCEPTED = Path(__file__).with_name("mutants_accepted.txt")
PACKAGES = ("sessions", "dosing", "alerts", "homedialysis")
COMPARISONS: dict[type[ast.cmpop], tuple[type[ast.cmpop], ...]] = {
    ast.Lt: (ast.LtE, ast.Gt), ast.LtE: (ast.Lt, ast.Gt), ast.Gt: (ast.GtE, ast.Lt), ast.GtE: (ast.Gt, ast.Lt),
    ast.Eq: (ast.NotEq,), ast.NotEq: (ast.Eq,), ast.In: (ast.NotIn,), ast.NotIn: (ast.In,), ast.Is: (ast.IsNot,),
    ast.IsNot: (ast.Is,),
}  # fmt: skip
ARITHMETIC: dict[type[ast.operator], type[ast.operator]] = {
    ast.Add: ast.Sub, ast.Sub: ast.Add, ast.Mult: ast.Div, ast.Div: ast.Mult, ast.FloorDiv: ast.Mult, ast.Mod: ast.Mult,
    ast.BitAnd: ast.BitOr, ast.BitOr: ast.BitAnd,
}  # fmt: skip
LINKS = frozenset({"filter", "exclude", "order_by", "distinct", "visible_to", "select_for_update", "reverse"})
"""Calls in a chain that can be left out of it."""
NO_TEST_READS = frozenset({"logger", "log", "warnings"})
ONLY_HOLDS = frozenset({"strict"})
"""Arguments that say what must be so anyhow: without them nothing is otherwise."""


@dataclass(frozen=True)
class Mutant:
    """One change: where, the line as people read it before and after, and the module's syntax tree with it."""

    file: str
    line: int
    before: str
    after: str
    tree: ast.Module

    @property
    def key(self) -> tuple[str, str, str]:
        return self.file, self.before, self.after


def changes(node: ast.AST) -> Iterator[ast.AST | None]:
    """What a node could be instead; None: left out."""
    for kind, make in MAKERS:
        if isinstance(node, kind):
            yield from make(node)


def _compared(node: ast.Compare) -> Iterator[ast.AST]:
    for index, operator in enumerate(node.ops):
        for other in COMPARISONS[type(operator)]:
            yield _with(node, ops=[*node.ops[:index], other(), *node.ops[index + 1 :]])


def _counted(node: ast.BinOp) -> Iterator[ast.AST]:
    words = isinstance(node.op, ast.Mod) and isinstance(node.left, ast.Call | ast.Name | ast.Attribute)
    if type(node.op) in ARITHMETIC and not words and not isinstance(node.left, ast.Constant | ast.JoinedStr):
        yield _with(node, op=ARITHMETIC[type(node.op)]())


def _joined(node: ast.BoolOp) -> Iterator[ast.AST]:
    yield _with(node, op=ast.Or() if isinstance(node.op, ast.And) else ast.And())
    for index in range(len(node.values)):
        rest = node.values[:index] + node.values[index + 1 :]
        yield rest[0] if len(rest) == 1 else _with(node, values=rest)


def _told(node: ast.Constant) -> Iterator[ast.AST]:
    value = node.value
    if isinstance(value, bool):
        yield _with(node, value=not value)
    elif isinstance(value, int):
        yield _with(node, value=value + 1)
    elif isinstance(value, float):
        yield _with(node, value=value * 1.1 if value else 1.0)


def _called(node: ast.Call) -> Iterator[ast.AST]:
    if isinstance(node.func, ast.Attribute) and node.func.attr in LINKS:
        yield node.func.value
    for index, keyword in enumerate(node.keywords):
        if keyword.arg in ONLY_HOLDS:
            continue
        yield _with(node, keywords=node.keywords[:index] + node.keywords[index + 1 :])


def _asked(node: ast.If | ast.IfExp) -> Iterator[ast.AST]:
    yield _with(node, test=ast.copy_location(ast.UnaryOp(ast.Not(), node.test), node.test))


def _sieved(node: ast.comprehension) -> Iterator[ast.AST]:
    for index in range(len(node.ifs)):
        yield _with(node, ifs=node.ifs[:index] + node.ifs[index + 1 :])


def _answered(node: ast.Return) -> Iterator[ast.AST]:
    if node.value is not None and not (isinstance(node.value, ast.Constant) and node.value.value is None):
        yield _with(node, value=ast.copy_location(ast.Constant(None), node.value))


def _done(node: ast.Expr | ast.AugAssign | ast.Raise) -> Iterator[None]:
    name = getattr(getattr(getattr(node, "value", None), "func", None), "value", None)
    says_only = isinstance(node, ast.Expr) and isinstance(node.value, ast.Constant | ast.Yield | ast.YieldFrom)
    if not says_only and getattr(name, "id", "") not in NO_TEST_READS:
        yield None


def _unlocked(node: ast.With) -> Iterator[ast.AST]:
    if "atomic" in ast.unparse(node.items[0]):
        yield ast.copy_location(ast.If(test=ast.Constant(True), body=node.body, orelse=[]), node)


MAKERS: tuple[tuple[Any, Callable[[Any], Iterator[ast.AST | None]]], ...] = (
    (ast.Compare, _compared),
    (ast.BinOp, _counted),
    (ast.BoolOp, _joined),
    (ast.Constant, _told),
    (ast.Call, _called),
    (ast.If | ast.IfExp, _asked),
    (ast.comprehension, _sieved),
    (ast.Return, _answered),
    (ast.Expr | ast.AugAssign | ast.Raise, _done),
    (ast.With, _unlocked),
)


def _with(node: Any, **parts: Any) -> Any:
    changed = copy.copy(node)
    for name, value in parts.items():
        setattr(changed, name, value)
    return changed


def mutants_of(file: str, lines: set[int] | None) -> list[Mutant]:
    """Every change within the functions of a file, on these lines or on all."""
    tree = ast.parse((ROOT / file).read_text())
    functions = [node for node in ast.walk(tree) if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef)]
    found: list[Mutant] = []
    seen: set[int] = set()
    for function in functions:
        for parent, name, index, node in _places(function.body):
            line = getattr(node, "lineno", None) or getattr(getattr(node, "target", None), "lineno", 0)
            only_holds = isinstance(parent, ast.keyword) and parent.arg in ONLY_HOLDS
            if id(node) not in seen and not only_holds and (lines is None or line in lines):
                found += [_made(file, tree, line, (parent, name, index, node), other) for other in changes(node)]
            seen.add(id(node))
    return [mutant for mutant in found if mutant.before != mutant.after]


Place = tuple[Any, str, int | None, ast.AST]


def _places(body: list[ast.stmt]) -> Iterator[Place]:
    """Each node below some statements, with what holds it: parent, field and, in a list, its index."""
    holder = ast.Module(body=body, type_ignores=[])
    waiting: list[ast.AST] = [holder]
    while waiting:
        parent = waiting.pop()
        for name, value in ast.iter_fields(parent):
            if name in ("annotation", "returns", "decorator_list"):
                continue
            for index, node in enumerate(value) if isinstance(value, list) else [(None, value)]:
                if isinstance(node, ast.AST):
                    yield parent, name, index, node
                    waiting.append(node)


def _made(file: str, tree: ast.Module, line: int, place: Place, other: ast.AST | None) -> Mutant:
    parent, name, index, node = place
    new = ast.copy_location(ast.Pass(), node) if other is None else ast.copy_location(other, node)
    statement = node if isinstance(node, ast.stmt | ast.expr) else parent
    before = _first_line(statement)
    _put(parent, name, index, new)
    after = _first_line(new if statement is node else parent)
    changed = ast.fix_missing_locations(copy.deepcopy(tree))
    _put(parent, name, index, node)
    return Mutant(file, line, before, after, changed)


def _put(parent: Any, name: str, index: int | None, node: ast.AST) -> None:
    if index is None:
        setattr(parent, name, node)
    else:
        getattr(parent, name)[index] = node


def _first_line(node: ast.AST) -> str:
    return ast.unparse(node).splitlines()[0][:110]


def codes_of(code: CodeType) -> Iterator[CodeType]:
    for const in code.co_consts:
        if isinstance(const, CodeType):
            yield const
            yield from codes_of(const)


def named(code: CodeType) -> tuple[str, int]:
    return code.co_qualname, code.co_firstlineno


def live_functions(file: str) -> dict[tuple[str, int], list[FunctionType]]:
    """The functions of a file that have been made, by name and line."""
    path, found = str(ROOT / file), {}
    for each in gc.get_objects():
        if type(each) is FunctionType and each.__code__.co_filename == path:
            found.setdefault(named(each.__code__), []).append(each)
    return found


class InPlace:
    """The running functions of a file with a mutant's code, while the block lasts."""

    def __init__(self, mutant: Mutant) -> None:
        self.mutant = mutant
        self.kept: list[tuple[FunctionType, CodeType]] = []

    def __enter__(self) -> InPlace:
        live = live_functions(self.mutant.file)
        for code in codes_of(compile(self.mutant.tree, str(ROOT / self.mutant.file), "exec")):
            for function in live.get(named(code), []):
                if function.__code__ != code and function.__code__.co_freevars == code.co_freevars:
                    self.kept.append((function, function.__code__))
                    function.__code__ = code
        return self

    def __exit__(self, *_: object) -> None:
        for function, code in self.kept:
            function.__code__ = code


class TooLong(BaseException):
    """A mutant that never comes to an end counts as noticed."""


@dataclass
class Hunt:
    """A pytest plugin that, instead of running the tests once, runs them against each mutant."""

    mutants: list[Mutant]
    seconds: float
    survivors: list[tuple[Mutant, int, int]] = field(default_factory=list)
    counts: dict[str, list[int]] = field(default_factory=dict)
    passes: dict[tuple[str, int], set[int]] = field(default_factory=dict)
    took: dict[int, float] = field(default_factory=dict)
    unfit: list[str] = field(default_factory=list)

    def pytest_runtestloop(self, session: Any) -> bool:
        files = {str(ROOT / mutant.file): mutant.file for mutant in self.mutants}
        for index, item in enumerate(session.items):
            self._first_run(session, index, item, files)
        for number, mutant in enumerate(self.mutants, 1):
            self._try(session, mutant)
            aloud(f"\r{number} of {len(self.mutants)}, {len(self.survivors)} survive ", sys.__stderr__)
        _run(session, session.items[0], last=True)
        return True

    def _first_run(self, session: Any, index: int, item: Any, files: dict[str, str]) -> None:
        def line_seen(frame: FrameType, event: str, _: Any) -> Any:
            self.passes.setdefault((files[frame.f_code.co_filename], frame.f_lineno), set()).add(index)
            return line_seen

        def called(frame: FrameType, event: str, _: Any) -> Any:
            return line_seen(frame, event, _) if frame.f_code.co_filename in files else None

        began = time.perf_counter()
        sys.settrace(called)
        passed = _run(session, item)
        sys.settrace(None)
        self.took[index] = time.perf_counter() - began
        if not passed:
            self.unfit.append(item.nodeid)
            for tests in self.passes.values():
                tests.discard(index)

    def _try(self, session: Any, mutant: Mutant) -> None:
        tests = sorted(self.passes.get((mutant.file, mutant.line), ()), key=self.took.__getitem__)
        count = self.counts.setdefault(mutant.file.split("/")[0], [0, 0])
        ran, until, noticed = 0, time.perf_counter() + self.seconds, False
        with InPlace(mutant) as inside:
            while inside.kept and not noticed and ran < len(tests) and time.perf_counter() < until:
                noticed = not _run(session, session.items[tests[ran]], most=4 * self.took[tests[ran]] + 10)
                ran += 1
        count[0] += 1
        count[1] += noticed
        if not noticed:
            self.survivors.append((mutant, ran, len(tests)))
            aloud(f"{told((mutant, ran, len(tests)))}\n", sys.__stdout__)


def _run(session: Any, item: Any, *, last: bool = False, most: float = 300) -> bool:
    """Whether a test passes. Something beside all modules is named as the next test: what the run shares stays."""
    import pytest
    from _pytest.runner import runtestprotocol

    class Beside(pytest.Item):
        def runtest(self) -> None: ...

    def over(*_: object) -> None:
        raise TooLong

    following = None if last else Beside.from_parent(session, name="beside")
    signal.signal(signal.SIGALRM, over)
    signal.setitimer(signal.ITIMER_REAL, most)
    try:
        return not any(report.failed for report in runtestprotocol(item, log=False, nextitem=following))
    except TooLong:
        return False
    finally:
        signal.setitimer(signal.ITIMER_REAL, 0)


def changed_lines(base: str) -> dict[str, set[int]]:
    """The lines of the project's code that are not as in `base`, by file."""
    asked = ["git", "diff", "--unified=0", "--no-color", base, "--", *PACKAGES]
    found: dict[str, set[int]] = {}
    file = ""
    for line in subprocess.run(asked, cwd=ROOT, check=True, capture_output=True, text=True).stdout.splitlines():
        if line.startswith("+++ "):
            file = line.removeprefix("+++ b/")
        elif head := re.match(r"@@ -\S+ \+(\d+)(?:,(\d+))? @@", line):
            first, count = int(head[1]), int(head[2] or 1)
            found.setdefault(file, set()).update(range(first, first + count))
    return {file: lines for file, lines in found.items() if _is_code(file)}


def _is_code(file: str) -> bool:
    return file.endswith(".py") and "/migrations/" not in file and (ROOT / file).exists()


def files_below(paths: list[str]) -> dict[str, None]:
    found: dict[str, None] = {}
    for path in paths:
        whole = ROOT / path
        below = sorted(whole.rglob("*.py")) if whole.is_dir() else [whole]
        found |= {file: None for file in (str(each.relative_to(ROOT)) for each in below) if _is_code(file)}
    return found


def nearest_tests(files: list[str]) -> list[str]:
    """Test files whose text names one of the modules; the folder of the package where none does."""
    texts = {path: path.read_text() for path in sorted((ROOT / "tests").rglob("test_*.py"))}
    near: set[str] = set()
    for file in files:
        module = file.removesuffix(".py").removesuffix("/__init__").replace("/", ".")
        above, _, name = module.rpartition(".")
        names = re.compile(rf"\b{re.escape(module)}\b|from {re.escape(above)} import [^\n]*\b{name}\b")
        named_by = {str(path.relative_to(ROOT)) for path, text in texts.items() if names.search(text)}
        near |= {path for path in named_by if "/browser/" not in path and "/end_to_end/" not in path}
        if not named_by:
            near.add(f"tests/{module.split('.')[0]}")
    return sorted(near)


def accepted() -> set[tuple[str, str, str]]:
    """What is known to make no difference: (file, before, after)."""
    lines = ACCEPTED.read_text().splitlines() if ACCEPTED.exists() else []
    rows = [line.split(" ⟶ ") for line in lines if line and not line.startswith("#")]
    return {(row[0], row[1], row[2]) for row in rows}


def told(survivor: tuple[Mutant, int, int]) -> str:
    mutant, ran, covering = survivor
    return f"{mutant.file}:{mutant.line} ⟶ {mutant.before} ⟶ {mutant.after}   (ran {ran} of {covering})"


def aloud(words: str, where: TextIO | None) -> None:
    """Past pytest, which keeps to itself what is printed while tests run."""
    print(words, end="", file=where, flush=True)


def report(hunt: Hunt) -> int:
    """Print what survived; returns the exit status."""
    known = accepted()
    new = [each for each in hunt.survivors if each[0].key not in known]
    print()
    if hunt.unfit:
        print(f"left out, as they fail without any change: {', '.join(hunt.unfit)}")
    print("not noticed, and not accepted:" if new else "nothing new survives")
    for each in new:
        print(told(each))
    for package, (tried, noticed) in sorted(hunt.counts.items()):
        same = sum(each[0].file.startswith(package) and each[0].key in known for each in hunt.survivors)
        share = noticed / (tried - same) if tried > same else 1.0
        print(f"{package}: {noticed} of {tried - same} noticed ({share:.0%}); {same} accepted")
    return 1 if new else 0


def main() -> int:
    import pytest

    reader = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    reader.add_argument("paths", nargs="*", help="files or folders; without --base all of their lines")
    reader.add_argument("--base", help="only lines that are not as in this revision")
    reader.add_argument("--tests", nargs="+", help="instead of the nearest")
    reader.add_argument("--share", type=float, default=1.0, help="of the changes, drawn by chance")
    reader.add_argument("--seed", type=int, default=1)
    reader.add_argument("--seconds", type=float, default=30, help="of tests for one change")
    asked = reader.parse_args()
    where: dict[str, set[int] | None] = dict(files_below(asked.paths or list(PACKAGES)))
    if asked.base:
        changed = changed_lines(asked.base)
        where = {file: changed[file] for file in where if file in changed}
    mutants = [mutant for file, lines in where.items() for mutant in mutants_of(file, lines)]
    draw = random.Random(asked.seed)
    chosen = [mutant for mutant in mutants if draw.random() < asked.share]
    if not chosen:
        print("nothing to change")
        return 0
    tests = asked.tests or nearest_tests(sorted({mutant.file for mutant in chosen}))
    print(f"{len(chosen)} changes of {len(mutants)}, tests: {' '.join(tests)}")
    hunt = Hunt(chosen, asked.seconds)
    quiet = ["-q", "--no-header", "--no-summary", "-p", "no:cacheprovider", "--capture=sys"]
    status = pytest.main([*quiet, *tests], plugins=[hunt])
    return report(hunt) if hunt.counts else int(status)


if __name__ == "__main__":
    sys.exit(main())
