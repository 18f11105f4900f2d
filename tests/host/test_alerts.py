"""A notice is written down before it is told, told to whom the policy names, and waits for no channel."""

import subprocess
import sys
import threading
import time
from collections.abc import Callable, Iterator, Mapping
from dataclasses import replace
from datetime import datetime
from pathlib import Path

import pytest
from receivers import mailbox, webhook
from telling import DAY, HOUR, MINUTE, NOW, ZONE, Way, said

from swapbell_host.alerting.alerts import LOOK_EVERY, RETRY_AFTER, Alerts, Outlet
from swapbell_host.alerting.answer import SHELF_MAX, SHELF_TOXIC_MAX, acknowledge, acknowledge_all, shelve
from swapbell_host.alerting.channel import Channel, channel, check_contact, check_section
from swapbell_host.alerting.courier import HANGING_MAX, TIMEOUT, Courier, Errand
from swapbell_host.alerting.people import People
from swapbell_host.alerting.schedule import GATHER, GATHER_LOOK
from swapbell_host.alerting.trial import send_test
from swapbell_host.books.notebook import Notebook
from swapbell_host.books.store import Store, ledger_url, open_existing
from swapbell_host.books.tellingbook import Tellingbook
from swapbell_host.config import AlertsSection
from swapbell_host.jobs.plan import Contact, Site, Station
from swapbell_models.fault import Mistake
from swapbell_models.message import NoticeMessage
from swapbell_models.notice import Notice, NoticeKind

TESTS = Path(__file__).parents[1]
SITES = {"orchard": Site("orchard", ZONE.key)}
READY, TOUCHED, SILENT = said(NoticeKind.READY), said(NoticeKind.TOUCHED), said(NoticeKind.SILENT)
LEFT_OUT = said(NoticeKind.LEFT_OUT)


class Desk:
    """Alerts over a real ledger, with what they said and reported."""

    def __init__(self, store: Store, people: People, ways: Mapping[str, Channel] | None = None) -> None:
        self.notebook, self.tellings, self.people = Notebook(store), Tellingbook(store), people
        self.said: list[NoticeMessage] = []
        self.reported: list[str] = []
        made = ways.__getitem__ if ways else channel
        self.alerts = Alerts(
            self.notebook, self.tellings, Outlet(lambda _: self.people, self.say, self.reported.append, channel=made)
        )

    def say(self, notice: Notice, message: NoticeMessage) -> None:
        assert (notice.station, notice.text) == (message.station, message.text)
        self.said.append(message)

    def tell(self, *notices: Notice) -> None:
        for each in notices:
            assert self.alerts.tell(each, NOW)

    def settle(self, at: datetime) -> None:
        """Let the loop turn at one moment until nobody is on the way."""
        self.until(lambda: not self.alerts.underway, at)

    def until(self, wanted: Callable[[], object], at: datetime) -> None:
        """Let the loop turn until something has come about."""
        give_up = time.monotonic() + 20
        self.alerts.advance(at)
        while not wanted():
            assert time.monotonic() < give_up, "it never came about"
            time.sleep(0.005)
            self.alerts.advance(at)
        self.alerts.advance(at)

    def pass_by(self, until: datetime, since: datetime = NOW) -> None:
        """Let the loop turn each minute."""
        while since <= until:
            self.settle(since)
            since += MINUTE


def house(*urls: str) -> People:
    return People(AlertsSection(urls=urls), sites=SITES)


def kim(address: str, second: str | None = None, more: tuple[Contact, ...] = ()) -> People:
    contacts = {each.name: each for each in (Contact("Kim", address, second), *more)}
    stations = {("orchard", "north"): Station("orchard", "north", NOW, contact="Kim")}
    return People(AlertsSection(), contacts, stations, SITES)


@pytest.fixture
def store(sqlite_ledger: str) -> Iterator[Store]:
    with open_existing(ledger_url(sqlite_ledger), writing=True) as opened:
        yield opened


def test_a_notice_is_written_down_before_it_is_said(store: Store) -> None:
    desk, written = Desk(store, house()), list[int]()
    desk.say = lambda *_: written.append(len(desk.notebook.open_notices()))  # type: ignore[method-assign]
    alerts = Alerts(desk.notebook, desk.tellings, Outlet(lambda _: desk.people, desk.say, print))
    alerts.tell(READY, NOW)
    assert written == [1]


