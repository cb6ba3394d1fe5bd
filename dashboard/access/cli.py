"""``holdoff user`` and ``holdoff audit``: accounts of a workspace, and its log of who did what."""

from __future__ import annotations

import getpass
import os
import sys
from collections.abc import Iterator
from contextlib import closing, contextmanager
from enum import StrEnum
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from tuning.errors import TuningError

if TYPE_CHECKING:
    from dashboard.workspace import Workspace
    from dashboard.workspace.accounts import Account

user = typer.Typer(
    no_args_is_help=True, help="Accounts of a workspace. As soon as there is one, everybody has to log in."
)
audit = typer.Typer(no_args_is_help=True, help="The log of who did what in a workspace, chained by hash.")

Folder = Annotated[Path, typer.Argument(help="Workspace.", show_default=False)]
Name = Annotated[str, typer.Argument(help="Name of the person, as it stands under what is done.", show_default=False)]


class RoleName(StrEnum):
    """Roles, from the least to the most."""

    LOOK = "look"
    DECIDE = "decide"
    ADMINISTER = "administer"


RoleOption = Annotated[RoleName, typer.Option(help="look; decide, too; administer, too.", show_default=False)]
Buildings = Annotated[
    list[str] | None,
    typer.Option("--building", help="Only on this building (its name in addresses); may be given again."),
]
Issuer = Annotated[
    str | None,
    typer.Option(help="The provider that the name is of; left out, the one in holdoff.toml.", show_default=False),
]


@contextmanager
def opened(folder: Path) -> Iterator[Workspace]:
    """Open a workspace that is there, until the block ends."""
    # The web application takes a second to load; help and wrong usage need none of it.
    from dashboard.workspace import Workspace, is_workspace
    from dashboard.workspace.address import asked

    if not is_workspace(folder):
        raise TuningError(f"{folder}: not a workspace. Name the folder that holdoff serve keeps.")
    with closing(Workspace(folder, database=asked(None))) as ws:
        yield ws


def _hand() -> str:
    """Who sits at the terminal, as far as the machine knows."""
    try:
        return f"{getpass.getuser()} (terminal)"
    except (OSError, KeyError):
        return "terminal"


def _password() -> str:
    """Ask for a new password on a terminal, twice; else read the first line of standard input."""
    if sys.stdin.isatty():
        return str(typer.prompt("Password (nothing shows)", hide_input=True, confirmation_prompt="Once more"))
    return sys.stdin.readline().rstrip("\r\n")


@user.command()
def add(
    workspace: Folder,
    name: Name,
    role: RoleOption,
    building: Buildings = None,
    subject: Annotated[
        str | None, typer.Option(help="The OpenID provider's name (sub) for the person, who then needs no password.")
    ] = None,
    issuer: Issuer = None,
) -> None:
    """Make an account. The password is asked on the terminal, or read from standard input; never from the command line."""
    from dashboard.workspace import accounts

    with opened(workspace) as ws:
        password = None if subject else _password()
        accounts.add(
            ws, name, password, role=role.value, buildings=building or (), subject=subject, issuer=issuer, by=_hand()
        )  # fmt: skip
    typer.echo(f"{name} can log in.")


@user.command(name="list")
def list_(workspace: Folder) -> None:
    """List the accounts with their roles."""
    from dashboard.workspace import accounts

    with opened(workspace) as ws:
        found = accounts.all_of(ws)
    if not found:
        typer.echo("No accounts: nobody has to log in, and only this machine is served.")
    for a in found:
        roles = ", ".join(f"{role} on {b or 'every building'}" for b, role in sorted(a.roles.items())) or "no role"
        state = f", disabled {a.disabled_at:%Y-%m-%d}" if a.disabled_at else ""
        typer.echo(f"{a.name}: {roles}{state}{_ways(a)}")


def _ways(account: Account) -> str:
    ways = (["no password"] if not account.has_password else []) + (
        [f"tied to {account.subject} of {account.issuer or 'whichever provider vouches next'}"]
        if account.subject
        else []
    )
    return "".join(f", {w}" for w in ways)


@user.command()
def disable(workspace: Folder, name: Name) -> None:
    """Let nobody in on an account any more; its sessions end at once. Nothing that was done is lost."""
    from dashboard.workspace import accounts

    with opened(workspace) as ws:
        accounts.disable(ws, name, by=_hand())
    typer.echo(f"{name} is disabled.")


