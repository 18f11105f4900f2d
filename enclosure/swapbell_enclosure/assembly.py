"""All parts of one set of parameters, in their places."""

from dataclasses import dataclass

from swapbell_enclosure.layout import Layout
from swapbell_enclosure.parameters import Parameters, StationKind
from swapbell_enclosure.part import Part
from swapbell_enclosure.pieces import adapters, box, hood, lane
from swapbell_enclosure.screws import ADAPTERS, Name

ADAPTER_OF = dict(zip((StationKind.POT, StationKind.TUB, StationKind.TINS), ADAPTERS, strict=True))


@dataclass(frozen=True, slots=True)
class Assembly:
    """The parts; of the three adapters only the chosen station's is in its place."""

    layout: Layout
    parts: tuple[Part, ...]

    @property
    def in_place(self) -> list[Part]:
        """Return the parts that stand together."""
        chosen = ADAPTER_OF[StationKind(self.layout.parameters.station.kind)]
        return [part for part in self.parts if part.name not in ADAPTERS or part.name is chosen]

    def part(self, name: Name) -> Part:
        """Return a part by its name."""
        return next(part for part in self.parts if part.name is name)


def assemble(parameters: Parameters) -> Assembly:
    """Make every part."""
    layout = Layout(parameters)
    printed = [
        lane.lane(layout),
        lane.landing_board(layout),
        hood.hood(layout),
        hood.camera_plate(layout),
        hood.diffuser_frame(layout),
        hood.visor(layout),
        box.box(layout),
        box.mesh_frame(layout),
        box.lid(layout),
        box.hanger(layout),
        *adapters.saddles(layout),
        adapters.collar(layout),
    ]
    cut_parts = [
        lane.insert(layout),
        lane.window(layout),
        hood.diffuser(layout),
        box.gasket(layout),
        box.mesh(layout),
    ]
    return Assembly(layout, (*printed, *cut_parts))
