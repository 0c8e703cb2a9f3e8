"""A real browser for tests of the page: headless Chromium through its driver, and a server that it asks."""

import contextlib
import os
import shutil
import socket
import threading
import time
import warnings
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest
import uvicorn
from page_home import SECRET, Home

with warnings.catch_warnings():
    warnings.simplefilter("ignore")  # of what Selenium brings with it
    from selenium import webdriver
    from selenium.common.exceptions import NoSuchElementException, StaleElementReferenceException
    from selenium.webdriver.chrome.options import Options
    from selenium.webdriver.chrome.service import Service
    from selenium.webdriver.chrome.webdriver import WebDriver

ROOT = Path(__file__).parent.parent

CHROMIUM = shutil.which("chromium") or shutil.which("chromium-browser") or shutil.which("google-chrome")
DRIVER = shutil.which("chromedriver")

FLAGS = (
    "--headless=new",
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
    "--disable-dev-shm-usage",
    "--hide-scrollbars",
)

PHONE, LAPTOP = (390, 844), (1280, 900)


def chromium(folder: Path, *flags: str) -> WebDriver:
    """Start a browser with a profile of its own in ``folder``; whoever starts it quits it."""
    if CHROMIUM is None or DRIVER is None:
        pytest.skip("not run: Chromium and its driver (chromium, chromedriver) are not installed")
    options = Options()
    options.binary_location = CHROMIUM
    for flag in (*FLAGS, f"--user-data-dir={folder}", *flags):
        options.add_argument(flag)
    options.set_capability("goog:loggingPrefs", {"browser": "ALL"})
    return webdriver.Chrome(options=options, service=Service(DRIVER, log_output=str(folder.with_suffix(".log"))))


@contextmanager
def served(home: Home) -> Iterator[str]:
    """Serve a household's page on a free port of this computer; yield its address, which ends in a slash."""
    listening = socket.socket()
    listening.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
    listening.bind(("127.0.0.1", 0))
    port = listening.getsockname()[1]
    config = uvicorn.Config(
        home.app(), lifespan="off", access_log=False, log_config=None, log_level="warning", timeout_graceful_shutdown=1
    )
    server = uvicorn.Server(config)
    thread = threading.Thread(target=server.run, kwargs={"sockets": [listening]}, daemon=True)
    thread.start()
    home.stop = lambda: _stop(server, thread)
    try:
        yield f"http://127.0.0.1:{port}/{SECRET}/"
    finally:
        _stop(server, thread)
        with contextlib.suppress(OSError):
            listening.close()


def _stop(server: uvicorn.Server, thread: threading.Thread) -> None:
    server.should_exit = True
    thread.join(10)


def until(true: Callable[[], object], seconds: float = 8.0) -> None:
    """Wait until something is true of another process; fail if it takes longer than some seconds."""
    ends = time.monotonic() + seconds
    while True:
        with contextlib.suppress(StaleElementReferenceException, NoSuchElementException):
            if true():
                return
        assert time.monotonic() < ends, "it did not come true in time"
        time.sleep(0.02)


def complaints(driver: WebDriver) -> list[str]:
    """Return what the browser complained about since it was last asked: refused resources, faults of scripts."""
    told = driver.get_log("browser")  # type: ignore[no-untyped-call] # Selenium gives it no types
    return [entry["message"] for entry in told if entry["level"] == "SEVERE"]


def axe() -> str:
    """Return the accessibility checker, to be run in a page."""
    modules = Path(os.environ.get("REMINDERS_NODE_MODULES") or ROOT / ".judges" / "node_modules")
    script = modules / "axe-core" / "axe.min.js"
    if not script.is_file():
        pytest.skip("not run: axe-core is not installed")
    return script.read_text(encoding="utf-8")


def size(driver: WebDriver, width: int, height: int, *, dark: bool = False) -> None:
    """Give the page itself this size, in CSS pixels, and the reader's choice of light or dark."""
    driver.execute_cdp_cmd(
        "Emulation.setDeviceMetricsOverride",
        {"width": width, "height": height, "deviceScaleFactor": 1, "mobile": False},
    )
    driver.execute_cdp_cmd(
        "Emulation.setEmulatedMedia",
        {"features": [{"name": "prefers-color-scheme", "value": "dark" if dark else "light"}]},
    )
