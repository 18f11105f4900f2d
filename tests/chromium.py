"""Debian's Chromium, driven as a person drives it, with eyes on what must hold at every page."""

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from functools import cache
from importlib.resources import files
from pathlib import Path
from typing import Any

from playwright.sync_api import Browser, BrowserContext, ConsoleMessage, Page, sync_playwright

import parts

# The narrowest is that of WCAG 2.2's reflow (1.4.10); axe need not look at what is a phone's.
WIDTHS_PX = {"narrow": 320, "phone": 390, "tablet": 768, "desk": 1280}
HEIGHT_PX = 844
# ISO 216's A4, 210 mm, without the margins of the page's own print style, at CSS's 96 px to the inch.
PAPER_PX = 680
# The goal for gloves; WCAG 2.2 asks for 44 px at its highest level (2.5.5).
TARGET_MIN_PX = 48.0
# A radio or tick box is pressed by its label too, and a link within a sentence is read more than pressed (2.5.8).
SMALL = """min => [...document.querySelectorAll(
    'a[href], button, input:not([type=hidden]), select, textarea, summary, [role=button]')]
  .filter(each => each.checkVisibility({visibilityProperty: true}) && !each.closest('.skip, p:not(.buttons), td, dd'))
  .map(each => [each.outerHTML.slice(0, 120), each.getBoundingClientRect()])
  .filter(([, box]) => box.width > 1 && (box.width < min || box.height < min))
  .map(([html, box]) => `${Math.round(box.width)}x${Math.round(box.height)} ${html}`)"""
WIDE = "() => document.documentElement.scrollWidth - document.documentElement.clientWidth"
AXE_RULES = {"resultTypes": ["violations"]}


@cache
def axe() -> str:
    """Return axe-core's own program."""
    return (files("axe_playwright_python") / "axe.min.js").read_text(encoding="utf-8")


@dataclass
class Findings:
    """What must not be there, by page and width."""

    violations: list[str] = field(default_factory=list[str])
    small: list[str] = field(default_factory=list[str])
    wide: list[str] = field(default_factory=list[str])
    foreign: list[str] = field(default_factory=list[str])
    complaints: list[str] = field(default_factory=list[str])
    seen: list[str] = field(default_factory=list[str])
    inspecting: bool = False

    def complain(self, text: str) -> None:
        """Take down what the browser complains of; what axe itself does against the page's rules is none of ours."""
        self.complaints += [] if self.inspecting else [text]


@contextmanager
def chromium() -> Iterator[Browser]:
    """Yield a running browser."""
    parts.need("chromium")
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=parts.chromium(), args=["--no-sandbox"])
        yield browser
        browser.close()


def context(browser: Browser, url: str, found: Findings, **how: Any) -> BrowserContext:
    """Return a person's browser of its own, whose requests and complaints are taken down."""
    made = browser.new_context(base_url=url, viewport={"width": WIDTHS_PX["phone"], "height": HEIGHT_PX}, **how)
    made.set_default_timeout(30_000)

    def asked(address: str) -> None:
        if not address.startswith((url, "data:")):
            found.foreign.append(address)

    made.on("request", lambda request: asked(request.url))
    made.on("console", lambda said: found.complain(said.text) if _is_trouble(said) else None)
    made.on("weberror", lambda error: found.complaints.append(str(error.error)))
    return made


def _is_trouble(said: ConsoleMessage) -> bool:
    """Tell whether a browser complains of more than that a page itself says that something was refused."""
    refused = said.page is not None and said.location["url"] == said.page.url
    return said.type == "error" and not (refused and "the server responded with a status of 4" in said.text)


def inspect(page: Page, name: str, found: Findings, pictures: Path | None) -> None:
    """Look at the page that is shown, at every width and in print, and take down what must not be there."""
    found.inspecting = True
    page.emulate_media(media="print")
    page.set_viewport_size({"width": PAPER_PX, "height": HEIGHT_PX})
    found.violations += _violations(page, f"{name} print")
    if (over := page.evaluate(WIDE)) > 0:
        found.wide.append(f"{name} print: {over} px too wide")
    if pictures is not None:
        page.pdf(path=pictures / f"{name}.pdf", format="A4")
    page.emulate_media(media="screen")
    for width, width_px in WIDTHS_PX.items():
        page.set_viewport_size({"width": width_px, "height": HEIGHT_PX})
        if (over := page.evaluate(WIDE)) > 0:
            found.wide.append(f"{name} {width}: {over} px too wide")
        found.small += [f"{name} {width}: {each}" for each in page.evaluate(SMALL, TARGET_MIN_PX)]
        if width != "narrow":
            found.violations += _violations(page, f"{name} {width}")
        if pictures is not None:
            page.screenshot(path=pictures / f"{name}-{width}.png", full_page=True)
    found.inspecting = False
    page.set_viewport_size({"width": WIDTHS_PX["phone"], "height": HEIGHT_PX})


def _violations(page: Page, where: str) -> list[str]:
    page.evaluate(axe())
    result = page.evaluate("options => axe.run(document, options)", AXE_RULES)
    return [
        f"{where}: {each['id']}: {each['help']}: {node['html'][:160]}"
        for each in result["violations"]
        for node in each["nodes"]
    ]
