"""Compiles the functions of the event loop where numba is installed; without it they run as they are, and give the same, slowly."""

from collections.abc import Callable
from importlib import import_module
from importlib.util import find_spec
from typing import Any, TypeVar

Function = TypeVar("Function", bound=Callable[..., Any])

COMPILES = find_spec("numba") is not None


def compiled(function: Function) -> Function:
    """Compile at the first call. Nothing is kept on disk: numba would not see that a function of another module has changed."""
    return import_module("numba").njit(function) if COMPILES else function
