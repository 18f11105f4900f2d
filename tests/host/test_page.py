"""The page's foundation, without a socket."""

from collections.abc import AsyncIterator
from concurrent.futures import ThreadPoolExecutor
from datetime import UTC, datetime, timedelta
from pathlib import Path
from threading import Event

import pytest
from host.page_client import Client, page_at
from orchard import NOON_AT

from swapbell_host.books import photos
from swapbell_host.jobs.account import Right
from swapbell_host.page.access.forgery import FIELD
from swapbell_host.page.door import Door
from swapbell_host.page.serving import signing
from swapbell_host.page.serving.body import FORM_MAX_BYTES
from swapbell_host.page.serving.drawing import ago, when
from swapbell_host.page.visit import Answer, Caller, Download, Go, Page, Stream, Visit
from swapbell_host.page.working import pictures
from swapbell_models.fault import Breakdown, Mistake

STRANGE = """<b>"O'Neil" & 🐝</b>"""
JPEG = b"\xff\xd8\xff\xe0 a photo, invented"


def echo(visit: Visit) -> Answer:
    return Page("error.html", {"heading": "Hello", "words": f"{visit.query} {visit.queries('many')}"})


def fail(visit: Visit) -> Answer:
    raise {"mistake": Mistake, "breakdown": Breakdown}.get(visit.path["how"], RuntimeError)("a secret, or words")


def file(visit: Visit) -> Answer:
    return Download(b"1,2", "text/csv", visit.query["name"])


def stream(visit: Visit) -> Answer:
    async def events() -> AsyncIterator[str]:
        yield "data: 1\n\n"

    return Stream(events())


def greet(visit: Visit) -> Answer:
    size = "no photo" if visit.photo is None else f"{len(visit.photo)} bytes"
    return Go("/echo", said=f"greeted {visit.form['name']} of {visit.forms('name')}, {size}")


REPORT_IS_DONE = Event()


def report(visit: Visit) -> Answer:
    return Page("error.html", {"heading": "Report", "words": f"{REPORT_IS_DONE.wait(20.0)}"})


def refuse(visit: Visit) -> Answer:
    raise Mistake(f"refused {visit.form['name']}")


DOORS = (
    *signing.DOORS,
    *pictures.DOORS,
    Door("/echo", echo),
    Door("/report", report, slow=True),
    Door("/fail/{how}", fail),
    Door("/file", file),
    Door("/stream", stream),
    Door("/greet", greet, right=Right.WORK, method="POST"),
    Door("/refuse", refuse, right=Right.WORK, method="POST"),
)


page = page_at(doors=DOORS)


def test_a_page_is_shown_without_login_on_this_machine(page: Client) -> None:
    reply = page.get("/echo?name=Kim&many=1&many=2")
    assert (reply.status, reply.headers["content-type"]) == (200, "text/html; charset=utf-8")
    assert "{'name': 'Kim', 'many': '2'} ['1', '2']" in reply.words


def test_a_form_leads_on_with_a_word_that_is_shown_once(page: Client) -> None:
    reply = page.submit("/greet", {"name": ["Kim", STRANGE]}, shown_at="/login")
    assert (reply.status, reply.headers["location"]) == (303, "/echo")
    assert f"greeted {STRANGE} of ['Kim'" in page.get("/echo").words
    assert "greeted" not in page.get("/echo").words


def test_a_word_of_any_length_in_any_script_fits_into_the_cookie(page: Client) -> None:
    page.submit("/greet", {"name": "🐝" * 5000}, shown_at="/login")
    assert len(page.cookies["swapbell-said"]) < 4000
    assert "greeted 🐝🐝" in page.get("/echo").words


@pytest.mark.parametrize(("photo", "said"), [(b"12345", "5 bytes"), (b"", "no photo"), (b"x" * 3_000_000, "3000000")])
def test_a_photo_comes_with_a_form(page: Client, photo: bytes, said: str) -> None:
    page.submit("/greet", {"name": "Kim"}, photo, shown_at="/login")
    assert said in page.get("/echo").words


@pytest.mark.parametrize(
    ("way", "status", "words"),
    [
        ("/fail/mistake", 404, "a secret, or words"),
        ("/fail/breakdown", 503, "a secret, or words"),
        ("/nowhere", 404, "There is nothing at this address"),
        ("/greet", 405, "cannot be used like that"),
    ],
)
def test_what_goes_wrong_is_said_in_plain_words(page: Client, way: str, status: int, words: str) -> None:
    reply = page.get(way)
    assert reply.status == status
    assert words in reply.words


def test_a_failure_of_ours_tells_the_log_and_not_the_browser(
    page: Client, capsys: pytest.CaptureFixture[str]
) -> None:
    with pytest.raises(RuntimeError, match="a secret"):  # whoever serves the page sees it too
        page.get("/fail/otherwise")
    assert page.last is not None
    assert page.last.status == 500
    assert "a secret" not in page.last.text
    assert "RuntimeError: a secret" in capsys.readouterr().err


def test_a_form_that_is_refused_says_why(page: Client) -> None:
    reply = page.submit("/refuse", {"name": STRANGE}, shown_at="/login")
    assert reply.status == 422
    assert f"refused {STRANGE}" in reply.words


