"""What an auditor's desk does with evidence: brings it here whole, asks a person, and compares."""

import json
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import UTC, datetime
from pathlib import Path

import msgspec
import pytest
from hypothesis import given
from hypothesis import strategies as st

from swapbell_host.auditing import words
from swapbell_host.auditing.audit import Audit, Share, audit, matched
from swapbell_host.auditing.fetching import check, chosen, fetch, listed
from swapbell_host.auditing.folder import Fetched, read_folder
from swapbell_host.auditing.sheet import COLUMNS, read_sheet, write_sheet
from swapbell_models.evidence import (
    ABOUT,
    EVENTS,
    TALLIES,
    About,
    Draw,
    File,
    Found,
    Item,
    Label,
    Passing,
    Piece,
    Seek,
    Want,
    label,
)
from swapbell_models.fault import Breakdown, Mistake
from swapbell_models.message import encode
from swapbell_models.sizes import SizeClass
from swapbell_models.tally import Clock, Crossing, Direction, Tally

NOON_AT = datetime(2026, 2, 3, 12, 0, tzinfo=UTC)


def clip_name(order: int) -> str:
    return Label(order, "north", "b1", 60.0 * order, NOON_AT).name


def strip_name(order: int, number: int) -> str:
    return Label(order, "north", "b1", 1.0, NOON_AT, Passing(number, Direction.IN, SizeClass.WASP, 13.0)).name


@dataclass
class Station:
    """A station in memory that gives a few bytes at a time."""

    contents: Mapping[str, Mapping[str, bytes]]
    piece_bytes: int = 7
    page: int = 2
    asked: list[Want] = field(default_factory=list[Want])

    def items(self) -> list[Item]:
        return [
            Item(name, tuple(File(file, len(content)) for file, content in files.items()))
            for name, files in self.contents.items()
        ]

    def ask(self, wants: Seek | Want) -> Found | Piece:
        if isinstance(wants, Seek):
            left = [item for item in self.items() if wants.wants(label(item.name))]
            return Found(items=tuple(left[: self.page]), more=len(left) > self.page)
        self.asked.append(wants)
        content = self.contents[wants.item][wants.file]
        data = content[wants.offset :][: self.piece_bytes]
        return Piece(item=wants.item, file=wants.file, offset=wants.offset, size=len(content), data=data)


FILM = {"clip.mp4": bytes(range(100)), EVENTS: b"", ABOUT: b"{}"}
STRIP = strip_name(4, 1)


@pytest.fixture
def station() -> Station:
    films = {clip_name(order): FILM for order in (1, 2, 3)}
    return Station({**films, STRIP: {f"{STRIP}.jpg": b"a picture"}})


def test_a_list_of_many_pages_is_read_whole(station: Station) -> None:
    assert list(listed(station, Seek())) == station.items()
    assert [item.name for item in listed(station, Seek(after=2))] == [clip_name(3), STRIP]


def test_an_item_comes_whole_and_is_then_left_alone(station: Station, tmp_path: Path) -> None:
    for item in station.items():
        fetch(station, item, tmp_path, lambda _more: None)
    assert sorted(path.name for path in tmp_path.iterdir()) == [*map(clip_name, (1, 2, 3)), f"{STRIP}.jpg"]
    assert {path.name: path.read_bytes() for path in (tmp_path / clip_name(1)).iterdir()} == FILM
    asked = len(station.asked)
    fetch(station, station.items()[0], tmp_path, lambda _more: None)
    assert len(station.asked) == asked


@pytest.mark.parametrize("here", [b"", bytes(range(30)), b"x" * 500])
def test_what_is_here_already_is_not_asked_for_again(station: Station, tmp_path: Path, here: bytes) -> None:
    part = tmp_path / f".{clip_name(1)}.part"
    part.mkdir()
    (part / "clip.mp4").write_bytes(here)
    fetch(station, station.items()[0], tmp_path, lambda _more: None)
    first = next(want.offset for want in station.asked if want.file == "clip.mp4")
    assert first == (len(here) if len(here) <= 100 else 0)
    assert (tmp_path / clip_name(1) / "clip.mp4").read_bytes() == FILM["clip.mp4"]


@pytest.mark.parametrize("size", [99, 101])
def test_a_file_that_changed_meanwhile_is_told_and_nothing_put_in_place(
    station: Station, tmp_path: Path, size: int
) -> None:
    item = station.items()[0]
    other = msgspec.structs.replace(item, files=(File("clip.mp4", size), *item.files[1:]))
    with pytest.raises(Breakdown, match="ended early or changed"):
        fetch(station, other, tmp_path, lambda _more: None)
    assert not (tmp_path / item.name).exists()


