"""A headless Chromium driven over WebDriver (W3C) with the standard library alone.

Needs the Debian packages `chromium` and `chromium-driver`. Says nothing about our screens: what they
must show is in bay.py.
"""

import base64
import json
import os
import re
import shutil
import subprocess
import tempfile
import urllib.request

FLAGS = [
    "--headless=new", "--no-sandbox", "--disable-gpu", "--disable-dev-shm-usage", "--hide-scrollbars",
    "--disable-background-networking", "--disable-component-update", "--disable-sync", "--no-first-run",
    "--disable-default-apps", "--mute-audio",
]


class Browser:
    """One browser window with a fresh profile; a context manager."""

    def __init__(self, width, height, any_certificate=False):
        self.profile = tempfile.mkdtemp(prefix="whin-browser-")
        self.driver = subprocess.Popen(
            [need("chromedriver", "chromium-driver"), "--port=0"],
            stdout=subprocess.PIPE, stderr=subprocess.DEVNULL, text=True)
        try:
            self.base = f"http://127.0.0.1:{self._port()}"
            self.session = self._call("POST", "/session", capabilities(self.profile, any_certificate))["sessionId"]
            self.resize(width, height)
            # Leave the browser's own first page, and forget what it loaded.
            self.open("about:blank")
            self.console(), self.requests()
        except BaseException:
            self.driver.kill()
            raise

    def __enter__(self):
        return self

    def __exit__(self, *_):
        try:
            self._call("DELETE", f"/session/{self.session}")
        finally:
            self.driver.terminate()
            self.driver.wait(10)
            shutil.rmtree(self.profile, ignore_errors=True)

    def open(self, url):
        self._do("POST", "url", {"url": url})

    def tab(self):
        """Opens another tab and goes there; `turn_to` it by what this returns."""
        handle = self._do("POST", "window/new", {"type": "tab"})["handle"]
        self.turn_to(handle)
        return handle

    def turn_to(self, handle):
        self._do("POST", "window", {"handle": handle})

    def prefer(self, **features):
        """What the device asks for, such as prefers_color_scheme="dark"; the rest as it comes."""
        told = [{"name": name.replace("_", "-"), "value": value} for name, value in features.items()]
        self.cdp("Emulation.setEmulatedMedia", {"features": told})

    def resize(self, width, height):
        """The size of the page itself, whatever the window's frame takes."""
        self.cdp("Emulation.setDeviceMetricsOverride",
                 {"width": width, "height": height, "deviceScaleFactor": 1, "mobile": False})

    def touch(self):
        """From now on the device is one for fingers."""
        self.cdp("Emulation.setTouchEmulationEnabled", {"enabled": True})

    def point(self, x, y, *, to=None, kind="mouse"):
        """Presses at a place of the page, moves on to another if told, and lets go, as a hand does."""
        steps = [{"type": "pointerMove", "duration": 0, "x": round(x), "y": round(y)}, {"type": "pointerDown", "button": 0}]
        if to:
            steps += [{"type": "pointerMove", "duration": 60, "x": round(x + (to[0] - x) * k / 4), "y": round(y + (to[1] - y) * k / 4)}
                      for k in range(1, 5)]
        steps.append({"type": "pointerUp", "button": 0})
        self._do("POST", "actions", {"actions": [
            {"type": "pointer", "id": f"hand-{kind}", "parameters": {"pointerType": kind}, "actions": steps}]})

    def keys(self, text):
        """Types into whatever has the keyboard."""
        steps = [{"type": t, "value": c} for c in text for t in ("keyDown", "keyUp")]
        self._do("POST", "actions", {"actions": [{"type": "key", "id": "keyboard", "actions": steps}]})

    def reduce_motion(self):
        self.cdp("Emulation.setEmulatedMedia",
                 {"features": [{"name": "prefers-reduced-motion", "value": "reduce"}]})

    def run(self, script, *args):
        """Runs a function body in the page and returns its result."""
        return self._do("POST", "execute/sync", {"script": script, "args": list(args)})

    def press(self, key):
        """Presses and releases a key, as a person does (the page may then play sound)."""
        strokes = [{"type": kind, "value": key} for kind in ("keyDown", "keyUp")]
        self._do("POST", "actions", {"actions": [{"type": "key", "id": "keyboard", "actions": strokes}]})

    def screenshot(self, path):
        with open(path, "wb") as out:
            out.write(base64.b64decode(self._do("GET", "screenshot")))

    def print(self, width_cm, height_cm):
        """The page as a PDF on paper of this size: bytes."""
        asked = {"page": {"width": width_cm, "height": height_cm}, "background": True, "shrinkToFit": False}
        return base64.b64decode(self._do("POST", "print", asked))

    def console(self):
        """Console lines since the last call: [(level, text)]."""
        return [(e["level"], e["message"]) for e in self._do("POST", "se/log", {"type": "browser"})]

    def requests(self):
        """Addresses asked for since the last call, web sockets included."""
        urls = []
        for entry in self._do("POST", "se/log", {"type": "performance"}):
            message = json.loads(entry["message"])["message"]
            if message["method"] == "Network.requestWillBeSent":
                urls.append(message["params"]["request"]["url"])
            if message["method"] == "Network.webSocketCreated":
                urls.append(message["params"]["url"])
        return urls

    def cdp(self, command, params):
        return self._do("POST", "goog/cdp/execute", {"cmd": command, "params": params})

    def _do(self, method, path, body=None):
        return self._call(method, f"/session/{self.session}/{path}", body)

    def _call(self, method, path, body=None):
        data = None if body is None else json.dumps(body).encode()
        request = urllib.request.Request(self.base + path, data, {"Content-Type": "application/json"}, method=method)
        # An empty proxy table: the driver is on this machine whatever the environment says.
        opener = urllib.request.build_opener(urllib.request.ProxyHandler({}))
        try:
            with opener.open(request, timeout=60) as answer:
                return json.load(answer)["value"]
        except urllib.error.HTTPError as error:
            raise RuntimeError(f"{method} {path}: {error.read().decode()[:400]}") from error

    def _port(self):
        for line in self.driver.stdout:
            found = re.search(r"started successfully on port (\d+)", line)
            if found:
                return found.group(1)
        raise RuntimeError("chromedriver ended without naming its port")


def capabilities(profile, any_certificate):
    options = {"args": [*FLAGS, f"--user-data-dir={profile}"], "binary": need("chromium", "chromium")}
    return {"capabilities": {"alwaysMatch": {
        "browserName": "chrome", "acceptInsecureCerts": any_certificate, "goog:chromeOptions": options,
        "goog:loggingPrefs": {"browser": "ALL", "performance": "ALL"}}}}


def need(program, package):
    found = os.environ.get(f"WHIN_{program.upper()}") or shutil.which(program)
    if not found:
        raise SystemExit(f"{program} is missing: install the Debian package {package}")
    return found
