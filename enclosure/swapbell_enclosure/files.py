"""The folder of a built design: solids, drawings, bill, picture, and the station file to expect."""
# build123d and trimesh leave type parameters open:
# pyright: reportUnknownMemberType=false, reportUnknownVariableType=false

import shutil
from collections.abc import Callable, Generator
from contextlib import contextmanager
from pathlib import Path

import trimesh
from build123d import Axis, Compound, ExportDXF, Mesher, Unit, export_step

from swapbell_enclosure import bill, drawing, fit, gallery, templates
from swapbell_enclosure.assembly import Assembly
from swapbell_enclosure.facets import FINE, on_bed
from swapbell_enclosure.part import Part
from swapbell_enclosure.printing import ROUNDING_MM, WALL_MIN_MM, Print, look_at
from swapbell_enclosure.stationsheet import station_toml
from swapbell_models.fault import Breakdown, Mistake


def prove(assembly: Assembly) -> None:
    """Look at every part as a printer would, and at the parts together.

    Raises
    ------
    Breakdown
        If a part cannot be printed as it is, or two do not go together: a defect of ours.
    """
    for part in assembly.parts:
        if part.printed and (why := _unprintable(look_at(part))):
            raise Breakdown(f"{part.name.value}: {why}; this is a defect of swapbell, please report your parameters")
    for clash in fit.clashes(assembly):
        pair = f"{clash.first.value} and {clash.second.value}"
        raise Breakdown(
            f"{pair} share {clash.volume_mm3:.1f} mm3; this is a defect of swapbell, please report your parameters"
        )


def _unprintable(made: Print) -> str | None:
    if not made.watertight or made.pieces != 1:
        return f"its skin is not closed, or it is {made.pieces} pieces"
    if made.overhang_mm2 > 0.0:
        return f"{made.overhang_mm2:.1f} mm2 of it would be printed in the air"
    if made.wall_mm < WALL_MIN_MM - ROUNDING_MM:
        return f"a wall is {made.wall_mm:.2f} mm thick"
    return None


@contextmanager
def whole_folder(out: Path) -> Generator[Path]:
    """Yield a folder to fill, which takes the place of `out` only when it is whole.

    Raises
    ------
    Mistake
        If `out` holds something already, or cannot be there.
    """
    try:
        if out.exists() and (not out.is_dir() or any(out.iterdir())):
            raise Mistake(f"{out} is not an empty folder; name a new one with --out")
        scratch = out.with_name(f".{out.name}.partial")
        shutil.rmtree(scratch, ignore_errors=True)
        scratch.mkdir()
    except OSError as error:
        raise Mistake(f"folder {out}: {error.strerror}; choose one that can be made") from error
    try:
        yield scratch
        scratch.replace(out)
    except OSError as error:
        raise Breakdown(f"folder {out}: {error.strerror}; make room there and build again") from error
    finally:
        shutil.rmtree(scratch, ignore_errors=True)


def write(assembly: Assembly, folder: Path, progress: Callable[[str], None]) -> None:
    """Write everything into an empty folder, telling each part's name as it is begun."""
    for name in ("parts", "sheets", "drawings", "without-a-printer"):
        (folder / name).mkdir()
    for part in assembly.parts:
        progress(part.name.value)
        if part.printed:
            _write_solid(part, folder / "parts")
            drawing.draw_part(part, folder / "drawings" / f"{part.name.value}.svg")
        else:
            _write_sheet(part, folder / "sheets")
    progress("assembly")
    together = Compound(children=[body for part in assembly.in_place for body in part.bodies])
    export_step(together, folder / "assembly.step", timestamp=EPOCH)
    gallery.save(gallery.outside(assembly), folder / "preview.png")
    gallery.save(gallery.through_the_lens(assembly), folder / "camera-view.png")
    templates.write(assembly.layout, folder)
    (folder / "bill.md").write_text(bill.words(assembly), encoding="utf-8")
    (folder / "station-expected.toml").write_text(station_toml(assembly.layout), encoding="utf-8")


# A file of the same design is the same file: its header holds no other time.
EPOCH = "1970-01-01T00:00:00"


def _write_solid(part: Part, folder: Path) -> None:
    stem, body = part.name.value, drawing.lying(part)
    export_step(body, folder / f"{stem}.step", timestamp=EPOCH)
    made = on_bed(part)
    trimesh.Trimesh(made.points, made.triangles, process=False).export(folder / f"{stem}.stl")
    mesher = Mesher(unit=Unit.MM)
    mesher.add_shape(body, linear_deflection=FINE[0], angular_deflection=FINE[1])
    mesher.write(folder / f"{stem}.3mf")


def _write_sheet(part: Part, folder: Path) -> None:
    """Write a sheet's outline as DXF, to scale, for a saw, a plotter or a laser."""
    exporter = ExportDXF(unit=Unit.MM)
    exporter.add_shape(drawing.lying(part).faces().sort_by(Axis.Z)[0])
    exporter.write(folder / f"{part.name.value}.dxf")