BAD_ITEMS = [
    Item("notes", (File("clip.mp4", 1),)),
    Item(clip_name(1), (File("evil.sh", 1),)),
    Item(STRIP, (File("clip.mp4", 1),)),
    Item(STRIP, (File(f"{strip_name(5, 1)}.jpg", 1),)),
]


@pytest.mark.parametrize("item", BAD_ITEMS)
def test_a_station_cannot_name_files_here_as_it_likes(item: Item) -> None:
    with pytest.raises(Breakdown, match="another version"):
        check(item)


def test_a_station_that_tells_the_same_again_and_again_ends_the_list(station: Station) -> None:
    class Parrot(Station):
        def ask(self, wants: Seek | Want) -> Found | Piece:
            return Found(items=tuple(self.items()[:1]), more=True)

    with pytest.raises(Breakdown, match="again"):
        list(listed(Parrot(station.contents), Seek()))


def test_an_item_that_is_not_there_is_a_mistake(station: Station) -> None:
    assert chosen(station.items(), [STRIP]) == [station.items()[3]]
    assert chosen(station.items(), []) == station.items()
    with pytest.raises(Mistake, match="item nothing: the station has none of that name"):
        chosen(station.items(), ["nothing"])


def crossing(at_s: float, direction: Direction = Direction.IN) -> Crossing:
    return Crossing(at_s=at_s, direction=direction, size=SizeClass.WASP, length_mm=13.0)


def tallies(up_s: float, visits_s: Sequence[float], watched: float) -> str:
    """Return tallies of 15 s that reach beyond a minute at both ends, as a film's folder holds them."""
    lines: list[bytes] = []
    for n in range(-1, 5):
        from_s = up_s - 5.0 + 15.0 * n
        own = [up_s + at_s - from_s for at_s in visits_s if from_s <= up_s + at_s < from_s + 15.0]
        lines.append(
            encode(
                Tally(
                    station="north",
                    boot="b1",
                    seq=n + 2,
                    from_at=NOON_AT,  # as wrong as a clock that was never set
                    up_s=from_s,
                    clock=Clock.FREE,
                    seconds=15.0,
                    watched_s=15.0 * watched,
                    crossings=tuple(crossing(at_s) for at_s in own),
                )
            )
        )
    return b"\n".join(lines).decode() + "\n"


def add_film(
    folder: Path,
    order: int,
    visits_s: Sequence[float] = (),
    *,
    watched: float = 1.0,
    left_out: str | None = None,
    station: str = "north",
) -> str:
    path = folder / clip_name(order).replace("north", station)
    path.mkdir()
    draw = Draw(seed="s", day="2026-02-03", part=order, parts=6, minute=3, minutes=150)
    about = About(
        site="orchard", station=station, boot="b1", up_s=60.0 * order, seconds=60.0, draw=draw, left_out=left_out
    )
    (path / ABOUT).write_bytes(encode(about))
    if left_out is None:
        (path / TALLIES).write_text(tallies(60.0 * order, visits_s, watched))
    return path.name


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """Return a folder of four films, one of them half watched, a minute without a film, and three strips."""
    folder = tmp_path / "got"
    folder.mkdir()
    add_film(folder, 1, (2.0, 30.0, 59.0, 61.0))
    add_film(folder, 2, ())
    add_film(folder, 3, (10.0, 20.0))
    add_film(folder, 4, (5.0,), watched=0.5)
    add_film(folder, 5, left_out="the camera gave no pictures")
    for order, number in ((6, 1), (7, 2), (8, 5)):
        (folder / f"{strip_name(order, number)}.jpg").write_bytes(b"a picture")
    (folder / "notes.txt").write_text("mine")
    return folder


def filled(folder: Path, answers: Mapping[str, str]) -> Path:
    """Return a sheet with some answers: an answer, or an answer, a comma and moments."""
    path = folder.parent / "recount.csv"
    path.unlink(missing_ok=True)
    write_sheet(path, read_folder(folder))
    head, *rows = path.read_text().splitlines()
    rows = [row.removesuffix(",,") + f",{answers.get(row.split(',')[0], '')}" for row in rows]
    path.write_text("\n".join([head, *rows]) + "\n")
    return path


def audited(folder: Path, answers: Mapping[str, str]) -> Audit:
    fetched = read_folder(folder)
    return audit(fetched, read_sheet(filled(folder, answers), fetched))


