"""What holds for every page: pages.py URL AXE_JS PATH...

Of each PATH at URL, a bay in which somebody swings, of the login page and of the Rig page where a screen is
paired: no serious or critical violation of WCAG by axe-core
(AXE_JS, the npm package's file) in light and dark and on a phone, no console error, no request off the
origin, nothing wider than the screen. Then all of them at once, each in a tab: writes "ready" and waits
for a line on standard input; meanwhile the caller kills the daemon. Writes "lost" once every page says
so (on a phone as well: nothing too wide, and axe-core content), and waits for another line while the caller brings the daemon back; every page must find it by itself.
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
# Who opens a page of a bay with a login: nobody that it knows, or a coach who pairs a screen.
STRANGER = """
window.fetch = () => Promise.reject(new TypeError("nobody answers"));
"""
COACH = """
const ask = window.fetch;
const told = { role: "owner", login: true, fingerprint: "98:7B:ED", displays: [{ id: "2c74a1", names: false, paired_utc_ns: 1.8e18 }], refused: [{ code: "access.wrong", meaning: "The passphrase or the pairing code is wrong.", count: 1 }] };
window.fetch = (url, options) => {
  const { pathname } = new URL(url, location.href);
  if (!pathname.startsWith("/api/v1/access")) return ask(url, options);
  const answer = pathname.endsWith("/pairing") ? { code: "028205", seconds: 300 } : told;
  return Promise.resolve(new Response(JSON.stringify(answer), { headers: { "content-type": "application/json" } }));
};
"""
CLICK = "document.querySelector(arguments[0]).click();"
WIDE = "return document.documentElement.scrollWidth - innerWidth;"


def main(url, axe_file, paths):
    with open(axe_file, encoding="utf-8") as file:
        axe = file.read()
    failures, seen = [], {}
    until_a_swing(url)
    with Browser(*SIZES["desk"]) as browser:
        for path in paths:
            failures += [f"{path}: {wrong}" for wrong in one_page(browser, (url, path), axe, seen)]
        failures += doors(browser, url, axe, seen)
        failures += all_lost_and_back(browser, url, paths, (axe, seen))
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
            wrong += for_everybody(browser, f"{path} {size} {scheme}", axe, seen)
    return wrong + quiet(browser, address)


def for_everybody(browser, where, axe, seen):
    """What axe-core and the width say of the page as it stands."""
    browser.run(axe)
    found = browser.run(AXE)
    seen[where] = found["checked"]
    wrong = [f"{where}: {bad}" for bad in found["bad"]]
    if found["checked"] < 5:
        wrong.append(f"{where}: axe looked at {found['checked']} rules only: the check itself is broken")
    beyond = browser.run(WIDE)
    return wrong + ([f"{where}: {beyond} px wider than the screen"] if beyond > 0 else [])


def doors(browser, url, axe, seen):
    """The login page after a try that failed, and the Rig page with a pairing code: this bay has no login, so it is played."""
    wrong = []
    for name, path, script, button, due in (
        ("login", "login", STRANGER, "#person button", "does not answer"),
        ("pairing", "rig", COACH, "[data-part=pair]", "028 205"),
    ):
        played = browser.cdp("Page.addScriptToEvaluateOnNewDocument", {"source": script})["identifier"]
        for size, scheme in (("desk", "light"), ("phone", "dark")):
            browser.resize(*SIZES[size])
            browser.prefer(prefers_color_scheme=scheme)
            browser.open(url + path)
            wait(browser, lambda text: text.strip() and not LOST.search(text))
            browser.run("for (const input of document.querySelectorAll('#person input')) input.value = 'some words';")
            browser.run(CLICK, button)
            if not wait(browser, lambda text: due in text):
                wrong.append(f"{name}: {due!r} is never said")
            wrong += for_everybody(browser, f"{name} {size} {scheme}", axe, seen)
        browser.cdp("Page.removeScriptToEvaluateOnNewDocument", {"identifier": played})
    browser.prefer(prefers_color_scheme="light")
    return wrong


def all_lost_and_back(browser, url, paths, checks):
    """Every page in a tab of its own while the daemon goes and comes."""
    axe, seen = checks
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
    for path, tab in tabs.items():
        browser.turn_to(tab)
        browser.resize(*SIZES["phone"])
        wrong += for_everybody(browser, f"{path} lost, phone", axe, seen)
        if not LOST.search(browser.run(TEXT)):
            wrong.append(f"{path}: a phone is not told that the daemon is gone")
        browser.resize(*SIZES["desk"])
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
