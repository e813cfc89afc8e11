"""Walks a short lesson and looks at the bay screen meanwhile: lesson_bay.py URL FOLDER

URL is a bay with the demo's students and a golfer who keeps hitting. The lesson is set up through the
API as the coach's page does it: seat, limits, focus, bands, thresholds, baseline, practice, check. What
must be seen is worked out here from the API's numbers and LOOK's rules, not by the screen's own code.
Pictures go into FOLDER. Prints one JSON object: {"ok", "failures": [...]}.
"""

import json
import sys
import time
import urllib.error
import urllib.request

from bay import LEAST_INK, LOOK, quiet, rounded
from webdriver import Browser

PATIENCE_S = 20
SIZES = [(1920, 1080), (1280, 800)]
STUDENT, CLUB = "Ottoline Marsh", "7-iron"
SHIFT, SPARED, KNEE = FOCUS = ["pelvis_shift@takeaway_end", "pelvis_rotation@top", "knee_change.trail@top"]
NAMES = ["Pelvis shift at takeaway end", "Pelvis rotation at the top", "Trail knee change at the top"]
# The band of the shift reaches to address, so that the live number is long enough in it to be caught; the
# knee's lies where this golfer never is, so that there is a judgement beside "in".
BANDS = [{"metric": SHIFT, "low": -0.03, "aim": -0.02, "high": 0.004}, {"metric": KNEE, "high": -12.0}]
# Thresholds beyond what this golfer's knees do, so that there is a leak to be shown.
THRESHOLDS = [("legs_held_still", "trail_knee_loses", 9.0), ("legs_held_still", "lead_knee_gains", 1.6)]
VERDICTS = {"in": "● in", "low": "▼ low", "high": "▲ high", "not_judged": "○ not judged"}
# By unit of the report and choice of units: factor, decimals, unit on screen. 1 mile = 1609.344 m and
# 1 inch = 0.0254 m exactly.
SHOWN = {
    "metric": {"m": (100, 1, "cm"), "deg": (1, 0, "°"), "m/s": (1, 1, "m/s")},
    "imperial": {"m": (1 / 0.0254, 1, "in"), "deg": (1, 0, "°"), "m/s": (3600 / 1609.344, 1, "mph")},
}
WORDS = {SHIFT: ("away", "toward", "level"), SPARED: ("closed", "open", "square"),
         KNEE: ("straighter", "more bent", "unchanged")}

