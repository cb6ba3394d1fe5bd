"""Numbers as people say them, in one place for all sentences, tables and pages."""

from __future__ import annotations


def duration(seconds: float) -> str:
    """Write a hold-off as people say it.

    Examples
    --------
    >>> duration(600), duration(90), duration(45)
    ('10 min', '1.5 min', '45 s')
    """
    if seconds < 60:
        return f"{seconds:.0f} s"
    return f"{seconds / 60:.1f}".removesuffix(".0") + " min"


def often(per_week: float) -> str:
    """Write a weekly rate without false digits."""
    if per_week >= 10:
        return f"{per_week:.0f}"
    return f"{per_week:.1f}" if per_week >= 0.95 else f"{per_week:.2f}"


def what_goes_off(control: str) -> str:
    """Name what a channel switches."""
    return "load" if control == "relay" else "light"


def what_is_on(control: str) -> str:
    """Name the running of what a channel switches."""
    return "running" if control == "relay" else "light"