def test_a_notice_that_is_there_is_not_told_again(store: Store) -> None:
    desk = Desk(store, house())
    assert (desk.alerts.tell(READY, NOW), desk.alerts.tell(READY, NOW)) == (True, False)
    desk.alerts.advance(NOW)
    assert [message.times_told for message in desk.said] == [1]


def test_without_anybody_to_tell_it_is_told_where_the_host_runs(store: Store) -> None:
    desk = Desk(store, house())
    desk.tell(READY)
    desk.pass_by(NOW + 2 * HOUR)
    assert [message.times_told for message in desk.said] == [1, 2]
    assert [entry.times_told for entry in desk.notebook.open_notices()] == [2]


def test_an_acknowledged_notice_is_told_no_more(store: Store) -> None:
    desk = Desk(store, house())
    desk.tell(READY)
    desk.alerts.advance(NOW)
    assert acknowledge(desk.notebook, 1, NOW) == [READY]
    desk.pass_by(NOW + 3 * HOUR)
    assert len(desk.said) == 1


def test_a_clock_set_back_repeats_nothing(store: Store) -> None:
    desk = Desk(store, house())
    desk.tell(READY)
    desk.alerts.advance(NOW)
    desk.alerts.advance(NOW - DAY)
    assert len(desk.said) == 1


def test_ready_closes_touched_with_it(store: Store) -> None:
    desk = Desk(store, house())
    desk.tell(TOUCHED, SILENT, READY, said(NoticeKind.TOUCHED, "south"))
    assert acknowledge(desk.notebook, 3, NOW) == [TOUCHED, READY]
    assert [entry.id for entry in desk.notebook.open_notices()] == [2, 4]
    assert len(acknowledge_all(desk.notebook, NOW)) == 2


def test_answering_what_is_not_open_names_what_is(store: Store) -> None:
    notebook = Notebook(store)
    with pytest.raises(Mistake, match="notice 7 is not open; open are: none"):
        acknowledge(notebook, 7, NOW)
    notebook.raise_notice(READY, NOW)
    with pytest.raises(Mistake, match="notice 7 is not open; open are: 1"):
        shelve(notebook, 7, HOUR, NOW)


def test_toxic_bait_is_not_shelved_for_long(store: Store) -> None:
    notebook = Notebook(store)
    notebook.raise_notice(READY, NOW)
    notebook.raise_notice(LEFT_OUT, NOW)
    shelve(notebook, 1, SHELF_MAX, NOW)
    shelve(notebook, 2, SHELF_TOXIC_MAX, NOW)
    with pytest.raises(Mistake, match="shelving must be above 0 and at most 4:00:00"):
        shelve(notebook, 2, SHELF_TOXIC_MAX + MINUTE, NOW)


def test_forty_notices_of_one_moment_are_one_message(store: Store) -> None:
    way = Way()
    desk = Desk(store, house("a://"), {"a://": way})
    desk.tell(*[said(NoticeKind.READY, f"s{number}") for number in range(40)])
    desk.pass_by(NOW + HOUR)
    assert len(way.taken) == 1
    assert way.taken[0].startswith("swapbell: 40 ready\n")


def test_a_call_to_swap_names_the_visitors_of_whom_was_told_before(store: Store) -> None:
    way = Way()
    desk = Desk(store, house("json://way"), {"json://way": way})
    desk.tell(said(NoticeKind.VISITORS))
    desk.pass_by(NOW + 15 * MINUTE)
    desk.tell(READY, said(NoticeKind.READY, "south"))
    desk.pass_by(NOW + 2 * HOUR, NOW + 16 * MINUTE)
    assert "orchard/north (number 2, do not swap: other visitors came too, look first), orchard/south" in way.taken[1]


def test_a_call_to_swap_names_who_was_seen_although_the_warning_was_answered(store: Store) -> None:
    way = Way()
    outlet = Outlet(lambda _: house("a://"), lambda *_: None, print, channel={"a://": way}.__getitem__)
    outlet.visited = lambda site, station: (site, station) == ("orchard", "north")
    alerts = Alerts(Notebook(store), Tellingbook(store), outlet)
    alerts.tell(READY, NOW)
    alerts.advance(NOW)
    with alerts.sending(lambda: NOW + GATHER):
        alerts.advance(NOW + GATHER)
    assert way.taken[0].startswith("swapbell: ready at orchard/north, but do not swap yet")