# Everything of the lesson that a person sees, in one go.
SEE = """
const shown = (node) => Boolean(node) && node.getClientRects().length > 0;
const text = (node, part) => { const found = part ? node.querySelector(part) : node; return shown(found) ? found.textContent.trim() : ""; };
const byId = (id) => document.getElementById(id);
const pen = document.createElement("canvas").getContext("2d");
const box = (node) => { const { left, right, top, bottom } = node.getBoundingClientRect(); return { left, right, top, bottom, middle: (left + right) / 2 }; };
function reading(node) {
  const style = getComputedStyle(node.querySelector(".digits"));
  pen.font = `${style.fontWeight} ${style.fontSize} ${style.fontFamily}`;
  const size = pen.measureText("0123456789");
  return { digits: text(node, ".digits"), unit: text(node, ".unit"), word: text(node, ".word"), name: text(node, ".name"),
    height: size.actualBoundingBoxAscent + size.actualBoundingBoxDescent, box: box(node),
    cut: [...node.querySelectorAll(".value, .name, .change, .verdict, .reason")].some((n) => n.getBoundingClientRect().right > node.getBoundingClientRect().right + 1) };
}
return {
  kind: document.body.dataset.lesson, student: text(byId("seat"), ".student"), details: text(byId("seat"), ".details"),
  block: text(byId("seat"), ".block"), recording: text(byId("recording")), sentence: text(byId("sentence")), calm: text(byId("calm")),
  speed: shown(byId("outcome")) ? { ...reading(byId("outcome")), change: text(byId("outcome"), ".change"), verdict: text(byId("outcome"), ".verdict") } : null,
  lanes: [...document.querySelectorAll(".lane")].filter(shown).map((lane) => ({
    ...reading(lane), metric: lane.dataset.metric, verdict: text(lane, ".verdict"), reason: text(lane, ".reason"),
    live: lane.querySelector(".moving") !== null,
    edges: [...lane.querySelectorAll(".edge")].map((e) => ({ edge: e.classList[1], x: e.getBoundingClientRect().left, words: e.textContent, ...box(e.querySelector(".words")), shown: shown(e.querySelector(".words")) })),
    bracket: lane.querySelector(".bracket") && box(lane.querySelector(".bracket")),
    marks: [...lane.querySelectorAll(".mark")].map((m) => ({ age: Number(m.dataset.age), shape: m.classList[1], x: box(m).middle, opacity: Number(getComputedStyle(m).opacity) })),
  })),
  leak: shown(byId("leak")) ? byId("leak").innerText : "", leakBox: box(byId("leak")),
  recent: [...document.querySelectorAll("#recent li")].filter(shown).map((li) => li.innerText.replaceAll(/\\s+/g, " ")),
  told: window.told ?? null, check: text(byId("check")), numbers: shown(byId("numbers")), right: shown(byId("right")),
  all: document.body.innerText, tone: byId("tone").textContent, units: byId("units").textContent,
  captionTop: box(byId("caution")).top, scroll: [document.documentElement.scrollWidth, document.documentElement.scrollHeight], size: [innerWidth, innerHeight],
};
"""
# Keeps the last lesson that the daemon sent, so that page and lesson can be read at one moment.
LISTEN = """
const Plain = WebSocket;
window.WebSocket = class extends Plain {
  constructor(...given) {
    super(...given);
    this.addEventListener("message", ({ data }) => {
      const message = JSON.parse(data);
      if (message.type === "lesson") window.told = message;
    });
  }
};
"""
# Notes what passes too quickly to be asked for.
WATCH = """
window.passed = { live: [], sounding: [], ended: false, reasons: [], samples: [] };
const percent = (node, side) => Number.parseFloat(node.style[side]);
new MutationObserver(() => {
  const kind = document.body.dataset.lesson;
  for (const lane of document.querySelectorAll(".lane")) {
    const reason = lane.querySelector(".reason").textContent;
    if (reason.startsWith("does not count") && !passed.reasons.includes(reason)) passed.reasons.push(reason);
    if (reason !== "now, since address") continue;
    if (!passed.live.includes(lane.dataset.metric)) passed.live.push(lane.dataset.metric);
    const [mark, bracket] = [lane.querySelector(".live"), lane.querySelector(".bracket")];
    // At an end the mark stands for everything beyond.
    const said = [lane.querySelector(".digits").textContent, lane.querySelector(".word").textContent, lane.querySelector(".unit").textContent, lane.querySelector(".verdict").textContent];
    if (percent(mark, "left") > 0 && percent(mark, "left") < 100) passed.samples.push([...said, (percent(mark, "left") - percent(bracket, "left")) / percent(bracket, "width")]);
  }
  if (document.getElementById("tone").dataset.sounding && !passed.sounding.includes(kind)) passed.sounding.push(kind);
  const block = document.querySelector("#seat .block").textContent;
  if (block.startsWith("check ended") && !document.getElementById("focus").hidden) passed.ended = block;
}).observe(document.body, { subtree: true, childList: true, characterData: true, attributes: true });
"""
OTHERS = """
return { student: document.querySelector("#seat .student").textContent,
  digits: [...document.querySelectorAll("#numbers .digits, #focus .digits")].filter((n) => n.getClientRects().length).map((n) => n.textContent) };
"""
NAMED = "return import(`${location.origin}/words.js`).then((words) => arguments[0].map((id) => words.metricName(id)));"


def main(url, folder):
    api = Api(url.rstrip("/") + "/api/v1")
    failures = []
    with Browser(*SIZES[0]) as browser:
        browser.cdp("Page.addScriptToEvaluateOnNewDocument", {"source": LISTEN})
        browser.open(url)
        browser.run(WATCH)
        club = api.begin()
        api.wait_for_shots(1)
        api.block("practice")
        for width, height in SIZES:
            browser.resize(width, height)
            lesson, seen = steady(browser, 3)
            browser.screenshot(f"{folder}/practice-{width}.png")
            failures += [f"{width}x{height}: {wrong}" for wrong in practice(seen, lesson, "metric") + drawn(browser)]
        failures += names(browser, api) + keys(browser, api) + told(browser, api) + checked(browser, api, folder) + others(browser, api)
        failures += quiet(browser, url)
        failures += [] if club else ["no club"]
    print(json.dumps({"ok": not failures, "failures": failures}, ensure_ascii=False))


