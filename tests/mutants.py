"""A mutation tester for one module at a time: does a test fail where the code is wrong?

    python -m tests.mutants renderer/sound/splice.py tests/sound/test_splice.py --most 60

Each mutant differs from the module in one place (a comparison, an operator, a number, a truth
value, a condition turned round): a process of its own imports it in place of the file, which is
left alone, and runs the tests named. How values are made (`@dataclass(frozen=True)`) stays. Before
any mutant the tests must pass on the module as it is, and fail on one that cannot be imported, else
their result would say nothing. `--most` mutants are drawn from all there are; the number of all is
printed too. A mutant is dead when a test fails or takes ten times the processor time.
"""

from __future__ import annotations

import argparse
import ast
import copy
import importlib.abc
import importlib.machinery
import importlib.util
import os
import random
import resource
import sys
import tempfile
from collections.abc import Iterator
from pathlib import Path

ROOT = Path(__file__).parent.parent

_COMPARED: dict[type[ast.cmpop], type[ast.cmpop]] = {
    ast.Lt: ast.LtE, ast.LtE: ast.Lt, ast.Gt: ast.GtE, ast.GtE: ast.Gt, ast.Eq: ast.NotEq,
    ast.NotEq: ast.Eq, ast.Is: ast.IsNot, ast.IsNot: ast.Is, ast.In: ast.NotIn, ast.NotIn: ast.In,
}  # fmt: skip
_COMPUTED: dict[type[ast.operator], type[ast.operator]] = {
    ast.Add: ast.Sub, ast.Sub: ast.Add, ast.Mult: ast.Div, ast.Div: ast.Mult,
    ast.FloorDiv: ast.Div, ast.Mod: ast.Mult, ast.Pow: ast.Mult,
}  # fmt: skip

_HEAVY = ("hypothesis", "mido", "numpy", "pytest", "highspy", "soundfile", "typer")


class _Mutated(importlib.abc.MetaPathFinder):
    def __init__(self, name: str, file: Path) -> None:
        self._name, self._file = name, file

    def find_spec(
        self, fullname: str, path: object = None, target: object = None
    ) -> importlib.machinery.ModuleSpec | None:
        if fullname != self._name:
            return None
        return importlib.util.spec_from_file_location(fullname, self._file)


def _changed(node: ast.AST) -> Iterator[ast.AST]:
    """Yield what may stand in the place of one node."""
    other = copy.deepcopy(node)
    match other:
        case ast.Compare(ops=[op]) if type(op) in _COMPARED:
            other.ops = [_COMPARED[type(op)]()]
        case ast.BinOp(op=op) if type(op) in _COMPUTED:
            other.op = _COMPUTED[type(op)]()
        case ast.BoolOp(op=op):
            other.op = ast.And() if isinstance(op, ast.Or) else ast.Or()
        case ast.UnaryOp(op=ast.Not() | ast.USub()):
            yield other.operand
            return
        case ast.Constant(value=bool() as truth):
            other.value = not truth
        case ast.Constant(value=int() | float() as number):
            other.value = number + 1
        case ast.If() | ast.IfExp() | ast.While():
            other.test = ast.UnaryOp(ast.Not(), other.test)
        case _:
            return
    yield other


class _Replace(ast.NodeTransformer):
    def __init__(self, number: int, by: ast.AST) -> None:
        self._number, self._by, self._at = number, by, -1

    def visit(self, node: ast.AST) -> ast.AST:
        self._at += 1
        if self._at == self._number:
            return ast.copy_location(self._by, node)
        self.generic_visit(node)
        return node


class _Count(ast.NodeVisitor):
    def __init__(self) -> None:
        self.nodes: list[ast.AST] = []
        self.kept: set[int] = set()

    def visit(self, node: ast.AST) -> None:
        self.nodes.append(node)
        if isinstance(node, ast.ClassDef):
            self.kept |= {id(part) for one in node.decorator_list for part in ast.walk(one)}
        self.generic_visit(node)


