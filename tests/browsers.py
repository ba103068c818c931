"""Finds the browsers that the suite drives: a Chromium, and WebKit as second engine.

`python -m tests.browsers chromium` (or webkit) exits 0 if it is there; without an argument it says what is there and
what is left out. `./run test` brings what is missing where it can.
"""

import os
import shutil
import subprocess
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from functools import cache
from pathlib import Path

# Each was needed on some machine: no sandbox as root, no /dev/dri, and no calls home that a closed network refuses.
CHROMIUM_FLAGS = (
    "--headless",
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
)
CHROMIUM_NAMES = ("chromium", "chromium-browser", "google-chrome", "google-chrome-stable")
ASK_PLAYWRIGHT = "from playwright.sync_api import *; p = sync_playwright().start(); print(p.chromium.executable_path)"
LEFT_OUT = {
    "chromium": "the journeys and every other test in a real Chromium",
    "webkit": "the same path in a second engine",
}


@cache
def chromium_path() -> str | None:
    """A Chromium that starts: $YEARMARK_CHROMIUM, one in PATH, or the one that the browser-test library installed."""
    wanted = os.environ.get("YEARMARK_CHROMIUM")
    names = (wanted,) if wanted else CHROMIUM_NAMES
    for path in filter(None, map(shutil.which, names)):
        # Ubuntu has a script of this name that only asks to install something else, so being there is not enough.
        if prints([path, "--version"]):
            return path
    installed = "" if wanted else prints([sys.executable, "-c", ASK_PLAYWRIGHT])
    return installed if installed and Path(installed).is_file() else None


def webkit_driver() -> str | None:
    """The driver of Debian's package webkit2gtk-driver."""
    return shutil.which("WebKitWebDriver")


def webkit_browser() -> str | None:
    """The small browser that the driver starts. It lies outside PATH, in a folder named after the architecture."""
    places = ("lib/*/webkit2gtk-4.*/MiniBrowser", "libexec/webkit2gtk-4.*/MiniBrowser")
    found = sorted(str(path) for place in places for path in Path("/usr").glob(place))
    return found[-1] if found else None


def reason_missing(engine: str) -> str | None:
    """Why `chromium` or `webkit` cannot be driven here, with what to do; None if it can."""
    if engine == "chromium":
        return None if chromium_path() else "no Chromium in PATH; install one, or name it in YEARMARK_CHROMIUM"
    needed = {"webkit2gtk-driver": webkit_driver() and webkit_browser(), "xvfb": shutil.which("Xvfb")}
    missing = [package for package, found in needed.items() if not found]
    return f"the Debian packages {' and '.join(missing)} are not installed" if missing else None


@contextmanager
def virtual_screen(width: int = 1280, height: int = 1024) -> Iterator[str]:
    """Starts Xvfb on a display of its own choice; gives its name, for the variable DISPLAY."""
    readable, writable = os.pipe()
    command = ["Xvfb", "-displayfd", str(writable), "-screen", "0", f"{width}x{height}x24", "-nolisten", "tcp"]
    server = subprocess.Popen(command, pass_fds=[writable], stderr=subprocess.DEVNULL)
    os.close(writable)
    try:
        with os.fdopen(readable) as display:
            number = display.readline().strip()  # empty if Xvfb ended without serving
        if not number:
            raise RuntimeError(f"Xvfb did not start; exit code {server.wait()}")
        yield f":{number}"
    finally:
        server.terminate()
        server.wait()


def prints(command: list[str]) -> str:
    """What a command prints, or nothing if it fails."""
    try:
        return subprocess.run(command, capture_output=True, text=True, timeout=60, check=True).stdout.strip()
    except (OSError, subprocess.SubprocessError):
        return ""


def main(arguments: list[str]) -> int:
    if arguments:
        return 1 if any(reason_missing(engine) for engine in arguments) else 0
    for engine, left_out in LEFT_OUT.items():
        reason = reason_missing(engine)
        print(f"  {engine}: {f'{reason}; left out: {left_out}' if reason else 'there'}")
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
