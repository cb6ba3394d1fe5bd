"""The ``holdoff`` command: arguments, exit codes, printing. No analysis.

Exit status 0 done, 1 the input has a problem (one line on standard error), 2 wrong usage.
"""

from __future__ import annotations

import sys
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer
from rich.console import Console

from dashboard.access.cli import audit, user
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

app.add_typer(user, name="user")
app.add_typer(audit, name="audit")

Folder = Annotated[Path, typer.Argument(help="Building folder: site.toml and the logs.", show_default=False)]


def _console() -> Console:
    # A pipe has no width of its own; wide enough that no row breaks.
    return Console(width=None if sys.stdout.isatty() else 160)


def _version(wanted: bool) -> None:  # noqa: FBT001  typer calls it so
    if wanted:
        from dashboard.workspace.database import newest

        typer.echo(f"holdoff {__version__}, database schema {newest()}")
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
    from tuning.console import print_analysis, print_starting
    from tuning.export import document, write_csv, write_document
    from tuning.site import read_site
    from tuning.starting import starting_document, starting_settings

    analysis = _analyse(folder)
    print_analysis(_console(), analysis)
    starts = starting_settings(read_site(folder), analysis.channels)
    print_starting(_console(), starts)
    if json:
        write_document(document(analysis) | {"starting": starting_document(starts)}, json)
    if csv:
        write_csv(analysis, csv)
    if html:
        # The report draws; the library does not. Only the command knows both.
        from dashboard.report import html_report

        html.write_text(html_report(analysis), encoding="utf-8")


@app.command()
def start(
    folder: Annotated[
        Path, typer.Argument(help="Building folder: site.toml, and the logs that there are.", show_default=False)
    ],
    beliefs: Annotated[
        Path | None,
        typer.Option(help="beliefs.json of holdoff estate: start from what the estate's rooms have taught."),
    ] = None,
    json: Annotated[Path | None, typer.Option(help="Write the starting settings as JSON.")] = None,
) -> None:
    """Advise settings to start with for every channel that has no log yet, and say what to expect and when to come back."""
    from tuning.console import print_starting
    from tuning.errors import NoLogError
    from tuning.export import write_document
    from tuning.site import read_site
    from tuning.starting import read_beliefs, starting_document, starting_settings

    site = read_site(folder)
    taught = None if beliefs is None else read_beliefs(beliefs)
    try:
        analysed = _analyse(folder).channels
    except NoLogError:
        # Before the first log is where this begins.
        analysed = ()
    starts = starting_settings(site, analysed, beliefs=taught)
    if not starts:
        typer.echo("Every channel has a log; holdoff recommend says what it tells.")
    print_starting(_console(), starts)
    if json:
        write_document({"site": site.site.name, "version": __version__, "starting": starting_document(starts)}, json)


@app.command()
def report(
    folder: Folder,
    html: Annotated[Path | None, typer.Option(help="Write the report as one self-contained page to print.")] = None,
    json: Annotated[Path | None, typer.Option(help="Write all of its figures as JSON.")] = None,
) -> None:
    """Report a year of light to the building's owner: energy, cost, emissions, LENI, occupancy factor, as now and as recommended."""
    from tuning.console import print_owner_report
    from tuning.export import write_document
    from tuning.owner import owner_report, report_document
    from tuning.site import read_site

    made = owner_report(read_site(folder), _analyse(folder))
    print_owner_report(_console(), made)
    if json:
        write_document(report_document(made), json)
    if html:
        from dashboard.owner_report import page

        html.write_text(page(made), encoding="utf-8")


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


@app.command()
def estate(
    root: Annotated[
        str,
        typer.Argument(
            help="Folder, or URL of a prefix in an object store, with buildings somewhere below: each a site.toml and its logs.",
            show_default=False,
        ),
    ],
    out: Annotated[
        Path, typer.Option(help="Folder for results; what it holds of an earlier run is not done again.")
    ] = Path("holdoff-estate"),
    workers: Annotated[
        int | None, typer.Option(min=1, help="Processes of this machine.", show_default="one a core")
    ] = None,
    cluster: Annotated[
        str | None, typer.Option(help="Address of a Dask scheduler to use instead, such as tcp://host:8786.")
    ] = None,
    retries: Annotated[
        int,
        typer.Option(
            min=0, help="How often to try a building again whose worker was lost or whose files could not be read."
        ),
    ] = 2,
    again: Annotated[bool, typer.Option("--again", help="Analyse all, changed or not.")] = False,  # noqa: FBT002
) -> None:
    """Analyse all buildings under a root, rank them and their channels, and pool what rooms of each use teach."""
    from tuning.console import progress
    from tuning.estate import run_estate
    from tuning.estate.shown import print_estate

    with progress(Console(stderr=True)) as say:
        run = run_estate(root, out, workers=workers, cluster=cluster, retries=retries, again=again, progress=say)
    print_estate(_console(), run)
    typer.echo(f"Results: {out}")
    if run.failed:
        count, of = len(run.failed), len(run.manifest["buildings"])
        raise TuningError(
            f"{count} of {of} buildings could not be analysed. manifest.json and the lines above say why. Mend them and run again: "
            "only they are done."
        )


@app.command()
def verify(
    folder: Folder,
    json: Annotated[Path | None, typer.Option(help="Write the whole verification as JSON.")] = None,
) -> None:
    """Hold the log after a change of settings against the log before it: was it set, and did it help."""
    from tuning.console import progress
    from tuning.export import write_document
    from tuning.verification import verify_folder
    from tuning.verification.document import document
    from tuning.verification.table import print_verification

    with one_line_only(), progress(Console(stderr=True)) as say:
        found = verify_folder(folder, progress=say)
    print_verification(_console(), found)
    if json:
        write_document(document(found), json)


