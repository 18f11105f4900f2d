from datetime import UTC, datetime

import pytest
from hypothesis import given
from hypothesis import strategies as st

from swapbell_host.jobs import plan
from swapbell_host.jobs.plan import Contact, Role, Site, Station

NOW = datetime(2026, 1, 15, 9, 0, tzinfo=UTC)
STRANGE = [
    "<script>alert(1)</script>",
    "Robert'); DROP TABLE service;--",
    'a "b" \\ c',
    "🐝👨‍👩‍👧",
    "=1+1",
    "עברית",
    "%s{0}",
]


@pytest.mark.parametrize("text", STRANGE)
def test_any_text_that_can_be_written_is_taken_as_it_is(text: str) -> None:
    assert Site("orchard", owner=text).owner == text
    assert Contact(text, "json://192.0.2.7").name == text


@pytest.mark.parametrize("text", ["", "   ", "x" * 10_000, "a\x1b[2J", "a\0", "a\nb", "a\ud800", "a\u0085b"])
def test_a_text_that_cannot_be_written_is_refused_in_one_short_line(text: str) -> None:
    with pytest.raises(ValueError, match="owner must") as refusal:
        Site("orchard", owner=text)
    assert "\n" not in str(refusal.value)
    assert len(str(refusal.value)) < 200
    str(refusal.value).encode()


@pytest.mark.parametrize(
    "name", ["", "../up", "a/b", "a b", ".hidden", "-x", "x" * 64, "<b>", "naïve", "a\n", "/etc/passwd", "🐝"]
)
def test_a_name_that_is_no_level_of_a_topic_is_refused(name: str) -> None:
    with pytest.raises(ValueError, match="must be 1 to 63 letters") as refusal:
        Station(name, "north", NOW)
    assert "\n" not in str(refusal.value)
    with pytest.raises(ValueError, match="must be 1 to 63 letters"):
        Station("orchard", name, NOW)


@pytest.mark.parametrize("zone", ["Pacific/Auckland", "UTC", "Europe/Berlin", "Etc/GMT+5"])
def test_a_zone_has_its_iana_name(zone: str) -> None:
    assert Site("orchard", zone).clock.key == zone


@pytest.mark.parametrize(
    "zone", ["", "Auckland", "../../etc/passwd", "/etc/localtime", "Europe", "Pacific/Auckland/x"]
)
def test_what_is_no_zone_is_refused_and_reaches_no_file(zone: str) -> None:
    with pytest.raises(ValueError, match="zone must be an IANA name"):
        Site("orchard", zone)


@pytest.mark.parametrize(
    "text",
    [
        "42.8821 S 147.3272 E",
        "42.8821S 147.3272E",
        "-42.8821, 147.3272",
        "42.8821° S, 147.3272° E",
        "-42.8821;147.3272",
    ],
)
def test_a_place_is_read_as_it_is_written(text: str) -> None:
    assert plan.place(text) == plan.located(-42.8821, 147.3272)


@pytest.mark.parametrize(
    "text",
    ["", "here", "42.8821", "-42.8821 S 147.3272 E", "95 N 10 E", "10 N 190 E", "nan, nan", "1e9 2", "10 E 20 N"],
)
def test_what_is_no_place_is_refused(text: str) -> None:
    with pytest.raises(ValueError, match=r"position must read|latitude_deg must be|longitude_deg must be"):
        plan.place(text)


@given(st.floats(-90.0, 90.0), st.floats(-180.0, 180.0))
def test_every_place_on_earth_can_be_written(latitude: float, longitude: float) -> None:
    read = plan.place(f"{latitude:.6f}, {longitude:.6f}")
    assert read.latitude_deg == pytest.approx(latitude, abs=1e-6)
    assert read.longitude_deg == pytest.approx(longitude, abs=1e-6)


def test_a_contact_is_not_its_own_second() -> None:
    with pytest.raises(ValueError, match="second contact of 'Kim' must be another one"):
        Contact("Kim", "json://192.0.2.7", "Kim")


def test_a_contact_is_not_taken_for_an_address_of_the_configuration() -> None:
    with pytest.raises(ValueError, match="contact must not be named like an address"):
        Contact("channel 1 (json)", "json://192.0.2.7")


def test_a_role_is_one_of_two() -> None:
    assert plan.role("control") is Role.CONTROL
    with pytest.raises(ValueError, match="role must be bait or control, not 'trap'"):
        plan.role("trap")


@pytest.mark.parametrize("details", [{"Crop": "apples"}, {"../crop": "apples"}, {"crop": ""}, {"crop": "x" * 4001}])
def test_a_detail_that_cannot_be_written_is_refused(details: dict[str, str]) -> None:
    with pytest.raises(ValueError, match="must"):
        Site("orchard", details=details)
