"""The preview as HTML: one page that looks again by itself, and can be used without script, picture or mouse."""

from base64 import b64encode
from collections.abc import Iterable
from hashlib import sha256
from html import escape
from importlib.resources import files

from swapbell_device.calibrating.clicking import Clicks
from swapbell_device.calibrating.sitting import Sighting

# Our choice: often enough for somebody who moves a card, seldom enough for a small board.
AGAIN_S = 2  # as in preview.js
STYLE, SCRIPT = (
    files("swapbell_device.calibrating").joinpath(f"preview.{kind}").read_text("utf-8") for kind in ("css", "js")
)


def _allowed(text: str) -> str:
    """Return by what a Content-Security-Policy knows a style or a script that stands in the page."""
    return f"'sha256-{b64encode(sha256(text.encode()).digest()).decode()}'"


POLICY = (
    f"default-src 'none'; img-src data:; style-src {_allowed(STYLE)}; script-src {_allowed(SCRIPT)}; "
    "connect-src 'self'; form-action 'self'; base-uri 'none'; frame-ancestors 'none'"
)


def now_page(seen: Sighting, form: str, where: str, *, held: bool) -> str:
    """Return the page of what is seen now; one that is held does not look again by itself."""
    by_itself = not held
    refresh = f'<noscript><meta http-equiv="refresh" content="{AGAIN_S}"></noscript>' if by_itself else ""
    script = f"<script>{SCRIPT}</script>" if by_itself else ""
    body = [
        # Who clicks reads first what to click; who moves the card watches the picture, which must not jump.
        *((_told(seen.said), _picture(seen, form))[:: 1 if seen.clicks else -1]),
        f'<div id="act">{_write(seen, form, where)}</div>',
        _by_hand(seen.clicks, form) if seen.clicks else "",
        _ways(seen.clicks, held=held),
        script,
    ]
    return page("Calibrate the station", "\n".join(body), refresh if seen.clicks is None else "")


def sides_page(form: str, fault: str = "") -> str:
    """Return the page that asks what lies on the board, where there is no card."""
    body = f"""<p>Lay something rectangular flat where the insects walk, and measure its sides; or lay a ruler
there. Then click its corners, one after the other round it, or the ruler's ends; then the gate's ends and a point
inside.</p>
<p role="alert">{escape(fault)}</p>
{_form("begin", form)}
<label for="length">The first side, or the ruler's length, in mm</label>
<input id="length" name="length" type="number" min="1" step="any" required>
<label for="width">The second side in mm; leave it empty for a ruler</label>
<input id="width" name="width" type="number" min="1" step="any">
<p><button>Begin to click</button> <a class="button plain" href="/">Back to the card</a></p></form>"""
    return page("Calibrate without a card", body)


def page(title: str, body: str, head: str = "") -> str:
    """Return a whole page."""
    return f"""<!doctype html>
<html lang="en"><head><meta charset="utf-8"><meta name="viewport" content="width=device-width, initial-scale=1">
<title>{escape(title)}</title>{head}<style>{STYLE}</style></head>
<body><main><h1>{escape(title)}</h1>
{body}
</main></body></html>"""


def told_page(title: str, said: Iterable[str], *, again: bool = False) -> str:
    """Return a page that only tells, and may lead back to what is seen."""
    back = '<p><a class="button" href="/">Look again</a></p>' if again else ""
    return page(title, f"{_told(said)}{back}")


def _picture(seen: Sighting, form: str) -> str:
    jpeg = seen.jpeg
    if jpeg is None:
        return ""
    source = f"data:image/jpeg;base64,{b64encode(jpeg).decode()}"
    if seen.clicks is None or seen.clicks.next is None:
        return f'<img id="seen" alt="{escape(_described(seen))}" src="{source}">'
    step = escape(seen.clicks.next)
    image = f'<input type="image" id="seen" name="at" alt="{step}" src="{source}">'
    return f'{_form("click", form)}<div class="scroll">{image}</div></form>'


def _described(seen: Sighting) -> str:
    what = "the gate and a net of centimetres drawn in" if seen.made else "nothing found in it yet"
    return f"What the camera sees, with {what}"


def _write(seen: Sighting, form: str, where: str) -> str:
    if seen.made is None:
        return ""
    number = f'<input type="hidden" name="number" value="{seen.number}">'
    return f"{_form('write', form)}{number}<button>Write {escape(where)}</button></form>"


def _by_hand(clicks: Clicks, form: str) -> str:
    """Return what else one can do while clicking: point by numbers, or take a point back."""
    numbers = f"""<fieldset><legend>Or say where the point lies in the picture, in pixels</legend>
{_form("click", form)}<label for="x">from the left</label>
<input id="x" name="at.x" type="number" min="0" step="any" required>
<label for="y">from the top</label><input id="y" name="at.y" type="number" min="0" step="any" required>
<button class="plain">Set the point</button></form></fieldset>"""
    back = (
        f"{_form('back', form)}<button class='plain'>Take the last point back</button></form>"
        if clicks.points
        else ""
    )
    return (
        back
        + (numbers if clicks.next else "")
        + f"{_form('card', form)}<button class='plain'>By the card</button></form>"
    )


def _ways(clicks: Clicks | None, *, held: bool) -> str:
    if clicks is not None:
        return ""
    hold = ("/", "Look again by itself") if held else ("/held", "Hold this picture")
    links = (hold, ("/sides", "No card: click points instead"))
    return "<p>" + " ".join(f'<a class="button plain" href="{to}">{words}</a>' for to, words in links) + "</p>"


def _form(action: str, form: str) -> str:
    return f'<form method="post" action="/{action}"><input type="hidden" name="form" value="{escape(form)}">'


def _told(said: Iterable[str]) -> str:
    """Return lines that a screen reader says whenever they change."""
    lines = "".join(f"<li>{escape(line)}</li>" for line in said)
    return f'<div role="status"><ul id="words">{lines}</ul></div>'
