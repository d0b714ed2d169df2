"""What the documentation owes: everything public says what it is for, and a face says all of it.

A name on a package's face, or in a file of the root, has the full docstring: parameter names equal those of
the signature, what it raises is written, and its example runs. Inside a package one sentence is owed, with
the formula and its reference where there is one.
"""

from __future__ import annotations

import ast
import dataclasses
import doctest
import importlib
import inspect
import pkgutil
import textwrap
from collections.abc import Iterator
from typing import Any

import docstring_parser

import loamwright
from loamwright import errors

#: Commands: their docstrings are the help people read, their parameters carry help of their own.
COMMANDS = "loamwright.commands."
OUR_ERRORS = {
    name
    for name, kind in inspect.getmembers(errors, inspect.isclass)
    if issubclass(kind, errors.LoamwrightError)
}


def modules() -> list[str]:
    found = pkgutil.walk_packages(loamwright.__path__, "loamwright.")
    return ["loamwright", *(info.name for info in found if not info.name.endswith("__main__"))]


def _with_methods(name: str, item: Any) -> Iterator[tuple[str, Any]]:
    if inspect.isfunction(inspect.unwrap(item)):
        yield name, inspect.unwrap(item)
    elif inspect.isclass(item) and item.__module__.startswith("loamwright."):  # not a library's: shapes
        yield name, item
        for method_name, method in vars(item).items():
            function = getattr(method, "__func__", getattr(method, "fget", method))
            if not method_name.startswith("_") and inspect.isfunction(function):
                yield f"{name}.{method_name}", function


def public(module_name: str) -> Iterator[tuple[str, Any]]:
    """Yield the public functions, classes and methods that a module defines itself."""
    for name, item in vars(importlib.import_module(module_name)).items():
        if not name.startswith("_") and getattr(item, "__module__", None) == module_name:
            yield from _with_methods(f"{module_name}.{name}", item)


def on_faces() -> Iterator[tuple[str, Any]]:
    """Yield what the packages show each other, and what the files of the root hold."""
    for module_name in modules():
        module = importlib.import_module(module_name)
        if module_name.startswith(COMMANDS.rstrip(".")):
            continue
        if hasattr(module, "__path__") and module_name != "loamwright":
            for name in module.__all__:
                yield from _with_methods(f"{module_name}.{name}", getattr(module, name))
        elif module_name.count(".") == 1:
            yield from public(module_name)


EVERYTHING = dict(pair for module in modules() for pair in public(module))
FACES = dict(on_faces())


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
    assert {"loamwright.units.parse_mass", "loamwright.needs.plot_needs"} <= set(FACES)
    assert {"InputError", "UnitError", "PropertyFileError", "MissingExtraError"} <= OUR_ERRORS


def test_everything_public_says_what_it_is_for() -> None:
    def silent(item: Any) -> bool:
        return not item.__doc__ or item.__doc__.startswith(f"{item.__name__}(")  # as a dataclass writes it

    assert {name for name, item in {**EVERYTHING, **FACES}.items() if silent(item)} == set()


def test_parameters_on_faces_are_those_of_the_signature() -> None:
    """Functions and methods name every parameter; a record names all its fields or none at all."""
    wrong = {}
    for name, item in FACES.items():
        names = documented(item)
        if inspect.isclass(item) and (not names or not dataclasses.is_dataclass(item)):
            continue
        if sorted(names) != sorted(signature(item)):
            wrong[name] = (names, signature(item))
    assert wrong == {}


def test_what_a_face_raises_is_written() -> None:
    wrong = {}
    for name, item in FACES.items():
        if inspect.isclass(item):
            continue
        parsed = docstring_parser.parse(inspect.getdoc(item) or "", docstring_parser.DocstringStyle.NUMPYDOC)
        told = {part.strip() for entry in parsed.raises for part in (entry.type_name or "").split(",")}
        if untold := raised(ast.parse(textwrap.dedent(inspect.getsource(item)))) - told:
            wrong[name] = untold
    assert wrong == {}


def test_every_example_runs() -> None:
    attempted = 0
    failures = {}
    for name in modules():
        found = doctest.testmod(importlib.import_module(name), optionflags=doctest.ELLIPSIS)
        attempted += found.attempted
        if found.failed:
            failures[name] = found.failed
    assert failures == {}
    assert attempted > 100


def test_the_raise_rule_can_see_one() -> None:
    seen = raised(ast.parse("if x:\n    raise errors.InputError([])"))
    kept = raised(ast.parse("try:\n    raise InputError([])\nexcept UnitError:\n    pass"))
    caught = raised(ast.parse("try:\n    raise InputError([])\nexcept InputError:\n    pass"))
    again = raised(ast.parse("try:\n    pass\nexcept KeyError as e:\n    raise InputError([]) from e"))
    assert (seen, kept, caught, again) == ({"InputError"}, {"InputError"}, set(), {"InputError"})
