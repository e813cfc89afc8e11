"""A bay with TLS and a login, in a real browser: foreign.py URL CERTIFICATE PASSPHRASE

Python's own TLS (OpenSSL) checks the certificate. Then a browser logs in by the login page, goes to a page of
another origin, and that page tries to open the bay's socket, to post and to read. A second browser is paired
by the code of the Rig page. Ends with one JSON object: {"ok", "failures": [...]}.
"""

import http.server
import json
import ssl
import sys
import threading
import time
import urllib.error
import urllib.request

from webdriver import Browser

PATIENCE_S = 15
FOREIGN = """
window.tried = null;
const bay = arguments[0];
const socket = new Promise((done) => {
  const line = new WebSocket(bay.replace("https", "wss") + "/ws");
  line.onmessage = () => done("heard something");
  line.onclose = () => done("closed");
});
const post = (mode, type) => fetch(bay + "/api/v1/access/pairing", { method: "POST", mode, credentials: "include", headers: { "content-type": type }, body: "{}" })
  .then((answer) => answer.type).catch(() => "refused");
const read = fetch(bay + "/api/v1/access", { credentials: "include" }).then((answer) => answer.text()).catch(() => "refused");
Promise.all([socket, post("no-cors", "text/plain"), post("cors", "application/json"), read]).then((all) => { window.tried = all; });
"""


def main(url, certificate, passphrase):
    failures = tls(url, certificate)
    with Page() as foreign, Browser(1200, 900, any_certificate=True) as browser:
        browser.open(f"{url}/rig")
        if not wait(browser, "return location.pathname === '/login'"):
            failures.append("no login page")
        browser.run("document.querySelector('#person input').focus()")
        browser.keys(passphrase)
        browser.run("document.querySelector('#person button').click()")
        if not wait(browser, "return location.pathname === '/rig' && !document.querySelector('#access').hidden"):
            failures.append("the login page does not go on to the Rig page")
        wrong = [f"console {level}: {text}" for level, text in browser.console() if level == "SEVERE" and "401" not in text]
        failures += wrong
        refused = counted(browser)
        for host in ["localhost", "127.0.0.1"]:
            browser.open(f"http://{host}:{foreign.port}/")
            browser.run(FOREIGN, url)
            if not wait(browser, "return window.tried !== null"):
                failures.append("the foreign page hangs")
            tried = browser.run("return window.tried")
            # Not even that there is an answer: the bay's answers are for its own pages.
            if tried != ["closed", "refused", "refused", "refused"]:
                failures.append(f"a page of {host} got {tried}")
        browser.open(f"{url}/rig")
        wait(browser, "return !document.querySelector('#access').hidden")
        now = counted(browser)
        more = sum(now.values()) - sum(refused.values())
        # Of each page the socket and the post; reading and asking first may be stopped by the browser itself.
        if more < 4 or now.get("socket.origin_refused", 0) < 4:
            failures.append(f"refused and counted: {refused} before, {now} after")
        browser.run("document.querySelector('[data-part=pair]').click()")
        if not wait(browser, "return document.querySelector('#access .code')"):
            failures.append("no code on the Rig page")
        code = browser.run("return document.querySelector('#access .code').textContent")
        failures += display(url, code)
        browser.run("document.querySelector('[data-part=out]').click()")
        if not wait(browser, "return location.pathname === '/login'"):
            failures.append("logging out does not lead to the login page")
    print(json.dumps({"ok": not failures, "failures": failures}))


def tls(url, certificate):
    """The certificate is the one of the file, for this name; TLS 1.2 at least; HSTS; nothing without login."""
    context = ssl.create_default_context(cafile=certificate)
    opener = urllib.request.build_opener(urllib.request.ProxyHandler({}), urllib.request.HTTPSHandler(context=context))
    failures = []
    with opener.open(f"{url}/healthz", timeout=10) as answer:
        if "max-age" not in answer.headers.get("strict-transport-security", ""):
            failures.append("no HSTS")
    try:
        opener.open(f"{url}/api/v1/bays", timeout=10)
        failures.append("the API answers without a login")
    except urllib.error.HTTPError as error:
        if error.code != 401:
            failures.append(f"without a login: {error.code}")
    return failures


def display(url, code):
    with Browser(1200, 900, any_certificate=True) as screen:
        screen.open(f"{url}/")
        if not wait(screen, "return location.pathname === '/login'"):
            return ["a new screen sees no login page"]
        screen.run("document.querySelector('#display input').value = arguments[0]", code)
        screen.run("document.querySelector('#display button').click()")
        if not wait(screen, "return location.pathname === '/' && document.title !== 'Log in'"):
            return ["the code pairs no screen: " + screen.run("return document.body.textContent")]
        time.sleep(1)
        errors = [text for level, text in screen.console() if level == "SEVERE" and "/api/v1/access" not in text]
        return [f"the paired screen: {text}" for text in errors]


def counted(browser):
    browser.run("window.told = null; fetch('/api/v1/access').then((a) => a.json()).then((told) => { window.told = told; })")
    wait(browser, "return window.told !== null")
    return {r["code"]: r["count"] for r in browser.run("return window.told.refused")}


def wait(browser, script):
    end = time.monotonic() + PATIENCE_S
    while not browser.run(script):
        if time.monotonic() > end:
            return False
        time.sleep(0.1)
    return True


class Page:
    """A web server with an empty page, on a port of its own."""

    def __enter__(self):
        self.server = http.server.ThreadingHTTPServer(("127.0.0.1", 0), Empty)
        self.port = self.server.server_address[1]
        threading.Thread(target=self.server.serve_forever, daemon=True).start()
        return self

    def __exit__(self, *_):
        self.server.shutdown()


class Empty(http.server.BaseHTTPRequestHandler):
    def do_GET(self):
        self.send_response(200)
        self.send_header("content-type", "text/html")
        self.end_headers()
        self.wfile.write(b"<!doctype html><title>elsewhere</title>")

    def log_message(self, *_):
        pass


if __name__ == "__main__":
    main(*sys.argv[1:])
