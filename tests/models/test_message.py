import json
from collections.abc import Mapping
from datetime import datetime, timedelta, timezone
from pathlib import Path
from typing import Any

import msgspec
import pytest
from hypothesis import given
from hypothesis import strategies as st
from jsonschema import Draft202012Validator, FormatChecker
from msgspec import UNSET, UnsetType
from orchard import NOON_AT, tally, visits

import swapbell_models
from swapbell_models.evidence import Answer, Piece, Question, Seek
from swapbell_models.message import (
    MESSAGES,
    PAYLOAD_MAX_BYTES,
    Address,
    Health,
    Held,
    MalformedMessage,
    NoticeMessage,
    Receipt,
    Standing,
    StationState,
    Subject,
    address,
    decode,
    encode,
    schema,
    topic,
)
from swapbell_models.phase import Phase
from swapbell_models.sizes import SizeClass
from swapbell_models.tally import Clock, Crossing, Direction, Hindrance, Sight, Tally

SCHEMA = Path(swapbell_models.__file__).with_name("message.schema.json")

EXAMPLES: Mapping[Subject, msgspec.Struct] = {
    Subject.TALLY: tally(7, crossings=visits(0.25, 14.9), watched_s=12.5, clock=Clock.FREE),
    Subject.RECEIPT: Receipt(boot="b1", through=7),
    Subject.HEALTH: Health(
        station="north",
        state=StationState.WATCHING,
        at=NOON_AT,
        fps=29.9,
        temperature_c=-3.5,
        disk_free_bytes=10**12,
        spool_tallies=0,
        oldest=(Held(boot="b1", seq=3),),
    ),
    Subject.STANDING: Standing(
        station="north",
        at=NOON_AT,
        phase=Phase.LURING,
        verdict="unjudged",
        reason="silent",
        visits=None,
        watched_s=0.0,
    ),
    Subject.NOTICE: NoticeMessage(
        id=3,
        station="north",
        kind="ready",
        urgency="act",
        raised_at=NOON_AT,
        told_at=NOON_AT,
        times_told=1,
        text="Time to swap; the label comes first.",
    ),
    Subject.QUESTION: Question(id="q1", wants=Seek(after=12, from_at=NOON_AT)),
    Subject.ANSWER: Answer(
        id="q1", station="north", gives=Piece(item="7.clip", file="clip.mp4", offset=3, size=6, data=b"\x00\xff?")
    ),
}
EACH = pytest.mark.parametrize("subject", list(Subject), ids=lambda subject: subject.value)


def told(subject: Subject) -> dict[str, Any]:
    found: dict[str, Any] = json.loads(encode(EXAMPLES[subject]))
    return found


MOMENTS = FormatChecker(formats=())


@MOMENTS.checks("date-time", raises=ValueError)
def _is_moment(text: object) -> bool:
    """Judge what JSON Schema leaves to an optional library: RFC 3339 asks for a zone."""
    return datetime.fromisoformat(str(text)).tzinfo is not None


def validator(subject: Subject) -> Draft202012Validator:
    definitions = json.loads(SCHEMA.read_text(encoding="utf-8"))
    whole = definitions | {"$ref": f"#/$defs/{MESSAGES[subject].__name__}"}
    return Draft202012Validator(whole, format_checker=MOMENTS)


@EACH
def test_what_is_written_is_read(subject: Subject) -> None:
    assert decode(encode(EXAMPLES[subject]), MESSAGES[subject]) == EXAMPLES[subject]


def test_a_tally_reads_as_the_design_writes_it() -> None:
    assert told(Subject.TALLY) == {
        "v": 1,
        "station": "north",
        "boot": "b1",
        "seq": 7,
        "from": "2026-03-14T12:01:30Z",
        "up_s": 90.0,
        "clock": "free",
        "seconds": 15.0,
        "watched_s": 12.5,
        "crossings": [
            {"at_s": 0.25, "dir": "in", "size": "wasp", "length_mm": 13.0},
            {"at_s": 14.9, "dir": "in", "size": "wasp", "length_mm": 13.0},
        ],
    }