class Api:
    """The coach's side of the bay."""

    def __init__(self, base):
        self.base = base
        self.bay = self.call("GET", "/bays")["bays"][0]["id"]

    def call(self, method, path, body=None):
        data = None if body is None else json.dumps(body).encode()
        request = urllib.request.Request(self.base + path, data, {"Content-Type": "application/json"}, method=method)
        try:
            with urllib.request.build_opener(urllib.request.ProxyHandler({})).open(request, timeout=10) as answer:
                return json.load(answer)
        except urllib.error.HTTPError as error:
            raise RuntimeError(f"{method} {path}: {error.read().decode()}") from error

    def patiently(self, method, path, body):
        """The same, again while the bay says that it is busy with the last change."""
        end = time.monotonic() + PATIENCE_S
        while True:
            try:
                return self.call(method, path, body)
            except RuntimeError as error:
                if "busy" not in str(error) or time.monotonic() > end:
                    raise
            time.sleep(0.5)

    def lesson(self):
        return self.call("GET", f"/bays/{self.bay}/lesson")

    def enter(self, about, key, value):
        self.call("POST", "/entries", {"about": about, "key": key, "value": value})

    def block(self, purpose):
        return self.call("POST", f"/bays/{self.bay}/blocks", {"purpose": purpose, "planned": 5})

    def begin(self):
        """Student, club, limits, focus, bands and thresholds; then the baseline."""
        student = next(s for s in self.call("GET", "/students")["students"] if s["name"] == STUDENT)
        club = next(c for c in student["clubs"] if c["name"] == CLUB)
        self.patiently("PUT", f"/bays/{self.bay}/seat", {"mode": "student", "student": student["id"], "club": club["id"]})
        self.enter({"student": student["id"]}, "limits", [{"movement": "rotation", "reason": "physiotherapist's advice"}])
        for leak, name, value in THRESHOLDS:
            self.enter({"student": student["id"]}, "threshold", {"leak": leak, "name": name, "value": value})
        self.enter({"club": club["id"]}, "focus", FOCUS)
        for band in BANDS:
            self.enter({"club": club["id"]}, "band", band)
        self.block("baseline")
        return club

    def wait_for_shots(self, number):
        end = time.monotonic() + PATIENCE_S
        while (self.lesson()["block"] or {}).get("shots", 0) < number and time.monotonic() < end:
            time.sleep(0.1)


def steady(browser, shots):
    """The page and what the daemon told it last, at one moment at which no live number is shown."""
    end = time.monotonic() + PATIENCE_S
    while True:
        seen = browser.run(SEE)
        lesson = seen["told"]
        known = lesson and lesson["block"] and lesson["block"]["shots"] >= shots
        still = seen["lanes"] and not any(l["live"] or l["reason"] == "being judged" for l in seen["lanes"])
        if (known and still) or time.monotonic() > end:
            return lesson, seen
        time.sleep(0.05)


def practice(seen, lesson, units):
    """Who, the block, speed, lanes, sentence and leak against the lesson of the API."""
    wrong = []
    side = lesson["seat"]["student"]["side"]
    said = [(seen["student"], STUDENT), (seen["details"], f"{side}-handed · {CLUB}"),
            (seen["block"], f"practice, shot {lesson['block']['shots']}")]
    wrong += [f"says {got!r} instead of {want!r}" for got, want in said if got != want]
    if "recorded" not in seen["recording"]:
        wrong.append(f"recording reads {seen['recording']!r}")
    if [(l["metric"], l["name"]) for l in seen["lanes"]] != list(zip(FOCUS, NAMES)):
        return [*wrong, f"lanes {[(l['metric'], l['name']) for l in seen['lanes']]}"]
    for lane, focus in zip(seen["lanes"], lesson["focus"]):
        wrong += [f"{lane['metric']}: {w}" for w in one_lane(lane, focus, units)]
    if not seen["sentence"]:
        wrong.append("no sentence is said")
    return wrong + outcome(seen["speed"], lesson["speed"], units) + leak(seen, lesson) + layout(seen) + listed(seen, lesson)


