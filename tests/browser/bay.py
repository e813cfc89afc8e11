"""Looks at the bay screen as a person would: bay.py URL EXPECTED_JSON SCREENSHOT

EXPECTED_JSON is a file with the report that the screen must show (the `swing` message or what
`--json` prints for one swing). Prints one JSON object: {"ok", "failures": [...], "seen": {...}}.
The expected words and digits are worked out here from LOOK's rules, not by the screen's own code.
"""

import json
import sys
import time
from decimal import ROUND_HALF_UP, Decimal
from urllib.parse import urlsplit

from webdriver import Browser

WIDTH, HEIGHT = 1920, 1080
PATIENCE_S = 10
STATES = {"no signal", "waiting", "at address", "in motion", "measuring", "result"}
# Limbs cover two percent of a canvas and more, a plate that arms half hide 0.15 percent; club, path
# and the words at the feet alone do not reach these.
LEAST_INK = 0.012
LEAST_PLATE = 0.0003

# What a person sees, read from the page in one go.
LOOK = """
const text = (node, part) => node.querySelector(part)?.textContent.trim() ?? "";
const pen = document.createElement("canvas").getContext("2d");
function digitHeight(node) {
  const style = getComputedStyle(node);
  pen.font = `${style.fontWeight} ${style.fontSize} ${style.fontFamily}`;
  const size = pen.measureText("0123456789");
  return size.actualBoundingBoxAscent + size.actualBoundingBoxDescent;
}
function ink(canvas) {
  // Read from a copy: reading the page's own canvas would change how it is drawn.
  const copy = new OffscreenCanvas(canvas.width, canvas.height).getContext("2d", { willReadFrequently: true });
  copy.drawImage(canvas, 0, 0);
  const { data } = copy.getImageData(0, 0, canvas.width, canvas.height);
  let light = 0, thorax = 0, pelvis = 0, sum = 0;
  for (let i = 0; i < data.length; i += 4) {
    const [r, g, b, a] = data.subarray(i, i + 4);
    if (a < 128) continue;
    // LOOK.md: thorax orange (red over green over blue), pelvis reddish purple (green lowest).
    if (r > g + 15 && g > b + 30) thorax += 1;
    if (r > g + 20 && b > g + 12) pelvis += 1;
    // Limbs are white, solid or hatched.
    if (r + g + b < 450 || Math.abs(r - b) > 25) continue;
    light += 1;
    sum = (sum * 31 + i) % 1000003;
  }
  const share = (count) => (4 * count) / data.length;
  return { ink: share(light), thorax: share(thorax), pelvis: share(pelvis), print: sum };
}
return {
  state: document.getElementById("state").textContent.trim(),
  boxes: [...document.querySelectorAll(".metric")].map((box) => ({
    id: box.dataset.metric, name: text(box, ".name"), digits: text(box, ".digits"), unit: text(box, ".unit"),
    word: text(box, ".word"), detail: text(box, ".detail"), limited: text(box, ".limited"), spread: text(box, ".spread"),
    digitHeight: digitHeight(box.querySelector(".digits")), bottom: box.getBoundingClientRect().bottom,
    right: box.querySelector(".reading").getBoundingClientRect().left + box.querySelector(".reading").scrollWidth,
    edge: box.getBoundingClientRect().right,
  })),
  canvases: [...document.querySelectorAll("#panes canvas")].map(ink),
  captions: [...document.querySelectorAll("#panes figcaption")].map((c) => c.textContent),
  marks: [...document.querySelectorAll("#ruler .event")].map((m) => m.firstChild.textContent),
  markPlaces: [...document.querySelectorAll("#ruler .mark")].map((m) => parseFloat(m.style.left)),
  health: document.getElementById("health").innerText,
  recording: document.getElementById("recording").textContent,
  caution: document.getElementById("caution").textContent,
  cautionTop: document.getElementById("caution").getBoundingClientRect().top,
  cautionBottom: document.getElementById("caution").getBoundingClientRect().bottom,
  scrollWidth: document.documentElement.scrollWidth, width: innerWidth, height: innerHeight,
};
"""


