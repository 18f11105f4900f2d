"""Today as a person reads it, and that it follows what happens."""

import asyncio
import json
import re
import shutil
from collections.abc import AsyncIterator, Iterator
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest
from host.page_client import PASSWORD, Client, client, password_hash
from host.village import SITE, settle
from host.village import plan as village_plan

from swapbell_host.board import Board, Seen
from swapbell_host.books.lookback import noticed
from swapbell_host.books.store import ledger_url, open_existing
from swapbell_host.jobs.account import Account, Right
from swapbell_host.jobs.entry import Act, Draft, Entry
from swapbell_host.jobs.plan import Station
from swapbell_host.judging.history import History, PastNotice
from swapbell_host.page.showing.live import changed, events
from swapbell_host.page.showing.today import CARDS_MAX, LINES_MAX
from swapbell_models.notice import NoticeKind, notice
from swapbell_models.phase import Phase
from swapbell_models.readiness import Step, Verdict
from swapbell_models.traffic import Window

NOW = datetime(2026, 1, 15, 1, 0, tzinfo=UTC)


@pytest.fixture(scope="module")
def village(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Client]:
    page = client(tmp_path_factory.mktemp("village"))
    page.now = NOW
    for look in settle(page.config, NOW, days=0.25).board.all().values():
        page.board.put(look)
    yield page
    page.back.close()


@pytest.fixture(scope="module")
def unwritten(tmp_path_factory: pytest.TempPathFactory) -> Path:
    page = client(tmp_path_factory.mktemp("unwritten"))
    page.back.close()
    return Path(page.config.ledger)


@pytest.fixture
def empty(tmp_path: Path, unwritten: Path) -> Iterator[Client]:
    if unwritten.exists():  # it does not where the ledgers are kept by a server
        shutil.copy(unwritten, tmp_path / "ledger.sqlite")
    page = client(tmp_path)
    page.now = NOW
    yield page
    page.back.close()


def card(page: Client, name: str) -> str:
    """Return the words of one station's card or line."""
    found = re.search(
        rf'<li[^>]*>(?:(?!<li).)*?id="to-{SITE}-{name}".*?(?=<li class="card|</ol>|<li>|</ul>)',
        page.get("/").text,
        re.S,
    )
    assert found, name
    return " ".join(re.sub(r"<[^>]*>", " ", found[0]).split())


def plan(page: Client, *planned: Station) -> None:
    with open_existing(ledger_url(page.config.ledger), writing=True) as store:
        village_plan(store, "Europe/London", *planned)


def test_stations_stand_in_the_order_in_which_they_need_somebody(village: Client) -> None:
    names = re.findall(rf'id="to-{SITE}-([\w-]+)"', village.get("/").text)
    assert names == [
        *("left-out", "ready", "due-out", "bees", "taken-in", "verify"),
        *("dry", "mute", "foggy", "touched", "planned", "control"),
    ]


def test_how_many_need_somebody_and_how_many_at_once_is_said_first(village: Client) -> None:
    assert "11 of 12 stations need somebody, 2 of them at once." in village.get("/").words


def test_a_card_says_what_why_by_when_and_since_when(village: Client) -> None:
    words = card(village, "left-out")
    assert "take toxic bait out now Its deadline has passed: weigh it back, and log it as withdrawn," in words
    assert "by Wed 14 Jan 2026, 09:12 NZDT ( 1 d ago )" in words


def test_a_count_stands_with_the_rule_its_share_and_its_age(village: Client) -> None:
    assert re.search(r"Visits \d+ in 5 min, the rule asks for 10; 100 % watched, \d+ s ago", card(village, "ready"))


@pytest.mark.parametrize(("name", "why"), [("mute", "no count comes from it"), ("foggy", "the counter cannot count")])
def test_what_is_not_known_is_a_gap_with_its_reason_and_never_zero(village: Client, name: str, why: str) -> None:
    words = card(village, name)
    assert f"Visits not known: {why}" in words
    assert not re.search(r"Visits \d", words)


def test_of_a_station_that_is_only_planned_no_count_is_missed(village: Client) -> None:
    assert "Visits not known: no count is expected of it while planned" in card(village, "planned")


def test_what_hinders_a_counter_is_told(village: Client) -> None:
    assert "the lens may be covered" in card(village, "foggy")


SITE_WORDS = (
    r"unjudged: a mean of [\d., ]+ visits in each 5 min, oldest first \(rule: 10\) over the 4 of its 6 stations "
    r"that can be judged"
)


