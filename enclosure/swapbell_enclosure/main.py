"""The enclosure's command line."""

import sys
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from swapbell_models import fault

if TYPE_CHECKING:
    from swapbell_enclosure.limits import Finding
    from swapbell_enclosure.parameters import Parameters

app = typer.Typer(
    help="Makes the printable lane and housing from one parameter file.\n\n"
    "Example: swapbell-enclosure build --out wasp-lane",
    add_completion=False,
    pretty_exceptions_enable=False,
    rich_markup_mode=None,
    no_args_is_help=True,
)

ParametersArgument = Annotated[
    Path | None,
    typer.Argument(metavar="[PARAMS]", help="A parameter file; the default design without one.", show_default=False),
]


@app.callback()
def _enclosure() -> None:
    pass


@app.command("build")
def build_command(
    params: ParametersArgument = None,
    out: Annotated[Path, typer.Option("--out", help="The folder to make.")] = Path("wasp-lane"),
) -> None:
    """Make every file of a design: solids, drawings, bill of materials, picture, expected station file.

    Example: swapbell-enclosure build lane.toml --out wasp-lane
    """
    parameters = _read(params)
    _refuse_what_fails(parameters, params)
    if not out.absolute().parent.is_dir():
        raise fault.Mistake(f"{out}: its parent folder does not exist; make it first")
    _need_cad()
    from swapbell_enclosure.assembly import assemble
    from swapbell_enclosure.files import prove, whole_folder, write

    with whole_folder(out) as folder:
        _say("making the parts")
        assembly = assemble(parameters)
        _say("proving that they print and fit")
        prove(assembly)
        write(assembly, folder, lambda name: _say(f"writing {name}"))
    typer.echo(f"{out}: {len(assembly.parts)} parts; begin with {out / 'bill.md'}")


@app.command("check")
def check_command(
    params: ParametersArgument = None,
    json: Annotated[bool, typer.Option("--json", help="Print one JSON array instead of lines.")] = False,
) -> None:
    """Say which limit the parameters break, and what would keep it. Exit code 2 if one is broken.

    Example: swapbell-enclosure check lane.toml
    """
    from swapbell_enclosure.limits import check

    findings = check(_read(params))
    typer.echo(_as_json(findings) if json else "\n".join(_line(finding) for finding in findings))
    broken = sum(not finding.kept for finding in findings)
    if broken:
        raise fault.Mistake(
            f"{_name(params)}: {broken} of {len(findings)} limits fail; change what the lines above name"
        )


def _line(finding: "Finding") -> str:
    verdict = "kept " if finding.kept else "FAILS"
    way_out = f"; {finding.way_out}" if finding.way_out else ""
    return f"{verdict}  {finding.subject}: {finding.found}{way_out}"


def _as_json(findings: "list[Finding]") -> bytes:
    import msgspec

    rows = [{"subject": f.subject, "found": f.found, "kept": f.kept, "way_out": f.way_out} for f in findings]
    return msgspec.json.encode(rows)


@app.command("params")
def params_command() -> None:
    """Print the default parameters as a file to begin with.

    Example: swapbell-enclosure params > lane.toml
    """
    from swapbell_enclosure.parameters import default_toml

    typer.echo(default_toml())


def _read(params: Path | None) -> "Parameters":
    from swapbell_enclosure.parameters import Parameters, read_parameters

    return read_parameters(params) if params else Parameters()


def _name(params: Path | None) -> str:
    return f"parameter file {params}" if params else "the default design"


def _refuse_what_fails(parameters: "Parameters", params: Path | None) -> None:
    from swapbell_enclosure.limits import check

    failing = [finding for finding in check(parameters) if not finding.kept]
    if failing:
        first, others = failing[0], len(failing) - 1
        more = f" ({others} more: swapbell-enclosure check {params or ''})" if others else ""
        raise fault.Mistake(f"{_name(params)}: {first.found}, {first.way_out}{more}")


def _need_cad() -> None:
    """Refuse where the CAD kernel is missing: it is an extra."""
    from importlib.util import find_spec

    if find_spec("build123d") is None or find_spec("trimesh") is None:
        raise fault.Mistake("build needs build123d and trimesh: .venv/bin/pip install -e '.[enclosure]'")


def _say(line: str) -> None:
    sys.stderr.write(f"{line}\n")
    sys.stderr.flush()


def run() -> None:
    """Run the command line."""
    fault.speak(app)
