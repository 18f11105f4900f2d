"""Signing in and out."""

from datetime import timedelta

from swapbell_host import passwords
from swapbell_host.page.access.forgery import digest, new_token
from swapbell_host.page.door import Door
from swapbell_host.page.serving.cookies import SESSION
from swapbell_host.page.visit import Answer, Go, Page, Visit
from swapbell_models.notice import lapse

SIGN_IN = "/login"


def show(visit: Visit) -> Answer:
    """Ask who it is."""
    return _asked(visit)


def sign_in(visit: Visit) -> Answer:
    """Let somebody in who knows the password of an account."""
    name, keys = visit.form.get("name", ""), _keys(visit)
    if wait := visit.house.tries.wait(keys, visit.at):
        return _asked(visit, f"Too many tries. Wait {lapse(wait + timedelta(minutes=1))}, then try again.", 429)
    kept = visit.house.accounts.named(name)
    if not passwords.is_right(kept.password if kept else None, visit.form.get("password", "")) or kept is None:
        visit.house.tries.fail(keys, visit.at)
        return _asked(visit, "No login has this name and this password. Look at both and try again.", 422)
    visit.house.tries.forgive(keys)
    token = new_token()
    visit.house.accounts.begin(digest(token), kept, visit.at, visit.at + SESSION)
    return Go(_inside(visit.form.get("next", "")), token=token)


def sign_out(visit: Visit) -> Answer:
    """Forget this browser."""
    visit.house.accounts.end(digest(visit.caller.token))
    return Go(SIGN_IN, said="You are signed out.", token=new_token())


def _asked(visit: Visit, trouble: str = "", status: int = 200) -> Page:
    values = {
        "name": visit.form.get("name", ""),
        "next": _inside(visit.form.get("next") or visit.query.get("next", "")),
        "trouble": trouble,
        "nobody": not visit.house.accounts.any(),
    }
    return Page("login.html", values, status)


def _keys(visit: Visit) -> tuple[str, str]:
    return f"name {digest(visit.form.get('name', '')).hex()}", f"address {visit.caller.address}"


def _inside(way: str) -> str:
    """Return the way to a place of this page; the front where it leads elsewhere."""
    return way if way.startswith("/") and not way.startswith(("//", "/\\")) and way.isprintable() else "/"


DOORS = (
    Door(SIGN_IN, show, right=None),
    Door(SIGN_IN, sign_in, right=None, method="POST"),
    Door("/logout", sign_out, right=None, method="POST"),
)
