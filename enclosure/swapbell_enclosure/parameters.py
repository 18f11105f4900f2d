"""The parameter file: TOML with a sourced default for every key, read strictly."""

from enum import Enum
from pathlib import Path
from typing import Annotated, TypeVar

import msgspec

from swapbell_enclosure.hardware import BOARDS, CAMERAS, Board, CameraModule
from swapbell_models import settings
from swapbell_models.fault import Mistake

Table = TypeVar("Table", bound=msgspec.Struct)
# Our choice: shorter is finer than any printer, longer fits on none.
Length = Annotated[float, msgspec.Meta(ge=0.1, le=1000.0)]
# Our choice: a view at more than this angle foreshortens bodies by more than a tenth.
Tilt = Annotated[float, msgspec.Meta(ge=0.0, le=25.0)]
Pixels = Annotated[int, msgspec.Meta(ge=64, le=4096)]


class StationKind(Enum):
    """What the lane is bolted to: a lidded pot or a tub with a hole in its wall, or a pair of tins."""

    POT = "pot"
    TUB = "tub"
    TINS = "tins"


class Opening(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """The file's `[opening]`."""

    # Common practice, no source: at least 12 mm. The permit method on file asks for 23 mm (AWRI, 13 February 2019).
    hole_mm: Length = 12.0


class Lane(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """The file's `[lane]`: what insects walk through."""

    # Our choice: room for two to pass each other, and for the permit method's hole without another print.
    width_mm: Length = 24.0
    # Our choice: just over the smallest hole, and too low for one wasp above another.
    height_mm: Length = 12.5
    # False where an authority wants the hole clear all the way; the count then misses who walks above another.
    single_layer: bool = True
    # Our choice: four and a half worker lengths (13 mm in the mean) before and behind the gate taken together.
    zone_mm: Length = 60.0
    # The matte sheet on the floor: 1 mm card or plastic, common practice.
    insert_mm: Length = 1.0
    # The clear sheet over the lane: 2 mm acrylic or the lid of a food tub, common practice.
    window_mm: Length = 2.0
    # How far the landing board reaches out: our choice, three worker lengths.
    landing_mm: Length = 42.0


class Camera(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """The file's `[camera]`: a module from our table, any of whose figures can be overridden."""

    module: str = "imx708"
    # The size that the counter works in.
    image_px: tuple[Pixels, Pixels] = (640, 480)
    tilt_deg: Tilt = 0.0
    # From the lens to the gate; solved where it is left out.
    distance_mm: Length | None = None
    sensor_mm: tuple[Length, Length] | None = None
    focal_mm: Length | None = None
    f_number: Length | None = None
    nearest_mm: Length | None = None
    board_mm: tuple[Length, Length] | None = None
    holes_mm: tuple[Length, Length] | None = None
    lens_above_row_mm: Length | None = None
    far_edge_mm: Length | None = None
    pupil_mm: Length | None = None
    barrel_mm: Length | None = None
    fps_max: Length | None = None

    def resolved(self) -> CameraModule:
        """Return the module with what the file overrides."""
        return _overridden(CAMERAS[self.module], self)


class BoardParameters(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """The file's `[board]`: a size from our table, any of whose figures can be overridden."""

    kind: str = "65x30"
    size_mm: tuple[Length, Length] | None = None
    holes_mm: tuple[Length, Length] | None = None
    height_mm: Length | None = None

    def resolved(self) -> Board:
        """Return the board with what the file overrides."""
        return _overridden(BOARDS[self.kind], self)


class Housing(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """The file's `[housing]`: walls and rain."""

    # Our choice: six lines of a 0.4 mm nozzle; at least 1.6 mm is asked of every wall.
    wall_mm: Length = 2.4
    # How far the lid's lip stands off the box: our choice, so that drops fall clear of the vents.
    overhang_mm: Length = 8.0
    # How far the lip hangs down: our choice, below the vents' sills.
    lip_mm: Length = 16.0
    # A gland for a 12 mm thread, from memory; measure the one you have.
    gland_mm: Length = 12.5


class Station(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """The file's `[station]`: what the lane is bolted to, and what each kind measures across its outside."""

    kind: str = StationKind.POT.value
    # A half-litre lidded pot: our choice.
    pot_mm: Length = 110.0
    # A food tub with flat walls where it is left out.
    tub_mm: Length | None = None
    # A 400 g food tin, from memory.
    tins_mm: Length = 74.0


class Printer(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """The file's `[printer]`: the bed, and what the estimates of mass and time assume."""

    bed_mm: tuple[Length, Length] = (220.0, 220.0)
    # PETG, from memory: 1.27 g/cm3.
    density_g_per_cm3: Annotated[float, msgspec.Meta(ge=0.5, le=5.0)] = 1.27
    # Our choice: what a 0.4 mm nozzle lays down on average, walls and moves included.
    flow_mm3_per_s: Annotated[float, msgspec.Meta(ge=0.5, le=100.0)] = 5.0


class Parameters(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """The whole file; every table and every key may be left out."""

    opening: Opening = Opening()
    lane: Lane = Lane()
    camera: Camera = Camera()
    board: BoardParameters = BoardParameters()
    housing: Housing = Housing()
    station: Station = Station()
    printer: Printer = Printer()


def read_parameters(path: Path) -> Parameters:
    """Read and check a parameter file.

    Raises
    ------
    Mistake
        If it cannot be read, is no TOML, or has a key or a value that is not ours.
    """
    try:
        text = path.read_text(encoding="utf-8")
    except OSError as error:
        raise Mistake(f"parameter file {path}: {error.strerror}; check the path") from error
    except UnicodeDecodeError as error:
        raise Mistake(f"parameter file {path}: not a text file; it must be TOML in UTF-8") from error
    return parse_parameters(text, f"parameter file {path}")


def parse_parameters(text: str, what: str) -> Parameters:
    """Check the text of a parameter file; `what` stands in the message of a `Mistake`."""
    parameters = settings.parse(text, Parameters, what)
    for key, given, known in (
        ("camera.module", parameters.camera.module, CAMERAS),
        ("board.kind", parameters.board.kind, BOARDS),
        ("station.kind", parameters.station.kind, [each.value for each in StationKind]),
    ):
        if given not in known:
            raise Mistake(f'{what}: {key} = "{given}" is not in our table; choose one of {", ".join(known)}')
    return parameters


def default_toml() -> str:
    """Return the default parameters as a file, without the keys that have no value of their own."""
    tables = msgspec.to_builtins(Parameters())
    lines = [
        line
        for name, table in tables.items()
        for line in (
            f"[{name}]",
            *(f"{key} = {msgspec.json.encode(value).decode()}" for key, value in table.items() if value is not None),
            "",
        )
    ]
    return "\n".join(lines).rstrip()


def _overridden(base: Table, given: msgspec.Struct) -> Table:
    """Return the table's entry, with every figure that the file gives in its place."""
    own = {name: getattr(given, name, None) for name in base.__struct_fields__}
    return msgspec.structs.replace(base, **{name: value for name, value in own.items() if value is not None})