@user.command()
def enable(workspace: Folder, name: Name) -> None:
    """Let a disabled account in again."""
    from dashboard.workspace import accounts

    with opened(workspace) as ws:
        accounts.enable(ws, name, by=_hand())
    typer.echo(f"{name} can log in.")


@user.command()
def password(workspace: Folder, name: Name) -> None:
    """Give an account another password, asked as with add; its sessions end at once."""
    from dashboard.workspace import accounts

    with opened(workspace) as ws:
        accounts.set_password(ws, name, _password(), by=_hand())
    typer.echo(f"{name} has another password.")


@user.command()
def subject(
    workspace: Folder,
    name: Name,
    subject: Annotated[
        str | None, typer.Argument(help="The provider's name (sub) for the person. Without it, the account is untied.")
    ] = None,
    issuer: Issuer = None,
) -> None:
    """Tie an account to what the OpenID provider calls the person, or move it to another provider; its sessions end."""
    from dashboard.workspace import accounts

    with opened(workspace) as ws:
        accounts.set_subject(ws, name, subject, issuer=issuer, by=_hand())
    typer.echo(f"{name} is {'no longer tied' if subject is None else f'tied to {subject}'}.")


@user.command()
def issuer(
    workspace: Folder,
    issuer: Annotated[str, typer.Argument(help="Issuer from now on, as its discovery document says it.")],
    before: Annotated[
        str | None,
        typer.Option(help="Issuer until now. Without it: accounts whose issuer is not known yet.", show_default=False),
    ] = None,
) -> None:
    """Move all accounts that are tied to one issuer to another, where the same subjects are the same people. Exchange both to undo it."""
    from dashboard.workspace import accounts

    with opened(workspace) as ws:
        moved = accounts.move_ties(ws, issuer, before=before, by=_hand())
    typer.echo(f"Tied to {issuer} now: {', '.join(moved) or 'nobody'}.")


@user.command()
def link(workspace: Folder, name: Name) -> None:
    """Print the last part of a link with which a person chooses a password, once, within a day."""
    from dashboard.workspace import accounts

    with opened(workspace) as ws:
        token = accounts.link(ws, name, by=_hand())
    typer.echo(f"/password/{token}")


@user.command()
def role(
    workspace: Folder,
    name: Name,
    role: Annotated[
        RoleName | None, typer.Option(help="Without it, the role is taken away.", show_default=False)
    ] = None,
    building: Buildings = None,
) -> None:
    """Give an account a role on buildings, on every one where none is named."""
    from dashboard.workspace import accounts

    with opened(workspace) as ws:
        accounts.set_role(ws, name, role.value if role else None, buildings=building or (), by=_hand())
    typer.echo(f"{name}: {role.value if role else 'no role'} on {', '.join(building or ['every building'])}.")


@audit.command()
def check(
    workspace: Folder,
    head: Annotated[
        str | None,
        typer.Option(help="NUMBER:HASH of an entry, noted at an earlier check, that the log must still hold."),
    ] = None,
) -> None:
    """Look through the whole chain; exit 1 where an entry was changed or is missing."""
    from dashboard.workspace import audit as log

    noted = None
    if head is not None:
        number, _, found = head.partition(":")
        if not number.isdigit() or not found:
            raise typer.BadParameter("it is NUMBER:HASH, as check prints it", param_hint="--head")
        noted = (int(number), found)
    with opened(workspace) as ws:
        told = log.verify(ws, head=noted)
    if told.broken:
        raise TuningError(f"{told.broken} The log holds up to entry {told.entries}. Compare with a backup.")
    typer.echo(
        f"The log holds: {told.entries} entries. To see later that none is missing, note down: {told.entries}:{told.head}"
    )


@audit.command()
def export(
    workspace: Folder,
    csv: Annotated[Path | None, typer.Option(help="Write it as CSV.")] = None,
    json: Annotated[Path | None, typer.Option(help="Write it as JSON.")] = None,
    building: Annotated[str | None, typer.Option(help="Only of this building.")] = None,
) -> None:
    """Write the log out."""
    from dashboard.workspace import audit as log

    if csv is None and json is None:
        raise typer.BadParameter("say where to: --csv F or --json F")
    with opened(workspace) as ws:
        for path, write in ((csv, log.as_csv), (json, log.as_json)):
            if path is not None:
                with path.open("w", encoding="utf-8", newline="") as file:
                    file.writelines(write(log.entries(ws, building=building)))
                typer.echo(os.fspath(path))