@pytest.mark.parametrize("way", ["/echo", "/nowhere", "/file?name=a", "/stream", "/static/page.css", "/static/none"])
def test_every_answer_protects_whoever_reads_it(page: Client, way: str) -> None:
    headers = page.get(way).headers
    assert headers["content-security-policy"].startswith("default-src 'self';")
    assert "unsafe" not in headers["content-security-policy"]
    assert headers["x-content-type-options"] == "nosniff"
    assert headers["referrer-policy"] == "same-origin"


def test_pages_are_fresh_and_files_are_asked_for_again(page: Client) -> None:
    assert page.get("/echo").headers["cache-control"] == "no-store"
    assert page.get("/static/page.css").headers["cache-control"] == "no-cache"


def test_a_file_has_a_name_in_any_script(page: Client) -> None:
    said = page.get("/file?name=%22a%0d%0a%F0%9F%90%9D.csv").headers["content-disposition"]
    assert said == "attachment; filename*=UTF-8''%22a%0D%0A%F0%9F%90%9D.csv"


def test_a_stream_is_sent_as_it_comes(page: Client) -> None:
    reply = page.get("/stream")
    assert (reply.headers["content-type"], reply.text) == ("text/event-stream; charset=utf-8", "data: 1\n\n")


def test_nobody_waits_for_a_report_that_takes_long(page: Client) -> None:
    REPORT_IS_DONE.clear()
    with ThreadPoolExecutor(1) as other:
        made = other.submit(page.get, "/report")
        assert page.get("/echo").status == 200
        assert not made.done()
        REPORT_IS_DONE.set()
        assert "True" in made.result().words


def test_a_photo_is_shown_by_the_name_that_its_content_made(page: Client) -> None:
    name = photos.keep(Path(page.config.photos), JPEG)
    reply = page.get(f"/photo/{name}")
    assert (reply.content, reply.headers["content-type"]) == (JPEG, "image/jpeg")


NO_PHOTOS = ("../host.toml", "/etc/passwd", "..", "", "a" * 64 + ".jpg\n", "a" * 64 + ".html", "a" * 63 + "/.jpg")


@pytest.mark.parametrize("name", NO_PHOTOS)
def test_no_other_name_reaches_the_disk(page: Client, name: str) -> None:
    Path(page.config.photos).mkdir()
    (Path(page.config.photos) / name.strip().replace("/", "")).touch()
    (Path(page.config.photos).parent / "host.toml").touch()
    caller = Caller(None, Right.WORK, "", "")
    with pytest.raises(Mistake, match="there is none of that name"):
        page.in_house(lambda house: pictures.show(Visit(house, caller, page.now, {"name": name})))


@pytest.mark.parametrize("most", [FORM_MAX_BYTES, 2 * FORM_MAX_BYTES])
def test_a_form_that_is_too_large_is_refused(page: Client, most: int) -> None:
    said = page.submit("/greet", {"name": "x" * most}, shown_at="/login")
    assert said.status == 413


def test_a_body_that_lies_about_its_length_is_refused(page: Client) -> None:
    key = {"content-type": "application/x-www-form-urlencoded", "content-length": "10"}
    assert page.send("POST", "/greet", b"name=" + b"x" * FORM_MAX_BYTES, key).status == 413


@pytest.mark.parametrize("kind", ["application/json", "text/plain", ""])
def test_what_is_no_form_is_refused(page: Client, kind: str) -> None:
    assert page.send("POST", "/greet", b"{}", {"content-type": kind}).status == 415


@pytest.mark.parametrize(
    "body", [b"--cut\r\n", b"junk", b"--cut\r\nContent-Disposition: form-data\r\n\r\n1\r\n--cut--"]
)
def test_a_torn_form_is_refused(page: Client, body: bytes) -> None:
    assert page.send("POST", "/greet", body, {"content-type": "multipart/form-data; boundary=cut"}).status in {
        400,
        403,
    }


def test_a_form_needs_the_right_to_work() -> None:
    with pytest.raises(ValueError, match="needs the right to work"):
        Door("/greet", greet, method="POST")


def test_a_moment_is_told_in_the_zone_of_the_site_with_its_abbreviation() -> None:
    words = str(when(NOON_AT, "Pacific/Auckland"))
    assert words == '<time datetime="2026-03-14T12:00:00Z">Sun 15 Mar 2026, 01:00 NZDT</time>'


def test_the_hour_that_comes_twice_is_told_by_its_abbreviation() -> None:
    first = datetime(2026, 4, 4, 13, 30, tzinfo=UTC)  # IANA: NZDT ended on 2026-04-05 at 03:00
    told = [str(when(at, "Pacific/Auckland")) for at in (first, first + timedelta(hours=1))]
    assert ["02:30 NZDT" in told[0], "02:30 NZST" in told[1]] == [True, True]


def test_what_nobody_knows_is_no_moment() -> None:
    assert when(None, "UTC") == "not known"
    assert ago(None, NOON_AT) == "not known"


@pytest.mark.parametrize(("since", "words"), [(185.0, "3 min ago"), (-7300.0, "in 2 h"), (0.0, "0 s ago")])
def test_an_age_counts_from_the_pages_now(since: float, words: str) -> None:
    assert words in str(ago(NOON_AT - timedelta(seconds=since), NOON_AT))


def test_the_hidden_field_is_in_every_form_that_is_shown(page: Client) -> None:
    assert page.get("/login").text.count(f'name="{FIELD}"') == 1
