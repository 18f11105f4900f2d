"""The station's own process, as the rehearsal knows it."""

import pytest

from swapbell_host.rehearsal import station
from swapbell_models.fault import Mistake


def test_a_missing_vision_library_is_told_with_the_way_to_get_it(monkeypatch: pytest.MonkeyPatch) -> None:
    def not_found(_name: str) -> None:
        return None

    monkeypatch.setattr(station, "find_spec", not_found)
    with pytest.raises(Mistake, match=r"pip install 'swapbell\[device\]'"):
        station.command()
