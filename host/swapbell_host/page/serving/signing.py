"""Signing in and out."""

from datetime import timedelta

from swapbell_host.books.accountbook import Kept
from swapbell_host.page.access import acquaintance
from swapbell_host.page.access.forgery import digest, new_token
from swapbell_host.page.access.tries import Track, tracks
from swapbell_host.page.door import Door
from swapbell_host.page.serving.cookies import SESSION
from swapbell_host.page.visit import Answer, Go, Later, Page, Said, Visit
from swapbell_models.fault import Breakdown
from swapbell_models.notice import lapse

SIGN_IN = "/login"


def show(visit: Visit) -> Answer:
    """Ask who it is."""
    return _asked(visit)


def sign_in(visit: Visit) -> Answer:
    """Let somebody in who knows the password of an account, once it is checked."""
    house, name = visit.house, visit.form.get("name", "")
    kept = house.accounts.named(name)
    browser = acquaintance.known(visit.caller.mark, kept.password) if kept else None
    mine = tracks(name, visit.caller.address, browser)
    if wait := house.tries.wait(mine, visit.at):
        return _asked(visit, f"Too many tries. Wait {lapse(wait + timedelta(minutes=1))}, then try again.", 429)
    given = visit.form.get("password", "")
    check = house.checking.begin(kept.password if kept else None, given, known=browser is not None)
    house.tries.count(mine, visit.at)
    return Later(visit, check, lambda right: _checked(visit, kept if right else None, mine))


def _checked(visit: Visit, kept: Kept | None, mine: tuple[Track, ...]) -> Said:
    """Let in whoever's password was that of `kept`."""
    if kept is None:
        return _asked(visit, "No login has this name and this password. Look at both and try again.", 422)
    visit.house.tries.forgive(mine)
    token = new_token()
    try:
        visit.house.accounts.begin(digest(token), kept, visit.at, visit.at + SESSION)
    except Breakdown as breakdown:  # who is not signed in yet is not told where the ledger lies
        raise Breakdown(
            "The host cannot write down now that you signed in: it has no room, or is busy"
        ) from breakdown
    return Go(_inside(visit.form.get("next", "")), token=token, mark=acquaintance.mark(kept.password))


def sign_out(visit: Visit) -> Answer:
    """Forget this browser; it forgets who it was also where the ledger cannot."""
    said = "You are signed out."
    try:
        visit.house.accounts.end(digest(visit.caller.token))
    except Breakdown:
        said = "This browser is signed out, but the host could not write that down."
    return Go(SIGN_IN, said=said, token=new_token())


def _asked(visit: Visit, trouble: str = "", status: int = 200) -> Page:
    values = {
        "name": visit.form.get("name", ""),
        "next": _inside(visit.form.get("next") or visit.query.get("next", "")),
        "trouble": trouble,
        "nobody": not visit.house.accounts.any(),
    }
    return Page("login.html", values, status)


def _inside(way: str) -> str:
    """Return the way to a place of this page; the front where it leads elsewhere."""
    return way if way.startswith("/") and not way.startswith(("//", "/\\")) and way.isprintable() else "/"


DOORS = (
    Door(SIGN_IN, show, right=None),
    Door(SIGN_IN, sign_in, right=None, method="POST"),
    Door("/logout", sign_out, right=None, method="POST"),
)
