"""Trips to draw, and a browser to look at what was drawn."""

import os
import shutil
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import pytest

from sim import Result

ROOT = Path(__file__).resolve().parents[2]
NAMES = ("chromium", "chromium-browser", "google-chrome", "google-chrome-stable", "chrome", "msedge", "microsoft-edge")
FLAGS = (
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
)


@pytest.fixture(scope="session")
def hot(trip: Callable[..., Result]) -> Result:
    """A trip whose brakes pass the published limit."""
    changes = ("drill.style=drag", "driver.descent_gear=9", "driver.descent_km_h=60", "retarding.selector=1")
    return trip("long-haul-manual", "skarrow-grade", *changes)


@pytest.fixture(scope="session")
def cruising(trip: Callable[..., Result]) -> Result:
    """A trip with cruise control, retarding and gear changes."""
    return trip("long-haul-automated", "ollen-pass", "cruise.set_speed_km_h=60")


@pytest.fixture(scope="session")
def browser() -> Iterator[Any]:
    """A browser without a network; the tests that need one are skipped where none is found, but fail in CI."""
    playwright = pytest.importorskip("playwright.sync_api")
    paths = [os.environ.get("HAULBENCH_BROWSER"), *(shutil.which(name) for name in NAMES)]
    ways: list[dict[str, Any]] = [{"executable_path": path} for path in paths if path and Path(path).exists()]
    ways += [{"channel": "chrome"}, {"channel": "msedge"}, {}]
    tried = []
    with playwright.sync_playwright() as running:
        for way in ways:
            try:
                found = running.chromium.launch(args=list(FLAGS), **way)
            except playwright.Error as problem:
                tried.append(f"{way or 'the browser of playwright'}: {str(problem).splitlines()[0]}")
                continue
            yield found
            found.close()
            return
    told = "no browser; HAULBENCH_BROWSER may name one; tried " + "; ".join(tried)
    if os.environ.get("CI"):
        pytest.fail(told)
    pytest.skip(told)


@pytest.fixture(scope="session")
def served() -> Iterator[str]:
    """The address of the pages, served as they are by the command, with warm workers."""
    from serving import real_server

    with real_server() as address:
        yield address


@dataclass
class Visit:
    """A page in a browser of its own, and what it asked for and said."""

    page: Any
    address: str
    asked: list[str] = field(default_factory=list)
    said: list[str] = field(default_factory=list)

    def outside(self) -> list[str]:
        """Requests that left the server."""
        return [url for url in self.asked if not url.startswith((self.address + "/", "data:", "blob:"))]

    def shoot(self, name: str) -> None:
        """Keeps a picture of the window."""
        folder = Path(os.environ.get("HAULBENCH_SCREENSHOTS", ROOT / "screenshots"))
        folder.mkdir(parents=True, exist_ok=True)
        self.page.screenshot(path=folder / f"{name}.png")

    def trips(self) -> int:
        """How often a trip was asked for."""
        return sum(url.endswith("/trip/drive") for url in self.asked)


@pytest.fixture
def visit(browser: Any, served: str) -> Iterator[Callable[..., Visit]]:
    """Opens a page of the server in a browser context of its own; in the end nothing may have left the server or been said."""
    visits: list[tuple[Any, Visit]] = []

    def go(path: str = "/", size: tuple[int, int] = (1366, 768), first: Callable[[Any], None] | None = None) -> Visit:
        context = browser.new_context(viewport={"width": size[0], "height": size[1]}, accept_downloads=True)
        context.grant_permissions(["clipboard-read", "clipboard-write"], origin=served)
        made = Visit(context.new_page(), served)
        made.page.on("request", lambda request: made.asked.append(request.url))
        made.page.on("console", lambda message: made.said.append(message.text))
        made.page.on("pageerror", lambda problem: made.said.append(str(problem)))
        if first is not None:
            first(made.page)
        made.page.goto(served + path)
        visits.append((context, made))
        return made

    yield go
    for context, made in visits:
        context.close()
        assert made.outside() == []
        assert made.said == []
