"""What the screens cost: budget.py PROGRAM [STATIC]

Starts PROGRAM's demo (with the pages of the folder STATIC where told) and measures in headless Chromium:
first paint and bytes of each page without a cache, how long after a report's arrival its head speed is on
the Bay, and how soon a killed daemon is told and found again. Then a bay that one synthetic swing of 1000
frames a second was sent to, for the frames of its replay. Prints each figure with its goal and "ok" or
"short", and ends with the number of goals missed. Figures depend on the machine and its load: no test.

Delay of a result is counted in the browser from the report's arrival at the socket to the frame after its
digits stand in the page; what lies before it is the loopback. First paint is first contentful paint (W3C Paint
Timing), long tasks are those of the W3C Long Tasks API (50 ms and more).
"""

import os
import signal
import socket
import subprocess
import sys
import tempfile
import time
import urllib.request
from pathlib import Path

from webdriver import Browser

PAGES = ["/", "/lesson", "/shelf", "/rig"]
SIZE = (1920, 1080)
REPLAY_S = 10
SETTLE_S = 4
PATIENCE_S = 30
PAINT = "return performance.getEntriesByName('first-contentful-paint')[0]?.startTime ?? null;"
# Headers and body of the page and of everything that it asked for.
BYTES = """
const all = [...performance.getEntriesByType("navigation"), ...performance.getEntriesByType("resource")];
return all.reduce((sum, entry) => sum + entry.transferSize, 0);
"""
# Set before the page's own scripts: when each report came, and when the head speed that it changed was painted.
WATCH_RESULT = """
window.results = [];
const Plain = WebSocket;
window.WebSocket = class extends Plain {
  constructor(...given) {
    super(...given);
    this.addEventListener("message", ({ data }) => {
      if (!data.includes('"type":"swing"')) return;
      const { id, revision } = JSON.parse(data);
      const came = performance.now();
      // The page's own listener runs before the next frame; the one after that frame has been painted.
      if (revision === 1) requestAnimationFrame(() => requestAnimationFrame(() => results.push({ id, ms: performance.now() - came, digits: document.querySelector("#speed .digits").textContent })));
    });
  }
};
"""
WATCH_FRAMES = """
window.frames_ = [];
window.long_ = [];
new PerformanceObserver((list) => long_.push(...list.getEntries().map((e) => e.duration))).observe({ entryTypes: ["longtask"] });
// What the page's own frames cost, whatever else the machine does.
window.work_ = [];
const plain = requestAnimationFrame;
window.requestAnimationFrame = (call) => plain((now) => {
  const began = performance.now();
  call(now);
  work_.push(performance.now() - began);
});
let last = null;
const tick = (now) => {
  if (last !== null) frames_.push(now - last);
  last = now;
  plain(tick);
};
plain(tick);
"""
STATE = "return document.getElementById('state').textContent.trim();"
DIGITS = "return document.querySelector('#speed .digits').textContent;"


def main(program, static=None):
    pages = ["--static", static] if static else []
    short = []

    def row(what, value, unit, goal):
        fine = value is not None and value <= goal
        said = "—" if value is None else f"{value:.4g}"
        print(f"{what:<52} {said:>9} {unit:<5} goal {goal:g} {unit:<5} {'ok' if fine else 'short'}", flush=True)
        if not fine:
            short.append(what)

    port = free_port()
    demo = [program, "demo", "--http", f"127.0.0.1:{port}", *pages]
    with Running(demo, port) as bay, Browser(*SIZE) as browser:
        url = f"http://127.0.0.1:{port}"
        wait(lambda: b'"id"' in fetch(f"{url}/api/v1/bays/north/swings"), "a swing")
        browser.cdp("Network.enable", {})
        browser.cdp("Network.setCacheDisabled", {"cacheDisabled": True})
        for path in PAGES:
            browser.open(url + path)
            time.sleep(SETTLE_S)
            row(f"first paint of {path}", browser.run(PAINT), "ms", 1000)
            row(f"transferred by {path} in {SETTLE_S} s", browser.run(BYTES) / 1e6, "MB", 1.5)
        browser.cdp("Page.addScriptToEvaluateOnNewDocument", {"source": WATCH_RESULT})
        browser.open(url)
        wait(lambda: len(browser.run("return results;")) >= 3, "three results")
        row("result on the Bay after its report, slowest of three", max(r["ms"] for r in browser.run("return results;")), "ms", 1000)
        bay.kill()
        row("no signal after a kill", seconds(lambda: browser.run(STATE) == "no signal"), "s", 2)
        with Running(demo, port):
            row("back by itself after the daemon answers", seconds(lambda: browser.run(STATE) != "no signal"), "s", 5)
    replay(program, pages, row)
    print(f"{len(short)} short" + (f": {', '.join(short)}" if short else ""))


def replay(program, pages, row):
    """A swing of 1000 frames a second on the Bay."""
    with tempfile.TemporaryDirectory() as folder:
        subprocess.run([program, "synthesize", "--rate", "1000", "--seed", "3", "--out", folder], check=True, capture_output=True)
        http, udp = free_port(), free_port()
        serve = [program, "serve", "--udp", f"127.0.0.1:{udp}", "--http", f"127.0.0.1:{http}", "--markers", "whin_32", *pages]
        with Running(serve, http), Browser(*SIZE) as browser:
            browser.open(f"http://127.0.0.1:{http}/")
            take = str(Path(folder) / "take.c3d")
            subprocess.run([program, "send", take, "--to", f"127.0.0.1:{udp}", "--markers", "whin_32"], check=True, capture_output=True)
            wait(lambda: browser.run(DIGITS) != "—", "the swing")
            time.sleep(2)
            browser.run(WATCH_FRAMES)
            time.sleep(REPLAY_S)
            frames, long, work = browser.run("return [frames_, long_, work_];")
    frames, work = sorted(frames[5:]), sorted(work)
    row("replay, median work of the page's script a frame", work[len(work) // 2], "ms", 8)
    row("replay, median time between frames", frames[len(frames) // 2], "ms", 17)
    row("replay, 99 of 100 frames within", frames[int(0.99 * len(frames))], "ms", 34)
    row(f"replay, long tasks in {REPLAY_S} s", float(len(long)), "", 0)
    if long:
        print("   the longest:", f"{max(long):.0f} ms")


class Running:
    """A program of ours that answers at a port; ended with its owner."""

    def __init__(self, command, port):
        self.command, self.port = command, port

    def __enter__(self):
        self.child = subprocess.Popen(self.command, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
        wait(lambda: fetch(f"http://127.0.0.1:{self.port}/healthz") is not None, "the daemon")
        return self

    def kill(self):
        os.kill(self.child.pid, signal.SIGKILL)
        self.child.wait()

    def __exit__(self, *_):
        if self.child.poll() is None:
            self.child.terminate()
            self.child.wait(20)


def fetch(address):
    opener = urllib.request.build_opener(urllib.request.ProxyHandler({}))
    try:
        with opener.open(address, timeout=5) as answer:
            return answer.read()
    except OSError:
        return None


def free_port():
    with socket.socket() as taken:
        taken.bind(("127.0.0.1", 0))
        return taken.getsockname()[1]


def wait(wanted, what):
    if seconds(wanted) is None:
        raise SystemExit(f"{what} did not come in {PATIENCE_S} s")


def seconds(wanted):
    """How long it took, or nothing when it did not come."""
    start = time.monotonic()
    while time.monotonic() - start < PATIENCE_S:
        if wanted():
            return time.monotonic() - start
        time.sleep(0.02)
    return None


if __name__ == "__main__":
    main(*sys.argv[1:])
