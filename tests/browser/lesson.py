"""Teaches a lesson on the Lesson page as a coach would: lesson.py URL

A bay must be hit in all the while. Prints one JSON object: {"ok", "failures": [...], "seen": {...}}. What
the page must show is taken from the API and from the page's own scale (its ticks), not from its code.
"""

import io
import json
import sys
import time
import urllib.request
from urllib.parse import urljoin

import pypdf
from bay import quiet
from webdriver import Browser

SIZES = [("tablet", 820, 1180, "touch"), ("desk", 1280, 800, "mouse")]
PATIENCE_S = 10
LEAST_TOUCH = 48
FOCUS = "pelvis_shift@takeaway_end"
EDGE_PX = 3
# ISO 216, cm.
A4 = (21.0, 29.7)

# The middle of what is named, scrolled into sight, and whether a finger there would hit it.
FIND = """
const [selector, words] = arguments;
const says = (n) => (n.getAttribute("aria-label") ?? n.innerText).trim();
const named = [...document.querySelectorAll(selector)].filter((n) => n.offsetParent && (!words || says(n).startsWith(words) || n.innerText.trim().startsWith(words)));
const node = named[0];
if (!node) return null;
node.scrollIntoView({ block: "center" });
const box = node.getBoundingClientRect();
const [x, y] = [box.left + box.width / 2, box.top + box.height / 2];
const hit = document.elementFromPoint(x, y);
return { x, y, hit: Boolean(hit) && (node === hit || node.contains(hit)) };
"""
SHOWN = """
const node = document.querySelector(arguments[0]);
return node && node.offsetParent ? node.innerText : "";
"""
# Whatever is tapped and smaller than a finger, and what sticks out of the page.
SMALL = """
const tapped = [...document.querySelectorAll("button, a, input, summary")].filter((n) => n.offsetParent);
const small = tapped.map((n) => [n, n.getBoundingClientRect()]).filter(([, b]) => b.width < arguments[0] - 0.5 || b.height < arguments[0] - 0.5);
const out = document.documentElement.scrollWidth > innerWidth ? ["the page is wider than the screen"] : [];
return [...out, ...small.map(([n, b]) => `${n.innerText || n.tagName} is ${Math.round(b.width)} x ${Math.round(b.height)}`)];
"""
# The ruler as a person reads it: ticks with numbers, the bracket, the grips.
RULER = """
const ruler = document.querySelector(`.bandruler[data-metric="${arguments[0]}"]`);
if (!ruler) return null;
const number = (n) => Number(n.innerText.replace("−", "-"));
const left = (n) => n.getBoundingClientRect().left;
const bracket = ruler.querySelector(".bracket").getBoundingClientRect();
return {
  ticks: [...ruler.querySelectorAll(".tick")].map((t) => [left(t), number(t)]),
  bracket: [bracket.left, bracket.right],
  grips: Object.fromEntries([...ruler.querySelectorAll(".grip")].map((g) => [g.querySelector(".word").innerText, number(g.querySelector("b"))])),
  dots: [...ruler.querySelectorAll(".dot")].map((d) => { const b = d.getBoundingClientRect(); return b.left + b.width / 2; }),
  inside: ruler.querySelector(".inside").innerText,
};
"""


class Lesson:
    """The page in a browser beside what the API says."""

    def __init__(self, browser, url, hand):
        self.browser, self.url, self.hand = browser, url, hand
        self.failures = []

    def api(self, path="bays/north/lesson"):
        opener = urllib.request.build_opener(urllib.request.ProxyHandler({}))
        with opener.open(urljoin(self.url, f"/api/v1/{path}"), timeout=10) as answer:
            return json.load(answer)

    def until(self, what, probe):
        """What `probe` gives once it is true; a failure when patience ends."""
        end = time.monotonic() + PATIENCE_S
        while True:
            found = probe()
            if found:
                return found
            if time.monotonic() > end:
                raise Lost(f"never seen: {what}; the page shows {self.browser.run('return document.body.innerText')[:600]!r}")
            time.sleep(0.05)

    def rest(self, selector, words=""):
        """Where something can be touched once it has come to rest: the page paints anew a moment after each touch and
        with each shot, which moves what is below."""
        seen = []

        def reachable():
            found = self.browser.run(FIND, selector, words)
            seen.append(found)
            return found if found and found["hit"] and seen[-2:] == [found, found] else None
        return self.until(f"{words or selector}, where a finger can reach it", reachable)

    def tap(self, selector, words=""):
        place = self.rest(selector, words)
        self.browser.point(place["x"], place["y"], kind=self.hand)

    def type(self, words, text):
        self.tap("label.field input", "") if not words else self.tap(f"input[data-k='{words}']")
        self.browser.keys(text)

    def shows(self, selector, *words):
        self.until(f"{words} in {selector}", lambda: all(w in self.browser.run(SHOWN, selector) for w in words))

    def gone(self, selector, words):
        self.until(f"{words!r} gone from {selector}", lambda: words not in self.browser.run(SHOWN, selector))

    def expect(self, holds, complaint):
        if not holds:
            self.failures.append(complaint)

    def fits(self, where):
        self.failures += [f"{where}: {small}" for small in self.browser.run(SMALL, LEAST_TOUCH)]


