"""The role that a callback or a route needs on its building, where it is not the usual one.

Usual is: a callback that a click sets off needs ``decide``, any other ``look``; a route needs ``look`` to GET and ``decide`` for the rest. What
is not said here is thus never open to everybody. Writing needs its role once more at each row (`dashboard.workspace.guarded`).
"""

from __future__ import annotations

import inspect
from collections.abc import Callable
from typing import Any, TypeVar

from dashboard.workspace.actors import Role

F = TypeVar("F", bound=Callable[..., Any])
ATTRIBUTE = "_holdoff_needs"


def needs(role: Role) -> Callable[[F], F]:
    """Say which role a callback or route needs; stands below ``@app.callback`` or the route.

    Examples
    --------
    >>> @needs("administer")
    ... def close(): ...
    >>> declared(close)
    'administer'
    """

    def mark(function: F) -> F:
        setattr(function, ATTRIBUTE, role)
        return function

    return mark


def declared(function: Callable[..., Any] | None) -> Role | None:
    """Return the role that was said; ``None`` where it is the usual one."""
    return None if function is None else getattr(inspect.unwrap(function), ATTRIBUTE, None)
