"""Every sentence that a teacher may be told by the workbench, read off the sources as templates.

What becomes a cause, a remedy, a remark or advice is followed through names, constants, conditions
and functions that return texts, or hand on what they are given; `HOLE` stands for what is put in.
"""

from __future__ import annotations

import ast
import itertools
import re
from collections import defaultdict
from collections.abc import Iterable, Iterator
from pathlib import Path

HOLE = "\0"
ROOMS = Path(__file__).parents[2] / "renderer"

_SINKS = {name: {"cause": 0, "remedy": 1} for name in ("failure", "Problem", "WrongValueError")}
_REMARKING = ("remarks", "remark", "advice")
_FIELDS = {("replace", "cause"), ("replace", "remedy"), ("Field", "description")}
_DEEPEST = 12
_SENTENCE = re.compile(r"[^A-Z ]\S*( \S+){2,}$")
"""Three words or more, as pairs of cause and remedy have them."""

Found = defaultdict[str, set[str]]
"""Templates, each with the places that have it."""

Function = ast.FunctionDef | ast.AsyncFunctionDef
_Assigned = tuple[ast.expr, int | None, bool]


def reached() -> dict[str, ast.Module]:
    """The modules that the workbench imports, at once or later, by their paths in the package."""
    paths = {_module(path): path for path in ROOMS.rglob("*.py")}
    todo = [name for name in paths if name.startswith("renderer.workbench")]
    trees: dict[str, ast.Module] = {}
    while todo:
        name = todo.pop()
        place = str(paths[name].relative_to(ROOMS))
        if place in trees:
            continue
        trees[place] = ast.parse(paths[name].read_text("utf-8"))
        todo += [one for one in _imported(trees[place]) if one in paths]
    return trees


def _module(path: Path) -> str:
    parts = path.relative_to(ROOMS.parent).with_suffix("").parts
    return ".".join(parts[:-1] if parts[-1] == "__init__" else parts)


def _imported(tree: ast.Module) -> Iterator[str]:
    for node in ast.walk(tree):
        if isinstance(node, ast.ImportFrom) and node.module:
            yield node.module
            yield from (f"{node.module}.{one.name}" for one in node.names)


def constants(trees: Iterable[ast.Module]) -> set[str]:
    """Every text of modules, and every piece of one between its holes; no docstrings."""
    found: set[str] = set()
    for tree in trees:
        nodes = list(ast.walk(tree))
        alone = {id(node.value) for node in nodes if isinstance(node, ast.Expr)}
        found |= {
            piece
            for node in nodes
            if isinstance(node, ast.Constant)
            and isinstance(node.value, str)
            and id(node) not in alone
            for piece in (node.value, *node.value.split("{}"))
        }
    return found


