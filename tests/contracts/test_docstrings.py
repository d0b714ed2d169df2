"""Every public function and class says what it takes, and what it raises.

Read with `docstring_parser` (numpydoc style) and Python's own `ast` and `inspect`: parameter names in
the docstring equal those of the signature, and a public function that raises one of our errors has a
Raises section that names it.
"""

from __future__ import annotations

import ast
import dataclasses
import importlib
import inspect
import pkgutil
import textwrap
from collections.abc import Iterator
from typing import Any

import docstring_parser
import pytest

import loamwright
from loamwright import errors

#: Commands: their docstrings are the help people read, their parameters carry help of their own.
COMMANDS = {"loamwright.cli", "loamwright.buying_cli", "loamwright.planning_cli"}
OUR_ERRORS = {
    name
    for name, kind in inspect.getmembers(errors, inspect.isclass)
    if issubclass(kind, errors.LoamwrightError)
}


def modules() -> list[str]:
    found = pkgutil.walk_packages(loamwright.__path__, "loamwright.")
    return ["loamwright", *(info.name for info in found if not info.name.endswith("__main__"))]


def public(module_name: str) -> Iterator[tuple[str, Any]]:
    """Yield the public functions, classes and methods that a module defines itself."""
    module = importlib.import_module(module_name)
    for name, item in vars(module).items():
        if name.startswith("_") or getattr(item, "__module__", None) != module_name:
            continue
        if callable(item) and inspect.isfunction(inspect.unwrap(item)):
            yield f"{module_name}.{name}", inspect.unwrap(item)
        elif inspect.isclass(item):
            yield f"{module_name}.{name}", item
            for method_name, method in vars(item).items():
                function = getattr(method, "__func__", getattr(method, "fget", method))
                if not method_name.startswith("_") and inspect.isfunction(function):
                    yield f"{module_name}.{name}.{method_name}", function


EVERYTHING = [(name, item) for module in modules() for name, item in public(module)]
IDS = [name.removeprefix("loamwright.") for name, _ in EVERYTHING]


def documented(item: Any) -> list[str]:
    """Names in the Parameters section; one entry may name several: ``low, high``."""
    parsed = docstring_parser.parse(inspect.getdoc(item) or "", docstring_parser.DocstringStyle.NUMPYDOC)
    entries = [entry.arg_name for entry in parsed.params if entry.args[0] == "param"]
    return [name.strip().lstrip("*") for entry in entries for name in entry.split(",")]


def signature(item: Any) -> list[str]:
    if dataclasses.is_dataclass(item):
        return [field.name for field in dataclasses.fields(item) if field.init]
    return [name for name in inspect.signature(item).parameters if name not in ("self", "cls")]


def names_in(expression: ast.expr | None) -> set[str]:
    """Class names in what follows ``raise`` or ``except``."""
    if isinstance(expression, ast.Tuple):
        return {name for part in expression.elts for name in names_in(part)}
    called = expression.func if isinstance(expression, ast.Call) else expression
    return {getattr(called, "attr", getattr(called, "id", ""))}


def raised(node: ast.AST) -> set[str]:
    """Our errors raised in a piece of code, less those that a ``try`` around them catches."""
    if isinstance(node, ast.Raise):
        return names_in(node.exc) & OUR_ERRORS
    if isinstance(node, ast.Try):
        caught = {name for handler in node.handlers for name in names_in(handler.type)}
        inside = {name for part in node.body for name in raised(part)} - caught
        after = [*node.handlers, *node.orelse, *node.finalbody]
        return inside | {name for part in after for name in raised(part)}
    return {name for part in ast.iter_child_nodes(node) for name in raised(part)}


def test_there_is_something_to_check() -> None:
    assert "loamwright.units.parse_mass" in dict(EVERYTHING)
    assert {"InputError", "UnitError", "PropertyFileError", "MissingExtraError"} <= OUR_ERRORS


@pytest.mark.parametrize(("name", "item"), EVERYTHING, ids=IDS)
def test_it_says_what_it_is_for(name: str, item: Any) -> None:
    assert item.__doc__, f"{name} has no docstring"
    written_by_dataclass = f"{item.__name__}("
    assert not item.__doc__.startswith(written_by_dataclass), f"{name} has no docstring"


@pytest.mark.parametrize(("name", "item"), EVERYTHING, ids=IDS)
def test_parameters_are_those_of_the_signature(name: str, item: Any) -> None:
    """Functions and methods name every parameter; a record names all its fields or none at all."""
    if item.__module__ in COMMANDS:
        pytest.skip("a command's docstring is its help text")
    names = documented(item)
    if inspect.isclass(item) and (not names or not dataclasses.is_dataclass(item)):
        return
    assert sorted(names) == sorted(signature(item)), name


@pytest.mark.parametrize(("name", "item"), EVERYTHING, ids=IDS)
def test_what_it_raises_is_written(name: str, item: Any) -> None:
    if inspect.isclass(item):
        return
    if item.__module__ in COMMANDS:
        pytest.skip("a command's docstring is its help text")
    parsed = docstring_parser.parse(inspect.getdoc(item) or "", docstring_parser.DocstringStyle.NUMPYDOC)
    told = {part.strip() for entry in parsed.raises for part in (entry.type_name or "").split(",")}
    body = ast.parse(textwrap.dedent(inspect.getsource(item)))
    assert raised(body) <= told, name


def test_the_raise_rule_can_see_one() -> None:
    seen = raised(ast.parse("if x:\n    raise errors.InputError([])"))
    kept = raised(ast.parse("try:\n    raise InputError([])\nexcept UnitError:\n    pass"))
    caught = raised(ast.parse("try:\n    raise InputError([])\nexcept InputError:\n    pass"))
    again = raised(ast.parse("try:\n    pass\nexcept KeyError as e:\n    raise InputError([]) from e"))
    assert (seen, kept, caught, again) == ({"InputError"}, {"InputError"}, set(), {"InputError"})
