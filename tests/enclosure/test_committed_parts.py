"""The files of the default design that are kept in the repository are those that the code makes today."""

from typing import TYPE_CHECKING

import pytest

import parts
from swapbell_enclosure.layout import Layout
from swapbell_enclosure.parameters import Parameters
from swapbell_enclosure.screws import Name
from swapbell_enclosure.stationsheet import station_toml

if TYPE_CHECKING:
    from swapbell_enclosure.assembly import Assembly

KEPT = parts.CHECKOUT / "enclosure" / "parts"
# Our choice: more would weigh on everyone who clones the repository.
SIZE_MAX_BYTES = 10_000_000
AGAIN = "build the default design anew: rm -r enclosure/parts; swapbell-enclosure build --out enclosure/parts"


def test_the_kept_files_are_small() -> None:
    assert sum(path.stat().st_size for path in KEPT.rglob("*") if path.is_file()) < SIZE_MAX_BYTES


def test_the_kept_station_file_is_todays() -> None:
    kept = (KEPT / "station-expected.toml").read_text(encoding="utf-8")
    assert kept == station_toml(Layout(Parameters())), AGAIN


@pytest.mark.part("build123d")
def test_the_kept_bill_is_todays(default_assembly: "Assembly") -> None:
    from swapbell_enclosure import bill

    assert (KEPT / "bill.md").read_text(encoding="utf-8") == bill.words(default_assembly), AGAIN


@pytest.mark.part("build123d")
@pytest.mark.parametrize("name", [Name(path.stem) for path in sorted((KEPT / "parts").glob("*.stl"))])
def test_a_kept_part_is_todays(default_assembly: "Assembly", name: Name) -> None:
    import trimesh

    from swapbell_enclosure.drawing import lying

    kept, today = trimesh.load_mesh(KEPT / "parts" / f"{name.value}.stl"), lying(default_assembly.part(name))
    size = today.bounding_box().size
    assert (kept.volume, *kept.extents) == pytest.approx((today.volume, size.X, size.Y, size.Z), rel=0.005), AGAIN
