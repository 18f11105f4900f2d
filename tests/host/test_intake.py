from datetime import UTC, datetime, timedelta

import msgspec
import pytest
from orchard import NOON_AT, STATIONS, tally, topic_of

from swapbell_host.intake import SEQ_MAX, TO_COME_MAX_AT, Arrival, Claim, Intake, Rejection, Sorted
from swapbell_models.message import PAYLOAD_MAX_BYTES, Health, Held, StationState, Subject, encode
from swapbell_models.tally import Clock, Tally

LAST_AT = datetime(9999, 12, 31, 23, 59, 59, tzinfo=UTC)
TEN_MEGABYTES = 10 * 1024 * 1024


def read(payload: bytes, name: str = topic_of(Subject.TALLY)) -> Sorted:
    return Intake(STATIONS).sort([Arrival(name, payload)])


def rejection(payload: bytes, name: str = topic_of(Subject.TALLY)) -> Rejection:
    found = read(payload, name)
    assert not found.tallies
    assert not found.healths
    return found.rejections[0]


def changed(message: Tally, **fields: object) -> bytes:
    """Return the message with fields that no honest writer would write."""
    return msgspec.json.encode(msgspec.json.decode(encode(message)) | fields)


def test_a_tally_is_read_with_its_station() -> None:
    (found,) = read(encode(tally(1))).tallies
    assert (found.station, found.boot, found.tally) == (("orchard", "north"), ("orchard", "north", "b1"), tally(1))


def test_a_health_is_read_with_its_station() -> None:
    health = Health(station="north", state=StationState.WATCHING)
    (found,) = read(encode(health), topic_of(Subject.HEALTH)).healths
    assert (found.station, found.health) == (("orchard", "north"), health)


BAD = {
    "not UTF-8": (b'{"v":1,"station":"\xff"}', "utf-8"),
    "not JSON": (b"<tally/>", "malformed"),
    "empty": (b"", "truncated"),
    "cut off": (encode(tally(1))[:-5], "truncated"),
    "another version": (changed(tally(1), v=2), "version 2, this program reads version 1"),
    "another station": (encode(tally(1, station="south")), "the topic names station 'north', the payload 'south'"),
    "a negative seq": (changed(tally(1), seq=-1), "seq"),
    "a seq beyond all counters": (changed(tally(1), seq=SEQ_MAX + 1), "beyond what a counter can reach"),
    "a seq of a hundred bits": (changed(tally(1), seq=2**100), "seq"),
    "a boot of a hundred centuries": (encode(tally(1, up_s=1e300)), "beyond what a counter can reach"),
    "a time without a zone": (changed(tally(1), **{"from": "2026-03-14T12:00:00"}), "from"),
    "the distant future": (encode(tally(1, start_at=LAST_AT)), "beyond the life of any counter"),
    "the distant past": (encode(tally(1, start_at=NOON_AT - timedelta(days=9999))), "too long ago"),
    "more watched than passed": (changed(tally(1), watched_s=16.0), "watched_s"),
    "far too long": (b" " * TEN_MEGABYTES, f"payload of {TEN_MEGABYTES} bytes"),
}


@pytest.mark.parametrize(("payload", "reason"), BAD.values(), ids=BAD.keys())
def test_a_bad_payload_is_rejected_with_its_reason(payload: bytes, reason: str) -> None:
    assert reason in rejection(payload).reason


@pytest.mark.parametrize(
    ("name", "reason"),
    [
        ("swapbell/1/orchard/south/tally", "station orchard/south is not in the configuration"),
        ("swapbell/1/orchard/north/standing", "a host does not read the subject 'standing'"),
        ("swapbell/2/orchard/north/tally", "is not swapbell/1/SITE/STATION/SUBJECT"),
        ("swapbell/1/orchard/../tally", "is not swapbell/1/SITE/STATION/SUBJECT"),
    ],
)
def test_a_topic_that_is_not_ours_is_rejected_with_its_reason(name: str, reason: str) -> None:
    assert reason in rejection(encode(tally(1)), name).reason


def test_a_tally_of_a_time_to_come_is_taken_for_nobody_knows_whose_clock_is_wrong() -> None:
    assert read(encode(tally(1, start_at=TO_COME_MAX_AT))).tallies


def test_a_counter_without_a_clock_may_name_any_time() -> None:
    assert read(encode(tally(1, start_at=LAST_AT, clock=Clock.FREE))).tallies


def test_a_receipt_may_cover_what_is_kept_whole_and_names_its_tally() -> None:
    assert rejection(changed(tally(7), v=2)).claim == Claim("b1", 7)


def test_no_receipt_covers_a_station_that_the_configuration_forgot() -> None:
    assert rejection(encode(tally(7)), "swapbell/1/orchard/south/tally").claim is None


def test_no_receipt_covers_what_is_not_kept_whole() -> None:
    long = changed(tally(7), note="x" * PAYLOAD_MAX_BYTES)
    assert rejection(long).claim is None


def test_no_receipt_covers_a_seq_that_no_counter_reaches() -> None:
    assert rejection(changed(tally(1), seq=SEQ_MAX + 1)).claim is None


def test_of_what_is_far_too_long_only_a_sample_is_kept() -> None:
    assert len(rejection(b" " * TEN_MEGABYTES).kept) == 1024


def test_a_spool_cannot_claim_to_begin_beyond_all_counters() -> None:
    health = Health(station="north", state=StationState.WATCHING, oldest=(Held(boot="b1", seq=SEQ_MAX + 1),))
    assert "beyond" in rejection(encode(health), topic_of(Subject.HEALTH)).reason


def test_one_bad_message_does_not_stop_the_others() -> None:
    batch = [Arrival(topic_of(Subject.TALLY), payload) for payload in (b"{", encode(tally(1)))]
    found = Intake(STATIONS).sort(batch)
    assert (len(found.tallies), len(found.rejections)) == (1, 1)
