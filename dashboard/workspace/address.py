"""Where a database of PostgreSQL is: a URL, and what of it nobody else should read."""

from __future__ import annotations

import os
from typing import Final

from sqlalchemy import URL, make_url
from sqlalchemy.exc import ArgumentError

from dashboard.workspace.errors import RefusedError

VARIABLE: Final = "HOLDOFF_DATABASE"
DRIVER: Final = "postgresql+psycopg"
SECRETS: Final = ("password", "sslpassword")
"""Keys after the question mark of a URL that nobody else should read."""


def asked(option: str | None) -> str | None:
    """Return the URL that a command was given, by its option or the environment.

    Raises
    ------
    RefusedError
        If the option holds a password, which everybody on the machine could read off the list of processes.
    """
    if option is not None and _without_secrets(parse(option)) != parse(option):
        raise RefusedError(
            f"--database: a password on the command line can be read by others on this machine. "
            f"Set {VARIABLE} to the whole URL instead, or keep the password in a file that PGPASSFILE names."
        )
    return option or os.environ.get(VARIABLE) or None


def parse(text: str) -> URL:
    """Read a URL; what it says is never repeated, because it may hold a password.

    Raises
    ------
    RefusedError
        If it is none of PostgreSQL.
    """
    rule = "A database is named as postgresql://USER@HOST/NAME; without one, a workspace keeps a file of its own."
    try:
        url = make_url(text)
    except (ArgumentError, ValueError):
        raise RefusedError(f"What stands for the database is no URL. {rule}") from None
    if url.drivername not in ("postgres", "postgresql", DRIVER):
        raise RefusedError(f"The URL of the database begins with {url.drivername}://. {rule}")
    return url.set(drivername=DRIVER)


def _without_secrets(url: URL) -> URL:
    # A password of None, given to what SQLAlchemy has for changing a URL, would leave the old one in it.
    return url._replace(password=None).difference_update_query(SECRETS)


def shown(url: URL) -> str:
    """Write a URL without its secrets."""
    return _without_secrets(url).render_as_string(hide_password=False)
