"""A configuration file is read strictly, and what is wrong with it is told in one line."""

from typing import Annotated

import msgspec
import pytest
from msgspec import Meta

from swapbell_models.fault import Mistake
from swapbell_models.settings import parse


class Still(msgspec.Struct, tag_field="kind", tag="still"):
    path: str


class Moving(msgspec.Struct, tag_field="kind", tag="moving"):
    path: str
    pace: float = 1.0


class Stop(msgspec.Struct):
    name: str


class Journey(msgspec.Struct):
    picture: Still | Moving
    stops: tuple[Stop, ...] = ()
    days: Annotated[int, Meta(ge=1)] = 1


PICTURE = '[picture]\nkind = "still"\npath = "a"\n'


def complaint(text: str) -> str:
    with pytest.raises(Mistake) as mistake:
        parse(text, Journey, "file j.toml")
    return str(mistake.value)


def test_what_is_written_is_what_is_read() -> None:
    text = '[[stops]]\nname = "x"\n[picture]\nkind = "moving"\npath = "a"\npace = 2.0\n'
    assert parse(text, Journey, "j") == Journey(picture=Moving(path="a", pace=2.0), stops=(Stop(name="x"),))


def test_the_complaint_names_the_file() -> None:
    assert complaint("= 3").startswith("file j.toml: not valid TOML: ")


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("day = 2\n" + PICTURE, "unknown key day; did you mean days?"),
        ("xxq = 2\n" + PICTURE, "unknown key xxq; did you mean stops?"),
        (PICTURE + 'paths = "b"\n', "unknown key picture.paths; did you mean picture.path?"),
        (
            PICTURE + '[[stops]]\nname = "x"\n[[stops]]\nnames = "y"\n',
            "unknown key stops.names; did you mean stops.name?",
        ),
    ],
)
def test_an_unknown_key_is_answered_with_the_nearest_known_one(text: str, says: str) -> None:
    assert complaint(text) == f"file j.toml: {says}"


def test_a_key_of_another_kind_is_unknown() -> None:
    assert "unknown key picture.pace" in complaint(PICTURE + "pace = 2.0\n")


def test_a_value_that_cannot_be_is_named_with_its_place() -> None:
    assert complaint("days = 0\n" + PICTURE) == "file j.toml: Expected `int` >= 1 - at `days`"


def test_a_missing_key_is_named_with_its_place() -> None:
    assert "missing required field `path` - at `picture`" in complaint('[picture]\nkind = "still"\n')


def test_a_kind_that_does_not_exist_is_named() -> None:
    assert "'drawing' - at `picture.kind`" in complaint('[picture]\nkind = "drawing"\n')