class Sentences:
    """The templates of modules: `whole` ones, and the `words` of ours that come into holes."""

    def __init__(self, trees: dict[str, ast.Module]) -> None:
        self.whole: Found = defaultdict(set)
        self.words: Found = defaultdict(set)
        self._is_saying = False
        self._assignments: dict[Function, dict[str, list[_Assigned]]] = {}
        self._functions: dict[str, list[tuple[str, Function]]] = defaultdict(list)
        self._constants: dict[str, list[tuple[str, ast.expr]]] = defaultdict(list)
        self._calls: dict[str, list[tuple[str, ast.Call]]] = defaultdict(list)
        self._above: dict[ast.AST, ast.AST] = {}
        for place, tree in trees.items():
            for node in ast.walk(tree):
                self._above |= dict.fromkeys(ast.iter_child_nodes(node), node)
                if isinstance(node, Function):
                    self._functions[node.name].append((place, node))
                elif isinstance(node, ast.Call):
                    self._calls[_name(node.func)].append((place, node))
            for node in tree.body:
                for name, value in _assigned(node):
                    self._constants[name].append((place, value))
        self._sinks = {name: dict(taken) for name, taken in _SINKS.items()}
        self._follow_sinks()
        for place, tree in trees.items():
            for node in ast.walk(tree):
                self._look_at(node, place)

    # What is said

    def _follow_sinks(self) -> None:
        """Take what problems are made of; a function that hands it on is one to look at, too."""
        todo = list(self._sinks)
        while todo:
            name = todo.pop()
            for place, call in self._calls[name]:
                for parameter, position in self._sinks[name].items():
                    given = _argument(call, parameter, position)
                    if given is None:
                        continue
                    self._say(given, place)
                    todo += self._handed_on(given)

    def _handed_on(self, given: ast.expr) -> list[str]:
        if not isinstance(given, ast.Name):
            return []
        for function in self._around(given):
            names = _parameters(function)
            if given.id in names:
                taken = self._sinks.setdefault(function.name, {})
                if given.id in taken or function.name == "__init__":
                    return []
                at = names.index(given.id) - (names[0] in ("self", "cls"))
                keyword = [one.arg for one in function.args.kwonlyargs]
                taken[given.id] = -1 if given.id in keyword else at
                return [function.name]
        return []

    def _look_at(self, node: ast.AST, place: str) -> None:
        """Take remarks and advice; pairs of texts; what fields and ABC's readers say."""
        if isinstance(node, ast.Assign | ast.AnnAssign | ast.AugAssign):
            for target in node.targets if isinstance(node, ast.Assign) else [node.target]:
                if isinstance(target, ast.Subscript) and _is_remarking(target.value):
                    self._say_all(target.slice, place)
                elif _is_remarking(target) and node.value is not None:
                    self._say_all(node.value, place)
        elif isinstance(node, ast.Call):
            self._look_at_call(node, place)
        elif isinstance(node, ast.FunctionDef) and node.name.endswith((*_REMARKING, "_without")):
            for inner in ast.walk(node):
                if isinstance(inner, ast.Yield | ast.Return) and inner.value is not None:
                    self._say_all(inner.value, place)
                elif isinstance(inner, ast.Call) and _name(inner.func) == "append":
                    self._say_all(inner.args[0], place)
        elif isinstance(node, ast.Tuple):
            texts = node.elts[1:] if len(node.elts) == 3 and _is_number(node.elts[0]) else node.elts
            each = [self._texts(one, place) or set() for one in texts]
            if len(each) == 2 and all(one and all(map(_SENTENCE.match, one)) for one in each):
                self._say(texts[0], place)
                self._say(texts[1], place)

    def _look_at_call(self, call: ast.Call, place: str) -> None:
        name = _name(call.func)
        if name in ("append", "setdefault") and _is_remarking(_owner(call.func)):
            self._say_all(call.args[0], place)
        elif name in ("_say", "Mending", "HTTPException") or (
            name == "ValueError" and "/abc/" in place
        ):
            for given in call.args:
                if not _is_one_word(given):
                    self._say(given, place)
        elif name == "NotSteadyError":
            for text in self._texts(call.args[0], place) or ():
                self._word(text, place, call.lineno)
        for keyword in call.keywords:
            if keyword.arg in _REMARKING:
                self._say_all(keyword.value, place)
            elif (name, keyword.arg) in _FIELDS:
                self._say(keyword.value, place)

    def _say_all(self, given: ast.expr, place: str) -> None:
        match given:
            case ast.Tuple(elts=parts) | ast.List(elts=parts):
                for one in parts:
                    self._say_all(one, place)
            case ast.Starred(value=inner) | ast.ListComp(elt=inner) | ast.GeneratorExp(elt=inner):
                self._say_all(inner, place)
            case ast.IfExp(body=one, orelse=other):
                self._say_all(one, place)
                self._say_all(other, place)
            case ast.BinOp(left=left, right=right) if not _is_text(left):
                self._say_all(left, place)
                self._say_all(right, place)
            case ast.Call(func=ast.Name(id="tuple" | "list"), args=[inner]):
                self._say_all(inner, place)
            case _:
                self._say(given, place)

    def _say(self, given: ast.expr, place: str) -> None:
        self._is_saying = True
        texts = self._texts(given, place) or ()
        self._is_saying = False
        for text in texts:
            if re.search("[A-Za-z]", text):
                self.whole[re.sub(f"{HOLE}+", HOLE, text)].add(f"{place}:{given.lineno}")

    # What an expression may be

    def _texts(  # noqa: PLR0911
        self, node: ast.expr | None, place: str, depth: int = 0
    ) -> set[str] | None:
        """Return the templates that an expression may be; None for what is no text of ours."""
        if depth > _DEEPEST or node is None:
            return None
        deeper = depth + 1
        match node:
            case ast.Constant(value=str(text)):
                return {text}
            case ast.JoinedStr():
                parts = [self._part(one, place, deeper) for one in node.values]
                return {"".join(one) for one in itertools.product(*parts)}
            case ast.BinOp(op=ast.Add()):
                return self._joined([node.left, node.right], place, deeper)
            case ast.IfExp():
                return self._either([node.body, node.orelse], place, deeper)
            case ast.BoolOp():
                return self._either(node.values, place, deeper)
            case ast.NamedExpr():
                return self._texts(node.value, place, deeper)
            case ast.Name():
                return self._named(node, place, deeper)
            case ast.Subscript(value=ast.Name(id=name)):
                return self._values_of(name, deeper)
            case ast.Call(func=ast.Attribute(value=ast.Name(id=name), attr="get")):
                return self._values_of(name, deeper)
            case ast.Call():
                return self._returned(node, place, deeper)
            case _:
                return None

    def _part(self, part: ast.expr, place: str, depth: int) -> set[str]:
        """Return what a part of an f-string may be: a choice of two texts both, else a hole."""
        if not isinstance(part, ast.FormattedValue):
            return self._texts(part, place, depth) or {HOLE}
        found = self._texts(part.value, place, depth)
        match part.value:
            case ast.IfExp(body=ast.Constant(), orelse=ast.Constant()) if found:
                return found
        if not self._is_saying:
            return {HOLE}
        for text in found or ():
            self._word(text, place, part.lineno)
        if isinstance(part.value, ast.Name):
            self._words_given(part.value, place, depth)
        return {HOLE}

    def _words_given(self, hole: ast.Name, place: str, depth: int) -> None:
        """Note what calls of a function put into a hole that is one of its parameters."""
        for function in self._around(hole):
            names = _parameters(function)
            if hole.id in names:
                at = names.index(hole.id) - (names[0] in ("self", "cls"))
                for where, call in self._calls[function.name]:
                    given = _argument(call, hole.id, at)
                    for text in self._texts(given, where, depth) or ():
                        self._word(text, where, call.lineno)
                return

    def _word(self, text: str, place: str, line: int) -> None:
        text = re.sub(f"{HOLE}+", HOLE, text)
        if re.search("[A-Za-z]{2}", text):
            self.words[text].add(f"{place}:{line}")

    def _either(self, nodes: list[ast.expr], place: str, depth: int) -> set[str] | None:
        each = [self._texts(one, place, depth) for one in nodes]
        return set().union(*(one or {HOLE} for one in each)) if any(each) else None

    def _joined(self, nodes: list[ast.expr], place: str, depth: int) -> set[str] | None:
        each = [self._texts(one, place, depth) for one in nodes]
        both = itertools.product(*(one or {HOLE} for one in each))
        return {"".join(one) for one in both} if any(each) else None

    def _named(self, node: ast.Name, place: str, depth: int) -> set[str] | None:
        for function in self._around(node):
            if function not in self._assignments:
                self._assignments[function] = _assigned_in(function)
            values = self._assignments[function].get(node.id)
            if values:
                found: set[str] = set()
                for value, at, rows in values:
                    items = _items(value) if rows else [value]
                    for one in items:
                        got = self._item(one, at, place, depth)
                        found |= got or {HOLE}
                return None if found == {HOLE} else found
            if node.id in _parameters(function):
                return None
        known = self._constants[node.id]
        found = set()
        for where, value in [one for one in known if one[0] == place] or known:
            found |= self._texts(value, where, depth) or set()
        return found or None

    def _item(self, node: ast.expr, at: int | None, place: str, depth: int) -> set[str] | None:
        """Return what an expression may be, or its part of that number."""
        if at is None:
            return self._texts(node, place, depth)
        match node:
            case ast.Tuple(elts=parts) | ast.List(elts=parts) if at < len(parts):
                return self._texts(parts[at], place, depth)
            case ast.IfExp():
                each = [self._item(one, at, place, depth) for one in (node.body, node.orelse)]
                return set().union(*(one or set() for one in each)) or None
            case _:
                # Pairs are looked at wherever they stand.
                return None

    def _values_of(self, name: str, depth: int) -> set[str] | None:
        found: set[str] = set()
        for place, value in self._constants[name]:
            if isinstance(value, ast.Dict):
                for one in value.values:
                    found |= self._texts(one, place, depth) or set()
        return found or None

    def _returned(self, call: ast.Call, place: str, depth: int) -> set[str] | None:
        name = _name(call.func)
        match call.func:
            case ast.Attribute(value=ast.Constant()):
                return None
        known = self._functions[name]
        own = [one for one in known if one[0] == place] or known
        found: set[str] = set()
        for where, function in own if len(own) <= 2 else ():
            for node in ast.walk(function):
                if isinstance(node, ast.Return) and next(self._around(node), None) is function:
                    found |= self._texts(node.value, where, depth) or set()
        return found or None

    def _around(self, node: ast.AST) -> Iterator[Function]:
        while node in self._above:
            node = self._above[node]
            if isinstance(node, Function):
                yield node


