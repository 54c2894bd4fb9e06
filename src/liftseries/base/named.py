"""Functions that a declaration names as text: `package.module:function`."""

from __future__ import annotations

from collections.abc import Callable
from importlib import import_module
from typing import Any


def function_named(function: str) -> Callable[..., Any]:
    """The function of that name; its module is imported only now."""
    module, _, name = function.partition(":")
    return getattr(import_module(module), name)
