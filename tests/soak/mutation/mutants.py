"""The small faults that are tried on a module, one at a time.

Tried: a comparison by its neighbours and its opposite; `and` for `or`, and either operand alone; `not` and a sign left
out; another operator of arithmetic; a condition turned round or left out of a comprehension; a number one up and one
down, True for False; a text, or a piece of one, emptied; a value left out of an f-string; an element left out of a list,
tuple, set or dict; a named argument left out; an end left out of a slice; max for min, any for all; a statement left out
(assignments, calls, `raise`, `yield`, `continue`, `break`); None returned instead of a value.

Left alone, because no caller could tell: docstrings, annotations, type aliases (CamelCase names), the first argument of
`cast`, decorators (sizes of caches, frozen), base classes, imports, `strict=` of zip, `raise ... from`, None itself and
`return None` at the end of a function.
"""

import ast
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from functools import partial
from typing import Any

Put = Callable[[Any], None]
Change = tuple[str, Callable[[], None]]

SIGNS: dict[type[ast.AST], str] = {
    ast.Lt: "<", ast.LtE: "<=", ast.Gt: ">", ast.GtE: ">=", ast.Eq: "==", ast.NotEq: "!=", ast.In: "in",
    ast.NotIn: "not in", ast.Is: "is", ast.IsNot: "is not", ast.And: "and", ast.Or: "or", ast.Add: "+", ast.Sub: "-",
    ast.Mult: "*", ast.Div: "/", ast.FloorDiv: "//", ast.Mod: "%", ast.BitOr: "|", ast.BitAnd: "&", ast.LShift: "<<",
    ast.RShift: ">>", ast.Pow: "**",
}  # fmt: skip
OTHERS: dict[type[ast.AST], tuple[type[Any], ...]] = {
    ast.Lt: (ast.LtE, ast.GtE), ast.LtE: (ast.Lt, ast.Gt), ast.Gt: (ast.GtE, ast.LtE), ast.GtE: (ast.Gt, ast.Lt),
    ast.Eq: (ast.NotEq,), ast.NotEq: (ast.Eq,), ast.In: (ast.NotIn,), ast.NotIn: (ast.In,), ast.Is: (ast.IsNot,),
    ast.IsNot: (ast.Is,), ast.And: (ast.Or,), ast.Or: (ast.And,), ast.Add: (ast.Sub,), ast.Sub: (ast.Add,),
    ast.Mult: (ast.Div,), ast.Div: (ast.Mult,), ast.FloorDiv: (ast.Div, ast.Mult), ast.Mod: (ast.Mult,),
    ast.BitOr: (ast.BitAnd,), ast.BitAnd: (ast.BitOr,), ast.LShift: (ast.RShift,), ast.RShift: (ast.LShift,),
    ast.Pow: (ast.Mult,),
}  # fmt: skip
OTHER_CALLS = {"min": "max", "max": "min", "any": "all", "all": "any"}
LEFT_OUT = (ast.Assign, ast.AugAssign, ast.Expr, ast.Raise, ast.Continue, ast.Break, ast.Delete)
NOT_LOOKED_INTO = {"annotation", "returns", "decorator_list", "bases", "type_params", "cause"}
LONGEST = 60


@dataclass(frozen=True)
class Mutant:
    """One fault. `apply` puts it into the tree that it was found in; `lines` are those of its statement.

    `file`, `function`, `line` (its text) and `change` name it, however far it moves up or down in the file.
    """

    file: str
    function: str
    line: str
    change: str
    lines: range
    apply: Callable[[], None]

    @property
    def key(self) -> tuple[str, str, str, str]:
        return self.file, self.function, self.line, self.change


@dataclass(frozen=True)
class _Place:
    function: str = ""
    lines: range = range(0)
    line: int = 0
    in_text: bool = False


def mutants_of(file: str, source: str, tree: ast.Module) -> Iterator[Mutant]:
    """Every mutant of `tree`, which `source` was parsed to, in the order of the file."""
    texts, seen = source.splitlines(), dict[tuple[str, str, str], int]()
    for place, change, apply in _walk(tree, lambda _: None, _Place()):
        named = place.function, texts[place.line - 1].strip(), change
        seen[named] = seen.get(named, 0) + 1
        change += f" #{seen[named]}" if seen[named] > 1 else ""
        yield Mutant(file, *named[:2], change, place.lines, apply)


def _walk(node: ast.AST, put: Put, place: _Place) -> Iterator[tuple[_Place, str, Callable[[], None]]]:
    place = _place_of(node, place)
    yield from ((place, change, apply) for change, apply in _changes(node, put, place))
    for field, value in ast.iter_fields(node):
        if field in NOT_LOOKED_INTO or _is_left_alone(node, field):
            continue
        children = value if isinstance(value, list) else [value]
        for index, child in enumerate(children):
            setter = partial(value.__setitem__, index) if isinstance(value, list) else partial(setattr, node, field)
            if isinstance(child, ast.AST) and not _says_nothing(node, field, index, child):
                yield from _walk(child, setter, place)


def _place_of(node: ast.AST, place: _Place) -> _Place:
    function, lines, in_text = place.function, place.lines, place.in_text
    if isinstance(node, ast.stmt):
        body = getattr(node, "body", None)
        end = body[0].lineno - 1 if body else node.end_lineno or node.lineno
        lines = range(node.lineno, max(end, node.lineno) + 1)
    if isinstance(node, ast.FunctionDef | ast.ClassDef):
        function = f"{function}.{node.name}".lstrip(".")
    line = place.line if in_text else getattr(node, "lineno", place.line)
    return _Place(function, lines, line, in_text or isinstance(node, ast.JoinedStr))


