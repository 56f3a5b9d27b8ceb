"""A headless browser, spoken to over its debugging pipe (Chrome DevTools Protocol): no library, no port."""

from __future__ import annotations

import base64
import contextlib
import json
import os
import select
import shutil
import subprocess
import tempfile
import time
from pathlib import Path
from typing import Any

NAMES = ("chromium", "chromium-browser", "google-chrome")
PROGRAM = next((found for name in NAMES if (found := shutil.which(name))), None)
FLAGS = (
    "--headless",
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
    "--disable-dev-shm-usage",
    "--remote-debugging-pipe",
)
WAIT = 90.0


class Browser:
    """One browser with one page; ``events`` holds everything that it reported."""

    def __init__(self) -> None:
        assert PROGRAM
        self.folder = tempfile.mkdtemp(prefix="browser-")
        their_in, self._out = os.pipe()
        self._in, their_out = os.pipe()

        def connect() -> None:
            spare = [os.dup2(fd, 10 + n) for n, fd in enumerate((their_in, their_out))]
            for n, fd in enumerate(spare):
                os.dup2(fd, 3 + n)

        self.process = subprocess.Popen(
            [PROGRAM, *FLAGS, f"--user-data-dir={self.folder}", "about:blank"],
            preexec_fn=connect,  # noqa: PLW1509 - the pipe must be descriptors 3 and 4
            close_fds=False,
            stdout=subprocess.DEVNULL,
            stderr=subprocess.DEVNULL,
        )
        os.close(their_in)
        os.close(their_out)
        self.events: list[dict[str, Any]] = []
        self._waiting = b""
        self._number = 0
        self._session: str | None = None
        target = self.call("Target.createTarget", url="about:blank")["targetId"]
        self._session = self.call("Target.attachToTarget", targetId=target, flatten=True)["sessionId"]
        for domain in ("Page", "Runtime", "Log", "Network"):
            self.call(f"{domain}.enable")

    def call(self, method: str, **parameters: Any) -> dict[str, Any]:
        """Send a command and wait for its answer."""
        self._number += 1
        message: dict[str, Any] = {"id": self._number, "method": method, "params": parameters}
        if self._session:
            message["sessionId"] = self._session
        os.write(self._out, json.dumps(message).encode() + b"\0")
        while True:
            found = self._next()
            if found.get("id") == self._number:
                if "error" in found:
                    raise RuntimeError(f"{method}: {found['error']}")
                return found["result"]
            self.events.append(found)

    def _next(self) -> dict[str, Any]:
        end = time.monotonic() + WAIT
        while b"\0" not in self._waiting:
            ready, _, _ = select.select([self._in], [], [], max(end - time.monotonic(), 0))
            if not ready:
                raise TimeoutError("the browser does not answer")
            data = os.read(self._in, 1 << 20)
            if not data:
                raise RuntimeError("the browser ended")
            self._waiting += data
        message, _, self._waiting = self._waiting.partition(b"\0")
        return json.loads(message)

    def open(self, path: Path, width: int = 1280, height: int = 900, *, phone: bool = False) -> None:
        """Open a file in a window of this size and wait until it is there."""
        self.events.clear()
        self.call("Emulation.setDeviceMetricsOverride", width=width, height=height, deviceScaleFactor=1, mobile=phone)
        self.call("Page.navigate", url=path.resolve().as_uri())
        while not any(event.get("method") == "Page.loadEventFired" for event in self.events):
            self.events.append(self._next())

    def ask(self, expression: str) -> Any:
        """The value of an expression of JavaScript on the page."""
        result = self.call("Runtime.evaluate", expression=expression, returnByValue=True)
        if "exceptionDetails" in result:
            raise RuntimeError(result["exceptionDetails"])
        return result["result"].get("value")

    def problems(self) -> list[str]:
        """Whatever was written to the console or the log."""
        self.call("Runtime.evaluate", expression="1")
        found = []
        for event in self.events:
            if event.get("method") in ("Runtime.consoleAPICalled", "Runtime.exceptionThrown", "Log.entryAdded"):
                found.append(json.dumps(event["params"])[:400])
        return found

    def requests(self) -> list[str]:
        """Addresses of everything that was asked for."""
        sent = [event for event in self.events if event.get("method") == "Network.requestWillBeSent"]
        return [event["params"]["request"]["url"] for event in sent]

    def tree(self) -> list[dict[str, Any]]:
        """What a screen reader is told: role, name and properties of each node."""
        self.call("Accessibility.enable")
        nodes = self.call("Accessibility.getFullAXTree")["nodes"]
        return [
            {
                "role": node.get("role", {}).get("value"),
                "name": node.get("name", {}).get("value", ""),
                "level": next((p["value"]["value"] for p in node.get("properties", []) if p["name"] == "level"), None),
            }
            for node in nodes
            if not node.get("ignored")
        ]

    def picture(self, path: Path) -> None:
        """A picture of the whole page, for somebody to look at."""
        size = self.call("Page.getLayoutMetrics")["cssContentSize"]
        clip = {"x": 0, "y": 0, "width": size["width"], "height": size["height"], "scale": 1}
        shot = self.call("Page.captureScreenshot", format="png", clip=clip, captureBeyondViewport=True)
        path.write_bytes(base64.b64decode(shot["data"]))

    def printed(self) -> bytes:
        """The page as it would be printed."""
        return base64.b64decode(self.call("Page.printToPDF", preferCSSPageSize=True)["data"])

    def close(self) -> None:
        """End the browser that was started here."""
        with contextlib.suppress(Exception):
            self._session = None
            self.call("Browser.close")
        for fd in (self._in, self._out):
            with contextlib.suppress(OSError):
                os.close(fd)
        try:
            self.process.wait(20)
        except subprocess.TimeoutExpired:
            self.process.kill()
            self.process.wait()
        shutil.rmtree(self.folder, ignore_errors=True)