class Lost(Exception):
    """A state that never came."""


def main(url, sizes=SIZES):
    failures, seen = [], {}
    for name, width, height, hand in sizes:
        with Browser(width, height) as browser:
            if hand == "touch":
                browser.touch()
            browser.open(url)
            lesson = Lesson(browser, url, hand)
            start = time.monotonic()
            try:
                walk(lesson, f"Wren {name.title()}")
            except Lost as lost:
                lesson.failures.append(str(lost))
            seen[name] = round(time.monotonic() - start, 1)
            failures += [f"{name}: {f}" for f in lesson.failures + quiet(browser, url)]
    print(json.dumps({"ok": not failures, "failures": failures, "seen": seen}, ensure_ascii=False))


def walk(lesson, student):
    enroll(lesson, student)
    baseline(lesson)
    if lesson.hand == "touch":
        guest(lesson, student)
    focus(lesson)
    band(lesson)
    exclude(lesson)
    check(lesson)
    if lesson.hand == "mouse":
        take_home(lesson, student)


def enroll(lesson, name):
    """A student with consent, a club, the check-in."""
    lesson.shows("#top", lesson.api()["seat"]["student"]["name"], "● recorded")
    lesson.tap("#tabs button", "Student")
    lesson.tap("#student button", "Another student")
    lesson.tap("#student button", "Add a student")
    lesson.type("name", name)
    lesson.type("born", "2012")
    lesson.shows("#student", "Guardian", "Nothing will be recorded")
    lesson.tap("input[data-k='born']")
    lesson.browser.keys("\ue003" * 4 + "1990")
    lesson.gone("#student", "guardian")
    lesson.tap("#student button", "right-handed")
    lesson.tap("#student button", "Consents to being measured")
    lesson.gone("#student", "Nothing will be recorded")
    lesson.fits("adding a student")
    lesson.tap("#student button", "Add student")
    lesson.shows("#top", name, "right-handed", "● recorded")
    lesson.shows("#student", "Consent on file: lesson", "Choose a club")
    lesson.tap("#student summary", "Add a club")
    lesson.type("club.name", "7-iron")
    lesson.tap("#student button", "Add club")
    lesson.shows("#top", name, "7-iron")
    seat = lesson.api()["seat"]
    lesson.expect(seat["student"]["name"] == name and seat["club"]["name"] == "7-iron", f"seated is {seat}")
    lesson.tap("#care button", "Warmed up, no pain")
    lesson.gone("#care", "warmed up?")
    lesson.shows("#undo", "Checked in")
    lesson.fits("student")


def baseline(lesson):
    lesson.tap("#block button", "Baseline")
    lesson.until("the baseline runs", lambda: (lesson.api()["block"] or {}).get("purpose") == "baseline")
    lesson.shows("#block .running", "Baseline")


def guest(lesson, student):
    """While a guest swings the lesson waits, and goes on in the same block."""
    block = lesson.api()["block"]["id"]
    lesson.tap("#student button", "Another student")
    lesson.tap("#student button", "Guest")
    lesson.shows("#block", f"Back to {student}", "nothing is kept")
    told = lesson.api()
    lesson.expect(told["seat"]["mode"] == "guest" and told["waiting"]["student"]["name"] == student, f"seated is {told['seat']}")
    lesson.fits("a guest")
    lesson.tap("#block button", "Back to")
    lesson.shows("#top", student, "● recorded")
    lesson.until("the same block goes on", lambda: (lesson.api()["block"] or {}).get("id") == block)