def test_the_mean_of_the_site_is_told(village: Client) -> None:
    assert re.search(f"taken together: {SITE_WORDS}", village.get("/").words)


@pytest.mark.parametrize("way", ["/", f"/station/{SITE}/ready", f"/round?station={SITE}%2Fready&begin="])
def test_a_station_that_is_ready_before_its_site_is_called_on_every_page_with_how_the_site_stands(
    village: Client, way: str
) -> None:
    better = "Its stations share nests: better swap them together, once it is ready"
    words = village.get(way).words
    assert re.search(f"The site as a whole is {SITE_WORDS}. {better}", words)
    assert "swap now" in words


def test_a_control_station_says_that_it_is_one(village: Client) -> None:
    assert "luring, control" in card(village, "control")


def test_notices_are_there_with_their_buttons(village: Client) -> None:
    text = village.get("/").text
    assert len(re.findall(r'action="/notice/\d+/seen"', text)) == 4
    assert len(re.findall(r'action="/notice/\d+/later"', text)) == 4


def test_a_notice_that_somebody_saw_to_is_gone(empty: Client) -> None:
    number = raised(empty, NoticeKind.SUPPLY)
    reply = empty.submit(f"/notice/{number}/seen", {"back": "/"}, shown_at="/")
    assert (reply.status, reply.headers["location"]) == (303, "/")
    words = empty.get("/").words
    assert "Seen to: supply." in words
    assert "open notice" not in words


def test_a_notice_that_was_put_off_calls_nobody_and_is_still_there(empty: Client) -> None:
    number = raised(empty, NoticeKind.SUPPLY)
    assert "see to the counter" in empty.get("/").words
    empty.submit(f"/notice/{number}/later", {"hours": "4", "back": "/"}, shown_at="/")
    words = empty.get("/").words
    assert "see to the counter" not in words
    assert "put off until Thu 15 Jan 2026, 05:00 GMT" in empty.get("/station/weir/post").words
    empty.now = NOW + timedelta(hours=5)
    assert "see to the counter" in empty.get("/").words


def test_whoever_may_only_look_sees_notices_and_is_offered_nothing_to_press(empty: Client) -> None:
    number = raised(empty, NoticeKind.SUPPLY)
    empty.in_house(lambda house: house.accounts.put(Account("Kim", Right.VIEW), password_hash(), NOW))
    empty.submit("/login", {"name": "Kim", "password": PASSWORD})
    for where in ("/", "/station/weir/post"):
        text = empty.get(where).text
        assert "The battery is at 5 %." in text
        assert f"/notice/{number}/" not in text
        assert "/log" not in text.replace("/logout", "")


def test_who_saw_to_a_notice_is_kept(empty: Client) -> None:
    number = raised(empty, NoticeKind.SUPPLY)
    empty.in_house(lambda house: house.accounts.put(Account("Kim", Right.WORK), password_hash(), NOW))
    empty.submit("/login", {"name": "Kim", "password": PASSWORD})
    empty.submit(f"/notice/{number}/seen", {"back": "/"}, shown_at="/")
    (past,) = empty.in_house(lambda house: noticed(house.store, "weir", "post", NOW - timedelta(days=1), NOW))
    assert (past.acknowledged_by, past.acknowledged_at) == ("Kim", NOW)


def test_toxic_bait_cannot_be_put_off_for_a_day(empty: Client) -> None:
    number = raised(empty, NoticeKind.LEFT_OUT)
    assert '<option value="24">' not in empty.get("/station/weir/post").text
    empty.submit(f"/notice/{number}/later", {"hours": "24", "back": "/"}, shown_at="/station/weir/post")
    assert "Put off" not in empty.get("/").words.split("open notice")[0]


@pytest.mark.parametrize("number", ["99", "x", "0" * 30, "1e3", "-1"])
def test_a_notice_that_is_not_there_is_no_breakdown(empty: Client, number: str) -> None:
    raised(empty, NoticeKind.SUPPLY)
    reply = empty.submit(f"/notice/{number}/seen", {"back": "/"}, shown_at="/")
    assert (reply.status, reply.headers["location"]) == (303, "/")
    assert "notice" in empty.get("/").words


@pytest.mark.parametrize("back", ["https://example.org", "//example.org", "/station/a/b/../..", "/logout"])
def test_a_button_leads_back_to_a_page_of_ours_alone(empty: Client, back: str) -> None:
    number = raised(empty, NoticeKind.SUPPLY)
    reply = empty.submit(f"/notice/{number}/seen", {"back": back}, shown_at="/")
    assert reply.headers["location"] == "/"


