"""Station as a person reads it: the plot with its text and its table, the evidence, the counter, the log."""

import json
import re
from collections.abc import Iterator
from datetime import UTC, datetime
from itertools import pairwise
from typing import Any

import pytest
from host.page_client import Client, client
from host.village import SITE, settle

from swapbell_host.jobs.entry import Act, Draft
from swapbell_host.page.plotting.points import POINTS_MAX

# Two in the afternoon, half a day after the clock was set back (IANA time zone database, rule NZ).
NOW = datetime(2026, 4, 5, 2, 0, tzinfo=UTC)
READY = f"/station/{SITE}/ready"


@pytest.fixture(scope="module")
def village(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Client]:
    page = client(tmp_path_factory.mktemp("village"))
    page.now = NOW
    page.board._seen |= settle(page.config, NOW, days=1.0, seconds=120.0).board.all()
    yield page
    page.back.close()


def of(name: str, query: str = "") -> str:
    return f"/station/{SITE}/{name}{query}"


def document(page: Client, where: str) -> dict[str, Any]:
    reply = page.get(where)
    assert (reply.status, reply.headers["content-type"]) == (200, "application/json")
    found: dict[str, Any] = json.loads(reply.content)
    return found


def plotted(page: Client, where: str) -> dict[str, Any]:
    """Return the document that a page's plot is drawn from."""
    address = re.search(r'data-counts="([^"]*)"', page.get(where).text)
    assert address
    return document(page, address[1].replace("&amp;", "&"))


def test_it_says_what_is_needed_first(village: Client) -> None:
    words = village.get(READY).words
    assert words.index("swap now") < words.index("Visits against the rule")
    assert "Next put in fresh lure" in words


def test_the_verdict_stands_on_its_evidence(village: Client) -> None:
    words, seen = village.get(READY).words, village.board.of(SITE, "ready")
    assert seen
    assert seen.verdict.fullest
    assert f"The fullest 5 min had {seen.verdict.fullest.counted}." in words
    assert re.search(r"visits per 5 min of watched time; with 95 % confidence the true mean lies between", words)
    assert re.search(r"luck would show as many in (less than 1|\d+) % of such looks", words)
    assert "Asked for: two of three windows" in words
    assert len(re.findall(r"300 of 300 s", words)) == 3


def test_the_plot_has_its_text_its_picture_and_its_table(village: Client) -> None:
    text = village.get(READY).text
    assert re.search(r'<figcaption id="plot-says">\s*From Sat 4 Apr', text)
    assert '<svg viewBox="0 0 960 380"' in text
    assert 'aria-labelledby="plot-says"' in text
    assert text.count('<tr><th scope="row">') >= 24


def test_a_gap_is_hatched_and_has_no_number_in_the_table(village: Client) -> None:
    text = village.get(READY).text
    assert re.search(
        r'<rect class="unwatched" x="[\d.]+" y="72" width="[\d.]+" height="264" fill="url\(#hatch\)">', text
    )
    found = plotted(village, READY)
    at, most = found["at"], found["most"]
    hidden = [
        value
        for begins, ends in found["gaps"]
        for moment, value in zip(at, most, strict=True)
        if begins <= moment < ends
    ]
    assert hidden.count(None) > 6
    assert 0 not in hidden


def test_a_night_that_a_counter_watched_is_a_gap_and_keeps_what_was_seen(village: Client) -> None:
    found = plotted(village, READY)
    (dusk, dawn) = found["foraging"][0][1], found["foraging"][1][0]
    night = [
        (most, watched)
        for at, most, watched in zip(found["at"], found["most"], found["watched"], strict=True)
        if dusk <= at and at + 300 <= dawn
    ]
    assert len(night) > 100
    assert {watched for _, watched in night} == {0.0}
    assert 0 not in {most for most, _ in night}


def test_what_the_script_draws_is_what_the_picture_shows(village: Client) -> None:
    found, text = plotted(village, READY), village.get(READY).text
    path = re.search(r'class="counted" d="([^"]*)"', text)
    assert path
    known = sum(value is not None for value in found["most"])
    assert path[1].count("V") == known
    assert text.count('<rect class="foraging"') == len(found["foraging"])
    assert text.count('<rect class="unwatched"') == len(found["gaps"])
    assert text.count('<rect class="stage"') == len(found["phases"])
    assert text.count('class="flag done"') + text.count('class="flag told"') + text.count(
        'class="flag clock"'
    ) == len(found["marks"])


def test_the_sites_clock_is_followed_over_its_change(village: Client) -> None:
    text = village.get(of("ready", "?span=day&on=2026-04-05")).text
    labels = re.findall(r'<text class="time" x="([\d.]+)" y="360">([\d:]+)</text>', text)
    assert [words for _, words in labels] == ["00:00", "03:00", "06:00", "09:00", "12:00", "15:00", "18:00", "21:00"]
    apart = [float(x) - float(before) for (before, _), (x, _) in pairwise(labels)]
    assert apart[0] == pytest.approx(4 / 3 * apart[1], abs=0.2)
    assert "clock changes from NZDT to NZST" in text
    assert plotted(village, of("ready", "?span=day&on=2026-04-05"))["clock"] == [
        [datetime(2026, 4, 4, 11, 0, tzinfo=UTC).timestamp(), "NZDT"],
        [datetime(2026, 4, 4, 14, 0, tzinfo=UTC).timestamp(), "NZST"],
    ]


