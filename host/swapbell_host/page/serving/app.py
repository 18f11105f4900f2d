"""The page as one application: its doors, its own files, and what it says where something is wrong."""

import sys
import traceback
from collections.abc import Sequence
from http import HTTPStatus
from pathlib import Path

from starlette.applications import Starlette
from starlette.datastructures import MutableHeaders
from starlette.exceptions import HTTPException
from starlette.middleware import Middleware
from starlette.requests import Request
from starlette.responses import Response
from starlette.routing import Mount, Route
from starlette.staticfiles import StaticFiles
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from swapbell_host.page.door import Door
from swapbell_host.page.serving import signing
from swapbell_host.page.serving.back import Back
from swapbell_host.page.serving.cookies import Cookies
from swapbell_host.page.serving.headers import CHECKED, HEADERS
from swapbell_host.page.serving.listening import Listening
from swapbell_host.page.serving.reception import Reception
from swapbell_host.page.serving.reply import Replies
from swapbell_host.page.showing import handing, live, records, rounds, sight, station, today, verify
from swapbell_host.page.working import enrol, log, notices, pictures, plan, planforms, telling

STATIC = Path(__file__).parents[1] / "static"
# Every address of the page; a module of it adds its own here.
DOORS: tuple[Door, ...] = (
    *signing.DOORS,
    *today.DOORS,
    *station.DOORS,
    *sight.DOORS,
    *notices.DOORS,
    *live.DOORS,
    *pictures.DOORS,
    *log.DOORS,
    *rounds.DOORS,
    *verify.DOORS,
    *handing.DOORS,
    *records.DOORS,
    *plan.DOORS,
    *planforms.DOORS,
    *telling.DOORS,
    *enrol.DOORS,
)
# What the framework says in one word of its own.
WORDS = {404: "There is nothing at this address.", 405: "This address cannot be used like that."}


def application(back: Back, listening: Listening, doors: Sequence[Door] = DOORS) -> Starlette:
    """Return the page.

    Parameters
    ----------
    back : Back
        Where its handlers work.
    listening : Listening
        What it is called from outside.
    doors : sequence of Door
        Its addresses.
    """
    replies = Replies(Cookies(secure=listening.secure))
    reception = Reception(back, listening, replies)
    routes = [Route(door.path, reception.answering(door), methods=[door.method]) for door in doors]

    def refused(request: Request, error: Exception) -> Response:
        assert isinstance(error, HTTPException)
        unsaid = error.detail == HTTPStatus(error.status_code).phrase
        words = WORDS.get(error.status_code, error.detail) if unsaid else error.detail
        return replies.trouble(request, error.status_code, words)

    def failed(request: Request, error: Exception) -> Response:
        traceback.print_exception(error, file=sys.stderr)
        return replies.trouble(request, 500, "swapbell failed at this. What it was stands in the host's own log.")

    page = Starlette(
        routes=[*routes, Mount("/static", StaticFiles(directory=STATIC))],
        middleware=[Middleware(Headed)],
        exception_handlers={HTTPException: refused, 500: failed},
    )
    page.router.redirect_slashes = False  # it would lead to whatever name the request gives this machine
    return page


class Headed:
    """Puts the headers on every answer that protect whoever reads it."""

    def __init__(self, app: ASGIApp) -> None:
        self._app = app

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Answer as the application does."""

        async def sending(message: Message) -> None:
            if message["type"] == "http.response.start":
                headers = MutableHeaders(scope=message)
                for name, value in {**CHECKED, **HEADERS, **dict(headers)}.items():
                    headers.setdefault(name, value)
            await send(message)

        await self._app(scope, receive, sending)
