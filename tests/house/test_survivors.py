"""What survivors.toml tells of stands in the models as it says, and says why it may survive."""

import tomllib
from pathlib import Path

import parts

LISTED = parts.CHECKOUT / "tests" / "bench" / "survivors.toml"
MODELS = parts.CHECKOUT / "models" / "swapbell_models"


def survivors() -> list[dict[str, str]]:
    found: list[dict[str, str]] = tomllib.loads(LISTED.read_text(encoding="utf-8"))["survivor"]
    return found


def lines(module: str) -> set[str]:
    path: Path = MODELS.joinpath(*module.split(".")).with_suffix(".py")
    return {line.strip() for line in path.read_text(encoding="utf-8").splitlines()}


def test_each_survivor_stands_in_its_module() -> None:
    assert [each for each in survivors() if each["line"] not in lines(each["module"])] == []


def test_each_survivor_has_its_reason_and_is_listed_once() -> None:
    keys = [(each["module"], each["line"], each["change"]) for each in survivors()]
    assert len(keys) == len(set(keys))
    assert [each for each in survivors() if len(each["why"].split()) < 4] == []