@app.command()
def watch(
    folder: Folder,
    since: Annotated[
        str | None,
        typer.Option(
            help="First day that is no reference day, for all rooms: 2026-04-20.",
            show_default="six weeks after a room was last set, or the log begins",
        ),
    ] = None,
    false_alarms: Annotated[
        float, typer.Option(min=0.05, max=12.0, help="False alarms a room and year that are put up with.")
    ] = 1.0,
    json: Annotated[Path | None, typer.Option(help="Write all of it as JSON.")] = None,
) -> None:
    """Find out which rooms have changed since the reference days, since when, and where another setting is worth a visit."""
    import datetime as dt

    from tuning.console import progress
    from tuning.export import write_document
    from tuning.watching.look import watch_folder
    from tuning.watching.shown import document, print_watch

    try:
        day = None if since is None else dt.date.fromisoformat(since)
    except ValueError:
        raise typer.BadParameter(f"{since!r} is no day; write it as 2026-04-20.", param_hint="--since") from None
    with one_line_only(), progress(Console(stderr=True)) as say:
        site, found = watch_folder(folder, since=day, false_alarms=false_alarms, progress=say)
    print_watch(_console(), site, found)
    if json:
        write_document(document(site, found), json)


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
    port: Annotated[int, typer.Option(min=1, max=65535, help="Port to listen on.")] = 8050,
    host: Annotated[
        str,
        typer.Option(
            help="Address to listen on; for any but this machine's own, accounts are needed (holdoff user add)."
        ),
    ] = "127.0.0.1",
    trusted_proxy: Annotated[
        str | None,
        typer.Option(
            help="Address of the proxy that does TLS: its X-Forwarded-For, -Host and -Proto are believed. Needs accounts."
        ),
    ] = None,
    metrics_port: Annotated[
        int | None,
        typer.Option(
            min=1, max=65535, help="Port of 127.0.0.1 for figures in the Prometheus text format.", show_default="none"
        ),
    ] = None,
    log_lines: Annotated[  # noqa: FBT002
        bool,
        typer.Option(
            "--log-lines",
            "--log-requests",
            help="Write a line of JSON for each request, job and worker to standard error.",
        ),
    ] = False,
    config: Annotated[
        Path | None,
        typer.Option(
            help="File with limits, in place of holdoff.toml in the workspace; see holdoff limits.", show_default="none"
        ),
    ] = None,
    logs_under: Annotated[
        Path | None,
        typer.Option(
            help="Folder below which a building may name one that new logs are taken from.", show_default="none"
        ),
    ] = None,
    database: Annotated[
        str | None,
        typer.Option(
            help="Database of PostgreSQL for a new workspace: postgresql://USER@HOST/NAME. With a password, set HOLDOFF_DATABASE instead.",
            show_default="a file in the workspace",
        ),
    ] = None,
) -> None:
    """Open the web application on http://127.0.0.1:8050."""
    from dashboard.serve import Listening
    from dashboard.serve import serve as run

    run(
        workspace,
        Listening(port, host, trusted_proxy, metrics_port, log_lines),
        logs_under=logs_under,
        config=config,
        database=database,
    )


@app.command()
def limits(
    workspace: Annotated[Path, typer.Argument(help="Workspace, or the folder that is to be one.", show_default=False)],
) -> None:
    """Check and show the limits of a workspace, those that are set and those left as they are, as holdoff.toml takes them."""
    from dashboard.workspace import limits as held

    for line in held.lines(held.of(workspace)):
        typer.echo(line)


@app.command()
def backup(
    workspace: Annotated[Path, typer.Argument(help="Workspace; it may be worked in meanwhile.", show_default=False)],
    out: Annotated[
        Path, typer.Argument(help="File to write, or a folder in which it is named by the time.", show_default=False)
    ],
) -> None:
    """Write a workspace into one file: database, logs, analyses. It appears when it is whole, and nothing is written over."""
    from dashboard.access.cli import opened
    from dashboard.workspace.backup import back_up

    with opened(workspace) as ws:
        made = back_up(ws, out)
    typer.echo(f"{made.path}: {made.rows:,} rows and {made.files:,} files, {made.size:,} bytes.")
    if made.audit:
        number, head = made.audit
        typer.echo(f"The log of who did what ends with {number}:{head}. Note it down elsewhere.")
    _tell_missing(made.missing)


@app.command()
def restore(
    backup: Annotated[Path, typer.Argument(help="File that holdoff backup wrote.", show_default=False)],
    folder: Annotated[Path, typer.Argument(help="Empty folder, created when missing.", show_default=False)],
    database: Annotated[
        str | None,
        typer.Option(
            help="Empty database of PostgreSQL, as for serve; either kind takes a backup of the other.",
            show_default="a file in the workspace",
        ),
    ] = None,
) -> None:
    """Make a workspace of a backup, with every sum checked; or leave nothing behind."""
    from dashboard.workspace.address import asked
    from dashboard.workspace.restoring import restore as run

    made = run(backup, folder, database=asked(database))
    typer.echo(f"{folder}: {made.rows:,} rows and {made.files:,} files, as they were at {made.made_at}.")
    typer.echo(made.audit.broken or f"The log of who did what holds: {made.audit.entries} entries.")
    _tell_missing(made.missing)


def _tell_missing(missing: tuple[str, ...]) -> None:
    if missing:
        listed = ", ".join(missing[:5]) + (", …" if len(missing) > 5 else "")
        raise TuningError(
            f"{len(missing)} files that the database names had been lost before: {listed}. All else is there."
        )


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
