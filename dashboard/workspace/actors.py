"""Who acts, and what that account may do: look, decide, administer, per building.

Whoever answers a request of a logged-in person says so with :func:`acting`; then every transaction of the workspace holds to it, whichever
function opened it (`guarded`): reading sees only the buildings that the account may look at, and writing needs the role that the row asks
for. Nobody acts in the worker, in the commands, and on a machine of one user without accounts; those may do everything.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from contextvars import ContextVar
from dataclasses import dataclass
from typing import Final, Literal, get_args

Role = Literal["look", "decide", "administer"]
ROLES: Final[tuple[Role, ...]] = get_args(Role)
"""From the least to the most; each includes those before it."""
MAY: Final[dict[Role, str]] = {
    "look": "look at it",
    "decide": "decide, bring in logs and change facts",
    "administer": "administer it",
}


class ForbiddenError(Exception):
    """The account may not do this. No :class:`WorkspaceError`: no page takes it for an ordinary refusal, and the answer is 403."""


@dataclass(frozen=True)
class Actor:
    """A logged-in person. ``roles`` by building; ``None`` stands for every building. ``reads_only`` while a request asks for no change."""

    account: int
    name: str
    roles: Mapping[str | None, Role]
    reads_only: bool = False

    def may(self, role: Role, building: str | None) -> bool:
        """Whether the role holds on a building; on every building where ``None``."""
        held = [self.roles[b] for b in {None, building} if b in self.roles]
        return any(ROLES.index(h) >= ROLES.index(role) for h in held)

    def anywhere(self, role: Role) -> bool:
        """Whether the role holds on some building."""
        return any(self.may(role, building) for building in self.roles)


_ACTING: ContextVar[Actor | None] = ContextVar("acting", default=None)


def actor() -> Actor | None:
    """Who acts; ``None`` for the program itself, and where there are no accounts."""
    return _ACTING.get()


@contextmanager
def acting(who: Actor | None) -> Iterator[None]:
    """Act for somebody, or as the program itself, until the block ends."""
    before = _ACTING.set(who)
    try:
        yield
    finally:
        _ACTING.reset(before)


def act_from_here(who: Actor | None) -> None:
    """Act for somebody for the rest of a request; the server says ``None`` when it is answered."""
    _ACTING.set(who)


def need(role: Role, building: str | None) -> None:
    """Refuse what the acting account may not do on a building; on every building where ``None``.

    Raises
    ------
    ForbiddenError
        With one line for people.
    """
    who = actor()
    if who is not None and not who.may(role, building):
        raise ForbiddenError(refusal(role, building))


def refusal(role: Role, building: str | None = None) -> str:
    """Say in one line what an account may not do."""
    if role == "look":
        return "Your account has no access to this building. Ask an administrator for it."
    of = "every building" if building is None else "this building"
    return f"This needs the role “{role}” on {of} ({MAY[role]}), which your account does not have. Ask an administrator for it."
