"""A page to print: black on white, large enough to be read outdoors, its parts stacked from top to bottom."""
# reportlab's stubs leave many of its arguments untyped:
# pyright: reportUnknownMemberType=false

import io
from collections.abc import Iterable, Sequence
from itertools import accumulate, zip_longest
from textwrap import wrap
from xml.sax.saxutils import escape

from reportlab.graphics.shapes import Drawing
from reportlab.lib.colors import Color, black, white
from reportlab.lib.pagesizes import A4, LETTER
from reportlab.lib.styles import ParagraphStyle
from reportlab.lib.units import mm
from reportlab.pdfgen.canvas import Canvas
from reportlab.platypus import (
    BaseDocTemplate,
    CondPageBreak,
    Flowable,
    KeepTogether,
    Paragraph,
    SimpleDocTemplate,
    Spacer,
    Table,
)
from reportlab.platypus.paraparser import ParaFrag

from swapbell_host.sheets.form import Paper
from swapbell_host.sheets.lettering import BOLD, MARK, MARKED, PLAIN, drawn, set_letters

SIZES = {Paper.A4: A4, Paper.LETTER: LETTER}
# Our choice: narrow enough for a clipboard, wide enough for any printer.
MARGIN, FOOT = 14 * mm, 14 * mm
# By reportlab: the room that its frames keep within.
INSET = 6.0
# Our choice: 9.5 points, the smallest that is read at arm's length; sources may be finer.
BODY_PT, FINE_PT, HEAD_PT, TITLE_PT = 9.5, 7.5, 11.5, 17.0
# Our choice: under a line of text, so much more room makes a row that a gloved hand can write in.
WRITING_PT = 11.0
# Our choice: less than half a page, so that a piece fits even where every letter is a wide one.
LONG_LINES = 24
# Above the mean width of a letter of DejaVu Sans by its size, 0.49 measured on English text: our choice.
LETTER_EM = 0.6
RULE = Color(0.45, 0.45, 0.45)
SHADE = Color(0.92, 0.92, 0.92)

TICK = "\N{BALLOT BOX}"
_PAGES = "pages"


def _style(name: str, size: float, face: str = PLAIN, *, above: float = 0.0, below: float = 0.0) -> ParagraphStyle:
    return ParagraphStyle(
        name, fontName=face, fontSize=size, leading=size * 1.32, spaceBefore=above, spaceAfter=below, textColor=black
    )


BODY = _style("body", BODY_PT, below=3.0)
STRONG = _style("strong", BODY_PT, BOLD)
FINE = _style("fine", FINE_PT)
FINE_STRONG = _style("fine strong", FINE_PT, BOLD)
HEAD = _style("head", HEAD_PT, BOLD, above=9.0, below=4.0)
TITLE = _style("title", TITLE_PT, BOLD, below=2.0)

Cell = str | Flowable


