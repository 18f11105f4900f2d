"""What a drawn station really did."""

from collections.abc import Iterator

from swapbell_device.config import Config, DrawnCamera
from swapbell_device.count import event
from swapbell_device.drawn import DrawnStation
from swapbell_models.fault import Mistake


def truth(config: Config) -> Iterator[str]:
    """Yield the exact crossings of a drawn station as `count` would tell them if it made no error.

    Raises
    ------
    Mistake
        If the camera is not a drawn one.
    """
    if not isinstance(config.camera, DrawnCamera):
        raise Mistake('the truth is known of a drawn station only; give a configuration with camera.kind = "drawn"')
    yield from map(event, DrawnStation(config.camera.seed).truth)