def mutants(source: str) -> Iterator[tuple[int, str, str]]:
    """Yield the line, what is changed and the whole text of every mutant of a module."""
    tree = ast.parse(source)
    counted = _Count()
    counted.visit(tree)
    for number, node in enumerate(counted.nodes):
        if id(node) in counted.kept:
            continue
        for by in _changed(node):
            mutant = ast.fix_missing_locations(_Replace(number, by).visit(copy.deepcopy(tree)))
            before, after = ast.unparse(node), ast.unparse(by)
            said = f"{before.splitlines()[0][:60]}  ->  {after.splitlines()[0][:60]}"
            yield getattr(node, "lineno", 0), said, ast.unparse(mutant)


def _run_tests(module: str, file: Path, tests: list[str], cpu_s: int) -> int:
    """Run the tests in this process, which imports the mutant; only ever in a forked one."""
    import pytest
    from hypothesis import HealthCheck, Phase, settings

    settings.register_profile(  # a failure is enough: no search for its simplest form
        "mutants", deadline=None, suppress_health_check=[HealthCheck.too_slow],
        phases=[Phase.explicit, Phase.generate], database=None, derandomize=True,
    )  # fmt: skip
    resource.setrlimit(resource.RLIMIT_CPU, (cpu_s, cpu_s))
    silent = os.open(os.devnull, os.O_WRONLY)
    for stream in (1, 2):
        os.dup2(silent, stream)
    sys.dont_write_bytecode = True
    sys.meta_path.insert(0, _Mutated(module, file))
    return int(
        pytest.main(["-x", "-q", "-p", "no:cacheprovider", "--hypothesis-profile=mutants", *tests])
    )


def _survives(module: str, text: str, tests: list[str], cpu_s: int) -> tuple[bool, float]:
    before = os.times()
    with tempfile.TemporaryDirectory(prefix="mutant-") as folder:
        file = Path(folder, "mutant.py")
        file.write_text(text, "utf-8")
        child = os.fork()
        if child == 0:
            status = 3
            try:
                status = _run_tests(module, file, tests, cpu_s)
            finally:
                os._exit(status)
        _, ended = os.waitpid(child, 0)
    after = os.times()
    spent = after.children_user + after.children_system
    return ended == 0, spent - before.children_user - before.children_system


def main() -> None:
    """Run from the command line; see the head of this module."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0] if __doc__ else "")
    parser.add_argument("module", type=Path)
    parser.add_argument("tests", nargs="+")
    parser.add_argument("--most", type=int, default=60)
    parser.add_argument("--seed", type=int, default=1)
    asked = parser.parse_args()
    source = asked.module.read_text("utf-8")
    name = ".".join(asked.module.with_suffix("").parts)
    os.chdir(ROOT)
    for heavy in _HEAVY:  # once, before the forks: nothing of ours, else a mutant would come late
        importlib.import_module(heavy)
    if any(one.split(".")[0] == "renderer" for one in sys.modules):
        sys.exit("the program is imported already; mutants would not be")
    passes, usual_s = _survives(name, source, asked.tests, 3600)
    refuses, _ = _survives(name, "raise RuntimeError", asked.tests, 3600)
    if not passes or refuses:
        sys.exit("the tests do not pass as it is, or never import the module")
    everything = list(mutants(source))
    chosen = random.Random(asked.seed).sample(everything, min(asked.most, len(everything)))
    survivors = []
    for line, said, text in sorted(chosen, key=lambda one: one[0]):
        if _survives(name, text, asked.tests, round(10 * usual_s) + 5)[0]:
            survivors.append((line, said))
            print(f"survived: {asked.module}:{line}: {said}", flush=True)
    dead = len(chosen) - len(survivors)
    share = dead / len(chosen)
    print(
        f"{asked.module}: {dead} of {len(chosen)} dead ({share:.0%}), of {len(everything)} in all"
    )
    print(f"The tests take {usual_s:.1f} s of processor time.")


if __name__ == "__main__":
    main()
