"""Trips to draw, and a browser to look at what was drawn."""

import functools
import os
import shutil
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest

from sim import Result, load_route, load_settings, load_truck, run_trip

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
def trip() -> Callable[..., Result]:
    """Drives a truck over a road with changed settings; the same trip is driven once."""

    @functools.cache
    def drive(truck: str, road: str, *changes: str) -> Result:
        return run_trip(load_truck(truck), load_route(road), load_settings(None, changes))

    return drive


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