def one_lane(lane, focus, units):
    """Digits, unit, word, judgement and ruler of a metric in focus."""
    newest = focus["marks"][0]
    digits, unit, word = in_words(focus["metric"], newest["value"], focus["unit"], units)
    wrong = []
    if (lane["digits"], lane["unit"], lane["word"]) != (digits, unit, word):
        wrong.append(f"shows {lane['digits']} {lane['unit']} {lane['word']} instead of {digits} {unit} {word}")
    if focus["spared"]:
        good = lane["bracket"] is None and not lane["verdict"] and focus["spared"] in lane["reason"]
        wrong += [] if good else [f"spared, but {lane['verdict']!r} {lane['reason']!r} {lane['edges']}"]
    elif lane["verdict"] != VERDICTS[newest["verdict"]]:
        wrong.append(f"judged {lane['verdict']!r} instead of {newest['verdict']!r}")
    elif lane["reason"] != (newest["reason"] or ""):
        wrong.append(f"reason {lane['reason']!r} instead of {newest['reason']!r}")
    return wrong + ruler(lane, focus, units)


def ruler(lane, focus, units):
    """Marks and edges lie on one scale that grows to the right; shapes and fading are as LOOK has them."""
    values = [m for m in focus["marks"] if m["value"] is not None]
    marks = sorted(lane["marks"], key=lambda m: m["age"])
    wrong = [] if len(marks) == len(values) else [f"{len(marks)} marks for {len(values)} shots"]
    points = [(m["x"], v["value"]) for m, v in zip(marks, values)]
    band = focus["band"] or {}
    edges = {e["edge"]: e for e in lane["edges"]}
    for edge in ("low", "aim", "high"):
        if (band.get(edge) is not None) != (edge in edges):
            wrong.append(f"edge {edge} is {band.get(edge)}, shown {edges.get(edge)}")
        elif edge in edges:
            points.append((edges[edge]["x"], band[edge]))
            wrong += worded(edges[edge], band[edge], focus, units)
    wrong += on_a_line(points)
    if band.get("low") is not None and band.get("high") is not None:
        off = max(abs(lane["bracket"]["left"] - edges["low"]["x"]), abs(lane["bracket"]["right"] - edges["high"]["x"]))
        wrong += [] if off < 1.5 else [f"the bracket is {off:.1f} px beside its edges"]
    shapes = [v["verdict"] or ("not_judged" if focus["band"] else "plain") for v in values]
    if [m["shape"] for m in marks] != shapes:
        wrong.append(f"marks look {[m['shape'] for m in marks]} instead of {shapes}")
    fading = [m["opacity"] for m in marks]
    if fading != sorted(fading, reverse=True) or (fading and fading[0] != 1):
        wrong.append(f"marks fade by {fading}")
    return wrong


def worded(edge, value, focus, units):
    digits, unit, word = in_words(focus["metric"], value, focus["unit"], units)
    want = f"{digits}{unit} {word}" if unit == "°" else f"{digits} {unit} {word}"
    return [] if edge["words"].removeprefix("aim ") == want else [f"edge reads {edge['words']!r} instead of {want!r}"]


def on_a_line(points):
    """Least squares: pixels as a straight function of values, within a pixel and a half."""
    if len({value for _, value in points}) < 2:
        return [f"too few different points to judge the scale: {points}"]
    mean_x, mean_v = (sum(p[i] for p in points) / len(points) for i in (0, 1))
    slope = sum((x - mean_x) * (v - mean_v) for x, v in points) / sum((v - mean_v) ** 2 for _, v in points)
    worst = max(abs(x - mean_x - slope * (v - mean_v)) for x, v in points)
    return [] if slope > 0 and worst < 1.5 else [f"marks lie {worst:.1f} px beside their values, slope {slope:.0f}"]


def in_words(metric, value, unit, units):
    factor, decimals, label = SHOWN[units][unit]
    digits = rounded(value, factor, decimals)
    if float(digits) == 0:
        digits = digits.lstrip("-")
    minus, plus, zero = WORDS[metric]
    return digits.lstrip("-"), label, zero if float(digits) == 0 else minus if digits.startswith("-") else plus


def outcome(seen, focus, units):
    factor, decimals, label = SHOWN[units]["m/s"]
    want = (rounded(focus["marks"][0]["value"], factor, decimals), label)
    wrong = [] if (seen["digits"], seen["unit"]) == want else [f"speed {seen['digits']} {seen['unit']} instead of {want}"]
    shift = rounded(focus["change"]["shift"], factor, decimals)
    shift = shift.lstrip("-") if float(shift) == 0 else shift.replace("-", "−") if shift.startswith("-") else f"+{shift}"
    if seen["change"] != f"{shift} {label} since baseline":
        wrong.append(f"difference reads {seen['change']!r} instead of {shift} {label}")
    verdict = focus["change"]["verdict"].replace("_", " ").capitalize()
    if not seen["verdict"].startswith(verdict):
        wrong.append(f"verdict {seen['verdict']!r} instead of {verdict!r}")
    return wrong


