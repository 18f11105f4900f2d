"""What holds at every door of the page, also at those that are added later."""

import re
from collections.abc import Iterator
from datetime import timedelta
from pathlib import Path
from urllib.parse import quote

import pytest
from host.page_client import Client, Reply, client
from host.page_walk import Form, Markup, walk
from orchard import NOON_AT, SITE, STATION
from postgres_instead import copied
from sqlalchemy import select

from swapbell_host.books import photos
from swapbell_host.books.schema import METADATA
from swapbell_host.books.store import ledger_url, open_existing
from swapbell_host.jobs.account import Right
from swapbell_host.jobs.entry import Act, Draft
from swapbell_host.jobs.plan import Contact, Role, Site, Station
from swapbell_host.page.access import forgery
from swapbell_host.page.door import Door
from swapbell_host.page.house import House
from swapbell_host.page.serving.app import DOORS
from swapbell_host.page.serving.body import FORM_MAX_BYTES
from swapbell_host.page.serving.listening import Listening
from swapbell_models.notice import NoticeKind, notice

OUTSIDE = Listening("192.0.2.20", 8080)
# Invented: a text that is markup, a quotation, an emoji and a long one.
STRANGE = """<img src=x onerror=alert(1)>"O'Neil" & 🐝"""
JPEG = b"\xff\xd8\xff\xe0 a photo, invented"
HOSTILE = {
    "markup": STRANGE,
    "10 kB": "x" * 10_000,
    "10 kB of emoji": "🐝" * 2_500,
    "a path": "../../../../etc/passwd",
    "control characters": "a\x00b\r\nc\x1b",
    "a half of a character": "\udc9f",
    "a formula": "=1+1",
    "a number too large": "9" * 400,
    "nothing": "",
}
READING = [door for door in DOORS if door.method == "GET"]
FORMS = [door for door in DOORS if door.method == "POST"]
CLOSED = [door for door in DOORS if door.right is not None]


def way_of(door: Door) -> str:
    """Return an address of a door, its parts filled with what there is."""
    parts = {"site": SITE, "station": STATION, "id": "1", "name": "a" * 64 + ".jpg"}
    return re.sub(r"\{(\w+)(:\w+)?\}", lambda part: parts.get(part[1], "1"), door.path)


def each(doors: list[Door]) -> pytest.MarkDecorator:
    return pytest.mark.parametrize("door", doors, ids=lambda door: f"{door.method} {door.path}")


def furnish(house: House) -> None:
    """Fill a house with names that are markup wherever the trade allows a person's own words."""
    photo = photos.keep(house.photos, JPEG)
    house.planbook.add_site(Site(SITE, "Pacific/Auckland", STRANGE, details={"crop": STRANGE}))
    house.planbook.put_contact(Contact(STRANGE, "json://127.0.0.1"))
    for name, role in ((STATION, Role.BAIT), ("south", Role.CONTROL)):
        at = NOON_AT - timedelta(days=3)
        house.planbook.add_station(Station(SITE, name, at, role, None, STRANGE, STRANGE, STRANGE))
    said = {"weather": STRANGE, "non_targets": STRANGE, "incident": STRANGE, "note": STRANGE}
    at = NOON_AT - timedelta(days=2)
    draft = Draft(site=SITE, station=STATION, act=Act.LURED, at=at, by=STRANGE, photo=photo, **said)
    house.servicebook.add(draft, NOON_AT)
    house.notebook.raise_notice(notice(SITE, STATION, NoticeKind.READY, NOON_AT, STRANGE), NOON_AT)


