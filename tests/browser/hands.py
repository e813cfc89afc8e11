"""What hands do to the pages: hands.py URL

URL is the demo, where somebody keeps hitting. Numbers are typed with a comma and absurdly; a club is weighed,
swung and filed on the Rig page; the Shelf's camera is dragged, pinched and moved by keys, and the golfer stays in
the picture with words that do not lie over each other; who works with keys keeps their place on the Lesson page while
it is painted anew, and reaches the third bay of a hall. Prints one JSON object: {"ok", "failures": [...]}.
"""

import json
import math
import sys

from bay import quiet
from lesson_bay import Api
from look import Look
from webdriver import Browser

DESK, PHONE, TABLET = (1280, 800), (390, 844), (820, 1180)
# A page at twice its size on a small desk.
LOW = (640, 400)
# Keys by WebDriver's code points.
TAB, ENTER, HOME, LEFT, UP, RIGHT, DOWN = "\ue004", "\ue007", "\ue011", "\ue012", "\ue013", "\ue014", "\ue015"
# What is written on a canvas since it was cleared, as boxes.
WORDS = """
const { fillText, clearRect } = CanvasRenderingContext2D.prototype;
CanvasRenderingContext2D.prototype.clearRect = function (...box) {
  this.canvas.said = [];
  return clearRect.apply(this, box);
};
CanvasRenderingContext2D.prototype.fillText = function (text, x, y, ...rest) {
  const size = Number.parseFloat(/([\\d.]+)px/.exec(this.font)[1]);
  const wide = this.measureText(text).width;
  const left = x - wide * { left: 0, start: 0, right: 1, end: 1, center: 0.5 }[this.textAlign];
  const top = y - size * ({ top: 0, middle: 0.5 }[this.textBaseline] ?? 1);
  this.canvas.said?.push({ text, left, right: left + wide, top, bottom: top + size });
  return fillText.call(this, text, x, y, ...rest);
};
"""
# A hall of three bays with long names, of which the first is this one.
HALL = """
const ask = window.fetch;
window.fetch = async (url, options) => {
  const answer = await ask(url, options);
  if (new URL(url, location.href).pathname !== "/api/v1/bays") return answer;
  const { bays: [bay] } = await answer.json();
  const named = ["upper practice hall by the old coach house, North", "lower practice hall with the long wall, South", "third"];
  const bays = named.map((name, n) => ({ ...bay, id: n ? `bay-${n + 1}` : bay.id, name: `Practice hall of the county, ${name}` }));
  return new Response(JSON.stringify({ bays }), { headers: { "content-type": "application/json" } });
};
"""
PANES = """
return [...document.querySelectorAll(".pane canvas")].map((c) => ({ wide: c.clientWidth, high: c.clientHeight, said: c.said ?? [],
  caption: c.parentElement.querySelector("figcaption").textContent }));
"""
# Boxes of the large figures of the wizards, and of the sections around them.
FIGURES = """
const box = (n) => { const range = document.createRange(); range.selectNodeContents(n); const { left, right, top, bottom } = range.getBoundingClientRect(); return { text: n.textContent, left, right, top, bottom }; };
return [...document.querySelectorAll(".figures b")].map((b) => ({ ...box(b), most: b.closest("section").getBoundingClientRect().right }));
"""
PRESS = "const b = [...document.querySelectorAll(arguments[0])].find((b) => b.textContent.trim() === arguments[1]); b?.click(); return Boolean(b);"
MIDDLE = "const { left, top, width, height } = document.querySelector(arguments[0]).getBoundingClientRect(); return [left + width / 2, top + height / 2];"
KEYBOARD = "return document.activeElement.textContent.trim();"
WIDE = "return document.documentElement.scrollWidth - innerWidth;"


def main(url):
    api = Api(url.rstrip("/") + "/api/v1")
    failures = []
    with Browser(*DESK) as browser:
        look = Hands(browser, failures)
        browser.prefer(prefers_reduced_motion="reduce")
        browser.cdp("Page.addScriptToEvaluateOnNewDocument", {"source": WORDS + HALL})
        for part in (numbers, a_club, camera, keyboard, bays):
            part(look, url, api)
    print(json.dumps({"ok": not failures, "failures": failures}, ensure_ascii=False))


class Hands(Look):
    """A person's eyes and hands, and what they miss."""

    def text(self, selector):
        return self.browser.run("return document.querySelector(arguments[0])?.innerText ?? '';", selector)

    def type(self, selector, text):
        self.browser.run("const f = document.querySelector(arguments[0]); f.focus(); f.select();", selector)
        self.browser.keys(text)

    def says(self, selector, *words):
        self.until(lambda: all(w in self.text(selector) for w in words), lambda: f"{selector} lacks {words}: {self.text(selector)!r}")


