from pathlib import Path

import pytest

from swapbell_host.config import Config, parse_config, read_config
from swapbell_models.calendar.place import Hemisphere, Place
from swapbell_models.confirmation import Confirm
from swapbell_models.fault import Mistake
from swapbell_models.phase import Phase
from swapbell_models.readiness import Rule

FOLDER = Path("/srv/swapbell")
FILE = FOLDER / "host.toml"
LEAST = """
[broker]
host = "192.0.2.10"
[[station]]
site = "orchard"
name = "north"
"""
WHOLE = """
ledger = "postgresql+psycopg://kim@db/ledger"
[broker]
host = "broker.example"
port = 8883
client = "packhouse"
username = "host"
password_file = "secrets/broker"
ca_file = "/etc/ssl/ours.pem"
[rule]
visits = 12
window_s = 240.0
confirm = "sequential"
[alerts]
urls = ["mailto://kim@example.org"]
[[station]]
site = "orchard"
name = "north"
phase = "toxic"
silent_after_s = 900.0
[[station]]
site = "orchard"
name = "south"
"""


def parsed(text: str) -> Config:
    return parse_config(text, FILE)


def complaint(text: str) -> str:
    with pytest.raises(Mistake) as caught:
        parsed(text)
    assert str(caught.value).startswith(f"configuration {FILE}: ")
    return str(caught.value)


SITE = """
[[site]]
name = "orchard"
latitude_deg = -41.3
longitude_deg = 173.2
hemisphere = "south"
"""


def test_a_site_s_place_is_that_of_its_stations() -> None:
    rules = parsed(WHOLE + SITE).rules([("orchard", "east"), ("heath", "west")])
    here = Place(-41.3, 173.2, Hemisphere.SOUTH)
    assert {name: rule.place for (_, name), rule in rules.items()} == {
        "north": here,
        "south": here,
        "east": here,
        "west": None,
    }


def test_a_place_whose_sign_contradicts_its_hemisphere_is_refused() -> None:
    assert "check its sign" in complaint(LEAST + SITE.replace("-41.3", "41.3"))


def test_a_site_is_placed_once() -> None:
    assert "site orchard is there 2 times" in complaint(LEAST + SITE + SITE)


def test_little_needs_to_be_said() -> None:
    config = parsed(LEAST)
    assert config.phases() == {("orchard", "north"): Phase.LURING}
    assert config.rules() == {("orchard", "north"): Rule()}
    assert config.ledger == str(FOLDER / "ledger.sqlite")
    assert config.broker.port == 1883


def test_everything_can_be_said() -> None:
    config = parsed(WHOLE)
    assert config.ledger == "postgresql+psycopg://kim@db/ledger"
    assert config.phases() == {("orchard", "north"): Phase.TOXIC, ("orchard", "south"): Phase.LURING}
    assert config.rules()["orchard", "north"] == Rule(12, 240.0, Confirm.SEQUENTIAL, 900.0)
    assert config.alerts.urls == ("mailto://kim@example.org",)


def test_relative_paths_count_from_the_file() -> None:
    broker = parsed(WHOLE).broker
    assert (broker.password_file, broker.ca_file) == (str(FOLDER / "secrets/broker"), "/etc/ssl/ours.pem")


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("legder = 'x'\n" + LEAST, "unknown key legder; did you mean ledger?"),
        (LEAST.replace("host =", "hots ="), "unknown key broker.hots; did you mean broker.host?"),
        (LEAST + "silent_s = 5.0", "unknown key station.silent_s; did you mean station.silent_after_s?"),
        ("[rules]\n" + LEAST, "unknown key rules; did you mean rule?"),
        (LEAST.replace('host = "192.0.2.10"', ""), "required field `host` - at `broker`"),
        (LEAST.replace("[[station]]", "[station]"), "station"),
        (LEAST.replace("north", "up/north"), "at `station[0].name`"),
        (LEAST.replace("[[station]]", "port = 0\n[[station]]"), "broker.port"),
        (LEAST + 'phase = "lurking"', "lurking"),
        ("[rule]\nvisits = 1\n" + LEAST, "visits must be 2 or more"),
        ("[rule]\nwindow_s = nan\n" + LEAST, ">= 60.0 - at `rule.window_s`"),
        ("[rule]\nwindow_s = 59\n" + LEAST, ">= 60.0 - at `rule.window_s`"),
        ("[rule]\nwindow_s = 1e300\n" + LEAST, "<= 3600.0 - at `rule.window_s`"),
        ('[rule]\nconfirm = "always"\n' + LEAST, "always"),
        (LEAST + '[[station]]\nsite = "orchard"\nname = "north"', "station orchard/north is there 2 times"),
        ("[broker", "not valid TOML"),
    ],
)
def test_what_cannot_be_meant_is_refused_by_name(text: str, words: str) -> None:
    assert words in complaint(text)


def test_a_missing_file_is_named(tmp_path: Path) -> None:
    with pytest.raises(Mistake, match=r"host\.toml: No such file or directory; check the path"):
        read_config(tmp_path / "host.toml")


def test_a_file_that_is_no_text_is_refused(tmp_path: Path) -> None:
    (tmp_path / "host.toml").write_bytes(b"\xff\xfe\x00")
    with pytest.raises(Mistake, match="not a text file"):
        read_config(tmp_path / "host.toml")