@pytest.fixture(scope="module")
def furnished(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Return a house that is furnished once, to be copied."""
    folder = tmp_path_factory.mktemp("furnished")
    made = client(folder)
    made.in_house(furnish)
    made.back.close()
    return folder


@pytest.fixture
def open_page(furnished: Path, tmp_path: Path) -> Iterator[Client]:
    """Yield a browser at this machine's own page, without a login."""
    made = client(copied(furnished, tmp_path / "house"))
    yield made
    made.back.close()


@pytest.fixture
def outside(furnished: Path, tmp_path: Path) -> Iterator[Client]:
    """Yield a browser elsewhere that has not signed in."""
    made = client(copied(furnished, tmp_path / "house"), listening=OUTSIDE)
    yield made
    made.back.close()


@each(FORMS)
def test_a_forged_form_is_refused(open_page: Client, door: Door) -> None:
    open_page.get("/login")
    another_browsers = forgery.form_key(forgery.new_token())
    before = content(open_page)
    for key in ("", "0" * 64, another_browsers):
        assert open_page.post(way_of(door), {"act": "closed", forgery.FIELD: key}).status == 403
    assert open_page.post(way_of(door), {"act": "closed"}).status == 403
    open_page.cookies.clear()
    assert open_page.post(way_of(door), {forgery.FIELD: forgery.form_key("")}).status == 403
    assert content(open_page) == before


@each(FORMS)
def test_a_forged_form_is_refused_of_whoever_signed_in(outside: Client, door: Door) -> None:
    outside.sign_in()
    assert outside.post(way_of(door), {}).status == 403
    signed = {forgery.FIELD: forgery.form_key(outside.cookies["swapbell-browser"])}
    assert outside.post(way_of(door), signed, origin="http://evil.example").status == 403


@each([door for door in FORMS if door.right is None])
def test_no_stranger_sends_a_photo(outside: Client, door: Door) -> None:
    assert outside.post(way_of(door), {}, JPEG + b"x" * FORM_MAX_BYTES).status == 413


@each(CLOSED)
def test_nothing_is_answered_without_a_login_beyond_this_machine(outside: Client, door: Door) -> None:
    asked = outside.get(way_of(door)) if door.method == "GET" else outside.post(way_of(door), {})
    assert (asked.status, asked.content) == (303, b"")
    assert asked.headers["location"].startswith("/login")


def test_no_door_but_that_of_signing_in_is_open_to_all() -> None:
    assert {door.path for door in DOORS if door.right is None} == {"/login", "/logout"}


@each([door for door in FORMS if door.right is not None])
def test_whoever_may_look_sends_no_form(outside: Client, door: Door) -> None:
    outside.sign_in(Right.VIEW)
    signed = {forgery.FIELD: forgery.form_key(outside.cookies["swapbell-browser"])}
    before = content(outside)
    reply = outside.post(way_of(door), signed)
    assert (reply.status, "not change it" in reply.words) == (403, True)
    assert content(outside) == before


@each([door for door in READING if door.right is Right.VIEW])
def test_whoever_may_look_may_read_all(outside: Client, door: Door) -> None:
    outside.sign_in(Right.VIEW)
    assert outside.get(way_of(door)).status in {200, 404}


def test_whoever_may_look_is_shown_no_form_but_that_of_leaving(outside: Client) -> None:
    outside.sign_in(Right.VIEW)
    pages = walk(outside, [way_of(door) for door in READING])
    shown = {(way, form.action) for way, reply in pages.items() for form in forms(way, reply.text)}
    assert {(way, action) for way, action in shown if action not in {"/login", "/logout"}} == set()


def test_every_page_is_shown_whole_with_names_that_are_markup(open_page: Client) -> None:
    pages = walk(open_page, [way_of(door) for door in READING])
    assert [way for way, reply in pages.items() if reply.status >= 500] == []
    assert [way for way, reply in pages.items() if alive(reply)] == []
    assert [way for way, reply in pages.items() if "onerror=alert(1)>" in reply.words] != []


def test_reading_changes_nothing(open_page: Client) -> None:
    open_page.get("/login")
    before = content(open_page)
    walk(open_page, [way_of(door) for door in READING])
    assert content(open_page) == before


def test_every_link_leads_somewhere(open_page: Client) -> None:
    starts = [way_of(door) for door in READING]
    pages = walk(open_page, starts)
    assert [way for way, reply in pages.items() if reply.status >= 400 and way not in starts] == []


def test_every_page_answers_before_anything_is_planned(tmp_path: Path) -> None:
    page = client(tmp_path)
    statuses = {way_of(door): page.get(way_of(door)).status for door in READING}
    page.back.close()
    assert {way: status for way, status in statuses.items() if status not in {200, 404}} == {}


@pytest.mark.parametrize("kind", HOSTILE)
def test_whatever_is_typed_is_taken_or_refused_and_shown_as_text(open_page: Client, kind: str) -> None:
    sent = 0
    for way, reply in walk(open_page, [way_of(door) for door in READING], files=False).items():
        for form in forms(way, reply.text):
            typed = {name: HOSTILE[kind] if free(form, name) else text for name, text in form.fields.items()}
            answer = open_page.post(form.action, typed)
            sent += 1
            assert answer.status < 500, (form.action, answer.words)
            assert not alive(answer)
    assert sent
    after = walk(open_page, [way_of(door) for door in READING], files=False)
    assert [way for way, reply in after.items() if reply.status >= 500 or alive(reply)] == []


@pytest.mark.parametrize("kind", HOSTILE)
def test_a_form_whose_fields_are_all_made_up_breaks_nothing(open_page: Client, kind: str) -> None:
    names = {name for door in READING for name in named(open_page.get(way_of(door)).text)}
    key = {forgery.FIELD: forgery.form_key(open_page.cookies["swapbell-browser"])}
    for door in FORMS:
        for made_up in ({**dict.fromkeys(names, HOSTILE[kind]), **key}, key):
            reply = open_page.post(way_of(door), made_up)
            assert reply.status < 500, (door.path, reply.words)


@pytest.mark.parametrize("kind", HOSTILE)
def test_an_address_that_is_made_up_breaks_nothing(open_page: Client, kind: str) -> None:
    hostile = quote(HOSTILE[kind], safe="", errors="surrogatepass") or "-"
    for door in READING:
        names = named(open_page.get(way_of(door)).text) | {"act", "from", "to", "next", "station", "corrects", "day"}
        asked = "&".join(f"{name}={hostile}" for name in sorted(names))
        for way in (re.sub(r"\{\w+(:\w+)?\}", hostile, door.path), f"{way_of(door)}?{asked}"):
            reply = open_page.get(way)
            assert reply.status < 500, (door.path, reply.words)
            assert not alive(reply)


MULTIPART = "multipart/form-data; boundary=cut"


@pytest.mark.parametrize(
    ("kind", "body"),
    [
        (
            f"{MULTIPART}; charset=punycode",
            b'--cut\r\nContent-Disposition: form-data; name="n"\r\n\r\na\xff-9\r\n--cut--',
        ),
        (f"{MULTIPART}; charset*=utf-8''punycode", b"--cut--"),
    ],
)
def test_a_form_in_an_encoding_that_costs_or_breaks_is_none(outside: Client, kind: str, body: bytes) -> None:
    assert outside.send("POST", "/login", body, {"content-type": kind}).status == 415


def test_ever_so_many_names_in_an_address_cost_no_more_than_their_length(outside: Client) -> None:
    """By the square of their number these would take longer than the browser of these tests waits."""
    asked = "&".join(f"{n:x}" for n in range(70_000))
    assert outside.get(f"/login?{asked}").status == 200


def test_no_address_leads_elsewhere_by_the_name_that_a_request_gives_this_machine(outside: Client) -> None:
    for way in ("/login/", "//login", "/static", "/plan/"):
        assert outside.get(way, host="evil.example").headers.get("location", "/login").startswith("/login")


def test_the_way_back_from_signing_in_is_not_longer_than_servers_in_between_take(outside: Client) -> None:
    assert outside.get(f"/round?station={'x' * 100_000}").headers["location"] == "/login"


TRAPS = (
    "/static/../app.py",
    "/static/..%2fapp.py",
    "/static/%2e%2e/app.py",
    "/static//etc/passwd",
    "/static/..\\app.py",
    "/photo/..%2f..%2fhost.toml",
    "/photo/%2fetc%2fpasswd",
    "/photo/" + "a" * 64 + ".jpg%00",
    "/photo/../ledger.sqlite",
    "/ledger.sqlite",
    "/host.toml",
)


@pytest.mark.parametrize("way", TRAPS)
def test_no_path_reaches_a_file_that_is_not_of_the_page(open_page: Client, way: str) -> None:
    (Path(open_page.config.photos) / "..." / "x").parent.mkdir(parents=True)
    assert open_page.get(way).status in {400, 404, 405}


def content(client: Client) -> str:
    """Return all that a ledger holds."""
    with open_existing(ledger_url(client.config.ledger)) as store, store.reading() as connection:
        held = {table.name: connection.execute(select(table)).all() for table in METADATA.sorted_tables}
    return "\n".join(f"{name}: {row}" for name, rows in held.items() for row in rows)


def alive(reply: Reply) -> bool:
    """Tell whether a browser takes what was typed for markup; a file of another kind it saves, or shows as text."""
    kind = reply.headers.get("content-type", "text/html").partition(";")[0]
    return kind in {"text/html", "image/svg+xml"} and "<img src=x" in reply.text


def forms(way: str, text: str) -> list[Form]:
    return [form for form in Markup(way, text).forms if form.method == "post"]


def free(form: Form, name: str) -> bool:
    """Tell whether a person types what they like into a field."""
    return name != forgery.FIELD and form.kinds[name] in {
        "text",
        "textarea",
        "search",
        "password",
        "email",
        "tel",
        "url",
    }


def named(text: str) -> set[str]:
    return {name for form in Markup("/", text).forms for name in form.fields}