def _is_left_alone(node: ast.AST, field: str) -> bool:
    if isinstance(node, ast.Expr):  # docstrings and `...`
        return isinstance(node.value, ast.Constant)
    if isinstance(node, ast.Assign) and isinstance(node.targets[0], ast.Name):  # type aliases
        return not node.targets[0].id.isupper() and node.targets[0].id[0].isupper()
    if isinstance(node, ast.ClassDef):
        return field == "keywords"
    return isinstance(node, ast.keyword) and node.arg == "strict"


def _says_nothing(parent: ast.AST, field: str, index: int, child: ast.AST) -> bool:
    if isinstance(parent, ast.Call) and isinstance(parent.func, ast.Name) and parent.func.id == "cast":
        return field == "args" and index == 0
    last = isinstance(parent, ast.FunctionDef) and parent.body[-1] is child
    return last and isinstance(child, ast.Return) and _is_none(child.value)


def _is_none(value: ast.expr | None) -> bool:
    return value is None or (isinstance(value, ast.Constant) and value.value is None)


def said(node: ast.AST) -> str:
    text = " ".join(ast.unparse(node).split())
    return text if len(text) <= LONGEST else text[: LONGEST - 1] + "…"


def _without(elements: list[Any], index: int, also: list[Any] | None = None) -> Callable[[], None]:
    def apply() -> None:
        for each in (elements, also):
            if each is not None:
                del each[index]

    return apply


def _dropped(elements: Sequence[Any], apply: Callable[[int], Callable[[], None]]) -> Iterator[Change]:
    yield from ((f"without {said(each)}", apply(index)) for index, each in enumerate(elements))


def _changes(node: ast.AST, put: Put, place: _Place) -> Iterator[Change]:
    yield from _of_operators(node, put)
    yield from _of_conditions(node)
    yield from _of_values(node, put)
    if place.function:
        yield from _of_statements(node, put)


def _of_operators(node: ast.AST, put: Put) -> Iterator[Change]:
    if isinstance(node, ast.Compare):
        for index, op in enumerate(node.ops):
            for other in OTHERS[type(op)]:
                yield (
                    f"{said(node)}: {SIGNS[type(op)]} -> {SIGNS[other]}",
                    partial(node.ops.__setitem__, index, other()),
                )
    elif isinstance(node, ast.BinOp | ast.AugAssign | ast.BoolOp):
        for other in OTHERS[type(node.op)]:
            yield f"{said(node)}: {SIGNS[type(node.op)]} -> {SIGNS[other]}", partial(setattr, node, "op", other())
    elif isinstance(node, ast.UnaryOp):
        yield f"{said(node)}: -> {said(node.operand)}", partial(put, node.operand)
    if isinstance(node, ast.BoolOp):
        yield from _dropped(node.values, partial(_without, node.values))


def _of_conditions(node: ast.AST) -> Iterator[Change]:
    if isinstance(node, ast.If | ast.IfExp | ast.While):
        test = node.test
        if not isinstance(test, ast.Compare | ast.UnaryOp):  # those are turned round above
            yield f"{said(test)}: turned round", partial(setattr, node, "test", ast.UnaryOp(ast.Not(), test))
    elif isinstance(node, ast.comprehension):
        for index, test in enumerate(node.ifs):
            yield f"without if {said(test)}", _without(node.ifs, index)


def _of_values(node: ast.AST, put: Put) -> Iterator[Change]:
    if isinstance(node, ast.Constant):
        for other in _others(node.value):
            yield f"{node.value!r} -> {other!r}", partial(put, ast.Constant(other))
    elif isinstance(node, ast.Slice):
        for end in ("lower", "upper"):
            if getattr(node, end) is not None:
                yield f"{said(node)}: without its {end} end", partial(setattr, node, end, None)
    elif isinstance(node, ast.Name) and node.id in OTHER_CALLS:
        yield f"{node.id} -> {OTHER_CALLS[node.id]}", partial(setattr, node, "id", OTHER_CALLS[node.id])
    else:
        yield from _of_collections(node)


def _of_collections(node: ast.AST) -> Iterator[Change]:
    if isinstance(node, ast.JoinedStr):
        for index, piece in enumerate(node.values):
            if isinstance(piece, ast.FormattedValue):
                yield f"without {{{said(piece.value)}}}", _without(node.values, index)
    elif isinstance(node, ast.List | ast.Set | ast.Tuple) and not isinstance(getattr(node, "ctx", None), ast.Store):
        yield from _dropped(node.elts, partial(_without, node.elts))
    elif isinstance(node, ast.Dict):
        for index, (key, value) in enumerate(zip(node.keys, node.values, strict=True)):
            yield f"without {said(key or value)}", _without(node.keys, index, node.values)
    elif isinstance(node, ast.Call):
        for index, each in enumerate(node.keywords):
            if each.arg != "strict":
                yield f"without {each.arg}=", _without(node.keywords, index)


def _others(value: object) -> Iterator[Any]:
    if isinstance(value, bool):
        yield not value
    elif isinstance(value, int | float):
        yield from (value + 1, value - 1)
    elif isinstance(value, str):
        yield "" if value else "x"


def _of_statements(node: ast.AST, put: Put) -> Iterator[Change]:
    docstring = isinstance(node, ast.Expr) and isinstance(node.value, ast.Constant)
    if isinstance(node, LEFT_OUT) and not docstring:
        yield f"left out: {said(node)}", partial(put, ast.Pass())
    elif isinstance(node, ast.Return):
        if _is_none(node.value):
            yield f"left out: {said(node)}", partial(put, ast.Pass())
        else:
            yield "returns None", partial(setattr, node, "value", ast.Constant(None))