def focus(lesson):
    lesson.tap("#tabs button", "Focus")
    lesson.type("metric", "shift takeaway end")
    # What was suggested before is gone, what was searched for is there.
    lesson.gone("#focus .found", "knee")
    lesson.shows("#focus .found", "Head shift at takeaway end", "Pelvis shift at takeaway end")
    lesson.tap("#focus .found button", "Pelvis shift at takeaway end")
    lesson.shows(f"[data-metric='{FOCUS}']", "Pelvis shift at takeaway end", "Default: common practice")
    lesson.until("two shots behind the ruler", lambda: len((ruler(lesson) or {"dots": []})["dots"]) >= 2)
    on_the_scale(lesson)
    lesson.fits("focus")


def ruler(lesson):
    return lesson.browser.run(RULER, FOCUS)


def held(lesson):
    return lesson.api()["focus"][0]


def on_the_scale(lesson):
    """Band, grips and shots stand where the ticks say (centimeters; the API has meters)."""
    told, seen = held(lesson), ruler(lesson)
    (x0, v0), (x1, v1) = seen["ticks"][0], seen["ticks"][-1]
    place = lambda meters: x0 + (meters * 100 - v0) * (x1 - x0) / (v1 - v0)
    for edge, x in zip(("low", "high"), seen["bracket"]):
        due = told["band"][edge]
        lesson.expect(abs(seen["grips"][edge] - due * 100) < 0.051, f"{edge} reads {seen['grips'][edge]}, is {due} m")
        lesson.expect(abs(x - place(due)) < EDGE_PX, f"{edge} stands at {x:.0f} px, the ticks say {place(due):.0f}")
    known = [place(m["value"]) for m in told["marks"] if m["value"] is not None]
    missing = [x for x in known[1:] if min(abs(x - d) for d in seen["dots"]) > EDGE_PX]
    lesson.expect(not missing, f"no mark at {missing} px, marks at {seen['dots']}")


def drag(lesson, edge, pixels):
    """Drags a grip and waits until the API has what the grip then reads."""
    before = held(lesson)["band"][edge]
    place = lesson.rest(f".bandruler[data-metric='{FOCUS}'] .grip.{edge}")
    lesson.browser.point(place["x"], place["y"], to=(place["x"] + pixels, place["y"]), kind=lesson.hand)
    lesson.until(f"{edge} dragged from {before}", lambda: held(lesson)["band"][edge] != before)
    lesson.shows(f"[data-metric='{FOCUS}']", "Set by coach")
    lesson.until("the grip reads what holds", lambda: abs(ruler(lesson)["grips"][edge] - held(lesson)["band"][edge] * 100) < 0.051)
    on_the_scale(lesson)


def band(lesson):
    """High below every shot: the next one is high. Wide open again: the next one is in."""
    lesson.tap("#focus .row button", "aim")
    lesson.until("no aim", lambda: held(lesson)["band"]["aim"] is None)
    seen = ruler(lesson)
    if seen["bracket"][0] > min(seen["dots"]) - 80:
        drag(lesson, "low", min(seen["dots"]) - seen["bracket"][0] - 80)
        seen = ruler(lesson)
    drag(lesson, "high", min(seen["dots"]) - seen["bracket"][1] - 40)
    lesson.shows(f"[data-metric='{FOCUS}'] .inside", "0 of ")
    next_shot(lesson, "high", "▲ high")
    lesson.shows("#last .sentence", "is high by")
    seen = ruler(lesson)
    drag(lesson, "high", max(seen["dots"]) - seen["bracket"][1] + 60)
    next_shot(lesson, "in", "● in")
    seen = ruler(lesson)
    count, of = seen["inside"].split(" shots")[0].split(" of ")
    lesson.expect(count == of, f"all shots lie within, the ruler says {seen['inside']!r}")
    # Arrow keys move what a finger moves.
    before = held(lesson)["band"]["low"]
    lesson.browser.run("document.querySelector('.grip.low').focus()")
    lesson.browser.keys("\ue012\ue012")
    lesson.until("low moved by two steps of 0.5 cm", lambda: abs(held(lesson)["band"]["low"] - (before - 0.01)) < 1e-6)


def next_shot(lesson, verdict, words):
    """The newest shot that the API judges so is shown so, with its value."""
    def same():
        told = lesson.api()["shots"][0]
        mark = told["marks"][0]
        text = lesson.browser.run(SHOWN, f"#last [data-swing='{told['swing']}']")
        return mark["verdict"] == verdict and words in text and f"{abs(mark['value']) * 100:.1f} cm" in text
    lesson.until(f"a shot {words}", same)