def numbers(look, url, _):
    look.browser.open(url + "rig")
    look.until(lambda: "plate 1" in look.text("#load select"), "no plates to weigh on")
    # 20.5 kg × 9.80665 m/s² (standard gravity, 3rd CGPM) = 201.036 N; what is typed with a comma is the same.
    for typed, words in [("20,5", "201.0 N"), ("20.5", "201.0 N"), ("99999", "not between 1 and 300"), ("abc", "no number"), ("1,000.5", "no number")]:
        look.type("#load input", typed)
        look.says("#load", words)
    look.type("#length input", "935,2")
    # 0.5 % of it.
    look.says("#length", "± 4.7 mm")
    look.type("#length input", "0")
    look.says("#length", "not between 1 and 3000")


def a_club(look, url, api):
    """320.5 g that swing 20 times in 36.5 s about a pin 500 mm from the balance point."""
    for name, text in {"mass": "3205", "balance": "780", "pivot": "500", "time": "36,5"}.items():
        look.type(f'#club [name="{name}"]', text)
    look.says("#club .said", "mass, g: 3205 is not between 100 and 1000")
    look.type('#club [name="mass"]', "320,5")
    # A physical pendulum and the parallel-axis theorem (any textbook of mechanics).
    inertia = 0.3205 * 9.80665 * 0.5 * (36.5 / 20) ** 2 / (4 * math.pi**2) - 0.3205 * 0.5**2
    look.says("#club", f"{inertia:.4f} kg m²", "1.825 s", "choose the student and name the club")
    look.browser.resize(*PHONE)
    boxes = look.browser.run(FIGURES)
    over = [(a["text"], b["text"]) for a, b in pairs(boxes) if overlap(a, b)] + [a["text"] for a in boxes if a["right"] > a["most"]]
    look.check(not over, f"on a phone figures run into each other or out of their card: {over}")
    look.browser.resize(*DESK)
    student = api.call("GET", "/students")["students"][0]
    look.type('#club [name="name"]', "weighed club")
    look.browser.run("const s = document.querySelector('#club select'); s.value = arguments[0]; s.dispatchEvent(new Event('input'));", student["id"])
    look.until(lambda: look.browser.run(PRESS, "#club button:not(:disabled)", "Put on file"), "the club cannot be filed")
    look.says("#club .filed", "weighed club is on file", student["name"])
    filed = [c for s in api.call("GET", "/students")["students"] if s["id"] == student["id"] for c in s["clubs"] if c["name"] == "weighed club"]
    look.check(len(filed) == 1 and abs(filed[0]["inertia_kg_m2"] - inertia) < 1e-6 and abs(filed[0]["mass_kg"] - 0.3205) < 1e-9, f"on file is {filed}")
    look.check(look.browser.run("return document.querySelector('#club [name=\"mass\"]').value") == "", "the wizard is not ready for the next club")


def camera(look, url, api):
    kept = lambda: api.call("GET", "/swings?kind=shot")["swings"]
    look.until(lambda: len(kept()) >= 2, "no two shots on file")
    a, b = [swing["id"] for swing in kept()[:2]]
    look.browser.open(f"{url}shelf?a=swing:{a}&b=swing:{b}")
    if not look.until(lambda: len(look.browser.run(PANES)) == 2 and all(p["said"] for p in look.browser.run(PANES)), "no two golfers are shown"):
        return
    look.browser.run("document.getElementById('stages').scrollIntoView();")
    canvas = ".pane canvas"
    for event in ("address", "impact"):
        look.browser.run("document.querySelector(`.event[data-side='a'][data-event='${arguments[0]}']`)?.click();", event)
        for preset in ("above", "along the line"):
            look.browser.run(PRESS, ".cameras button", preset)
            x, y = look.browser.run(MIDDLE, canvas)
            # Down to the golfer's eyes and around.
            for to in [(x, y - 120), (x + 90, y - 90), (x - 110, y)]:
                look.browser.point(x, y, to=to)
                whole(look, f"{event}, from {preset} by hand to {to}")
    look.browser.run("document.querySelector(arguments[0]).focus();", canvas)
    for key in UP + 3 * LEFT + 5 * RIGHT + 4 * DOWN:
        look.browser.keys(key)
        whole(look, f"key {key!r}")
    captions = lambda: [p["caption"] for p in look.browser.run(PANES)]
    look.browser.keys("+++")
    look.until(lambda: all(c.endswith("2.0×") for c in captions()), lambda: f"three times + reads {captions()}")
    look.browser.keys(HOME)
    look.until(lambda: all(c.startswith("face on") and "×" not in c for c in captions()), lambda: f"Home reads {captions()}")
    look.browser.touch()
    x, y = look.browser.run(MIDDLE, canvas)
    pinch(look.browser, x, y)
    look.until(lambda: all("×" in c for c in captions()), lambda: f"after a pinch: {captions()}")
    look.check(look.browser.run("return visualViewport.scale") == 1, "a pinch enlarges the page too")
    look.browser.run(PRESS, ".cameras button", "face on")
    look.until(lambda: all("×" not in c for c in captions()), lambda: f"a preset leaves {captions()}")
    look.failures += quiet(look.browser, url)