def leak(seen, lesson):
    """The first leak that is put to the student, the cautions always with the suggestion."""
    shown = [l for l in lesson["leaks"] if l["shown"]]
    if not shown:
        return ["the lesson has no leak to show: the test sees nothing"]
    first = shown[0]
    want = [first["sentence"], f"{first['shots']} of {first['judged']} shots", first["direction"], first["speed"],
            first["source"], first["suggestion"]["text"], *first["suggestion"]["cautions"]]
    return [f"the leak card lacks {part!r}" for part in want if part and part not in seen["leak"]]


def listed(seen, lesson):
    counted = [s for s in lesson["shots"] if not s["excluded"]][:4]
    number = lesson["block"]["shots"]
    if len(seen["recent"]) != len(counted) or not seen["recent"][0].startswith(f"shot {number} "):
        return [f"the list of shots reads {seen['recent']} for {number} shots"]
    return []


def layout(seen):
    """Digits for four meters, nothing cut, nothing over anything."""
    wrong = []
    width, height = seen["size"]
    for part in [seen["speed"], *seen["lanes"]]:
        if part["height"] < height / 12:
            wrong.append(f"{part['name']}: digits {part['height']:.0f} px, a twelfth is {height / 12:.0f}")
        if part["box"]["bottom"] > seen["captionTop"] + 1:
            wrong.append(f"{part['name']} runs into the caution")
        if part["cut"]:
            wrong.append(f"{part['name']} is too wide")
    for lane in seen["lanes"]:
        edges = sorted((e for e in lane["edges"] if e["shown"]), key=lambda e: e["left"])
        wrong += [f"{a['words']!r} runs into {b['words']!r}" for a, b in zip(edges, edges[1:]) if a["right"] > b["left"]]
    for above, below in zip(seen["lanes"], seen["lanes"][1:]):
        if above["box"]["bottom"] > below["box"]["top"] + 1:
            wrong.append(f"{above['name']} overlaps {below['name']}")
    if seen["scroll"][0] > width or seen["scroll"][1] > height or seen["leakBox"]["bottom"] > seen["captionTop"]:
        wrong.append(f"the page is larger than the screen: {seen['scroll']}")
    return wrong


def drawn(browser):
    """The replay beside the lesson is not blank."""
    end = time.monotonic() + PATIENCE_S
    while True:
        canvases = browser.run(LOOK)["canvases"]
        # Smaller views than without a lesson: half of the ink is enough to tell a figure.
        if len(canvases) == 2 and all(c["ink"] > LEAST_INK / 2 for c in canvases):
            return []
        if time.monotonic() > end:
            return [f"the replay is blank: {[c['ink'] for c in canvases]}"]
        time.sleep(0.1)


def names(browser, api):
    """Every metric of a report has a name of its own that reads as words."""
    swing = api.call("GET", f"/bays/{api.bay}/swings")["swings"][0]
    ids = sorted(swing["measurement"]["metrics"])
    named = browser.run(NAMED, ids)
    wrong = [f"{i} is called {n!r}" for i, n in zip(ids, named) if any(c in n for c in "_@{}") or not n[0].isupper()]
    return wrong + ([] if len(set(named)) == len(ids) > 100 else [f"{len(set(named))} names for {len(ids)} metrics"])


def keys(browser, api):
    """`u` changes units and keeps them, `t` turns the tone on; both say so."""
    wrong = [] if "off" in browser.run(SEE)["tone"] else ["the tone is not off at first"]
    browser.press("u")
    browser.press("t")
    lesson, seen = steady(browser, 3)
    wrong += [f"after u: {w}" for w in practice(seen, lesson, "imperial")]
    if "mph" not in seen["units"] or "tone on" not in seen["tone"]:
        wrong.append(f"keys are not told: {seen['units']!r}, {seen['tone']!r}")
    browser.press("u")
    if browser.run("return localStorage.getItem('whin.units')") != "metric":
        wrong.append("the choice of units is not kept")
    end = time.monotonic() + PATIENCE_S
    while "block" not in browser.run("return passed.sounding") and time.monotonic() < end:
        time.sleep(0.1)
    passed = browser.run("return passed")
    if passed["live"] != [SHIFT]:
        wrong.append(f"live numbers were shown of {passed['live']} instead of {[SHIFT]}")
    wrong += [] if "block" in passed["sounding"] else ["the tone never sounded in the band"]
    return wrong + live(passed["samples"])


