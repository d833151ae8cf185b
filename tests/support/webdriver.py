"""A browser driven over the W3C WebDriver protocol, with nothing but the standard library.

Chromium and chromedriver are Debian's packages; everything the browser says to its console or asks of the network is
kept, so that a test can ask for silence.
"""

import json
import shutil
import subprocess
import time
import urllib.error
import urllib.request
from collections.abc import Callable
from pathlib import Path
from types import TracebackType
from typing import Any

ELEMENT = "element-6066-11e4-a52e-4f735466cecf"
"""The key under which WebDriver gives an element."""
KEYS = {"Enter": "\ue007", "Escape": "\ue00c", "ArrowDown": "\ue015", "ArrowUp": "\ue013", "Tab": "\ue004"}
CHROMIUM, DRIVER = shutil.which("chromium"), shutil.which("chromedriver")


class Browser:
    """One window of a headless Chromium, to be used in a with statement; downloads go to a folder."""

    def __init__(self, folder: Path) -> None:
        assert CHROMIUM and DRIVER, "Chromium and chromedriver must be installed here"
        self.downloads = folder / "downloads"
        self._driver = subprocess.Popen(
            [DRIVER, "--port=0"], stdout=subprocess.PIPE, stderr=subprocess.DEVNULL, text=True
        )
        try:
            self._address = f"http://127.0.0.1:{self._port()}"
            session = self._call("POST", "/session", {"capabilities": {"alwaysMatch": _capabilities(folder)}})
            self._session = f"/session/{session['sessionId']}"
        except BaseException:
            self._driver.kill()
            raise
        self.cdp("Browser.setDownloadBehavior", behavior="allow", downloadPath=str(self.downloads))

    def _port(self) -> int:
        assert self._driver.stdout is not None
        for line in self._driver.stdout:
            if "successfully on port" in line:
                return int(line.rsplit("on port", 1)[1].strip(" .\n"))
        raise AssertionError("chromedriver did not start")

    def __enter__(self) -> "Browser":
        return self

    def __exit__(self, *_: type[BaseException] | BaseException | TracebackType | None) -> None:
        try:
            self._call("DELETE", self._session)
        finally:
            self._driver.terminate()
            self._driver.wait(20)

    def _call(self, method: str, path: str, body: dict[str, Any] | None = None) -> Any:
        data = json.dumps(body).encode() if body is not None else None
        request = urllib.request.Request(
            self._address + path, data, {"Content-Type": "application/json"}, method=method
        )
        opener = urllib.request.build_opener(urllib.request.ProxyHandler({}))
        try:
            with opener.open(request, timeout=200) as answer:
                return json.load(answer)["value"]
        except urllib.error.HTTPError as error:
            raise AssertionError(json.load(error)["value"]["message"]) from None

    def cdp(self, command: str, **parameters: Any) -> Any:
        """A command of the DevTools protocol."""
        return self._call("POST", f"{self._session}/goog/cdp/execute", {"cmd": command, "params": parameters})

    def open(self, page: Path, after: str = "") -> None:
        """Go to a page; ``after`` is what follows the path, such as a fragment."""
        self._call("POST", f"{self._session}/url", {"url": page.as_uri() + after})

    def run(self, script: str, *arguments: Any) -> Any:
        """The value that a script returns in the page."""
        return self._call("POST", f"{self._session}/execute/sync", {"script": script, "args": list(arguments)})

    def run_later(self, script: str, *arguments: Any) -> Any:
        """The value that a script gives to its last argument, a function."""
        return self._call("POST", f"{self._session}/execute/async", {"script": script, "args": list(arguments)})

    def find(self, selector: str) -> str:
        """The element that a CSS selector finds, by its WebDriver id."""
        found = self._call("POST", f"{self._session}/element", {"using": "css selector", "value": selector})
        return str(found[ELEMENT])

    def click(self, selector: str) -> None:
        """A click as a pointer makes it, on what can be seen."""
        self._call("POST", f"{self._session}/element/{self.find(selector)}/click", {})

    def fill(self, selector: str, text: str) -> None:
        """Put a text into a field as typing or pasting would."""
        script = (
            "const [e, t] = arguments; e.focus(); e.value = t; e.dispatchEvent(new Event('input', {bubbles: true}))"
        )
        self.run(script, {ELEMENT: self.find(selector)}, text)

    def press(self, *keys: str) -> None:
        """Press keys one after the other, wherever the focus is."""
        strokes = [{"type": kind, "value": KEYS.get(key, key)} for key in keys for kind in ("keyDown", "keyUp")]
        source = {"type": "key", "id": "keyboard", "actions": strokes}
        self._call("POST", f"{self._session}/actions", {"actions": [source]})

    def text(self, selector: str) -> str:
        """The text of an element as it is shown."""
        return str(self._call("GET", f"{self._session}/element/{self.find(selector)}/text"))

    def texts(self, selector: str) -> list[str]:
        """The texts of all elements that a selector finds and that are shown."""
        script = (
            "return [...document.querySelectorAll(arguments[0])].filter(e => e.checkVisibility()).map(e => e.innerText)"
        )
        return list(self.run(script, selector))

    def address(self) -> str:
        """The address of the page."""
        return str(self._call("GET", f"{self._session}/url"))

    def show_as(self, width: int, height: int, dark: bool) -> None:
        """Pretend to be a screen of this size, in the light or in the dark."""
        self.cdp(
            "Emulation.setDeviceMetricsOverride", width=width, height=height, deviceScaleFactor=1, mobile=width < 600
        )
        scheme = {"name": "prefers-color-scheme", "value": "dark" if dark else "light"}
        self.cdp("Emulation.setEmulatedMedia", features=[scheme])

    def console(self) -> list[str]:
        """What the console said since it was last asked."""
        return [entry["message"] for entry in self._call("POST", f"{self._session}/se/log", {"type": "browser"})]

    def requests(self) -> list[str]:
        """The addresses that pages asked for since this was last called."""
        log = self._call("POST", f"{self._session}/se/log", {"type": "performance"})
        messages = [json.loads(entry["message"])["message"] for entry in log]
        return [m["params"]["request"]["url"] for m in messages if m["method"] == "Network.requestWillBeSent"]

    def wait(self, condition: Callable[[], Any], seconds: float = 10) -> Any:
        """What a condition gives once it gives something; fails after some seconds."""
        end = time.monotonic() + seconds
        while not (found := condition()):
            assert time.monotonic() < end, "waited in vain"
            time.sleep(0.05)
        return found


def _capabilities(folder: Path) -> dict[str, Any]:
    options = [
        "--headless=new", "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run", "--disable-sync",
        "--disable-background-networking", "--disable-component-update", "--window-size=1200,900",
        f"--user-data-dir={folder / 'profile'}",
    ]  # fmt: skip
    return {
        "goog:chromeOptions": {"binary": CHROMIUM, "args": options},
        "goog:loggingPrefs": {"browser": "ALL", "performance": "ALL"},
        "unhandledPromptBehavior": "ignore",
        "timeouts": {"script": 180_000},  # the accessibility engine on a large page, on a machine that is shared
    }
