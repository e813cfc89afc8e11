"""What the bay screen says when the line to the daemon goes and comes back: lost.py URL

Writes "ready" once the screen is linked and waits for a line on standard input; meanwhile the caller
takes the daemon away. Writes "lost" once the screen says so ("no signal", with the reason) and waits for another line while
the caller brings the daemon back on the same address. Ends with one JSON object:
{"ok", "failures": [...], "lost_after_s", "back_after_s"}.
"""

import json
import sys
import time

from webdriver import Browser

PATIENCE_S = 15
SAYS = "return document.getElementById('state').textContent.trim();"
NOTE = "return document.getElementById('state-note').textContent.trim();"


def main(url):
    failures = []
    with Browser(1280, 800) as browser:
        browser.open(url)
        until(browser, linked, failures, "the screen never found the bay")
        wait_for_caller("ready")
        lost = until(browser, lambda said, note: not linked(said, note), failures, "the loss is not shown")
        if browser.run(SAYS) != "no signal":
            failures.append(f"the loss is called {browser.run(SAYS)!r}")
        wait_for_caller("lost")
        back = until(browser, linked, failures, "the screen does not come back")
    print(json.dumps({"ok": not failures, "failures": failures, "lost_after_s": lost, "back_after_s": back}))


def linked(said, note):
    """Without frames a linked screen says "no signal" too; the note tells why."""
    return "trying again" not in note and "connecting" not in note


def until(browser, wanted, failures, complaint):
    """Seconds until state word and note are as wanted."""
    start = time.monotonic()
    while not wanted(browser.run(SAYS), browser.run(NOTE)):
        if time.monotonic() - start > PATIENCE_S:
            failures.append(complaint)
            return None
        time.sleep(0.05)
    return round(time.monotonic() - start, 2)


def wait_for_caller(word):
    print(word, flush=True)
    sys.stdin.readline()


if __name__ == "__main__":
    main(sys.argv[1])