def test_what_comes_while_a_message_gathers_is_in_it(store: Store) -> None:
    way = Way()
    desk = Desk(store, house("a://"), {"a://": way})
    desk.tell(READY)
    desk.settle(NOW)
    desk.tell(said(NoticeKind.READY, "south"))
    desk.settle(NOW + LOOK_EVERY)
    desk.settle(NOW + GATHER)
    assert [each.partition("\n")[0] for each in way.taken] == ["swapbell: 2 ready"]


def test_a_telling_waits_for_no_channel(store: Store) -> None:
    class Slow:
        def send(self, title: str, body: str) -> bool:
            return released.wait(timeout=10)

    released = threading.Event()
    desk = Desk(store, house("slow://"), {"slow://": Slow()})
    desk.tell(READY)
    desk.alerts.advance(NOW)
    desk.alerts.advance(NOW + GATHER)
    assert desk.notebook.open_notices()[0].told_at is None
    released.set()
    desk.until(lambda: desk.notebook.open_notices()[0].told_at, NOW + GATHER)


def test_a_channel_that_hangs_and_one_that_breaks_block_no_other(store: Store) -> None:
    class Hanging:
        tries = 0

        def send(self, title: str, body: str) -> bool:
            self.tries += 1
            return threading.Event().wait()

    hanging, broken, good = Hanging(), Way([OSError("secret-token refused")] * 99), Way()
    desk = Desk(store, house("h://", "b://", "g://"), {"h://": hanging, "b://": broken, "g://": good})
    desk.tell(READY)
    desk.alerts.advance(NOW)
    desk.until(lambda: good.taken and desk.reported, NOW + GATHER)
    assert desk.reported == ["channel 2 (b) did not take a message; it is kept and tried again"]
    at = NOW + GATHER + TIMEOUT + LOOK_EVERY
    desk.until(lambda: len(desk.reported) == 2, at)
    assert desk.reported[1].startswith("channel 1 (h) did not take a message")
    for _ in range(6):
        at += RETRY_AFTER[-1]
        desk.alerts.advance(at)
        desk.until(lambda: not desk.alerts.underway, at + TIMEOUT + LOOK_EVERY)
    assert hanging.tries == HANGING_MAX
    assert len(good.taken) >= 1


def test_a_failing_channel_is_tried_again_on_its_schedule_and_reported_once(store: Store) -> None:
    way = Way([False] * 5)
    desk = Desk(store, house("a://"), {"a://": way})
    desk.tell(READY)
    desk.settle(NOW)
    at = NOW + GATHER
    for tries, wait in enumerate((*RETRY_AFTER, RETRY_AFTER[-1]), start=1):
        desk.settle(at)
        assert way.tries == tries
        desk.settle(at + wait - LOOK_EVERY)
        assert way.tries == tries
        at += wait
    desk.settle(at)
    assert desk.reported == [
        "channel 1 (a) did not take a message; it is kept and tried again",
        "channel 1 (a) works again",
    ]


def test_what_an_address_did_not_take_in_the_evening_waits_for_the_morning(store: Store) -> None:
    way = Way([False] * 4)
    desk = Desk(store, house("a://"), {"a://": way})
    desk.tell(READY)
    desk.pass_by(NOW + 14 * HOUR, NOW + 11 * HOUR)  # from nine until midnight
    assert (way.tries, way.taken) == (4, [])
    desk.settle(NOW + 21 * HOUR)
    assert len(way.taken) == 1


def test_what_breaks_quiet_hours_is_tried_again_in_them(store: Store) -> None:
    way = Way([False] * 4)
    desk = Desk(store, house("a://"), {"a://": way})
    desk.tell(LEFT_OUT)
    desk.pass_by(NOW + 14 * HOUR, NOW + 11 * HOUR)
    assert len(way.taken) == 1


def test_a_clock_that_was_a_year_ahead_holds_no_message_back(store: Store) -> None:
    way = Way([False])
    desk = Desk(store, house("a://"), {"a://": way})
    desk.tell(READY)
    desk.pass_by(NOW + 365 * DAY + MINUTE, NOW + 365 * DAY)
    assert way.taken == []
    desk.settle(NOW + MINUTE)
    assert len(way.taken) == 1


