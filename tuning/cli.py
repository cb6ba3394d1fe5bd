"""The ``holdoff`` command: arguments, exit codes, printing. No analysis.

Exit status 0 done, 1 the input has a problem (one line on standard error), 2 wrong usage.
"""

from __future__ import annotations

import sys
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer
from rich.console import Console

from tuning import __version__
from tuning.errors import TuningError
from tuning.quiet import one_line_only

if TYPE_CHECKING:
    from tuning.results import Analysis

app = typer.Typer(
    add_completion=False,
    no_args_is_help=True,
    pretty_exceptions_enable=False,
    help="Reads building logs of presence detectors and recommends switch-off delay, target illuminance and mode per channel.",
)

Folder = Annotated[Path, typer.Argument(help="Building folder: site.toml and the logs.", show_default=False)]


def _console() -> Console:
    # A pipe has no width of its own; wide enough that no row breaks.
    return Console(width=None if sys.stdout.isatty() else 160)


def _version(wanted: bool) -> None:  # noqa: FBT001  typer calls it so
    if wanted:
        typer.echo(f"holdoff {__version__}")
        raise typer.Exit


@app.callback()
def _main(
    _version_wanted: Annotated[  # noqa: FBT002  typer calls it so
        bool, typer.Option("--version", help="Show the version and end.", callback=_version, is_eager=True)
    ] = False,
) -> None:
    """Common options."""


def _analyse(folder: Path) -> Analysis:
    # Numerical libraries take a second to load; help and wrong usage need none of them.
    from tuning.console import progress
    from tuning.pipeline import analyse_folder

    with one_line_only(), progress(Console(stderr=True)) as say:
        return analyse_folder(folder, progress=say)


@app.command()
def recommend(
    folder: Folder,
    json: Annotated[Path | None, typer.Option(help="Write the whole result as JSON.")] = None,
    csv: Annotated[Path | None, typer.Option(help="Write the settings table as CSV.")] = None,
    html: Annotated[Path | None, typer.Option(help="Write a self-contained report to print.")] = None,
) -> None:
    """Read the logs, analyse them and print recommended settings with reasons."""
    from tuning.console import print_analysis
    from tuning.export import write_csv, write_json

    analysis = _analyse(folder)
    print_analysis(_console(), analysis)
    if json:
        write_json(analysis, json)
    if csv:
        write_csv(analysis, csv)
    if html:
        # The report draws; the library does not. Only the command knows both.
        from dashboard.report import html_report

        html.write_text(html_report(analysis), encoding="utf-8")


@app.command()
def events(
    folder: Folder,
    out: Annotated[
        Path, typer.Option(help="Folder to write episodes.parquet and switch_offs.parquet into.", show_default=False)
    ],
) -> None:
    """Write the episodes and the switch-offs with the probability that each left somebody in the dark."""
    from tuning.export import write_events

    for path in write_events(_analyse(folder), out):
        typer.echo(str(path))


@app.command()
def check(
    folder: Folder, json: Annotated[Path | None, typer.Option(help="Write the whole check as JSON.")] = None
) -> None:
    """Read the logs and report what is wrong with them and with the rooms."""
    from tuning.check import check_document, check_folder
    from tuning.check_table import print_check
    from tuning.console import progress
    from tuning.export import write_document

    with one_line_only(), progress(Console(stderr=True)) as say:
        found = check_folder(folder, progress=say)
    print_check(_console(), found)
    if json:
        write_document(check_document(found), json)
    if not found.usable:
        raise TuningError(
            f"{folder}: no channel has a usable motion log. Motion is needed. Check the logs and the mapping in site.toml."
        )


@app.command(name="map")
def map_(  # the word for it is a builtin
    folder: Annotated[
        Path, typer.Argument(help="Folder with the exports, and site.toml if there is one.", show_default=False)
    ],
    write: Annotated[  # noqa: FBT002  typer calls it so
        bool,
        typer.Option("--write", help="Write the proposal into site.toml; what is not sure is marked to be confirmed."),
    ] = False,
    time_zone: Annotated[
        str | None, typer.Option(help="Zone of local times, such as Europe/Copenhagen, for a new site.toml.")
    ] = None,
    json: Annotated[Path | None, typer.Option(help="Write the whole proposal as JSON.")] = None,
) -> None:
    """Look at exports and propose which column or point is which room, channel and quantity."""
    from tuning.console import progress
    from tuning.mapping.command import run, tell

    with one_line_only(), progress(Console(stderr=True)) as say:
        told = run(folder, write=write, time_zone=time_zone, json_path=json, progress=say)
    tell(_console(), told)


@app.command()
def serve(
    workspace: Annotated[
        Path | None,
        typer.Argument(
            help="Workspace, created when missing; or a building folder, which is only shown.",
            show_default="here, else ./holdoff-workspace",
        ),
    ] = None,
    port: Annotated[int, typer.Option(min=1, max=65535, help="Port on 127.0.0.1.")] = 8050,
) -> None:
    """Open the web application on http://127.0.0.1:8050."""
    from dashboard.serve import serve as run

    run(workspace, port=port)


@app.command()
def demo(port: Annotated[int, typer.Option(min=1, max=65535, help="Port on 127.0.0.1.")] = 8050) -> None:
    """Open the web application with the demo building already in it."""
    from dashboard.serve import demo as run

    run(port=port)


def main() -> None:
    """Run the command; turn every problem of the input into one line and exit status 1."""
    try:
        app()
    except TuningError as error:
        print(f"holdoff: {' '.join(str(error).split())}", file=sys.stderr)  # noqa: T201  the one place that speaks to people
        raise SystemExit(1) from None
    except OSError as error:
        name = f"{error.filename}: " if error.filename else ""
        print(f"holdoff: {name}{error.strerror or error}.", file=sys.stderr)  # noqa: T201
        raise SystemExit(1) from None
    except KeyboardInterrupt:
        raise SystemExit(130) from None


if __name__ == "__main__":
    main()