def live(samples):
    """Live numbers, their marks and the word for the band say the same."""
    low, high = BANDS[0]["low"], BANDS[0]["high"]
    wrong = [] if len(samples) > 10 else [f"only {len(samples)} live numbers were seen"]
    for digits, word, unit, verdict, share in samples:
        value = low + share * (high - low)
        factor, decimals, _ = next(s["m"] for s in SHOWN.values() if s["m"][2] == unit)
        said = (-1 if word == "away" else 1) * float(digits) / factor
        if abs(said - value) > 0.51 * 10**-decimals / factor:
            wrong.append(f"live {digits} {unit} {word} is marked at {value:.4f} m")
        if verdict != ("● in" if 0 <= share <= 1 else "○ outside"):
            wrong.append(f"live {value:.4f} m is called {verdict!r}")
    return wrong[:5]


def told(browser, api):
    """A shot that does not count says why; where pain was told nothing but the advice is said."""
    end = time.monotonic() + PATIENCE_S
    # Tried again where the next shot came in between.
    while not (reasons := browser.run("return passed.reasons")) and time.monotonic() < end:
        newest = api.lesson()["shots"][0]["swing"]
        api.enter({"swing": newest}, "excluded", "the phone rang")
        time.sleep(0.2)
        api.enter({"swing": newest}, "excluded", None)
    # Of the lesson, not of a shot of this block: so it stands in the next block, too.
    api.enter({"session": api.lesson()["seat"]["session"]}, "pain", "lower back")
    while True:
        seen, advice = browser.run(SEE), api.lesson()["load"]["advice"]
        alone = not seen["sentence"] and not seen["leak"] and advice and advice.lower() in seen["calm"].lower()
        if alone or time.monotonic() > end:
            break
        time.sleep(0.05)
    wrong = [] if alone else [f"pain was told: {seen['sentence']!r}, {seen['calm']!r}, {seen['leak']!r}"]
    return wrong + ([] if reasons == ["does not count: the phone rang"] else [f"a shot left out says {reasons}"])


def checked(browser, api, folder):
    """In a check block there is a count and nothing else; when it ends the numbers come."""
    api.block("check")
    api.wait_for_shots(1)
    end = time.monotonic() + PATIENCE_S
    while (seen := browser.run(SEE))["check"].find("of 5 shots") < 0 or "check, shot 1 of 5" != seen["block"]:
        if time.monotonic() > end:
            return [f"the check block reads {seen['check']!r}, {seen['block']!r}"]
        time.sleep(0.05)
    browser.screenshot(f"{folder}/check.png")
    wrong = [] if "Check block: numbers afterwards" in seen["all"] else ["the check block is not named"]
    if seen["lanes"] or seen["speed"] or seen["numbers"] or seen["right"] or seen["leak"] or seen["sentence"]:
        wrong.append("a check block shows more than its count")
    wrong += [f"a check block says {sign!r}" for sign in ("▲ high", "▼ low", "● in", "closed", "away", "Leak", "vertical force") if sign in seen["all"]]
    api.call("DELETE", f"/bays/{api.bay}/blocks/open")
    end = time.monotonic() + PATIENCE_S
    while not (passed := browser.run("return passed"))["ended"] and time.monotonic() < end:
        time.sleep(0.05)
    if not passed["ended"]:
        wrong.append("the numbers never came after the check")
    if "check" in passed["sounding"]:
        wrong.append("a tone sounded in the check block")
    return wrong


def others(browser, api):
    """Nobody's numbers stand under somebody else's name."""
    api.patiently("PUT", f"/bays/{api.bay}/seat", {"mode": "guest"})
    end = time.monotonic() + PATIENCE_S
    while not (seen := browser.run(OTHERS))["student"].startswith("Guest"):
        if time.monotonic() > end:
            return ["the guest is not announced"]
        time.sleep(0.05)
    return [] if set(seen["digits"]) == {"—"} else [f"the guest is shown what the student did: {seen['digits']}"]


if __name__ == "__main__":
    main(*sys.argv[1:3])