def test_a_message_under_way_when_the_clock_is_set_back_is_given_up_like_any(store: Store) -> None:
    class Hanging:
        def send(self, title: str, body: str) -> bool:
            return threading.Event().wait()

    desk = Desk(store, house("h://"), {"h://": Hanging()})
    desk.tell(READY)
    desk.alerts.advance(NOW)
    desk.alerts.advance(NOW + GATHER)
    assert desk.alerts.underway
    desk.alerts.advance(NOW - DAY)
    assert not desk.alerts.underway


def test_a_thousand_stations_silent_at_once_are_one_message_that_fits_a_phone(store: Store) -> None:
    way = Way()
    desk = Desk(store, house("a://"), {"a://": way})
    desk.tell(*[said(NoticeKind.SILENT, f"s{number:04}") for number in range(1000)])
    for minutes in (0, 1, 10, 60):
        desk.settle(NOW + minutes * MINUTE)
    (told,) = way.taken
    assert told.startswith("swapbell: 1000 silent\n")
    assert "s0011 (number 12) and 988 more." in told
    assert len(told) < 600


def test_a_machine_that_can_start_no_thread_tries_again(store: Store, monkeypatch: pytest.MonkeyPatch) -> None:
    def full(_: threading.Thread) -> None:
        raise RuntimeError("can't start new thread")

    way = Way()
    desk = Desk(store, house("a://"), {"a://": way})
    desk.tell(READY)
    with monkeypatch.context() as patch:
        patch.setattr(threading.Thread, "start", full)
        desk.pass_by(NOW + MINUTE)
    assert way.taken == []
    desk.pass_by(NOW + 3 * MINUTE, NOW + MINUTE)
    assert len(way.taken) == 1


def test_whatever_an_address_missed_comes_in_one_message(store: Store) -> None:
    way = Way([False, False])
    desk = Desk(store, house("a://"), {"a://": way})
    desk.tell(READY)
    desk.pass_by(NOW + 2 * MINUTE)
    desk.tell(said(NoticeKind.SILENT, "south"), said(NoticeKind.READY, "west"))
    desk.pass_by(NOW + HOUR, NOW + 2 * MINUTE)
    assert [each.partition("\n")[0] for each in way.taken] == ["swapbell: 2 ready, 1 silent"]


def test_what_was_answered_meanwhile_is_not_sent(store: Store) -> None:
    way = Way([False])
    desk = Desk(store, house("a://"), {"a://": way})
    desk.tell(READY, said(NoticeKind.READY, "south"), said(NoticeKind.READY, "west"))
    desk.pass_by(NOW + MINUTE)
    acknowledge(desk.notebook, 1, NOW)
    shelve(desk.notebook, 2, DAY, NOW)
    desk.pass_by(NOW + 30 * MINUTE, NOW + MINUTE)
    assert [each.partition("\n")[0] for each in way.taken] == ["swapbell: ready at orchard/west"]
    acknowledge(desk.notebook, 3, NOW)
    assert desk.tellings.waiting() == []


def test_a_contact_whose_address_is_dead_is_made_up_for_by_the_second(store: Store) -> None:
    dead, second = Way([False] * 99), Way()
    people = kim("dead://", "Robin", (Contact("Robin", "robin://"),))
    desk = Desk(store, people, {"dead://": dead, "robin://": second})
    desk.tell(READY)
    desk.pass_by(NOW + HOUR + MINUTE)
    (told,) = second.taken
    assert told.startswith("swapbell: nobody answered yet: ready at orchard/north\n")
    assert desk.reported == ["Kim (dead) did not take a message; it is kept and tried again"]


def test_an_address_that_is_none_any_more_is_one_that_failed(store: Store) -> None:
    desk = Desk(store, kim("no-such-channel"))
    desk.tell(READY)
    desk.pass_by(NOW + MINUTE)
    assert desk.reported == ["Kim (no scheme) did not take a message; it is kept and tried again"]


