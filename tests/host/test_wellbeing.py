"""What a station says of itself, on its page."""

from typing import Any

from msgspec.structs import replace

from swapbell_host.page.showing.wellbeing import wellbeing
from swapbell_models.message import Health, StationState

WATCHING = Health(station="north", state=StationState.WATCHING)


def said(**fields: Any) -> dict[str, str]:
    return dict(wellbeing(replace(WATCHING, **fields)))


def test_exposure_and_sharpness_are_told_in_words_and_units() -> None:
    told = said(exposure_s=0.004, sharpness=5.0, version="0.1.0")
    assert told["exposure"] == "4.0 ms"
    assert told["view"] == "sharp: an edge is 0.8 mm wide"
    assert told["version of its program"] == "0.1.0"


def test_a_view_out_of_focus_is_called_so() -> None:
    assert said(sharpness=0.5)["view"] == "out of focus: an edge is 8.0 mm wide"


def test_what_a_station_does_not_say_is_not_there() -> None:
    assert said() == {"state": "watching"}


def test_what_its_check_found_amiss_is_told_line_by_line() -> None:
    health = replace(WATCHING, checks=("look: heat", "fail: disk"))
    assert wellbeing(health)[1:] == [("it found in itself", "look: heat"), ("it found in itself", "fail: disk")]