def whole(look, where):
    """Words at the feet are inside the picture where there are any, and none lies over another."""
    for pane in look.browser.run(PANES):
        said = pane["said"]
        out = [w["text"] for w in said if w["text"] in ("lead", "trail") and not (w["left"] >= -1 and w["right"] <= pane["wide"] + 1 and w["top"] >= 0 and w["top"] <= pane["high"])]
        over = [(a["text"], b["text"]) for a, b in pairs(said) if a["text"] != b["text"] and overlap(a, b) and "%" in a["text"] + b["text"]]
        look.check(not out, f"{where}: {out} is out of the picture")
        look.check(not over, f"{where}: {over} lie over each other")


def pinch(browser, x, y):
    """Two fingers go apart, side by side."""
    finger = lambda n, way: {"type": "pointer", "id": f"finger-{n}", "parameters": {"pointerType": "touch"}, "actions": [
        {"type": "pointerMove", "duration": 0, "x": round(x + 15 * way), "y": round(y)}, {"type": "pointerDown", "button": 0},
        *[{"type": "pointerMove", "duration": 40, "x": round(x + (15 + 12 * k) * way), "y": round(y)} for k in (1, 2, 3)], {"type": "pointerUp", "button": 0}]}
    browser._do("POST", "actions", {"actions": [finger(0, -1), finger(1, 1)]})


def keyboard(look, url, _):
    look.browser.open(url + "lesson")
    state = lambda: look.text("#top .state")
    look.until(lambda: state() not in ("", "no signal"), "the Lesson page hears nothing")
    look.browser.keys(TAB + TAB)
    look.check(look.browser.run(KEYBOARD) == "Bay", f"the second Tab goes to {look.browser.run(KEYBOARD)!r}")
    for _ in range(2):
        was = state()
        look.until(lambda was=was: state() not in (was, ""), "the bay's state stays")
    look.check(look.browser.run(KEYBOARD) == "Bay", f"the keyboard's place is lost when the page is painted anew: {look.browser.run(KEYBOARD)[:40]!r}")
    look.browser.resize(*LOW)
    room = look.browser.run("return document.querySelector('main').getBoundingClientRect().height")
    look.check(room > 150, f"on a low screen {room} px are left for the lesson")
    look.browser.open(url + "shelf")
    look.until(lambda: look.browser.run("return Boolean(document.querySelector('#top:not([hidden]) .skip'))"), "the Shelf has no way past its lists")
    look.browser.keys(TAB)
    look.check(look.browser.run(KEYBOARD) == "To the swings", f"the Shelf's first Tab goes to {look.browser.run(KEYBOARD)!r}")


def bays(look, url, _):
    for page in ("lesson", "shelf", "rig"):
        for size in (PHONE, TABLET):
            look.browser.resize(*size)
            look.browser.open(url + page)
            look.until(lambda: look.browser.run("return Boolean(document.querySelector('select.bays'))"), f"{page} offers no bays")
            beyond = look.browser.run(WIDE)
            look.check(beyond <= 0, f"{page}, {size[0]} px with long names of bays: {beyond} px wider than the screen")
        look.browser.run("document.querySelector('select.bays').focus();")
        look.browser.keys(DOWN + DOWN)
        here = look.browser.run("return [location.search, document.querySelector('select.bays')?.value]")
        look.check(here == ["", "bay-3"], f"{page}: two steps down the bays lead to {here}")
    look.failures += quiet(look.browser, url)
    look.browser.keys(ENTER)
    look.until(lambda: look.browser.run("return location.search") == "?bay=bay-3", "Enter does not go over to the bay")


def pairs(things):
    return [(a, b) for n, a in enumerate(things) for b in things[n + 1:]]


def overlap(a, b):
    """By more than a hair."""
    return min(a["right"], b["right"]) - max(a["left"], b["left"]) > 1.5 and min(a["bottom"], b["bottom"]) - max(a["top"], b["top"]) > 1.5


if __name__ == "__main__":
    main(sys.argv[1])