def main(url, expected_path, screenshot):
    with open(expected_path, encoding="utf-8") as file:
        measurement = json.load(file)["measurement"]
    with Browser(WIDTH, HEIGHT) as browser:
        browser.open(url)
        seen = wait_for(browser, digits(measurement["metrics"], "head_speed@impact", 1, 1))
        time.sleep(0.6)
        later = browser.run(LOOK)
        browser.screenshot(screenshot)
        failures = (numbers(seen, measurement["metrics"]) + pictures(seen, later, measurement)
                    + layout(seen) + quiet(browser, url))
    print(json.dumps({"ok": not failures, "failures": failures, "seen": seen}, ensure_ascii=False))


def wait_for(browser, speed):
    """The page once it shows this speed and a figure, or as it is when patience ends."""
    end = time.monotonic() + PATIENCE_S
    while True:
        seen = browser.run(LOOK)
        drawn = seen["marks"] and len(seen["canvases"]) == 2 and all(c["ink"] > LEAST_INK for c in seen["canvases"])
        if (seen["boxes"] and seen["boxes"][0]["digits"] == speed and drawn) or time.monotonic() > end:
            return seen
        time.sleep(0.2)


def numbers(seen, metrics):
    """State word, the large speed and the three metrics against the report."""
    boxes = {b["id"]: b for b in seen["boxes"]}
    wrong = [] if seen["state"] in STATES else [f"state word {seen['state']!r}"]
    if len(boxes) != 4:
        return [*wrong, f"{len(boxes)} boxes of numbers instead of 4"]
    for identifier, (factor, decimals, unit, words) in EXPECTED.items():
        wrong += one_number(boxes.get(identifier), metrics.get(identifier), (identifier, factor, decimals, unit, words))
    return wrong


# Factor from the report's unit, decimals, unit on screen, words for minus and plus (LOOK.md "Words").
EXPECTED = {
    "head_speed@impact": (1, 1, "m/s", None),
    "pelvis_rotation@top": (1, 0, "°", ("closed", "open", "square")),
    "pelvis_shift@takeaway_end": (100, 1, "cm", ("away", "toward", "level")),
    "tempo_ratio": (1, 1, "×", None),
}


def one_number(box, metric, rule):
    identifier, factor, decimals, unit, words = rule
    if box is None:
        return [f"{identifier} has no box"]
    if metric is None or metric.get("value") is None:
        good = box["digits"] == "—" and "not measured" in box["detail"]
        return [] if good else [f"{identifier} is not measured, shown {box['digits']!r} {box['detail']!r}"]
    want = rounded(natural(metric, words), factor, decimals)
    wrong = []
    if words:
        word = words[2] if Decimal(want) == 0 else words[0] if want.startswith("-") else words[1]
        want = want.lstrip("-")
        if box["word"] != word:
            wrong.append(f"{identifier}: word {box['word']!r} instead of {word!r}")
    if box["digits"] != want.replace("-", "−") or box["unit"] != unit:
        wrong.append(f"{identifier}: {box['digits']!r} {box['unit']!r} instead of {want!r} {unit!r}")
    sure = plus_minus(metric, factor, unit)
    if sure not in f"{box['spread']} {box['detail']}":
        wrong.append(f"{identifier}: {box['spread']!r} and {box['detail']!r} lack {sure!r}")
    if bool(metric.get("limited")) != bool(box["limited"]):
        wrong.append(f"{identifier}: limited is {metric.get('limited')!r}, shown {box['limited']!r}")
    return wrong


