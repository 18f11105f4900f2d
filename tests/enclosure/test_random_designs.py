"""Two hundred designs that the limits allow: each becomes whole solids, none is broken.

In four parts, so that several workers can share them. The designs are drawn with a fixed seed.
"""

import random

import pytest

from swapbell_enclosure.hardware import BOARDS, CAMERAS
from swapbell_enclosure.limits import check
from swapbell_enclosure.parameters import (
    BoardParameters,
    Camera,
    Housing,
    Lane,
    Opening,
    Parameters,
    Station,
    StationKind,
)

DESIGNS, WORKERS = 200, 4

pytestmark = pytest.mark.part("build123d")


def drawn(rng: random.Random) -> Parameters:
    """Draw parameters around the legal ones, about half of which the limits refuse."""
    return Parameters(
        opening=Opening(hole_mm=rng.uniform(12.0, 14.0)),
        lane=Lane(
            width_mm=rng.uniform(13.0, 34.0),
            height_mm=rng.uniform(12.0, 13.0),
            zone_mm=rng.uniform(20.0, 90.0),
            insert_mm=rng.uniform(0.5, 3.0),
            window_mm=rng.uniform(0.5, 5.0),
            landing_mm=rng.uniform(10.0, 80.0),
        ),
        camera=Camera(
            module=rng.choice(sorted(CAMERAS)),
            tilt_deg=rng.choice([0.0, rng.uniform(0.0, 25.0)]),
            distance_mm=rng.choice([None, rng.uniform(60.0, 170.0)]),
            image_px=rng.choice([(640, 480), (640, 360), (960, 720)]),
        ),
        board=BoardParameters(kind=rng.choice(sorted(BOARDS))),
        housing=Housing(
            wall_mm=rng.uniform(1.6, 5.0),
            overhang_mm=rng.uniform(4.0, 15.0),
            lip_mm=rng.uniform(8.0, 28.0),
            gland_mm=rng.uniform(6.0, 20.0),
        ),
        station=Station(
            kind=rng.choice(list(StationKind)).value,
            pot_mm=rng.uniform(70.0, 250.0),
            tub_mm=rng.choice([None, rng.uniform(70.0, 250.0)]),
            tins_mm=rng.uniform(60.0, 150.0),
        ),
    )


def legal(seed: int, number: int) -> list[Parameters]:
    """Return so many designs that keep every limit."""
    rng, found = random.Random(seed), list[Parameters]()
    while len(found) < number:
        parameters = drawn(rng)
        if all(finding.kept for finding in check(parameters)):
            found.append(parameters)
    return found


@pytest.mark.parametrize("worker", range(WORKERS))
def test_every_legal_design_becomes_whole_solids(worker: int) -> None:
    from swapbell_enclosure.assembly import assemble
    from swapbell_enclosure.fit import blocked, clashes, crowded

    for parameters in legal(worker, DESIGNS // WORKERS):
        assembly = assemble(parameters)
        broken = [part.name for part in assembly.parts if not part.body.is_valid or part.body.volume <= 0.0]
        assert (broken, clashes(assembly), blocked(assembly), crowded(assembly)) == ([], [], [], []), parameters
