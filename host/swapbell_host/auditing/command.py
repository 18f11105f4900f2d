"""The commands `evidence`: what stations kept for the audit of their counts."""

import sys
from enum import Enum
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from swapbell_host.desk.planning import HOST_TOML, ConfigOption, StationArgument, group

if TYPE_CHECKING:
    from collections.abc import Iterable

    from swapbell_models.evidence import Item, Seek

EVIDENCE = group(
    "What stations kept for the audit of their counts.\n\nExample: swapbell-host evidence list orchard/north"
)
GROUPS = {"evidence": EVIDENCE}


class Kind(Enum):
    """What evidence there is."""

    CLIPS = "clips"
    STRIPS = "strips"


BeginOption = Annotated[
    str | None,
    typer.Option("--from", help="From when on, by the site's clock: 2026-03-14 17:30.", show_default=False),
]
EndOption = Annotated[str | None, typer.Option("--to", help="Until when, likewise.", show_default=False)]
KindOption = Annotated[Kind | None, typer.Option("--kind", help="Only these.", show_default=False)]
WaitOption = Annotated[float, typer.Option("--wait", min=1.0, help="How long to wait for an answer [s].")]
FolderArgument = Annotated[Path, typer.Argument(metavar="FOLDER", help="What was fetched.", show_default=False)]
JsonOption = Annotated[bool, typer.Option("--json", help="For a program.")]
# Our choice: a station with a slow link answers once its tallies are through.
WAIT_S = 30.0


@EVIDENCE.command("list")
def list_evidence(
    station: StationArgument,
    begin: BeginOption = None,
    end: EndOption = None,
    kind: KindOption = None,
    wait: WaitOption = WAIT_S,
    as_json: JsonOption = False,
    config: ConfigOption = HOST_TOML,
) -> None:
    """List the clips and strips that a station holds now; it must be there to answer.

    Example: swapbell-host evidence list orchard/north --from 2026-03-14 --kind clips
    """
    import msgspec

    from swapbell_host.auditing import fetching, words
    from swapbell_host.auditing.caller import Caller
    from swapbell_host.config import read_config
    from swapbell_host.desk.opening import key

    read = read_config(config)
    with Caller(read, key(station), wait) as caller:
        items = _of(kind, fetching.listed(caller, _seek(config, station, begin, end)))
    if as_json:
        typer.echo(msgspec.json.encode([words.as_row(item) for item in items]))
        return
    for item in items:
        typer.echo(words.row(item))
    typer.echo(words.summary(items), err=True)


@EVIDENCE.command("fetch")
def fetch_evidence(
    station: StationArgument,
    items: Annotated[
        list[str] | None, typer.Argument(metavar="[ITEM...]", help="By their names in the list; all if none.")
    ] = None,
    out: Annotated[Path, typer.Option("--out", help="A folder, made if it is missing.")] = Path("evidence"),
    begin: BeginOption = None,
    end: EndOption = None,
    kind: KindOption = None,
    wait: WaitOption = WAIT_S,
    config: ConfigOption = HOST_TOML,
) -> None:
    """Fetch clips and strips from a station. After a cut, the same command goes on where it ended.

    Example: swapbell-host evidence fetch orchard/north --kind clips --out evidence
    """
    from swapbell_host.auditing import fetching, words
    from swapbell_host.auditing.caller import Caller
    from swapbell_host.config import read_config
    from swapbell_host.desk.opening import key
    from swapbell_models import fault

    read = read_config(config)
    try:
        with Caller(read, key(station), wait) as caller:
            found = _of(kind, fetching.listed(caller, _seek(config, station, begin, end)))
            wanted = fetching.chosen(found, items or ())
            typer.echo(words.summary(wanted), err=True)
            _made(out)
            size, quiet = sum(item.size for item in wanted), not sys.stderr.isatty()
            with typer.progressbar(length=size, file=sys.stderr, hidden=quiet) as bar:
                for item in wanted:
                    typer.echo(fetching.fetch(caller, item, out, bar.update))
    except KeyboardInterrupt:
        typer.echo(f"stopped; what came lies in {out}, and the same command goes on from there", err=True)
        raise typer.Exit(fault.EXIT_INTERRUPTED) from None


@EVIDENCE.command("sheet")
def write_recount_sheet(
    folder: FolderArgument,
    out: Annotated[Path, typer.Option("--out", help="The CSV; one that is there is never overwritten.")] = Path(
        "recount.csv"
    ),
) -> None:
    """Write a sheet on which a person says what the fetched clips and strips show; what stays empty is left out.

    Example: swapbell-host evidence sheet evidence --out recount.csv
    """
    from swapbell_host.auditing.folder import read_folder
    from swapbell_host.auditing.sheet import write_sheet

    rows = write_sheet(out, read_folder(folder))
    typer.echo(f"{out}: {rows} rows to answer; look at the films and strips in {folder}, not at their other files")


@EVIDENCE.command("audit")
def audit_counts(
    folder: FolderArgument,
    sheet: Annotated[Path, typer.Option("--sheet", help="What the person saw.")] = Path("recount.csv"),
    as_json: JsonOption = False,
) -> None:
    """Compare what the counter reported with what a person saw: agreement and recall, with limits and their sources.

    Example: swapbell-host evidence audit evidence --sheet recount.csv
    """
    import msgspec

    from swapbell_host.auditing import words
    from swapbell_host.auditing.audit import audit
    from swapbell_host.auditing.folder import read_folder
    from swapbell_host.auditing.sheet import read_sheet

    fetched = read_folder(folder)
    found = audit(fetched, read_sheet(sheet, fetched))
    if as_json:
        typer.echo(msgspec.json.encode(words.as_report(found)))
        return
    for line in words.report(found):
        typer.echo(line)


def _of(kind: Kind | None, items: "Iterable[Item]") -> "list[Item]":
    from swapbell_models.evidence import label

    strips = kind is Kind.STRIPS
    return [item for item in items if kind is None or (label(item.name).passing is not None) is strips]


def _seek(config: Path, station: str, begin: str | None, end: str | None) -> "Seek":
    """Return what is asked for; the ledger is needed only to know the site's clock."""
    from swapbell_models.evidence import Seek

    if begin is None and end is None:
        return Seek()
    from swapbell_host.books.planrows import one
    from swapbell_host.desk.opening import key, opened
    from swapbell_host.jobs.moment import moment

    with opened(config) as desk:
        zone = one(desk.book.sites(desk.now), key(station)[0], "site").clock
        return Seek(
            from_at=moment(begin, zone) if begin else None,
            to_at=moment(end, zone) if end else None,
        )


def _made(folder: Path) -> None:
    from swapbell_models.fault import Mistake

    try:
        folder.mkdir(exist_ok=True)
    except OSError as error:
        raise Mistake(f"folder {folder}: cannot be made ({error.strerror}); choose another with --out") from error
