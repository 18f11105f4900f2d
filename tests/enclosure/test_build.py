"""The command as a person uses it, and what it leaves behind."""

import subprocess
import sys
import tomllib
from pathlib import Path

import pytest

from swapbell_device.stationfile import read_station
from swapbell_enclosure.screws import Name

PROGRAM = str(Path(sys.executable).parent / "swapbell-enclosure")
# Our choice: a loaded machine is slow and not wrong.
PATIENCE_S = 600.0
SHEETS = (Name.INSERT, Name.WINDOW, Name.DIFFUSER, Name.GASKET, Name.MESH)
PRINTED = [name.value for name in Name if name not in SHEETS]

pytestmark = pytest.mark.part("build123d")


def run(folder: Path, *words: str) -> "subprocess.CompletedProcess[str]":
    return subprocess.run(
        [PROGRAM, *words], cwd=folder, capture_output=True, text=True, timeout=PATIENCE_S, check=False
    )


@pytest.fixture(scope="session")
def built(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Return the folder of the default design, built once by the command."""
    folder = tmp_path_factory.mktemp("built")
    done = run(folder, "build", "--out", "lane")
    assert done.returncode == 0, done.stderr
    return folder / "lane"


def test_every_printed_part_is_there_as_solid_mesh_and_print_file(built: Path) -> None:
    assert {path.name for path in (built / "parts").iterdir()} == {
        f"{name}.{kind}" for name in PRINTED for kind in ("step", "stl", "3mf")
    }


def test_every_printed_part_has_its_drawing(built: Path) -> None:
    assert {f"{name}.svg" for name in PRINTED} <= {path.name for path in (built / "drawings").iterdir()}


def test_every_sheet_has_its_outline(built: Path) -> None:
    assert {path.stem for path in (built / "sheets").glob("*.dxf")} == {name.value for name in SHEETS}


@pytest.mark.parametrize("name", PRINTED)
def test_step_and_stl_hold_the_same_volume(built: Path, name: str) -> None:
    import trimesh
    from build123d import import_step

    mesh = trimesh.load_mesh(built / "parts" / f"{name}.stl")
    assert mesh.is_watertight
    assert mesh.volume == pytest.approx(import_step(built / "parts" / f"{name}.step").volume, rel=0.005)


def test_the_expected_station_file_can_be_read_by_the_counter(built: Path) -> None:
    assert read_station(built / "station-expected.toml").view.mm_per_px(320.0, 240.0) > 0.0


def test_the_bill_names_every_printed_part_of_the_station(built: Path) -> None:
    bill = (built / "bill.md").read_text(encoding="utf-8")
    others = ("adapter-tub", "adapter-tins")
    assert [name for name in PRINTED if name not in bill and name not in others] == []


def test_the_bill_warns_of_stings_blades_and_insecticide(built: Path) -> None:
    bill = (built / "bill.md").read_text(encoding="utf-8")
    assert all(word in bill for word in ("Stings", "Blades", "Insecticide", "POISON", "label"))


def test_the_stations_and_the_lane_without_a_printer_are_there_to_print(built: Path) -> None:
    names = {path.relative_to(built).as_posix() for path in built.rglob("*.pdf")}
    assert names == {
        "drawings/station-pot.pdf",
        "drawings/station-tub.pdf",
        "drawings/station-tins.pdf",
        "without-a-printer/lane.pdf",
        "without-a-printer/hood.pdf",
    }


def test_nothing_unfinished_is_left_beside_the_folder(built: Path) -> None:
    assert [path.name for path in built.parent.iterdir()] == [built.name]


def test_a_folder_that_holds_something_is_left_alone(tmp_path: Path) -> None:
    (tmp_path / "lane").mkdir()
    (tmp_path / "lane" / "mine.txt").write_text("mine", encoding="utf-8")
    done = run(tmp_path, "build", "--out", "lane")
    assert (done.returncode, [path.name for path in (tmp_path / "lane").iterdir()]) == (2, ["mine.txt"])
    assert "not an empty folder" in done.stderr


def test_a_hole_below_twelve_is_refused_before_anything_is_made(tmp_path: Path) -> None:
    (tmp_path / "lane.toml").write_text("[opening]\nhole_mm = 8\n", encoding="utf-8")
    done = run(tmp_path, "build", "lane.toml", "--out", "lane")
    assert (done.returncode, done.stdout, len(done.stderr.splitlines())) == (2, "", 1)
    assert "make it at least 12 mm" in done.stderr
    assert not (tmp_path / "lane").exists()


def test_check_says_which_limit_fails_and_what_would_keep_it(tmp_path: Path) -> None:
    (tmp_path / "lane.toml").write_text("[housing]\nwall_mm = 1\n", encoding="utf-8")
    done = run(tmp_path, "check", "lane.toml")
    assert done.returncode == 2
    assert "FAILS  wall: housing.wall_mm is 1 mm" in done.stdout
    assert "make it at least 1.6 mm" in done.stdout


def test_the_printed_parameters_can_be_built_from(tmp_path: Path) -> None:
    given = run(tmp_path, "params").stdout
    assert tomllib.loads(given)["opening"]["hole_mm"] == 12.0
    (tmp_path / "lane.toml").write_text(given, encoding="utf-8")
    assert run(tmp_path, "check", "lane.toml").returncode == 0


def test_check_needs_no_cad_kernel() -> None:
    program = (
        "import sys; from swapbell_enclosure import limits, main, parameters; limits.check(parameters.Parameters()); "
    )
    program += "sys.exit(any(name in sys.modules for name in ('build123d', 'OCP', 'trimesh', 'matplotlib')))"
    assert subprocess.run([sys.executable, "-c", program], timeout=PATIENCE_S, check=False).returncode == 0