def test_a_button_on_a_station_leads_back_there(empty: Client) -> None:
    number = raised(empty, NoticeKind.SUPPLY)
    back = "/station/weir/post"
    reply = empty.submit(f"/notice/{number}/seen", {"back": back}, shown_at=back)
    assert reply.headers["location"] == back


def test_what_the_host_has_not_judged_yet_is_said(empty: Client) -> None:
    plan(empty, Station("weir", "post", NOW))
    words = empty.get("/").words
    assert "The host has judged 0 of 1 stations since it began" in words
    assert "not judged yet since the host began" in words


def test_a_host_that_judges_no_more_is_told(empty: Client) -> None:
    plan(empty, Station("weir", "post", NOW))
    empty.board.put(look())
    assert "has judged nothing" not in empty.get("/").words
    empty.now = NOW + timedelta(minutes=4)
    assert "The host has judged nothing since Thu 15 Jan 2026, 01:00 GMT ( 4 min ago )" in empty.get("/").words


def test_a_host_without_stations_says_where_to_begin(empty: Client) -> None:
    assert "There is no station yet. Begin on the page Plan" in empty.get("/").words


def test_what_was_logged_a_moment_ago_counts_although_the_last_look_is_older(empty: Client) -> None:
    plan(empty, Station("weir", "post", NOW - timedelta(days=3)))
    empty.board.put(look(Step.READY))
    log(empty, Act.LURED, timedelta(days=2))
    assert "swap now" in empty.get("/").words
    log(empty, Act.SWAPPED, timedelta(minutes=1))
    empty.now += timedelta(seconds=2)
    assert "swap now" not in empty.get("/").words


def test_the_site_that_needs_somebody_most_comes_first(empty: Client) -> None:
    plan(
        empty,
        Station("abbey", "one", NOW, first_phase=Phase.CLOSED),
        Station("weir", "post", NOW - timedelta(days=9)),
    )
    log(empty, Act.LURED, timedelta(days=8))
    log(empty, Act.SWAPPED, timedelta(days=7))
    assert re.findall(r'<h2 id="site-(\w+)">', empty.get("/").text) == ["weir", "abbey"]


def test_what_cannot_wait_comes_before_all_sites(empty: Client) -> None:
    plan(
        empty,
        Station("abbey", "one", NOW, first_phase=Phase.WITHDRAWN),
        Station("weir", "late", NOW - timedelta(days=9)),
        Station("weir", "post", NOW - timedelta(days=9)),
    )
    log(empty, Act.LURED, timedelta(days=8))
    log(empty, Act.SWAPPED, timedelta(days=7))
    text = empty.get("/").text
    assert re.findall(r'<h2 id="([\w-]+)">', text) == ["at-once", "site-weir", "site-abbey"]
    assert re.findall(r'id="to-(\w+-\w+)"', text)[0] == "weir-post"
    assert len(re.findall(r'id="to-weir-post"', text)) == 1


def test_where_there_are_many_those_that_need_nobody_are_a_link_to_their_site(empty: Client) -> None:
    plan(empty, *(Station("abbey", f"s{n}", NOW, first_phase=Phase.LURING) for n in range(LINES_MAX)))
    plan(empty, Station("weir", "post", NOW))
    text = empty.get("/").text
    assert f'href="/?site=abbey">{LINES_MAX} more stations at abbey</a> need nobody now.' in text
    assert re.findall(r'id="to-(\w+-\w+)"', text) == ["weir-post"]
    assert len(re.findall(r'id="to-abbey-s\d+"', empty.get("/?site=abbey").text)) == LINES_MAX


def test_no_station_is_lost_however_many_need_somebody(empty: Client) -> None:
    plan(empty, *(Station("abbey", f"s{n}", NOW) for n in range(CARDS_MAX + 30)))
    plan(empty, *(Station("weir", f"s{n}", NOW) for n in range(CARDS_MAX)))
    text = empty.get("/").text
    assert len(set(re.findall(r'id="to-(\w+-\w+)"', text))) == 2 * CARDS_MAX + 30
    assert text.count('<li class="card') == CARDS_MAX


def test_a_site_that_is_not_there_is_said_so(empty: Client) -> None:
    assert empty.get("/?site=nowhere").status == 404


def test_words_from_outside_are_shown_as_they_are(empty: Client) -> None:
    nasty = '<script>alert("1")</script> & \U0001f41d ' + "x" * 10000
    raised(empty, NoticeKind.SUPPLY, nasty)
    text = empty.get("/").text
    assert "<script>alert" not in text
    assert "&lt;script&gt;alert(&#34;1&#34;)&lt;/script&gt; &amp; \U0001f41d" in text