def test_a_counter_s_own_report_reads_as_its_fields() -> None:
    sure = msgspec.structs.replace(visits(0.25)[0], confidence=0.75)
    seen = Sight(light=98.0, moving=0.0, blind_s=4.5, hindrance=Hindrance.SHAKE)
    written = json.loads(encode(tally(7, crossings=(sure,), sight=seen)))
    assert written["crossings"] == [
        {"at_s": 0.25, "dir": "in", "size": "wasp", "length_mm": 13.0, "confidence": 0.75}
    ]
    assert written["sight"] == {"light": 98.0, "moving": 0.0, "blind_s": 4.5, "hindrance": "shake"}
    assert validator(Subject.TALLY).is_valid(written)


def test_what_a_station_does_not_know_is_absent_never_zero() -> None:
    unknown = {"reason", "dropped_frames", "spool_dropped", "exposure_s", "sharpness"}
    assert not unknown & told(Subject.HEALTH).keys()


@EACH
def test_a_newer_writer_of_this_version_is_understood(subject: Subject) -> None:
    newer = json.dumps(told(subject) | {"colour": "yellow"}).encode()
    assert decode(newer, MESSAGES[subject]) == EXAMPLES[subject]
    assert validator(subject).is_valid(json.loads(newer))


@EACH
def test_another_version_is_named(subject: Subject) -> None:
    other = json.dumps(told(subject) | {"v": 2}).encode()
    with pytest.raises(MalformedMessage, match="version 2, this program reads version 1"):
        decode(other, MESSAGES[subject])
    assert not validator(subject).is_valid(json.loads(other))


SURE: dict[str, object] = {"at_s": 1.0, "dir": "in", "size": "wasp", "length_mm": 13.0}
BAD_VALUES: list[tuple[Subject, dict[str, object]]] = [
    (Subject.TALLY, {"station": "up/north"}),
    (Subject.TALLY, {"station": ""}),
    (Subject.TALLY, {"boot": "b" * 64}),
    (Subject.TALLY, {"seq": -1}),
    (Subject.TALLY, {"seq": 1.5}),
    (Subject.TALLY, {"seq": "7"}),
    (Subject.TALLY, {"from": "noon"}),
    (Subject.TALLY, {"clock": "sundial"}),
    (Subject.TALLY, {"seconds": 0.0}),
    (Subject.TALLY, {"seconds": 3601.0}),
    (Subject.TALLY, {"watched_s": -0.1}),
    (Subject.TALLY, {"up_s": None}),
    (Subject.TALLY, {"crossings": [{"at_s": 1.0, "dir": "up", "size": "wasp", "length_mm": 13.0}]}),
    (Subject.TALLY, {"crossings": [{"at_s": 1.0, "dir": "in", "size": "bee", "length_mm": 13.0}]}),
    (Subject.TALLY, {"crossings": [{"at_s": 1.0, "dir": "in", "size": "wasp", "length_mm": 0.0}]}),
    (Subject.TALLY, {"crossings": [{"at_s": 1.0, "dir": "in", "size": "wasp"}]}),
    (
        Subject.TALLY,
        {"crossings": [{"at_s": 1.0, "dir": "in", "size": "wasp", "length_mm": 13.0, "confidence": 1.1}]},
    ),
    (Subject.TALLY, {"sight": None}),
    (Subject.TALLY, {"sight": {"moving": 1.5}}),
    (Subject.TALLY, {"sight": {"hindrance": "boredom"}}),
    (Subject.RECEIPT, {"through": -1}),
    (Subject.HEALTH, {"state": "drowsy"}),
    (Subject.HEALTH, {"dropped_frames": -1}),
    (Subject.STANDING, {"phase": "lurking"}),
    (Subject.NOTICE, {"id": None}),
    (Subject.QUESTION, {"wants": {"what": "coffee"}}),
    (Subject.QUESTION, {"wants": {"what": "items", "after": -1}}),
    (Subject.QUESTION, {"wants": {"what": "piece", "item": "..", "file": "passwd", "offset": 0}}),
    (Subject.QUESTION, {"wants": {"what": "piece", "item": "up/7.clip", "file": "clip.mp4", "offset": 0}}),
    (Subject.ANSWER, {"id": "a question"}),
    (Subject.ANSWER, {"gives": {"what": "items", "items": [{"name": "7.clip", "files": [{"name": "clip.mp4"}]}]}}),
]


