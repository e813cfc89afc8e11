"""A left-handed student's lesson on every page at every size: everywhere.py URL AXE_JS

URL is the demo, where somebody keeps hitting; AXE_JS the file of axe-core. A short lesson of the left-handed
student is set up through the API. Then each page is opened once and looked at on a wall, a desk, a phone and a
tablet, there in the dark as well: nothing says right-handed or has the target on the wrong side, no figure or curve is
blank, nothing is wider than the screen, axe-core finds no serious violation, the console is quiet. Where the
target is follows from the student's side alone: seen face on, a left-handed golfer's lead foot, and so the
target, are on the left. A moment of a shot is chosen on the Lesson page and compared with the API's curve.
Prints one JSON object: {"ok", "failures": [...], "seen": {...}}.
"""

import json
import sys
import time

from bay import quiet
from lesson_bay import Api
from pages import AXE, WIDE
from webdriver import Browser

PATIENCE_S = 15
STUDENT = "Ivo Brandt"
METRIC, EVENT, SIGNAL = "pelvis_rotation@top", "top", "pelvis_rotation"
SIZES = {"wall": (1920, 1080), "desk": (1280, 800), "phone": (390, 844), "tablet": (820, 1180)}
# Dark changes colors and no places: one size of it is enough.
DARK = ["tablet"]
WRONG = ["right-handed", "target →"]
# Figures, curves and plans cover more than this share of their canvas with something.
LEAST_INK = 0.002
# Where a canvas has words, the last of each is kept: (the words' middle).
WORDS = """
const plain = CanvasRenderingContext2D.prototype.fillText;
CanvasRenderingContext2D.prototype.fillText = function (text, x, y, ...rest) {
  const wide = this.measureText(text).width * { left: 0.5, start: 0.5, right: -0.5, end: -0.5, center: 0 }[this.textAlign];
  (this.canvas.said ??= {})[text] = x + wide;
  return plain.call(this, text, x, y, ...rest);
};
"""
# Every canvas in sight: what share differs from its own commonest color, and where its words are.
CANVASES = """
return [...document.querySelectorAll("canvas")].filter((c) => c.getClientRects().length && c.width > 1 && c.height > 1).map((canvas) => {
  // Half as wide and high is as good for that, and read in a quarter of the time.
  const [wide, high] = [Math.ceil(canvas.width / 2), Math.ceil(canvas.height / 2)];
  const copy = new OffscreenCanvas(wide, high).getContext("2d", { willReadFrequently: true });
  copy.drawImage(canvas, 0, 0, wide, high);
  const { data } = copy.getImageData(0, 0, wide, high);
  const counts = new Uint32Array(1 << 16);
  for (let i = 0; i < data.length; i += 4) {
    const color = data[i + 3] < 8 ? 0 : (data[i + 3] >> 4) * 4096 + (data[i] >> 4) * 256 + (data[i + 1] >> 4) * 16 + (data[i + 2] >> 4);
    counts[color] += 1;
  }
  return { name: canvas.getAttribute("aria-label") ?? "", ink: 1 - (4 * counts.reduce((most, n) => Math.max(most, n))) / data.length, said: canvas.said ?? {} };
});
"""
ALL_WORDS = """
const labels = [...document.querySelectorAll("[aria-label]")].filter((n) => n.getClientRects().length).map((n) => n.getAttribute("aria-label"));
return [document.body.innerText, ...labels].join("\\n");
"""
CLICK = "const found = [...document.querySelectorAll(arguments[0])].find((n) => n.getClientRects().length && n.textContent.trim().startsWith(arguments[1])); found?.click(); return Boolean(found);"
MOMENT = "const m = document.querySelector('.moment'); return m ? { event: m.dataset.event ?? '', swing: m.dataset.swing ?? '', said: m.querySelector('.said')?.textContent ?? '', words: m.innerText } : null;"


def main(url, axe_file):
    with open(axe_file, encoding="utf-8") as file:
        axe = file.read()
    api = Api(url.rstrip("/") + "/api/v1")
    shots = a_lesson(api)
    failures, seen = [], {}
    with Browser(*SIZES["desk"]) as browser:
        look = Look(browser, axe, failures, seen)
        browser.cdp("Page.addScriptToEvaluateOnNewDocument", {"source": WORDS})
        session = api.lesson()["seat"]["session"]
        look.page("Bay", url, "Ivo Brandt\n", ["← target", "lead side (right)", "trail side (left)", "left-handed"], figures=2)
        look.page("Lesson", url + "lesson", "Shot", ["left-handed"], prepare=lambda: a_moment(look, api))
        look.page("Shelf", f"{url}shelf?a=swing:{shots[1]}&b=swing:{shots[0]}", "95 % interval", ["← target", "left-handed"], figures=2)
        look.page("report", f"{url}shelf?report={session}", STUDENT, ["← target"])
        look.page("Rig", url + "rig", "Known weight", ["← target"])
        failures += quiet(browser, url)
    print(json.dumps({"ok": not failures, "failures": failures, "seen": seen}, ensure_ascii=False))