def test_what_comes_and_goes_is_told_although_another_spell_began_meanwhile(store: Store) -> None:
    way = Way()
    desk = Desk(store, house("a://"), {"a://": way})
    for number in range(1, 5):
        desk.tell(said(NoticeKind.SILENT, at=NOW - number * HOUR))
        desk.notebook.end(number, NOW - MINUTE)
    desk.settle(NOW)
    desk.tell(said(NoticeKind.SILENT, at=NOW + MINUTE))
    desk.pass_by(NOW + GATHER_LOOK + MINUTE, NOW + MINUTE)
    (told,) = way.taken
    assert "It comes and goes: 4 times within a day." in told
    assert "swapbell-host ack 5" in told
    assert desk.tellings.waiting() == []


def test_whoever_is_to_be_told_no_more_is_not(store: Store) -> None:
    old, new = Way([False] * 9), Way()
    desk = Desk(store, kim("old://"), {"old://": old, "new://": new})
    desk.tell(READY)
    desk.pass_by(NOW + MINUTE)
    desk.people = house("new://")
    desk.pass_by(NOW + 10 * MINUTE, NOW + MINUTE)
    assert (old.tries, len(new.taken), desk.tellings.waiting()) == (1, 1, [])


def test_a_new_address_is_used_at_the_next_try(store: Store) -> None:
    old, new = Way([False] * 9), Way()
    desk = Desk(store, kim("old://"), {"old://": old, "new://": new})
    desk.tell(READY)
    desk.pass_by(NOW + MINUTE)
    desk.people = kim("new://")
    desk.pass_by(NOW + 3 * MINUTE, NOW + MINUTE)
    assert len(new.taken) == 1


def test_the_end_of_a_run_waits_for_no_dead_channel() -> None:
    class Dead:
        def send(self, title: str, body: str) -> bool:
            return threading.Event().wait()

    courier = Courier()
    courier.carry(Errand(1, "Kim", "", "", NOW), Dead())
    courier.close(patience_s=0.01)
    assert courier.underway == {"Kim"}


def test_closing_lets_a_letter_on_its_way_arrive(store: Store) -> None:
    desk = Desk(store, house("a://"), {"a://": Way()})
    desk.tell(READY)
    with desk.alerts.sending(lambda: NOW + GATHER):
        desk.alerts.advance(NOW)
        desk.alerts.advance(NOW + GATHER)
    assert desk.notebook.open_notices()[0].told_at == NOW + GATHER


def test_a_restart_neither_repeats_nor_forgets(store: Store) -> None:
    way = Way()
    for at in (NOW, NOW + HOUR):
        desk = Desk(store, house("a://"), {"a://": way})
        desk.alerts.tell(READY, at)
        desk.alerts.advance(at)
        if at == NOW:
            continue  # killed while the message gathers
        desk.settle(at)
    assert len(way.taken) == 1


KILLED = """
import sys
from telling import NOW, said
from swapbell_host.alerting.alerts import Alerts, Outlet
from swapbell_host.alerting.people import People
from swapbell_host.alerting.schedule import GATHER, GATHER_LOOK
from swapbell_host.books.notebook import Notebook
from swapbell_host.books.store import ledger_url, open_existing
from swapbell_host.books.tellingbook import Tellingbook
from swapbell_host.config import AlertsSection
from swapbell_models.notice import NoticeKind

path, url = sys.argv[1:]
store = open_existing(ledger_url(path), writing=True)
book, people = Notebook(store), People(AlertsSection(urls=(url,)))
alerts = Alerts(book, Tellingbook(store), Outlet(lambda _: people, lambda *_: None, print))
alerts.tell(said(NoticeKind.READY), NOW)
alerts.advance(NOW)
while True:
    alerts.advance(NOW + GATHER)
    print(book.open_notices()[0].times_told, flush=True)
"""


@pytest.mark.parametrize(("status", "sign"), [(500, "channel 1 (json) did not take"), (200, "1")])
def test_a_killed_host_tells_what_nobody_has_got_and_repeats_nothing_else(
    sqlite_ledger: str, status: int, sign: str
) -> None:
    with webhook(status) as (url, hook):
        command = [sys.executable, "-c", KILLED, sqlite_ledger, url]
        with subprocess.Popen(command, stdout=subprocess.PIPE, text=True, env={"PYTHONPATH": str(TESTS)}) as host:
            assert host.stdout is not None
            assert any(line.startswith(sign) for line in host.stdout)
            host.kill()
        with open_existing(ledger_url(sqlite_ledger), writing=True) as store:
            desk = Desk(store, house(url))
            assert not desk.alerts.tell(READY, NOW)
            desk.pass_by(NOW + 3 * MINUTE, NOW + MINUTE)
            assert [entry.times_told for entry in desk.notebook.open_notices()] == [1]
    assert len(hook.posts) == 1


