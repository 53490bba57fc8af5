"""How flat, level and plumb a floor, wall or ceiling is, and whether that is good enough.

All lengths are millimetres; heights are positive toward the room.
"""

import ast
from importlib import import_module
from importlib.resources import files
from typing import Any

from flatness.limits.catalogue import limits as limits

# the stub names what is public, once, for type checkers and for us; each is imported when it is first wanted, but for
# `limits`: a folder has its name as well
_STUB = ast.parse(files("flatness").joinpath("__init__.pyi").read_text(encoding="utf-8")).body
_HOME = {one.name: node.module for node in _STUB if isinstance(node, ast.ImportFrom) for one in node.names}
__all__ = sorted(_HOME)


def __getattr__(name: str) -> Any:
    if name not in _HOME:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    globals()[name] = found = getattr(import_module(str(_HOME[name])), name)
    return found


def __dir__() -> list[str]:
    return sorted({*globals(), *__all__})
