"""Walks through a page as a person would: over its links, and into its forms."""

from collections import deque
from collections.abc import Iterable
from dataclasses import dataclass, field
from html.parser import HTMLParser
from urllib.parse import urljoin, urlsplit

from host.page_client import Client, Reply

# Our choice: all pages of a small orchard, some of them for several days or acts.
PAGES_MAX = 150


@dataclass
class Form:
    """One form: where it leads, how, and what stands in it."""

    action: str
    method: str
    fields: dict[str, str] = field(default_factory=dict[str, str])
    kinds: dict[str, str] = field(default_factory=dict[str, str])


class Markup(HTMLParser):
    """The links, forms and foreign addresses of a page."""

    def __init__(self, at: str, text: str) -> None:
        super().__init__()
        self.at = at
        self.links: list[str] = []
        self.forms: list[Form] = []
        self.sources: list[str] = []
        self.inline: list[str] = []
        self._open: Form | None = None
        self._select = self._textarea = ""
        self.feed(text)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        """Note what a tag leads to."""
        said = {name: value or "" for name, value in attrs}
        self.inline += [f"{tag} {name}" for name in said if name == "style" or name.startswith("on")]
        self.inline += [tag] if tag == "style" or (tag == "script" and "src" not in said) else []
        self.links += [said["href"]] if tag == "a" and "href" in said else []
        self.sources += [said[name] for name in ("src", "href", "action", "data") if name in said and tag != "a"]
        if tag == "form":
            self._open = Form(said.get("action") or self.at, said.get("method", "get").lower())
            self.forms.append(self._open)
        elif self._open is not None:
            self._control(self._open, tag, said)

    def handle_endtag(self, tag: str) -> None:
        """Note what ends."""
        if tag == "form":
            self._open = None
        elif tag == "select":
            self._select = ""
        elif tag == "textarea":
            self._textarea = ""

    def handle_data(self, data: str) -> None:
        """Take what stands in a text field of several lines."""
        if self._textarea and self._open is not None:
            self._open.fields[self._textarea] += data

    def _control(self, form: Form, tag: str, said: dict[str, str]) -> None:
        name, kind = said.get("name", ""), said.get("type", "text")
        if tag == "select":
            self._select = name
        elif tag == "textarea":
            self._textarea = name
        elif tag == "option" and ("selected" in said or self._select not in form.fields):
            name = self._select
        elif tag not in {"input", "button"} or (kind in {"checkbox", "radio"} and "checked" not in said):
            name = ""
        if name:
            form.fields[name] = said.get("value", "")
            form.kinds[name] = kind if tag == "input" else tag


def walk(client: Client, starts: Iterable[str], *, files: bool = True) -> dict[str, Reply]:
    """Return every page that links lead to, by its address; without `files` no sheet, record or photo."""
    ahead, seen = deque(starts), dict[str, Reply]()
    while ahead and len(seen) < PAGES_MAX:
        way = ahead.popleft()
        if way in seen or (not files and "." in urlsplit(way).path):
            continue
        seen[way] = reply = client.get(way)
        if reply.headers.get("content-type", "").startswith("text/html"):
            ahead += [link for link in (_own(way, each) for each in Markup(way, reply.text).links) if link]
    return seen


def _own(at: str, link: str) -> str:
    """Return where a link of our own leads, without the place on the page."""
    split = urlsplit(urljoin(at, link))
    return "" if split.netloc or split.scheme else split._replace(fragment="").geturl()