def _name(node: ast.expr) -> str:
    match node:
        case ast.Name(id=name) | ast.Attribute(attr=name):
            return name
        case _:
            return ""


def _owner(node: ast.expr) -> ast.expr | None:
    return node.value if isinstance(node, ast.Attribute) else None


def _is_remarking(node: ast.expr | None) -> bool:
    return node is not None and _name(node).lstrip("_") in _REMARKING


def _is_text(node: ast.expr) -> bool:
    return isinstance(node, ast.JoinedStr | ast.Constant)


def _is_one_word(node: ast.expr) -> bool:
    return isinstance(node, ast.Constant) and " " not in str(node.value)


def _is_number(node: ast.expr) -> bool:
    return isinstance(node, ast.Constant) and isinstance(node.value, int)


def _parameters(function: Function) -> list[str]:
    given = function.args
    return [one.arg for one in (*given.posonlyargs, *given.args, *given.kwonlyargs)]


def _argument(call: ast.Call, name: str, position: int) -> ast.expr | None:
    for keyword in call.keywords:
        if keyword.arg == name:
            return keyword.value
    return call.args[position] if 0 <= position < len(call.args) else None


def _assigned(node: ast.AST) -> Iterator[tuple[str, ast.expr]]:
    if isinstance(node, ast.Assign):
        yield from ((_name(target), node.value) for target in node.targets)
    elif isinstance(node, ast.AnnAssign | ast.NamedExpr) and node.value is not None:
        yield _name(node.target), node.value


def _assigned_in(function: Function) -> dict[str, list[_Assigned]]:
    """What names are assigned: values, which part of them, and whether one of many."""
    found: dict[str, list[_Assigned]] = defaultdict(list)
    for node in ast.walk(function):
        match node:
            case ast.Assign(targets=targets, value=value):
                pass
            case ast.AugAssign(target=target, value=more):
                targets = [target]
                value = ast.BinOp(ast.Constant(HOLE), ast.Add(), more)
            case ast.AnnAssign(target=target, value=value) if value is not None:
                targets = [target]
            case ast.NamedExpr(target=target, value=value):
                targets = [target]
            case ast.For(target=target, iter=value) | ast.comprehension(target=target, iter=value):
                targets = [target]
            case _:
                continue
        is_loop = isinstance(node, ast.For | ast.comprehension)
        for target in targets:
            if isinstance(target, ast.Name):
                found[target.id].append((value, None, is_loop))
            elif isinstance(target, ast.Tuple):
                for at, one in enumerate(target.elts):
                    found[_name(one)].append((value, at, is_loop))
    return found


def _items(value: ast.expr) -> list[ast.expr]:
    return value.elts if isinstance(value, ast.Tuple | ast.List) else [value]