def exclude(lesson):
    if lesson.browser.run("return getComputedStyle(document.querySelector('.tab.shots')).display !== 'none'"):
        lesson.tap("#tabs button", "Shots")
    # The newest may become the second under the finger: the one behind it stays where it is named.
    shot = lesson.until("two shots", lambda: (lesson.api()["shots"] + [None, None])[1])
    card = f"main [data-swing='{shot['swing']}']"
    number = lesson.browser.run(SHOWN, f"{card} h3")
    lesson.tap(f"{card} button", f"Exclude {number.lower()}")
    lesson.tap(f"{card} button", "mishit")
    lesson.shows(card, "✕ does not count: mishit")
    lesson.until("the count without it", lambda: counts(lesson))
    lesson.shows("#undo", f"{number}: does not count, mishit")
    lesson.tap("#undo button", "Undo")
    lesson.gone(card, "does not count")
    lesson.shows("#undo", "Taken back")
    lesson.until("the count with it", lambda: counts(lesson))
    lesson.expect(all(s["excluded"] is None for s in lesson.api()["shots"]), "a shot is still excluded")
    lesson.fits("shots")
    after_a_shot(lesson)
    lesson.tap(f"{card} button", "maximal")
    lesson.until("maximal effort", lambda: any(s["swing"] == shot["swing"] and s["effort"] == "maximal" for s in lesson.api()["shots"]))
    lesson.shows("#care", "1 of ")


def after_a_shot(lesson):
    """Until a new shot has come and stands on the page: none moves the list for a while."""
    before = lesson.api()["shots"][0]["swing"]
    newest = lesson.until("another shot", lambda: next((s["swing"] for s in lesson.api()["shots"][:1] if s["swing"] != before), None))
    lesson.until("it on the page", lambda: lesson.browser.run(SHOWN, f"#last [data-swing='{newest}']"))


def counts(lesson):
    """The block's count on the page is that of shots that count."""
    told = lesson.api()
    due = sum(s["excluded"] is None and s["kind"] in ("shot", "swing") for s in told["shots"])
    return told["block"]["shots"] == due and lesson.browser.run(SHOWN, "#block .count").startswith(f"{due} shot")


def check(lesson):
    lesson.tap("#block button", "Check")
    lesson.tap("#block button", "one shot less")
    lesson.shows("#block .plan", "9 shots")
    lesson.tap("#block button", "Begin check")
    lesson.shows("#block .running", "Check", " of 9", "the bay shows no judgement")
    told = lesson.api()
    lesson.expect(told["block"]["purpose"] == "check" and told["block"]["planned"] == 9 and not told["feedback"], f"the block is {told['block']}")
    lesson.tap("#tabs button", "Change")
    lesson.shows("#change", "Club head speed at impact", "block 1 against block 2")
    lesson.tap("#tabs button", "Leaks")
    lesson.shows("#leaks", "Rotation budget", "closed", "square", "open")
    lesson.fits("leaks")


def take_home(lesson, student):
    """At the desk afterwards: two blocks side by side on the Shelf, and the report on paper with its cautions."""
    told = lesson.api()
    # Counted at once, on the shelf when it is archived.
    lesson.until("a shot of the check on the shelf", lambda: lesson.api(f"blocks/{told['block']['id']}")["shot"])
    ours = [f"block:{b['id']}" for b in (told["blocks"][0], told["block"])]
    # Figures that stand still leave the browser free for what is asked of it.
    lesson.browser.reduce_motion()
    lesson.browser.open(urljoin(lesson.url, f"/shelf?a={ours[0]}&b={ours[1]}"))
    lesson.shows("#names", student, "baseline", "check")
    # What is said of so few shots is the API's business; that something is said is the page's.
    lesson.until("a sentence on the difference", lambda: lesson.browser.run(SHOWN, "#verdict"))
    lesson.browser.open(urljoin(lesson.url, f"/shelf?report={told['seat']['session']}"))
    lesson.shows("#report", student, "Pelvis shift at takeaway end")
    paper = pypdf.PdfReader(io.BytesIO(lesson.browser.print(*A4)))
    text = " ".join(page.extract_text() for page in paper.pages)
    lesson.expect(student in text and "Warm up" in text, f"the paper does not say who or lacks its cautions: {text[:200]!r}")


if __name__ == "__main__":
    main(sys.argv[1])
