"""Draws the scene that the board's camera replays: board_scene.py FOLDER."""

import sys
from itertools import islice
from pathlib import Path

import cv2

from swapbell_device.drawing.conditions import draw
from swapbell_device.drawing.film import truth_of

# Sixteen seconds at 30 a second: three insects cross in them.
FRAMES = 480
# Hardly any loss; whatever there is, both ways see the same.
QUALITY = 95

folder = Path(sys.argv[1])
scene = draw("calm", 1)
(folder / "frames").mkdir(parents=True, exist_ok=True)
for number, frame in enumerate(islice(scene.frames(), FRAMES)):
    cv2.imwrite(str(folder / "frames" / f"{number}.jpg"), frame.image, [cv2.IMWRITE_JPEG_QUALITY, QUALITY])
(folder / "station.toml").write_text(truth_of(scene, "calm", "calm").station_text())
