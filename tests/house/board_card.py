"""Puts what enrolling gives, and a picture of the card, into a folder: board_card.py FOLDER."""

import sys
from pathlib import Path

import cv2
from board_views import BoardView

from swapbell_device.calibrating.card import card

DEVICE = """\
site = "orchard"
station = "north"
station_file = "station.toml"

[camera]
kind = "usb"

[broker]
host = "192.0.2.10"

[spool]
path = "spool.sqlite"
"""

folder = Path(sys.argv[1])
(folder / "device.toml").write_text(DEVICE)
cv2.imwrite(str(folder / "card.png"), BoardView(card("lane"), 0.16).picture())
