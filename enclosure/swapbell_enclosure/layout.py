"""Where everything is: each length that more than one part needs, derived once from the parameters.

The origin lies in the gate's middle on the floor that insects walk on; x leads inwards along the lane, y across it to
the board's side, z up. All lengths are millimetres.
"""

import math
from dataclasses import dataclass
from functools import cached_property

from swapbell_enclosure.hardware import Board, CameraModule
from swapbell_enclosure.parameters import Parameters
from swapbell_enclosure.sight import Sight, solve

Point3 = tuple[float, float, float]
Span = tuple[float, float]

# Our choice: the play between two printed parts that must slip over one another.
PLAY_MM = 0.4
# Our choice: a square post that an M3 screw cuts its thread into, with 3 mm of plastic around the core.
POST_MM = 9.0
BASE_MM = 4.0
CEILING_MM = 3.0
EAR_MM = 5.0
GASKET_MM = 2.0
# Our choice: room around a board for fingers and plugs.
BOARD_PLAY_MM = 8.0
# Past the box's posts, beside which the board's ends lie.
BOARD_END_MM = POST_MM + 1.5
STANDOFF_MM = 5.0
# Our choice: room on the far side of the box for the cable gland and its nut.
GLAND_WING_MM = 32.0
CAMERA_PLATE_MM = 4.0
# Our choice: what a part's rim needs for a row of M3 screws.
FLANGE_MM = 9.0
# What the smaller parts are thick, our choice: each at least a printed wall.
LANDING_TONGUE_MM = 4.0
FRAME_MM = 3.0
VISOR_MM = 3.0
MESH_FRAME_MM = 2.4
HANGER_FOOT_MM = 5.0
# The thinnest place of a saddle and of a collar's front, and how far a collar's ledge reaches under the tins' rims.
SADDLE_MM, COLLAR_MM, LEDGE_MM = 4.0, 6.0, 3.0
# Our choice: how far a collar grips over each tin.
GRIP_MM = 10.0
CAMERA_STANDOFF_MM = 2.0


@dataclass(frozen=True)
class Layout:
    """The derived lengths of one set of parameters [mm]."""

    parameters: Parameters

    @cached_property
    def module(self) -> CameraModule:
        """The camera module."""
        return self.parameters.camera.resolved()

    @cached_property
    def board(self) -> Board:
        """The single-board computer."""
        return self.parameters.board.resolved()

    @cached_property
    def sight(self) -> Sight:
        """How the camera stands over the gate."""
        return solve(self.parameters.camera, self.parameters.lane)

    @property
    def wall(self) -> float:
        """Every wall's thickness."""
        return self.parameters.housing.wall_mm

    @property
    def half_lane(self) -> float:
        """Half the lane's clear width."""
        return self.parameters.lane.width_mm / 2

    @property
    def lane_height(self) -> float:
        """The lane's clear height."""
        return self.parameters.lane.height_mm

    @property
    def plate_top(self) -> float:
        """The lane's base plate, below the insert."""
        return -self.parameters.lane.insert_mm

    @property
    def bottom(self) -> float:
        """The underside of the lane."""
        return self.plate_top - BASE_MM

    @property
    def channel(self) -> float:
        """Half the lane's outer width, over its walls."""
        return self.half_lane + self.wall

    @property
    def window_top(self) -> float:
        """The upper side of the clear sheet."""
        return self.lane_height + self.parameters.lane.window_mm

    @cached_property
    def hood_inner(self) -> tuple[float, float]:
        """Half the hood's inner length and width.

        So wide that the window mirrors its dark ceiling to the camera and never a lit wall, and that its posts stand
        clear of the lane; so long that the zone is seen past the posts.
        """
        along = self.parameters.lane.zone_mm / 2 + POST_MM + 3.0
        mirrored = self.half_lane * 2.0 + 1.0
        across = max(mirrored, self.channel + PLAY_MM + POST_MM)
        plate_along, plate_across = self.camera_plate
        return max(along, plate_along + abs(self.pupil[0]) + POST_MM + 1.0), max(across, plate_across + 1.0)

    @property
    def hood_outer(self) -> tuple[float, float]:
        """Half the hood's outer length and width."""
        along, across = self.hood_inner
        return along + self.wall, across + self.wall

    @property
    def hood_posts(self) -> list[tuple[float, float]]:
        """The middles of the hood's four posts."""
        along, across = (each - POST_MM / 2 for each in self.hood_inner)
        return [(sx * along, sy * across) for sx in (-1, 1) for sy in (-1, 1)]

    @cached_property
    def pupil(self) -> tuple[float, float, float]:
        """The lens's entrance pupil: straight above the gate, or swung about it by the tilt towards the entrance."""
        tilt = math.radians(self.sight.tilt_deg)
        return -self.sight.distance_mm * math.sin(tilt), 0.0, self.sight.distance_mm * math.cos(tilt)

    @property
    def camera_plate(self) -> tuple[float, float]:
        """Half the camera plate's length, and how far it reaches from the lens across the lane."""
        board_x, board_y = self.module.board_mm
        return board_x / 2 + FLANGE_MM, max(self.module.far_edge_mm, board_y - self.module.far_edge_mm) + FLANGE_MM

    @cached_property
    def hood_top(self) -> float:
        """The upper side of the hood, on which the camera plate and the box lie."""
        tilt = math.radians(self.sight.tilt_deg)
        seat = self.pupil[2] + self.module.pupil_mm * math.cos(tilt)
        low = self.module.board_mm[0] / 2 * math.sin(tilt)
        return seat - low - CAMERA_STANDOFF_MM - CAMERA_PLATE_MM

    @property
    def ceiling(self) -> float:
        """The underside of the hood's ceiling."""
        return self.hood_top - CEILING_MM

    @cached_property
    def box_x(self) -> float:
        """Half the box's outer length."""
        return max(self.hood_outer[0], self.board.size_mm[0] / 2 + BOARD_END_MM + self.wall)

    @cached_property
    def box_y(self) -> tuple[float, float]:
        """The box's outer sides: the gland's, and the board's."""
        across = self.hood_outer[1]
        return -across - GLAND_WING_MM, across + self.board.size_mm[1] + 2 * BOARD_PLAY_MM

    @property
    def box_height(self) -> float:
        """The box's inner height: the board on its standoffs, the camera's cable, the vents under the lip."""
        return max(STANDOFF_MM + 1.6 + self.board.height_mm + 4.0, 34.0)

    @property
    def box_top(self) -> float:
        """The rim of the box."""
        return self.hood_top + CEILING_MM + self.box_height

    @property
    def lid_bottom(self) -> float:
        """The underside of the lid, on the gasket."""
        return self.box_top + GASKET_MM

    @property
    def lid_x(self) -> float:
        """Half the lid's length, over its lip."""
        return self.box_x + self.parameters.housing.overhang_mm + self.wall

    @property
    def half_length(self) -> float:
        """Half the lane's length: all of the unit stays in front of the wall that it is bolted to."""
        return self.lid_x + 2.0

    @property
    def ear_top(self) -> float:
        """The upper end of the ears that carry the unit."""
        return self.lane_height + 18.0

    @property
    def ear_y(self) -> float:
        """The outer side of the ears."""
        return self.channel + 14.0

    @cached_property
    def ear_holes(self) -> list[tuple[float, float]]:
        """The four screws (y, z) that hold the lane, the adapter and the station's wall together."""
        across = self.channel + 7.0
        return [(side * across, height) for side in (-1, 1) for height in (self.plate_top + 6.5, self.ear_top - 6.5)]
