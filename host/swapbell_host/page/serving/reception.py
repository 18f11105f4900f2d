"""Where every request comes in: who asks, whether that may be, and then on to the handler in the back."""

import asyncio
from collections.abc import Awaitable, Callable, Generator
from contextlib import contextmanager
from dataclasses import dataclass
from urllib.parse import quote

from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import RedirectResponse, Response

from swapbell_host.jobs.account import Right
from swapbell_host.page.access import forgery
from swapbell_host.page.door import Door
from swapbell_host.page.house import House
from swapbell_host.page.serving import body
from swapbell_host.page.serving.back import Back
from swapbell_host.page.serving.headers import FRESH
from swapbell_host.page.serving.listening import Listening
from swapbell_host.page.serving.reply import Replies
from swapbell_host.page.serving.signing import SIGN_IN
from swapbell_host.page.visit import Caller, Later, Visit
from swapbell_models.fault import Breakdown, Mistake

FORGED = (
    "This form was not sent from a page that this host gave to your browser, or you have signed in or out since. Go "
    "back, reload the page and send it again. Your browser must keep cookies for that."
)
AWAY = "The host cannot read its ledger now; its own log says why. Try again in a minute."
AFTER_FORM = "Go back: what you typed is still there. Look whether it was written down before you send it again."
# Our choice: what servers in between pass on in any case; whoever was led away from a longer address begins anew.
BACK_MAX_LETTERS = 2_000


@dataclass(frozen=True, slots=True)
class Reception:
    """Where every request comes in.

    Attributes
    ----------
    back
        Where the handlers work.
    listening
        What the page is called from outside.
    replies
        What makes responses.
    """

    back: Back
    listening: Listening
    replies: Replies

    def answering(self, door: Door) -> Callable[[Request], Awaitable[Response]]:
        """Return what answers the requests at a door."""

        async def answer(request: Request) -> Response:
            return await self._answer(door, request)

        return answer

    async def _answer(self, door: Door, request: Request) -> Response:
        self._check_way(request)
        known = self.replies.cookies.token(request)
        try:
            caller = await self.back.do(lambda house: self._caller(house, request, known or forgery.new_token()))
        except Breakdown as breakdown:  # a stranger still, who need not know where the ledger lies
            raise HTTPException(503, AWAY) from breakdown
        if door.right is not None and caller.right is None:
            return _to_the_way_in(request)
        if door.right is not None and not (caller.right and caller.right.covers(door.right)):
            raise HTTPException(403, "Your login may look at everything here, but not change it.")
        sent = await self._sent(door, request, caller) if door.method == "POST" else body.Sent()
        response = await self._served(door, request, caller, sent)
        if known is None:
            self.replies.cookies.give(response, caller.token)
        return response

    def _check_way(self, request: Request) -> None:
        """Refuse what comes by a name that is not this machine's, or from another site's page."""
        host, origin = request.headers.get("host", ""), request.headers.get("origin")
        if not self.listening.knows(host):
            raise HTTPException(421, f"This page is at {self.listening.url} and answers to no other name.")
        if request.method == "POST" and origin is not None and not self.listening.sent_from(origin, host):
            raise HTTPException(403, FORGED)

    async def _sent(self, door: Door, request: Request, caller: Caller) -> body.Sent:
        sent = await body.read(request, with_photo=door.right is not None)
        if not forgery.is_ours(caller.token, next(iter(sent.fields.get(forgery.FIELD, ())), "")):
            raise HTTPException(403, FORGED)
        return sent

    def _caller(self, house: House, request: Request, token: str) -> Caller:
        account = house.accounts.of(forgery.digest(token), house.now())
        alone = account is None and self.listening.private and not house.accounts.any()
        right = account.right if account else Right.WORK if alone else None
        address = request.client.host if request.client else ""
        return Caller(account, right, address, token, self.replies.cookies.mark(request))

    async def _served(self, door: Door, request: Request, caller: Caller, sent: body.Sent) -> Response:
        asked = body.by_name(request.query_params.multi_items())
        path = {name: body.plain(part) for name, part in request.path_params.items()}

        def begin(house: House) -> Response | Later:
            visit = Visit(house, caller, house.now(), path, asked, sent.fields, sent.photo)
            with _refusing(door):
                answer = door.handler(visit)
                return answer if isinstance(answer, Later) else self.replies.to(request, visit, answer)

        done = await self.back.do(begin, slow=door.slow)
        return await self._after(door, request, done) if isinstance(done, Later) else done

    async def _after(self, door: Door, request: Request, later: Later) -> Response:
        right = await asyncio.wrap_future(later.check)

        def end(_: House) -> Response:
            with _refusing(door):
                return self.replies.to(request, later.visit, later.then(right))

        return await self.back.do(end)


@contextmanager
def _refusing(door: Door) -> Generator[None]:
    """Say what a handler refuses, and what it could not do, as the page says it."""
    try:
        yield
    except Mistake as mistake:
        raise HTTPException(422 if door.method == "POST" else 404, str(mistake)) from mistake
    except Breakdown as breakdown:
        words = f"{breakdown}. {AFTER_FORM}" if door.method == "POST" else str(breakdown)
        raise HTTPException(503, words) from breakdown


def _to_the_way_in(request: Request) -> Response:
    """Lead to where one signs in, and back here afterwards."""
    asked = request.url.path + (f"?{request.url.query}" if request.url.query else "")
    told = request.method in {"GET", "HEAD"} and asked != "/" and len(asked) <= BACK_MAX_LETTERS
    back = f"?next={quote(asked, safe='')}" if told else ""
    return RedirectResponse(SIGN_IN + back, 303, FRESH)
