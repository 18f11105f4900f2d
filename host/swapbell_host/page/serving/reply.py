"""What a handler answers, as a response to the browser."""

from dataclasses import dataclass, field
from functools import partial
from urllib.parse import quote

from markupsafe import Markup
from starlette.requests import Request
from starlette.responses import RedirectResponse, Response, StreamingResponse

from swapbell_host.page.access import forgery
from swapbell_host.page.access.tries import neighbourhood
from swapbell_host.page.serving.cookies import Cookies
from swapbell_host.page.serving.drawing import Drawing
from swapbell_host.page.serving.headers import FRESH
from swapbell_host.page.serving.listeners import Listeners
from swapbell_host.page.visit import Caller, Download, Go, Page, Said, Stream, Visit

HTML = "text/html"
HEADINGS = {
    403: "Not allowed",
    404: "Not here",
    413: "Too large",
    422: "Not taken",
    429: "Too many tries",
    500: "Our fault",
    503: "Not just now",
}


@dataclass(frozen=True, slots=True)
class Replies:
    """Makes responses with the page's templates and cookies, and lets so many listen."""

    cookies: Cookies
    drawing: Drawing = field(default_factory=Drawing)
    listeners: Listeners = field(default_factory=Listeners)

    def to(self, request: Request, visit: Visit, answer: Said) -> Response:
        """Return the response that an answer makes."""
        match answer:
            case Page():
                return self._page(request, visit, answer)
            case Go():
                return self._go(answer)
            case Download():
                return _file(answer)
            case Stream():
                who = visit.account.name if visit.account else neighbourhood(visit.caller.address)
                heard = self.listeners.hear(who, answer.events)
                return StreamingResponse(heard, headers=FRESH, media_type="text/event-stream")

    def trouble(self, request: Request, status: int, words: str) -> Response:
        """Return a page that says what is wrong."""
        values = {
            "heading": HEADINGS.get(status, "That did not work"),
            "words": words,
            "said": "",
            **_frame(request, None),
        }
        return Response(self.drawing.fill("error.html", values), status, FRESH, HTML)

    def _page(self, request: Request, visit: Visit, page: Page) -> Response:
        said = self.cookies.said(request)
        values = {**_frame(request, visit.caller), "now": visit.at, "said": said, **page.values}
        response = Response(self.drawing.fill(page.template, values), page.status, FRESH, HTML)
        if said:
            self.cookies.heard(response)
        return response

    def _go(self, go: Go) -> Response:
        response = RedirectResponse(go.to, 303, FRESH)
        if go.token:
            self.cookies.give(response, go.token)
        if go.mark:
            self.cookies.know(response, go.mark)
        if go.said:
            self.cookies.say(response, go.said)
        return response


def _frame(request: Request, caller: Caller | None) -> dict[str, object]:
    """Return what the frame around every page shows."""
    return {
        "here": request.url.path,
        "account": caller and caller.account,
        "may_look": caller is not None and caller.may_look,
        "may_work": caller is not None and caller.may_work,
        "forgery_field": partial(_forgery_field, caller.token if caller else ""),
    }


def _forgery_field(token: str) -> Markup:
    field_of = Markup('<input type="hidden" name="{}" value="{}">')
    return field_of.format(forgery.FIELD, forgery.form_key(token))


def _file(file: Download) -> Response:
    """Return a file under a name in any script (RFC 6266, section 5; RFC 8187)."""
    manner = "inline" if file.inline else "attachment"
    named = f"{manner}; filename*=UTF-8''{quote(file.name, safe='')}"
    return Response(file.content, headers={**FRESH, "Content-Disposition": named}, media_type=file.media_type)