class Leaf:
    """A document that is being laid out.

    Parameters
    ----------
    title, subtitle
        What it is, and of what.
    paper
        What it is printed on.
    foot
        What stands at the foot of every page, before its number.
    """

    def __init__(self, title: str, subtitle: str, paper: Paper, foot: str) -> None:
        set_letters()
        self._title, self._foot, self._paper = drawn(title), drawn(foot), paper
        self._parts: list[Flowable] = []
        self._marked = False
        self.width = SIZES[paper][0] - 2 * (MARGIN + INSET)
        self.text(title, TITLE)
        self.text(subtitle)

    def words(self, text: str, style: ParagraphStyle = BODY) -> Paragraph:
        """Return a text for a page: nothing in it is taken for markup."""
        shown = drawn(text)
        self._marked = self._marked or MARK in shown
        made = Paragraph(escape(shown).replace("\n", "<br/>"), style)
        made.frags = _joined(made.frags)
        return made

    def head(self, text: str, room_mm: float = 30.0) -> None:
        """Begin a part, on the next page where less than so much room is left on this one [mm]."""
        self._parts += [CondPageBreak(room_mm * mm), self.words(text, HEAD)]

    def text(self, text: str, style: ParagraphStyle = BODY) -> None:
        """Put a paragraph."""
        self._parts += [self.words(piece, style) for piece in _pieces(text, self.width)]

    def items(self, texts: Iterable[str], mark: str = "\N{BULLET}", style: ParagraphStyle = BODY) -> None:
        """Put a list, each item behind a mark."""
        self.table(None, [(mark, text) for text in texts], (5 * mm, 0.0), ruled=False, style=style)

    def boxed(self, head: str, texts: Sequence[str]) -> None:
        """Put what must not be overlooked: white on black, then a thick frame around the rest."""
        rows = [
            [self.words(head, _INVERSE)],
            *([self.words(part)] for text in texts for part in _pieces(text, self.width)),
        ]
        framed = Table(rows, colWidths=[self.width], repeatRows=1, hAlign="LEFT")
        framed.setStyle([("BOX", (0, 0), (-1, -1), 1.6, black), ("BACKGROUND", (0, 0), (-1, 0), black), *_PADDING])
        self._parts += [Spacer(0, 3), framed, Spacer(0, 4)]

    def table(
        self,
        head: Sequence[str] | None,
        rows: Iterable[Sequence[Cell]],
        widths: Sequence[float],
        *,
        ruled: bool = True,
        style: ParagraphStyle = BODY,
        writing: bool = False,
    ) -> None:
        """Put a table; columns of width 0 share what the others leave.

        Parameters
        ----------
        head, rows
            Texts, or parts that were drawn before.
        widths
            Of each column [pt].
        ruled
            Whether lines stand between the rows.
        writing
            Whether a person is to write in the rows.
        """
        columns = self._widths(widths)
        told = [self._row(row, columns, style) for row in rows]
        if not told:
            return
        strong = FINE_STRONG if style is FINE else STRONG
        heads = [[self.words(text, strong) for text in head]] if head else []
        lines = [line for row in told for line in row]
        ends = accumulate((len(row) for row in told), initial=len(heads) - 1)
        table = Table([*heads, *lines], colWidths=columns, repeatRows=len(heads), hAlign="LEFT")
        table.setStyle(_PADDING)
        if ruled:
            table.setStyle([("LINEBELOW", (0, end), (-1, end), 0.5, RULE) for end in ends if end >= 0])
        if head:
            table.setStyle([("BACKGROUND", (0, 0), (-1, 0), SHADE)])
        if writing:
            below = ("BOTTOMPADDING", (0, len(heads)), (-1, -1), WRITING_PT)
            table.setStyle([below, ("GRID", (0, 0), (-1, -1), 0.5, RULE)])
        self._parts += [table, Spacer(0, 4)]

    def picture(self, drawing: Drawing, under: str) -> None:
        """Put a drawing with its words below, on one page."""
        self._parts.append(KeepTogether([drawing, self.words(under, FINE), Spacer(0, 4)]))

    def pdf(self) -> bytes:
        """Return the document."""
        if self._marked:
            self.text(MARKED, FINE)
        held = io.BytesIO()
        document = SimpleDocTemplate(
            held,
            pagesize=SIZES[self._paper],
            leftMargin=MARGIN,
            rightMargin=MARGIN,
            topMargin=MARGIN,
            bottomMargin=MARGIN + FOOT / 2,
            title=self._title,
            author="swapbell",
            creator="swapbell",
            lang="en",
            invariant=1,
        )
        document.build([*self._parts, _Last()], onFirstPage=self._number, onLaterPages=self._number)
        return held.getvalue()

    def _number(self, canvas: Canvas, _document: BaseDocTemplate) -> None:
        """Write the foot of a page."""
        left, right = MARGIN + INSET, MARGIN + INSET + self.width - 10 * mm
        canvas.saveState()
        _fine(canvas)
        canvas.drawString(left, FOOT, self._foot)
        canvas.drawRightString(right, FOOT, f"page {canvas.getPageNumber()}")
        canvas.translate(right + FINE_PT / 3.0, FOOT)
        canvas.doForm(_PAGES)
        canvas.restoreState()

    def _row(self, row: Sequence[Cell], widths: Sequence[float], style: ParagraphStyle) -> list[list[Flowable]]:
        """Return a row as lines of a table: one, or more of them where a text is too long for a page."""
        columns: list[list[Cell]] = [
            [*_pieces(cell, width)] if isinstance(cell, str) else [cell]
            for cell, width in zip(row, widths, strict=True)
        ]
        lines = zip_longest(*columns, fillvalue="")
        return [[self.words(cell, style) if isinstance(cell, str) else cell for cell in line] for line in lines]

    def _widths(self, asked: Sequence[float]) -> list[float]:
        rest = (self.width - sum(asked)) / max(1, list(asked).count(0.0))
        return [each or rest for each in asked]


def _joined(pieces: Sequence[ParaFrag]) -> list[ParaFrag]:
    """Return the pieces of a text with each line in one: a thousand escaped signs would take minutes to lay out."""
    lines = list[ParaFrag]()
    for piece in pieces:
        if lines and not hasattr(piece, "lineBreak") and not hasattr(lines[-1], "lineBreak"):
            lines[-1].text += piece.text
        else:
            lines.append(piece)
    return lines


def _pieces(text: str, width: float) -> list[str]:
    """Return a text in pieces that each fit on a page in a column so wide [pt]; one, if it is not very long."""
    letters = int(LONG_LINES * max(1.0, width / (BODY_PT * LETTER_EM)))
    lines = [part for line in text.splitlines() for part in wrap(line, letters) or [""]]
    found = [""]
    for line in lines:
        longer = f"{found[-1]}\n{line}" if found[-1] else line
        if len(longer) > letters or longer.count("\n") >= LONG_LINES:
            found.append(line)
        else:
            found[-1] = longer
    return found


_INVERSE = ParagraphStyle("inverse", parent=STRONG, textColor=white)
_PADDING = [
    ("VALIGN", (0, 0), (-1, -1), "TOP"),
    ("LEFTPADDING", (0, 0), (-1, -1), 3.0),
    ("RIGHTPADDING", (0, 0), (-1, -1), 3.0),
    ("TOPPADDING", (0, 0), (-1, -1), 2.0),
    ("BOTTOMPADDING", (0, 0), (-1, -1), 2.5),
]


class _Last(Flowable):
    """The end of the document, which alone knows how many pages there are: so one that is missing is missed."""

    width = height = 0.0

    def wrap(self, aW: float, aH: float) -> tuple[float, float]:  # noqa: ARG002, N803 - as reportlab calls it
        """Take no room."""
        return 0.0, 0.0

    def draw(self) -> None:
        """Write the number of pages where every foot left room for it."""
        pages = self.canv.getPageNumber()
        self.canv.beginForm(_PAGES)
        _fine(self.canv)
        self.canv.drawString(0.0, 0.0, f"of {pages}")
        self.canv.endForm()


def _fine(canvas: Canvas) -> None:
    canvas.setFont(PLAIN, FINE_PT)
    canvas.setFillColor(black)
