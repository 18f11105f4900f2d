"""The letters of our pages: DejaVu, and a mark in the place of what it cannot show.

DejaVu holds the Latin, Greek and Cyrillic scripts and many signs. Scripts that are written from right to left or that
join their letters would come out wrong even where it has them, so they are marked too: a page shows a text right, or
shows that it does not.
"""
# reportlab's stubs leave its fonts untyped:
# pyright: reportUnknownVariableType=false

import unicodedata
from functools import cache
from importlib.util import find_spec
from pathlib import Path
from typing import cast

from reportlab.pdfbase.pdfmetrics import registerFont, registerFontFamily
from reportlab.pdfbase.ttfonts import TTFont

from swapbell_models.fault import Breakdown

# Our choice: an empty box, as most readers know it from letters that a font lacks.
MARK = "\N{WHITE VERTICAL RECTANGLE}"
MARKED = f"{MARK} stands for a letter that this page cannot show; the CSV and the JSON of it hold every letter."
PLAIN, BOLD = "DejaVuSans", "DejaVuSans-Bold"
# Controls, halves of letters, marks that change the direction of others, and what Unicode has not assigned.
_UNSHOWN = {"Cc", "Cf", "Cs", "Cn", "Co"}
# Beyond this, a script joins or reorders its letters, has pictures, or needs a font of its own; up to it stand Latin,
# Greek, Cyrillic and Armenian (Unicode, code charts).
_LETTERS_LAST = 0x058F


def drawn(text: str) -> str:
    """Return a text as our pages can show it, on as many lines; each letter that they cannot is a `MARK`."""
    lines = unicodedata.normalize("NFC", text).replace("\t", " ").splitlines()
    return "\n".join("".join(each if _shown(each) else MARK for each in line) for line in lines)


def set_letters() -> None:
    """Get the letters ready for the page."""
    _fonts()


def _shown(letter: str) -> bool:
    if unicodedata.category(letter) in _UNSHOWN:
        return False
    is_letter = unicodedata.category(letter)[0] in "LM"
    return ord(letter) in _fonts() and (ord(letter) <= _LETTERS_LAST or not is_letter or "LATIN" in _name(letter))


def _name(letter: str) -> str:
    return unicodedata.name(letter, "")


@cache
def _fonts() -> frozenset[int]:
    """Register both faces, once, and return the letters that both hold."""
    plain, bold = (TTFont(name, str(_folder() / f"{name}.ttf")) for name in (PLAIN, BOLD))
    registerFont(plain)
    registerFont(bold)
    registerFontFamily(PLAIN, normal=PLAIN, bold=BOLD, italic=PLAIN, boldItalic=BOLD)
    held, bolder = (frozenset(cast("dict[int, int]", each.face.charToGlyph)) for each in (plain, bold))
    return held & bolder


def _folder() -> Path:
    """Return where matplotlib keeps its fonts, without the half second of importing it."""
    found = find_spec("matplotlib")
    for place in (found.submodule_search_locations or ()) if found else ():
        folder = Path(place) / "mpl-data" / "fonts" / "ttf"
        if (folder / f"{BOLD}.ttf").is_file():
            return folder
    raise Breakdown("font DejaVuSans: not in the installed matplotlib; install swapbell's extra `host` again")
