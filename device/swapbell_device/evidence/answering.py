"""What a station answers when it is asked for its evidence: a list, or a piece of a file, as one message holds."""

from msgspec.structs import replace

from swapbell_device.evidence.store import Store
from swapbell_models.evidence import Answer, Found, Item, Piece, Question, Refused, Seek, Want, label
from swapbell_models.message import MalformedMessage, decode, encode

# RFC 4648, base64: four letters for three bytes.
LETTERS, BYTES = 4, 3
GONE = "is not kept, or no more: the oldest make room"
NONE_KEPT = "keeps no evidence; its device.toml needs an [evidence] first"


def answer(payload: bytes, most_bytes: int, station: str, store: Store | None) -> bytes | None:
    """Return the answer to a question, both as they go on the wire; nothing if it is no question.

    Parameters
    ----------
    payload : bytes
        The question.
    most_bytes : int
        How long the answer may be [B]; the first item of a list and a byte of a file are told in any case.
    station : str
        Who answers.
    store : Store or None
        Its evidence, if it keeps any.
    """
    try:
        question = decode(payload, Question)
    except MalformedMessage:
        return None
    bare = Answer(id=question.id, station=station, gives=Refused(reason=""))
    return encode(replace(bare, gives=_given(question.wants, most_bytes - len(encode(bare)), station, store)))


def _given(wants: Seek | Want, most_bytes: int, station: str, store: Store | None) -> Found | Piece | Refused:
    if store is None:
        return Refused(reason=f"station {station} {NONE_KEPT}")
    return _found(wants, most_bytes, store) if isinstance(wants, Seek) else _piece(wants, most_bytes, store)


def _found(seek: Seek, most_bytes: int, store: Store) -> Found:
    told, room = list[Item](), most_bytes - len(encode(Found(items=(), more=False)))
    for item in store.items(seek.after):
        if seek.wants(label(item.name)):
            room -= len(encode(item)) + 1
            if room < 0 and told:
                return Found(items=tuple(told), more=True)
            told.append(item)
    return Found(items=tuple(told), more=False)


def _piece(want: Want, most_bytes: int, store: Store) -> Piece | Refused:
    empty = Piece(item=want.item, file=want.file, offset=want.offset, size=0, data=b"")
    length = max(1, (most_bytes - len(encode(empty))) * BYTES // LETTERS)
    read = store.read(want.item, want.file, want.offset, length)
    if read is None:
        return Refused(reason=f"{want.item} {GONE}")
    data, size = read
    return Piece(item=want.item, file=want.file, offset=want.offset, size=size, data=data)