def a_lesson(api):
    """A baseline of two shots of the student, who stays; the shots, newest first."""
    student = next(s for s in api.call("GET", "/students")["students"] if s["name"] == STUDENT)
    club = student["clubs"][0]["id"]
    api.patiently("PUT", f"/bays/{api.bay}/seat", {"mode": "student", "student": student["id"], "club": club})
    api.enter({"club": club}, "focus", [METRIC])
    api.block("baseline")
    end = time.monotonic() + 3 * PATIENCE_S
    while True:
        # Who stood there before may have been in the middle of a swing.
        own = [s["swing"] for s in api.lesson()["shots"] if s["handed"] == "left" and s["kind"] == "shot"]
        if len(own) >= 2:
            return own
        if time.monotonic() > end:
            raise SystemExit("nobody hits in the lesson")
        time.sleep(0.1)


def a_moment(look, api):
    """More of the newest shot, its moment at the top; what is said there against the API's curve."""
    if look.browser.run(MOMENT) is None:
        look.until("the shots", lambda: look.browser.run(CLICK, "#tabs button", "Shots"))
        # A tap right after a new shot is not taken, so it is tapped until it opens.
        look.until("a shot that opens", lambda: look.browser.run(MOMENT) or (look.browser.run(CLICK, "#last button", "More") and look.browser.run(MOMENT)))
        look.until("the moment of a shot", lambda: "face on" in (look.browser.run(MOMENT) or {}).get("words", ""))
    look.until("the top chosen", lambda: (look.browser.run(MOMENT) or {}).get("said") or not look.browser.run(CLICK, ".moment button", "top"))
    moment = look.browser.run(MOMENT)
    curves = api.call("GET", f"/swings/{moment['swing']}/curves?signals={SIGNAL}")
    values, rate, start = curves["signals"][0]["values"], curves["rate_hz"], curves["start_s"]
    due = values[round((curves["events"][EVENT] - start) * rate)]
    said = float(moment["said"].replace("−", "-").replace("°", "")) if moment["said"] else None
    if moment["event"] != EVENT or said is None or abs(said - due) > 1.01:
        look.failures.append(f"Lesson: the moment says {moment}, the curve {due:.2f}")
    if "← target" not in moment["words"]:
        look.failures.append(f"Lesson: the moment's picture has no target on the left: {moment['words']!r}")


class Look:
    """A person's eyes on a page, at all sizes."""

    def __init__(self, browser, axe, failures, seen):
        self.browser, self.axe, self.failures, self.seen = browser, axe, failures, seen

    def page(self, name, address, until, words, figures=0, prepare=None):
        # Figures that stand still leave the browser free for what is asked of it; bay.py looks at moving ones.
        self.browser.prefer(prefers_color_scheme="light", prefers_reduced_motion="reduce")
        self.browser.resize(*SIZES["tablet"])
        self.browser.open(address)
        self.until(f"{until!r} on {name}", lambda: until.strip() in self.browser.run(ALL_WORDS))
        self.until(f"{words} on {name}", lambda: all(w in self.browser.run(ALL_WORDS) for w in words))
        self.browser.run(self.axe)
        if prepare:
            prepare()
        for scheme, sizes in (("light", SIZES), ("dark", DARK)):
            self.browser.prefer(prefers_color_scheme=scheme, prefers_reduced_motion="reduce")
            for size in sizes:
                self.browser.resize(*SIZES[size])
                self.at(f"{name}, {size}, {scheme}", figures)
            found = self.browser.run(AXE)
            self.seen[f"{name} {scheme}"] = found["checked"]
            self.failures += [f"{name}, {scheme}: {bad}" for bad in found["bad"]]

    def at(self, where, figures):
        # Reading every pixel takes a while: what was read last is what is judged.
        canvases = []
        def drawn_all():
            canvases[:] = self.browser.run(CANVASES)
            return all(c["ink"] > LEAST_INK for c in canvases)
        try:
            self.until("every canvas drawn", drawn_all)
        except Lost:
            blank = [c["name"] for c in canvases if c["ink"] <= LEAST_INK]
            self.failures.append(f"{where}: blank: {blank}")
        drawn = [c for c in canvases if "lead" in c["said"] and "trail" in c["said"] and "from above" not in c["name"]]
        if figures and not drawn:
            self.failures.append(f"{where}: no figure names its feet")
        self.failures += [f"{where}: the lead foot is right of the trail foot in {c['name']!r}" for c in drawn if c["said"]["lead"] >= c["said"]["trail"]]
        text = self.browser.run(ALL_WORDS)
        self.failures += [f"{where}: says {wrong!r}" for wrong in WRONG if wrong in text]
        beyond = self.browser.run(WIDE)
        if beyond > 0:
            self.failures.append(f"{where}: {beyond} px wider than the screen")

    def until(self, what, probe):
        end = time.monotonic() + PATIENCE_S
        while not probe():
            if time.monotonic() > end:
                raise Lost(f"never seen: {what}; the page says {self.browser.run(ALL_WORDS)[:500]!r}")
            time.sleep(0.05)


class Lost(Exception):
    """A state that never came."""


if __name__ == "__main__":
    main(*sys.argv[1:])