def plus_minus(metric, factor, unit):
    """The standard uncertainty with two figures at the most, as the second revision brings it."""
    standard = metric.get("uncertainty", {}).get("standard")
    if standard is None:
        return ""
    size = abs(standard * factor)
    decimals = 0 if size >= 9.95 else 1 if size >= 0.095 else 2
    text = "under 0.01" if size < 0.0095 else rounded(size, 1, decimals)
    return f"± {text}{unit}" if unit in ("°", "×") else f"± {text} {unit}"


def natural(metric, words):
    """Where a direction has a word, the change since address is what is said."""
    change = metric.get("change")
    return change if words and change is not None else metric["value"]


def rounded(value, factor, decimals):
    # Half away from zero on the binary value itself, as screens round (Decimal(float) is exact).
    return str(Decimal(value * factor).quantize(Decimal(1).scaleb(-decimals), ROUND_HALF_UP))


def digits(metrics, identifier, factor, decimals):
    value = metrics[identifier].get("value")
    return "—" if value is None else rounded(value, factor, decimals)


def pictures(seen, later, measurement):
    """Two figures with ink that move, captions for this golfer's side, marks in the order of time."""
    wrong = []
    if len(seen["canvases"]) != 2:
        return [f"{len(seen['canvases'])} views instead of 2"]
    for caption, before, after in zip(seen["captions"], seen["canvases"], later["canvases"]):
        if before["ink"] <= LEAST_INK:
            wrong.append(f"view {caption!r} is blank: {before['ink']:.5f} of it is ink")
        wrong += [f"view {caption!r} has no {plate}" for plate in ("thorax", "pelvis") if before[plate] < LEAST_PLATE]
        if before["print"] == after["print"]:
            wrong.append(f"view {caption!r} does not move")
    arrow = "target →" if measurement["handed"] == "right" else "← target"
    if arrow not in seen["captions"][0]:
        wrong.append(f"caption {seen['captions'][0]!r} lacks {arrow!r}")
    order = ["takeaway_end", "top", "shaft_level_down", "impact"]
    want = [e.replace("_", " ") for e in order if measurement["events"].get(e, {}).get("time_s") is not None]
    if [m.strip() for m in seen["marks"]] != want:
        wrong.append(f"ruler marks {seen['marks']} instead of {want}")
    if seen["markPlaces"] != sorted(seen["markPlaces"]):
        wrong.append(f"ruler marks out of order: {seen['markPlaces']}")
    return wrong


def layout(seen):
    """Large enough for four meters, nothing cut off."""
    wrong = []
    for box in seen["boxes"]:
        if box["digits"] != "—" and box["digitHeight"] < seen["height"] / 12:
            wrong.append(f"{box['id']}: digits {box['digitHeight']:.0f} px high, a twelfth is {seen['height'] / 12:.0f}")
        if box["bottom"] > seen["cautionTop"]:
            wrong.append(f"{box['id']} runs into the caution")
        if box["right"] > box["edge"] + 1:
            wrong.append(f"{box['id']} is {box['right'] - box['edge']:.0f} px too wide")
    if seen["scrollWidth"] > seen["width"] or seen["cautionBottom"] > seen["height"]:
        wrong.append("the page is larger than the screen")
    if "Not medical advice" not in seen["caution"]:
        wrong.append("the caution is missing")
    if "a second" not in seen["health"] or "% lost" not in seen["health"]:
        wrong.append(f"stream health reads {seen['health']!r}")
    return wrong


def quiet(browser, url):
    """No complaint in the console, no request beyond the bay's own address."""
    origin = urlsplit(url).netloc
    wrong = [f"console {level}: {text}" for level, text in browser.console() if level in ("SEVERE", "WARNING")]
    asked = browser.requests()
    wrong += [f"request to {u}" for u in asked if urlsplit(u).netloc not in ("", origin) and not u.startswith(("data:", "blob:"))]
    if not any(urlsplit(u).netloc == origin for u in asked):
        wrong.append("no request was seen at all: the watch itself is broken")
    return wrong


if __name__ == "__main__":
    main(*sys.argv[1:4])
