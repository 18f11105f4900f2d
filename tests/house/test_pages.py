import re
from collections.abc import Callable
from pathlib import Path

import pytest

import parts
from swapbell_device import config as device_config
from swapbell_device.stationfile import parse_station
from swapbell_host import config as host_config

READERS: dict[str, Callable[[str], object]] = {
    "[gate]": lambda text: parse_station(text, "page"),
    "[camera]": lambda text: device_config.parse_config(text, Path("page")),
    "[discovery]": lambda text: host_config.parse_config(f'[broker]\nhost = "192.0.2.10"\n{text}', Path("page")),
    "[[station]]": lambda text: host_config.parse_config(text, Path("page")),
}


def examples(room: str) -> list[str]:
    page = (parts.CHECKOUT / room / "README.md").read_text(encoding="utf-8")
    return re.findall(r"```toml\n(.*?)```", page, re.DOTALL)


@pytest.mark.parametrize("text", [*examples("device"), *examples("host")])
def test_the_files_that_our_pages_show_are_read(text: str) -> None:
    readers = [read for mark, read in READERS.items() if mark in text]
    assert readers
    for read in readers:
        read(text)


@pytest.mark.parametrize("mark", READERS)
def test_our_pages_show_each_kind_of_file(mark: str) -> None:
    assert any(mark in text for text in [*examples("device"), *examples("host")])
