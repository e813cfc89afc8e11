"""What holds for every page: pages.py URL AXE_JS PATH...

Of each PATH at URL, a bay in which somebody swings: no serious or critical violation of WCAG by axe-core
(AXE_JS, the npm package's file) in light and dark and on a phone, no console error, no request off the
origin, nothing wider than the screen. Then all of them at once, each in a tab: writes "ready" and waits
for a line on standard input; meanwhile the caller kills the daemon. Writes "lost" once every page says
so, and waits for another line while the caller brings the daemon back; every page must find it by itself.
Ends with one JSON object: {"ok", "failures": [...], "seen": {...}}.
"""

import json
import re
import sys
import time
import urllib.request

from bay import quiet
from webdriver import Browser

PATIENCE_S = 20
# How pages say that what they show is not now (LOOK.md: "no signal").
LOST = re.compile(r"no signal|connection lost|line to the bay is cut", re.IGNORECASE)
TEXT = "return document.body ? document.body.innerText : '';"
SIZES = {"desk": (1280, 800), "phone": (390, 844)}
# WCAG 2.2 A and AA and axe's own best practices; the Bay is looked at from four meters and has nothing to tap.
AXE = """
return axe.run(document, { resultTypes: ["violations"] }).then(({ violations, passes }) => ({
  checked: passes.length,
  bad: violations.filter((v) => ["serious", "critical"].includes(v.impact)).map((v) =>
    `${v.impact}: ${v.id} (${v.help}): ` + v.nodes.slice(0, 4).map((n) => n.target.join(" ")).join(", ")),
}));
"""
WIDE = "return document.documentElement.scrollWidth - innerWidth;"


def main(url, axe_file, paths):
    with open(axe_file, encoding="utf-8") as file:
        axe = file.read()
    failures, seen = [], {}
    until_a_swing(url)
    with Browser(*SIZES["desk"]) as browser:
        for path in paths:
            failures += [f"{path}: {wrong}" for wrong in one_page(browser, (url, path), axe, seen)]
        failures += all_lost_and_back(browser, url, paths, seen)
    print(json.dumps({"ok": not failures, "failures": failures, "seen": seen}, ensure_ascii=False))


def until_a_swing(url):
    """The newest swing of the bay once there is one: pages are judged with something on them."""
    bay = fetch(f"{url}api/v1/bays")["bays"][0]["id"]
    end = time.monotonic() + 2 * PATIENCE_S
    while True:
        swings = fetch(f"{url}api/v1/bays/{bay}/swings")["swings"]
        if swings:
            return swings[0]
        if time.monotonic() > end:
            raise SystemExit("nobody swings in this bay")
        time.sleep(0.2)


def fetch(address):
    opener = urllib.request.build_opener(urllib.request.ProxyHandler({}))
    with opener.open(address, timeout=10) as answer:
        return json.load(answer)


def one_page(browser, place, axe, seen):
    url, path = place
    address = url + path.lstrip("/")
    wrong = []
    for size, (width, height) in SIZES.items():
        browser.resize(width, height)
        for scheme in ("light", "dark"):
            # Chosen anew with each load, as a person's device has it.
            browser.prefer(prefers_color_scheme=scheme)
            if size == "phone" and scheme == "dark":
                continue
            browser.open(address)
            wait(browser, lambda text: text.strip() and not LOST.search(text))
            browser.run(axe)
            found = browser.run(AXE)
            seen[f"{path} {size} {scheme}"] = found["checked"]
            if found["checked"] < 5:
                wrong.append(f"axe looked at {found['checked']} rules only: the check itself is broken")
            wrong += [f"{size}, {scheme}: {bad}" for bad in found["bad"]]
            beyond = browser.run(WIDE)
            if beyond > 0:
                wrong.append(f"{size}, {scheme}: {beyond} px wider than the screen")
    return wrong + quiet(browser, address)


def all_lost_and_back(browser, url, paths, seen):
    """Every page in a tab of its own while the daemon goes and comes."""
    tabs = {}
    for path in paths:
        tabs[path] = browser.tab()
        browser.resize(*SIZES["desk"])
        browser.open(url + path.lstrip("/"))
    wrong = []

    def every(wanted, complaint):
        start = time.monotonic()
        for path, tab in tabs.items():
            browser.turn_to(tab)
            if not wait(browser, wanted):
                wrong.append(f"{path}: {complaint}")
        return round(time.monotonic() - start, 2)

    every(lambda text: text.strip() and not LOST.search(text), "never found the bay")
    browser.console()
    pause("ready")
    seen["lost after s"] = every(LOST.search, "does not say that the daemon is gone")
    pause("lost")
    seen["back after s"] = every(lambda text: not LOST.search(text), "does not come back by itself")
    # While nobody answers the browser itself complains of it; the page's own code must not.
    wrong += [f"console {level}: {text}" for level, text in browser.console()
              if level == "SEVERE" and "net::ERR_" not in text and "WebSocket connection" not in text]
    return wrong


def wait(browser, wanted):
    """Whether the page's text becomes as wanted while patience lasts."""
    end = time.monotonic() + PATIENCE_S
    while not wanted(browser.run(TEXT)):
        if time.monotonic() > end:
            return False
        time.sleep(0.1)
    return True


def pause(word):
    print(word, flush=True)
    sys.stdin.readline()


if __name__ == "__main__":
    main(sys.argv[1], sys.argv[2], sys.argv[3:])