def test_the_hour_that_comes_twice_has_two_rows(village: Client) -> None:
    words = village.get(of("ready", "?span=day&on=2026-04-05")).words
    assert "Sun 02:00 to 02:00 NZDT" in words
    assert "Sun 02:00 to 03:00 NZST" in words


@pytest.mark.parametrize("span", ["day", "week", "season"])
def test_no_span_sends_more_than_promised(village: Client, span: str) -> None:
    found = plotted(village, of("verify", f"?span={span}"))
    assert sum(value is not None for name in ("most", "mean") for value in found[name]) <= POINTS_MAX
    assert len(found["at"]) <= POINTS_MAX // 2


def test_acts_and_notices_are_numbered_marks_and_the_numbers_are_told(village: Client) -> None:
    text = village.get(of("verify", "?span=season")).text
    marks = re.findall(r'<li><span class="kind">(\w+)</span> <time[^>]*>([^<]*)</time>: ([^<]*)</li>', text)
    assert [words for _, _, words in marks if words.startswith("swapped")] == ["swapped, logged by Kim"]
    assert ("told", "collapsed") in [(kind, words) for kind, _, words in marks]
    assert len(re.findall(r'<text class="flag"', text)) == len(marks)


def test_spans_and_days_are_plain_links(village: Client) -> None:
    text = village.get(of("ready", "?span=week&on=2026-04-05")).text
    assert re.findall(r'id="span-(\w+)" href="([^"]*)"', text) == [
        (span, f"/station/hollow/ready?span={span}&amp;on=2026-04-05#counts") for span in ("day", "week", "season")
    ]
    assert 'aria-current="true">week</a>' in text
    assert "?span=week&amp;on=2026-03-29#counts" in text
    assert '?span=week#counts">now</a>' in text


def test_what_was_corrected_stays_and_is_struck_through(village: Client) -> None:
    text = village.get(of("verify")).text
    (struck,) = re.findall(r'<li class="corrected">.*?</li>', text, re.S)
    assert re.search(r"Corrected by entry \d+:</strong></p><s>.*swapped.*</s>", struck, re.S)
    assert re.search(r"in place of entry \d+", text)
    assert "read the scale wrong\nat first" in text


def test_what_a_station_says_of_itself_stands_with_its_age(village: Client) -> None:
    words = village.get(READY).words
    assert "As heard 0 s ago" in words
    assert "battery 64 %" in words
    assert "temperature of the board 41 °C" in words
    assert "disk" not in words


def test_a_silent_station_has_no_number(village: Client) -> None:
    words = village.get(of("mute")).words
    assert "Visits not known: no count comes from it , last count 2 h ago" in words
    assert "Unjudged: no count comes from it." in words


def test_a_planned_station_claims_nothing(village: Client) -> None:
    words = village.get(of("planned")).words
    assert "nobody watched: whether wasps came is not known" in words
    assert "its foraging hours" not in words
    assert "It has never said anything of itself." in words
    assert "Hangs at not known" in words


@pytest.mark.parametrize("where", [of("nowhere"), "/station/x/ready", of("nowhere", "/counts.json")])
def test_a_station_that_is_not_there_is_said_so(village: Client, where: str) -> None:
    reply = village.get(where)
    assert reply.status == 404
    assert "There is no such station." in reply.words


@pytest.mark.parametrize(
    "query",
    [
        "?span=year",
        "?on=yesterday",
        "?on=0001-01-01",
        "/counts.json?from=x",
        "/counts.json?from=2026-04-05T00:00Z&to=2026-04-04T00:00Z",
        "/counts.json?from=1970-01-01T00:00Z",
        "/counts.json?to=9999-12-31T23:59Z",
    ],
)
def test_a_stretch_that_cannot_be_shown_is_refused_in_words(village: Client, query: str) -> None:
    reply = village.get(of("ready", query))
    assert reply.status == 404
    assert "Traceback" not in reply.text


def test_the_document_can_be_asked_for_any_stretch(village: Client) -> None:
    found = document(village, of("ready", "/counts.json?from=2026-04-05T00:00Z&to=2026-04-05T01:00Z"))
    assert found["at"] == [found["from"] + 300 * n for n in range(12)]
    assert found["zone"] == "Pacific/Auckland"


def test_words_of_a_person_are_shown_as_they_are(village: Client) -> None:
    nasty = '<img src=x onerror="alert(1)"> =1+1 \U0001f41d'
    draft = Draft(site=SITE, station="dry", act=Act.SEEN, at=NOW, by=nasty, note=nasty, details={"lot": nasty})
    village.in_house(lambda house: house.servicebook.add(draft, NOW))
    text = village.get(of("dry")).text
    assert "<img src=x" not in text
    assert text.count("&lt;img src=x onerror=&#34;alert(1)&#34;&gt; =1+1 \U0001f41d") >= 3


def test_nothing_is_loaded_from_elsewhere_and_nothing_runs_inline(village: Client) -> None:
    text = village.get(READY).text
    assert not re.search(r'(src|href)="(https?:)?//', text)
    assert not re.search(r"\son\w+=|<style|style=", text)


@pytest.mark.parametrize(
    "name", ["vendor/uPlot.iife.min.js", "vendor/uPlot.min.css", "vendor/uPlot.LICENSE", "plot.js"]
)
def test_the_files_of_the_plot_lie_beside_the_page(village: Client, name: str) -> None:
    assert village.get(f"/static/{name}").status == 200