@pytest.mark.parametrize(("subject", "fields"), BAD_VALUES)
def test_reader_and_schema_refuse_the_same(subject: Subject, fields: dict[str, object]) -> None:
    bad = told(subject) | fields
    with pytest.raises(MalformedMessage):
        decode(json.dumps(bad).encode(), MESSAGES[subject])
    assert not validator(subject).is_valid(bad)


@EACH
def test_reader_and_schema_ask_for_the_same_fields(subject: Subject) -> None:
    whole = told(subject)
    for name in whole:
        rest = {key: value for key, value in whole.items() if key != name}
        try:
            decode(json.dumps(rest).encode(), MESSAGES[subject])
            read = True
        except MalformedMessage:
            read = False
        assert validator(subject).is_valid(rest) == read, name


def test_the_committed_schema_is_the_reader_s_own() -> None:
    assert json.loads(SCHEMA.read_text(encoding="utf-8")) == json.loads(json.dumps(schema()))


def test_the_schema_is_a_schema() -> None:
    Draft202012Validator.check_schema(schema())


@pytest.mark.parametrize("payload", [b"", b"{", b"[]", b"null", b"\xff\xfe", b'{"v":1}', b'{"v":"1"}'])
@EACH
def test_what_is_no_message_is_malformed(subject: Subject, payload: bytes) -> None:
    with pytest.raises(MalformedMessage):
        decode(payload, MESSAGES[subject])


def test_what_is_far_too_long_is_not_even_read() -> None:
    with pytest.raises(MalformedMessage, match="payload of 262145 bytes, at most 262144 are read"):
        decode(b" " * (PAYLOAD_MAX_BYTES + 1), Tally)


def test_what_is_just_short_enough_is_read() -> None:
    payload = encode(Receipt(boot="first", through=3))
    assert decode(payload.rjust(PAYLOAD_MAX_BYTES), Receipt).through == 3


@given(st.binary(max_size=200))
def test_no_bytes_whatever_raise_anything_else(payload: bytes) -> None:
    for kind in MESSAGES.values():
        try:
            decode(payload, kind)
        except MalformedMessage:
            continue


SHARES = st.none() | st.floats(0.0, 1.0)
LEVELS = st.none() | st.floats(0.0, 255.0)
SIGHTS = st.just(UNSET) | st.builds(
    Sight,
    light=LEVELS,
    detail=LEVELS,
    noise=LEVELS,
    shake_mm=st.none() | st.floats(0.0, 60.0),
    moving=SHARES,
    dropped=st.none() | st.integers(0, 900),
    blind_s=st.none() | st.floats(0.0, 15.0),
    hindrance=st.none() | st.sampled_from(Hindrance),
)


@given(
    st.lists(
        st.builds(
            Crossing,
            at_s=st.floats(0.0, 15.0),
            direction=st.sampled_from(Direction),
            size=st.sampled_from(SizeClass),
            length_mm=st.floats(0.1, 60.0),
            confidence=SHARES,
        ),
        max_size=5,
    ),
    st.floats(0.0, 15.0),
    st.integers(-12, 14),
    SIGHTS,
)
def test_every_tally_survives_the_wire(
    crossings: list[Crossing], watched_s: float, zone_h: int, sight: Sight | UnsetType
) -> None:
    here_at = NOON_AT.astimezone(timezone(timedelta(hours=zone_h)))
    message = tally(1, start_at=here_at, crossings=tuple(crossings), watched_s=watched_s, sight=sight)
    assert decode(encode(message), Tally) == message


@EACH
def test_a_topic_names_site_station_and_subject(subject: Subject) -> None:
    assert address(topic("orchard", "north", subject)) == Address("orchard", "north", subject)


@pytest.mark.parametrize(
    "name", ["", "swapbell/1/orchard/north", "swapbell/1/orchard/north/tally/x", "swapbell/1/orchard//tally"]
)
def test_other_topics_are_not_ours(name: str) -> None:
    with pytest.raises(MalformedMessage):
        address(name)