def test_a_mail_server_takes_a_notice(store: Store) -> None:
    with mailbox() as (url, letters):
        desk = Desk(store, kim(url))
        desk.tell(READY)
        desk.settle(NOW)
        desk.settle(NOW + GATHER)
    (letter,) = letters
    assert letter["Subject"] == "swapbell: ready at orchard/north"
    content = letter.get_body(("plain", "html"))
    assert content is not None
    assert "orchard/north: something ready" in content.get_content()
    assert "swapbell-host ack 1" in content.get_content()


def test_a_webhook_takes_a_notice_and_its_reminder(store: Store) -> None:
    with webhook() as (url, hook):
        desk = Desk(store, house(url))
        desk.tell(READY)
        desk.pass_by(NOW + 2 * HOUR + 2 * MINUTE)
    first, reminder = hook.posts
    assert (first["title"], reminder["title"]) == (
        "swapbell: ready at orchard/north",
        "swapbell: ready at orchard/north, reminder",
    )
    assert reminder["message"].startswith("First seen 2026-02-03 10:00 NZDT. orchard/north: something ready")


def test_a_refusing_webhook_is_tried_again_and_shows_no_secret(
    store: Store, capfd: pytest.CaptureFixture[str]
) -> None:
    with webhook(500) as (url, hook):
        desk = Desk(store, house(url))
        desk.tell(READY)
        desk.pass_by(NOW + 3 * MINUTE)
    assert len(hook.posts) == 1
    assert desk.reported == [
        "channel 1 (json) did not take a message; it is kept and tried again",
        "channel 1 (json) works again",
    ]
    printed = capfd.readouterr()
    assert (printed.out, printed.err) == ("", "")


@pytest.mark.parametrize(
    ("url", "name"),
    [("hush-hush", "channel 2 (no scheme)"), ("nowhere://me:hush-hush@x", "channel 2 (nowhere)")],
)
def test_an_address_that_cannot_be_used_is_named_without_its_secrets(url: str, name: str) -> None:
    with pytest.raises(Mistake, match=r"alerts\.urls: channel 2") as refused:
        check_section(AlertsSection(urls=("json://127.0.0.1/", url)))
    assert name in str(refused.value)
    assert "hush" not in str(refused.value)


@pytest.mark.parametrize("address", ["nowhere://me:hush-hush@x", "hush-hush"])
def test_a_contacts_address_is_refused_without_its_secrets(address: str) -> None:
    with pytest.raises(Mistake, match="contact Kim: the address") as refused:
        check_contact("Kim", address, {"work": "json://127.0.0.1/"})
    assert "hush" not in str(refused.value)


def test_a_contact_may_be_reached_by_a_channel_of_the_configuration() -> None:
    check_contact("Kim", "work", {"work": "json://127.0.0.1/"})
    people = replace(kim("work"), section=AlertsSection(channels={"work": "json://127.0.0.1/"}))
    assert people.url("Kim") == "json://127.0.0.1/"


def test_a_test_message_tells_who_took_it() -> None:
    with webhook() as (good, hook), mailbox() as (mail, letters), webhook(500) as (bad, _):
        people = kim(good, "Robin", (Contact("Robin", mail), Contact("Alex", bad)))
        trials = send_test(people, NOW)
        assert [(trial.shown, trial.taken) for trial in trials] == [
            ("Kim (json)", True),
            ("Robin (mailto)", True),
            ("Alex (json)", False),
        ]
        assert [trial.shown for trial in send_test(people, NOW, "Kim")] == ["Kim (json)"]
    assert [post["title"] for post in hook.posts] == ["swapbell: test"] * 2
    assert len(letters) == 1


def test_a_test_for_nobody_names_who_there_is() -> None:
    with pytest.raises(Mistake, match="contact 'Jo': there is none of that name; there are: Kim"):
        send_test(kim("json://127.0.0.1/"), NOW, "Jo")
    with pytest.raises(Mistake, match="nobody to tell"):
        send_test(house(), NOW)
