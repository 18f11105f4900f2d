"""Forms as they are sent: read up to a limit, with one photo at most."""

from collections import defaultdict
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field

from starlette.datastructures import FormData, UploadFile
from starlette.exceptions import HTTPException
from starlette.requests import ClientDisconnect, Request
from starlette.types import Message, Receive

from swapbell_host.books.photos import PHOTO_MAX_BYTES
from swapbell_host.page.visit import Fields

# Our choice: every field of the longest form filled to its end, three bytes for each letter and three for each byte.
FORM_MAX_BYTES = 1_000_000
# Our choice: one for each station of the largest round, and some more.
FIELDS_MAX = 2_000
# RFC 2046, 5.1.1: a boundary has 70 letters at most.
KIND_MAX_LETTERS = 200
PLAIN = "application/x-www-form-urlencoded"
WITH_FILES = "multipart/form-data"


@dataclass(frozen=True, slots=True)
class Sent:
    """What came with a form."""

    fields: Fields = field(default_factory=dict[str, tuple[str, ...]])
    photo: bytes | None = None


async def read(request: Request, *, with_photo: bool = True) -> Sent:
    """Read the form that a request carries.

    Parameters
    ----------
    with_photo : bool
        Whether it may be as long as a photo; a stranger's may not, or a few of them would fill the memory.

    Raises
    ------
    HTTPException
        If it is none, too large or not whole.
    """
    most = FORM_MAX_BYTES + (PHOTO_MAX_BYTES if _has_file(request) and with_photo else 0)
    limited = Request(request.scope, _limited(request, most))
    try:
        form = await limited.form(max_files=1, max_fields=FIELDS_MAX, max_part_size=FORM_MAX_BYTES)
        return Sent(by_name(_texts(form)), await _photo(form))
    except ClientDisconnect as error:
        raise HTTPException(400, "The form did not arrive whole.") from error
    except OSError as error:  # a large file is put aside on the disk until it is whole
        raise HTTPException(503, "The host has no room for the file now. Send the form without it.") from error
    finally:
        await limited.close()


def _has_file(request: Request) -> bool:
    """Tell whether it is a form that may hold a file, or refuse what is none."""
    said = request.headers.get("content-type", "").lower()
    kind, more = said.partition(";")[0].strip(), said.partition(";")[2]
    # No browser names an encoding for a form with a file, and to decode some takes the square of the length.
    strange = len(said) > KIND_MAX_LETTERS or (kind == WITH_FILES and "charset" in more)
    if kind not in {PLAIN, WITH_FILES} or strange:
        raise HTTPException(415, "This is no form of this page.")
    return kind == WITH_FILES


def by_name(items: Iterable[tuple[str, str]]) -> Fields:
    """Return all values of each name; in one pass, for somebody may send a hundred thousand names."""
    found = defaultdict[str, list[str]](list)
    for name, value in items:
        found[name].append(plain(value))
    return dict(found)


def plain(text: str) -> str:
    """Return what was typed without what no database of text can hold: a NUL, shown as HTML shows it."""
    return text.replace("\0", "\ufffd")


def _limited(request: Request, most: int) -> Receive:
    """Return a way to receive the body that refuses more than so many bytes, said or unsaid."""
    too_large = HTTPException(413, f"That is too large: at most {PHOTO_MAX_BYTES // 1_000_000} MB with a photo.")
    said = request.headers.get("content-length", "0")
    if not said.isdigit() or int(said) > most:
        raise too_large
    left = most

    async def receive() -> Message:
        nonlocal left
        message = await request.receive()
        left -= len(message.get("body", b""))
        if left < 0:
            raise too_large
        return message

    return receive


def _texts(form: FormData) -> Iterator[tuple[str, str]]:
    for name, value in form.multi_items():
        if isinstance(value, str):
            yield name, value


async def _photo(form: FormData) -> bytes | None:
    """Return the file that was chosen; a form whose field was left empty sends one without a byte."""
    files = [value for _, value in form.multi_items() if isinstance(value, UploadFile)]
    return await files[0].read() or None if files else None
