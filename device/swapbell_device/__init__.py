"""Runs at the station: frames in, tallies out."""

import os

# OpenCV reads these when it is first imported, wherever that is. Its readers speak of a damaged clip or a missing
# camera on their own; the one clear line is ours.
os.environ.setdefault("OPENCV_LOG_LEVEL", "SILENT")
os.environ.setdefault("OPENCV_FFMPEG_LOGLEVEL", "-8")
# A decoder keeps some frames for each of its threads, and has one for each core unless told otherwise.
os.environ.setdefault("OPENCV_FFMPEG_THREADS", "1")
# Our choice: it waits ten seconds for a picture unless told otherwise; a camera that sends none for three is gone.
os.environ.setdefault("OPENCV_VIDEOIO_V4L_SELECT_TIMEOUT", "3")