def test_the_page_works_without_its_script_and_loads_nothing_from_elsewhere(village: Client) -> None:
    text = village.get("/").text
    assert not re.search(r'(src|href)="(https?:)?//', text)
    assert not re.search(r"\son\w+=|<style|style=", text)


# --- live


def look(step: Step = Step.QUIET, *, at: datetime = NOW, name: str = "post", ids: tuple[int, ...] = ()) -> Seen:
    notices = tuple(PastNotice(NoticeKind.READY, NOW, None, number) for number in ids)
    window = Window(NOW - timedelta(minutes=5), NOW, 3, 300.0)
    return Seen(History("weir", name, Phase.LURING, notices=notices), Verdict(step, windows=(window,)), at)


def raised(page: Client, kind: NoticeKind, words: str = "the battery is at 5 %") -> int:
    """Return the number of a new notice on a station of its own."""
    plan(page, Station("weir", "post", NOW - timedelta(days=1)))

    def tell(house: Any) -> int:
        house.notebook.raise_notice(notice("weir", "post", kind, NOW - timedelta(hours=1), words), NOW)
        return int(house.notebook.open_notices()[-1].id)

    number: int = page.in_house(tell)
    return number


def log(page: Client, act: Act, ago: timedelta) -> None:
    mass_g = 80.0 if act is Act.SWAPPED else None
    draft = Draft(site="weir", station="post", act=act, at=NOW - ago, by="Kim", mass_g=mass_g)
    page.in_house(lambda house: house.servicebook.add(draft, NOW))


def test_a_look_that_shows_the_same_is_no_change() -> None:
    before = {("weir", "post"): look()}
    assert changed(before, {("weir", "post"): look(at=NOW + timedelta(seconds=20))}) == []


BEES = Entry(site="weir", station="post", act=Act.SEEN, at=NOW, by="Kim", id=1, logged_at=NOW, non_targets="bees")


@pytest.mark.parametrize(
    "after",
    [look(Step.READY), look(ids=(3,)), replace(look(), history=replace(look().history, sighting=BEES))],
)
def test_a_look_that_shows_something_else_is_one(after: Seen) -> None:
    assert changed({("weir", "post"): look()}, {("weir", "post"): after}) == ["weir/post"]


def test_a_station_that_was_never_looked_at_is_a_change() -> None:
    assert changed({}, {("weir", "post"): look()}) == ["weir/post"]


def test_a_stream_tells_what_changed_and_nothing_else() -> None:
    board = Board()
    board.put(look())

    async def listen() -> list[str]:
        stream, heard = events(board, pause_s=0.001, beat_s=1e9), list[str]()
        heard.append(await anext(stream))
        waiting = asyncio.ensure_future(anext(stream))
        await asyncio.sleep(0.01)
        board.put(look(at=NOW + timedelta(seconds=9)))
        board.put(look(Step.TOUCHED, name="other"))
        heard.append(await waiting)
        return heard

    first, second = asyncio.run(listen())
    assert first.startswith("retry: ")
    assert re.fullmatch(r"id: 3\nevent: change\ndata: .*\n\n", second)
    assert json.loads(second.splitlines()[2].removeprefix("data: ")) == {"edition": 3, "stations": ["weir/other"]}


def test_a_quiet_stream_says_that_it_is_still_there_and_ends_by_itself() -> None:
    async def all_of(stream: AsyncIterator[str]) -> list[str]:
        return [each async for each in stream]

    heard = asyncio.run(all_of(events(Board(), 0.001, 0.004, timedelta(seconds=0.012))))
    assert heard[1:] == [": still here\n\n"] * 3


def test_many_open_pages_leave_the_back_room_free(empty: Client) -> None:
    async def many() -> None:
        streams = [events(empty.board, pause_s=0.01) for _ in range(300)]
        for stream in streams:
            await anext(stream)
        waiting = [asyncio.ensure_future(anext(stream)) for stream in streams]
        assert await asyncio.wait_for(empty.back.do(lambda house: house.config.ledger), 5.0)
        empty.board.put(look())
        told = await asyncio.wait_for(asyncio.gather(*waiting), 10.0)
        assert len(set(told)) == 1

    asyncio.run(many())


def test_a_stream_is_no_page_for_strangers(empty: Client) -> None:
    stranger = replace(empty, address="192.0.2.7")
    assert "/live" in {door.path for door in stranger.doors}
    assert all(door.right is not None for door in stranger.doors if door.path in {"/", "/live"})