def test_a_film_s_minute_is_what_the_counter_reported_of_it(folder: Path) -> None:
    films = read_folder(folder).films
    assert [film.window.counted for film in films] == [3, 0, 2, 1, 0]
    assert [film.window.watched_s for film in films] == pytest.approx([60.0, 60.0, 60.0, 30.0, 0.0])
    assert films[0].visits_s == pytest.approx((2.0, 30.0, 59.0))


def test_the_sheet_asks_for_every_film_and_strip_and_betrays_nothing(folder: Path, tmp_path: Path) -> None:
    path = tmp_path / "recount.csv"
    assert write_sheet(path, read_folder(folder)) == 7
    lines = path.read_text().splitlines()
    assert lines[0] == ",".join(COLUMNS)
    assert all(line.endswith(",,") for line in lines[1:])
    assert len({line.partition(",")[2] for line in lines[1:]}) == 2  # nothing differs from film to film
    assert clip_name(5) not in path.read_text()


def test_a_sheet_that_may_hold_somebody_s_work_is_never_overwritten(folder: Path, tmp_path: Path) -> None:
    path = tmp_path / "recount.csv"
    path.write_text("work")
    with pytest.raises(Mistake, match="may hold somebody's work"):
        write_sheet(path, read_folder(folder))
    assert path.read_text() == "work"


def test_an_empty_cell_is_no_zero(folder: Path) -> None:
    found = audited(folder, {clip_name(1): "3"})
    assert (found.recount.machine, found.recount.person) == ((3,), (3,))
    assert found.unanswered == 3
    assert audited(folder, {clip_name(2): "0"}).recount.person == (0,)


def test_a_film_that_the_counter_did_not_watch_throughout_is_left_out(folder: Path) -> None:
    found = audited(folder, {clip_name(order): "4" for order in (1, 2, 3, 4)})
    assert found.recount.machine == (3, 0, 2)
    assert (found.unwatched, found.missing) == (1, {"the camera gave no pictures": 1})


def test_counts_alone_bound_recall_from_above(folder: Path) -> None:
    found = audited(folder, {clip_name(1): "2", clip_name(2): "1", clip_name(3): "4"})
    assert found.at_most == Share(2 + 0 + 2, 2 + 1 + 4)
    assert found.recall == Share(0, 0)


def test_moments_tell_recall_and_precision(folder: Path) -> None:
    half_watched = {clip_name(4): ",5.0 40.0"}
    found = audited(folder, {clip_name(1): ",2.5 29.5 40", clip_name(2): "0", clip_name(3): "2", **half_watched})
    assert found.recount.person == (3, 0, 2)
    assert found.recall == Share(2, 3)
    assert found.precision == Share(2, 3)


def test_a_film_in_which_the_person_saw_none_tells_what_was_invented(folder: Path) -> None:
    found = audited(folder, {clip_name(1): ",2.0 30.0 59.0", clip_name(3): "0"})
    assert (found.recall, found.precision) == (Share(3, 3), Share(3, 5))


def test_strips_are_answered_by_yes_or_no(folder: Path) -> None:
    found = audited(folder, {strip_name(6, 1): "yes", strip_name(7, 2): "N"})
    assert (found.strips, found.unanswered_strips) == (Share(1, 2), 1)


def test_how_much_of_the_drawn_days_is_here_is_told(folder: Path) -> None:
    found = audited(folder, {})
    assert (found.parts_seen, found.parts_drawn) == (4, 6)


def test_the_same_parts_of_another_stations_day_are_others(folder: Path) -> None:
    add_film(folder, 6, station="south")
    found = audited(folder, {})
    assert (found.parts_seen, found.parts_drawn) == (5, 12)


def test_an_item_that_two_rows_answer_is_a_mistake(folder: Path) -> None:
    path = filled(folder, {clip_name(1): "3"})
    path.write_text(f"{path.read_text()}{clip_name(1)},again,4,\n")
    with pytest.raises(Mistake, match="was answered above"):
        read_sheet(path, read_folder(folder))


BAD_ANSWERS = {
    "many": (clip_name(1), "answer must be a number of visits"),
    "-1": (clip_name(1), "answer must be a number of visits"),
    "2,1 2 3": (clip_name(1), "the answer is 2, but 3 moments are noted"),
    ",soon": (clip_name(1), "moments_s must be seconds"),
    ",nan": (clip_name(1), "moments_s must be seconds"),
    ",-3 4": (clip_name(1), "moments_s must be seconds"),
    ",61": (clip_name(1), "moments_s must be seconds from 0 to 60"),
    "perhaps": (strip_name(6, 1), "answer must be yes, no or empty"),
}


