"""The commands `sheet`, `record` and `report`, as a person types them."""

import json
from pathlib import Path

import pytest
from paperwork import STATED
from typer.testing import CliRunner, Result

from swapbell_host.main import app
from swapbell_models.fault import Mistake

OPTIONS = {"product_strength": "strength", "authority_until": "until", "at_most": "at-most"}
FAR_AHEAD = "2999-01-01"


@pytest.fixture(autouse=True)
def _orchard(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)
    Path("host.toml").write_text('[broker]\nhost = "192.0.2.10"\n')
    typed("site", "add", "orchard", "--zone", "Pacific/Auckland")
    typed("station", "add", "orchard/north")
    typed("log", "orchard/north", "lured", "--by", "Kim", "--at", "2026-01-10 09:00")


def run(*words: str) -> Result:
    return CliRunner().invoke(app, words)


def typed(*words: str) -> None:
    assert run(*words).exception is None


def refused(*words: str) -> str:
    error = run(*words).exception
    assert isinstance(error, Mistake)
    assert "\n" not in str(error)
    return str(error)


def stated(**changed: str) -> list[str]:
    told = {**STATED, "authority_until": FAR_AHEAD} | changed
    return [word for name, text in told.items() for word in (f"--{OPTIONS.get(name, name)}", text)]


def test_the_ending_says_as_what_a_sheet_is_written() -> None:
    typed("sheet", "orchard/north", *stated(), "--out", "mixing.pdf")
    typed("sheet", "orchard/north", *stated(), "--out", "mixing.json")
    typed("sheet", "orchard/north", *stated(), "--out", "mixing.csv")
    assert Path("mixing.pdf").read_bytes().startswith(b"%PDF-")
    assert json.loads(Path("mixing.json").read_bytes())["schema"] == "swapbell/mixing-sheet"
    assert Path("mixing.csv").read_bytes().startswith(b"kind,key,label,value,unit,words,source\r\n")


def test_another_ending_is_refused_with_those_that_are_known() -> None:
    assert ".pdf, .csv, .json" in refused("sheet", "orchard/north", *stated(), "--out", "mixing.docx")


def test_a_refused_sheet_leaves_the_old_one_alone() -> None:
    Path("mixing.pdf").write_text("yesterday's")
    assert "ended on 2020-01-01" in refused(
        "sheet", "orchard/north", *stated(authority_until="2020-01-01"), "--out", "mixing.pdf"
    )
    assert Path("mixing.pdf").read_text() == "yesterday's"


def test_who_reads_the_old_file_never_reads_half_of_the_new_one() -> None:
    Path("mixing.json").write_text("yesterday's")
    with Path("mixing.json").open() as reader:
        typed("sheet", "orchard/north", *stated(), "--out", "mixing.json")
        assert reader.read() == "yesterday's"
    assert not list(Path().glob("*.part"))


def test_a_folder_that_is_not_there_is_named_and_nothing_is_left() -> None:
    assert "--out none/mixing.pdf" in refused("sheet", "orchard/north", *stated(), "--out", "none/mixing.pdf")
    assert not list(Path().glob("**/*.part"))


def test_paper_is_a4_or_letter() -> None:
    typed("sheet", "orchard/north", *stated(), "--paper", "letter", "--out", "mixing.pdf")
    assert "A4 or Letter" in refused("sheet", "orchard/north", *stated(), "--paper", "napkin", "--out", "mixing.pdf")


def test_a_whole_site_or_one_station_has_a_record() -> None:
    assert "nothing to hand over" in refused("record", "orchard", "--out", "record.json")
    typed("log", "orchard/north", "swapped", "--by", "Kim", "--at", "2026-01-13 09:00")
    typed("record", "orchard", "--out", "whole.json")
    typed("record", "orchard/north", "--out", "one.json")
    whole, one = (json.loads(Path(name).read_bytes())["records"] for name in ("whole.json", "one.json"))
    assert [each["record"] for each in whole] == ["orchard/north/2"] == [each["record"] for each in one]


def test_a_season_is_reported_between_two_days() -> None:
    typed("report", "orchard", "--from", "2026-01-10", "--to", "2026-01-12", "--out", "season.json")
    (station,) = json.loads(Path("season.json").read_bytes())["stations"]
    assert [day["day"] for day in station["days"]] == ["2026-01-10", "2026-01-11"]


@pytest.mark.parametrize("words", [("record", "nowhere"), ("report", "nowhere"), ("record", "orchard/none")])
def test_what_the_ledger_does_not_know_is_refused_by_name(words: tuple[str, str]) -> None:
    assert words[1] in refused(*words, "--out", "x.pdf")