@pytest.mark.parametrize("answer", BAD_ANSWERS)
def test_an_answer_that_is_none_is_told_with_its_line(folder: Path, answer: str) -> None:
    name, why = BAD_ANSWERS[answer]
    with pytest.raises(Mistake, match=rf"recount.csv, line \d: {why}"):
        audited(folder, {name: answer})


@pytest.mark.parametrize(
    ("text", "why"),
    [
        ("item,question,answer,moments_s\nother,,3,\n", "line 2: other is not in the folder"),
        ("a,b\n1,2\n", "its first line must name item, question, answer, moments_s"),
        ("", "its first line must name"),
    ],
)
def test_a_sheet_of_something_else_is_refused(folder: Path, tmp_path: Path, text: str, why: str) -> None:
    (tmp_path / "other.csv").write_text(text)
    with pytest.raises(Mistake, match=why):
        read_sheet(tmp_path / "other.csv", read_folder(folder))


def test_a_sheet_as_a_spreadsheet_saves_it_is_read(folder: Path) -> None:
    path = filled(folder, {clip_name(1): "3"})
    path.write_bytes(b"\xef\xbb\xbf" + path.read_bytes().replace(b"\n", b"\r\n"))
    assert read_sheet(path, read_folder(folder)).visits == {clip_name(1): 3}


def test_a_damaged_film_is_told(folder: Path) -> None:
    (folder / clip_name(1) / ABOUT).write_text("{")
    with pytest.raises(Mistake, match="it is damaged"):
        read_folder(folder)


MOMENTS = st.lists(st.floats(0.0, 60.0), max_size=12).map(sorted)


@given(MOMENTS, MOMENTS)
def test_as_many_moments_match_as_any_assignment_could(true_s: list[float], seen_s: list[float]) -> None:
    import numpy as np
    from scipy.optimize import linear_sum_assignment

    close = np.abs(np.subtract.outer(true_s, seen_s)) <= 1.0 if true_s and seen_s else np.zeros((1, 1))
    rows, columns = linear_sum_assignment(close, maximize=True)
    assert matched(true_s, seen_s) == close[rows, columns].sum()


def said(folder: Path, answers: Mapping[str, str]) -> str:
    return "\n".join(words.report(audited(folder, answers)))


def test_the_report_names_its_sources_and_what_was_left_out(folder: Path) -> None:
    text = said(folder, {clip_name(1): ",2 30 59", clip_name(2): "0", clip_name(3): "3", strip_name(6, 1): "yes"})
    for each in (
        "films compared, of a minute each: 3; visits: 5 that the counter reported, 6 that the person saw",
        "left out: films that nobody counted: 1",
        "left out: minutes without a film, because the camera gave no pictures: 1",
        "total: -16.7% against the person",
        "Clopper and Pearson 1934",
        "Bland and Altman 1986",
        "Lin 1989",
        "recall, by moments: 100.0% (29.2% to 100.0%): 3 of 3",
        "strips: 100.0% (2.5% to 100.0%): 1 of 1 show what was counted",
    ):
        assert each in text


def test_nothing_compared_is_no_agreement(folder: Path) -> None:
    text = said(folder, {})
    assert "films compared, of a minute each: 0;" in text
    assert "total" not in text
    assert json.loads(msgspec.json.encode(words.as_report(audited(folder, {}))))["total_error"] is None


def test_a_list_tells_of_crossings_without_a_strip() -> None:
    items = [Item(strip_name(order, number), (File("x", 1),)) for order, number in ((6, 3), (7, 4), (8, 7))]
    assert "2 crossings between these strips have none" in words.summary(items)
    assert "none" not in words.summary(items[:2])


Row = Callable[[Item], str]


def test_a_row_of_the_list_says_what_a_person_looks_for() -> None:
    assert "2026-02-03 12:00:00 UTC" in words.row(Item(clip_name(1), (File("clip.mp4", 10**6),)))
    assert words.row(Item(STRIP, (File(f"{STRIP}.jpg", 7000),))).endswith("strip  in  wasp  13.0 mm")
    undated = Item(Label(1, "north", "b1", 1.0, None).name, ())
    assert "time unknown" in words.row(undated)
    assert words.as_row(undated)["at"] is None


def fetched_nothing() -> Fetched:
    return Fetched((), ())


def test_a_folder_without_evidence_gives_no_sheet(tmp_path: Path) -> None:
    with pytest.raises(Mistake, match="neither film nor strip"):
        write_sheet(tmp_path / "recount.csv", fetched_nothing())
    with pytest.raises(Mistake, match="there is no such folder"):
        read_folder(tmp_path / "nowhere")
