"""Opens the Shelf as somebody does after a lesson: shelf.py URL FOLDER

URL is the demo: students, an archive, and a golfer who keeps hitting. A short lesson of a left-handed
student is set up through the API; then it is found on the page, two of its swings are opened, run
stretched and in real time, tapped and compared, and the report is printed (A4 and Letter) and saved as one
file. What must be seen is worked out here from the API's numbers. Pictures, papers and the file go into
FOLDER. Prints one JSON object: {"ok", "failures": [...]}.
"""

import io
import json
import pathlib
import re
import sys
import time

import pypdf
from bay import quiet
from lesson_bay import Api
from look import PATIENCE_S, Look
from webdriver import Browser

STUDENT, SIDE, NEXT = "Ivo Brandt", "left", "2026-12-03"
NEXT_SAID = "Thursday 3 December 2026"
# ISO 216 and ANSI/ASME Y14.1, cm; a point is 1/72 inch.
PAPERS = {"A4": (21.0, 29.7), "Letter": (21.59, 27.94)}
SHOTS = 2
TOGETHER = ["address", "top", "impact"]
# The page says hundredths of a second.
SAID_S = 0.006
# Lines cover three thousandths of a canvas and more, figures two hundredths.
LEAST_CURVE, LEAST_FIGURE = 0.003, 0.02

INK = """
const ink = (canvas) => {
  const copy = new OffscreenCanvas(canvas.width, canvas.height).getContext("2d", { willReadFrequently: true });
  copy.drawImage(canvas, 0, 0);
  const { data } = copy.getImageData(0, 0, canvas.width, canvas.height);
  let count = 0, sum = 0;
  for (let i = 0; i < data.length; i += 4) if (data[i + 3] > 128 && data[i] + data[i + 1] + data[i + 2] < 480) { count += 1; sum = (sum * 31 + i) % 1000003; }
  return { share: (4 * count) / data.length, print: sum };
};
return [...document.querySelectorAll(arguments[0])].filter((c) => c.getClientRects().length).map(ink);
"""
SEE = """
return {
  lessons: document.getElementById("lessons").innerText, names: document.getElementById("names").innerText,
  captions: [...document.querySelectorAll(".pane figcaption")].map((c) => c.textContent), verdict: document.getElementById("verdict").textContent,
  moment: document.querySelector(".moment")?.textContent ?? "", marks: [...document.querySelectorAll(".marks .event")].map((m) => [m.dataset.side, m.dataset.event]),
  rows: [...document.querySelectorAll("#table tbody tr")].map((r) => [r.dataset.metric, r.classList.contains("real")]),
  problems: [...document.querySelectorAll(".problem")].filter((p) => p.getClientRects().length).map((p) => p.textContent),
  beyond: document.documentElement.scrollWidth - innerWidth,
};
"""
CLICK = "const found = document.querySelector(arguments[0]); found?.click(); return Boolean(found);"
OPENED = "return document.querySelector('#stages[aria-busy]') ? '' : location.search;"
BOX = "const { left, top, width, height } = document.querySelector(arguments[0]).getBoundingClientRect(); return [left, top, width, height];"


def main(url, folder):
    api = Api(url.rstrip("/") + "/api/v1")
    folder = pathlib.Path(folder)
    session = a_lesson(api)
    # The golfer before may have been in the middle of a swing when the student was seated.
    shots = [s["id"] for s in api.call("GET", f"/swings?session={session}&kind=shot")["swings"] if s["handed"] == SIDE]
    failures = []
    with Browser(1280, 800) as browser:
        look = Desk(browser, failures)
        browser.reduce_motion()
        browser.open(url + "shelf")
        side_by_side(look, api, session, (shots[-1], shots[0]))
        for name, (width, height) in {"desk": (1280, 800), "tablet": (820, 1180), "phone": (390, 844)}.items():
            browser.resize(width, height)
            browser.screenshot(folder / f"shelf-{name}.png")
            look.check(look.see()["beyond"] <= 0, f"{name}: wider than the screen")
        failures += quiet(browser, url)
        browser.open(f"{url}shelf?report={session}")
        report(look, api.call("GET", f"/sessions/{session}/summary"), folder)
        failures += quiet(browser, url)
        one_file(look, api.call("GET", f"/sessions/{session}/summary"), folder)
    print(json.dumps({"ok": not failures, "failures": failures}, ensure_ascii=False))


def a_lesson(api):
    """Baseline and practice of a few shots each; the lesson's identifier."""
    student = next(s for s in api.call("GET", "/students")["students"] if s["name"] == STUDENT)
    club = student["clubs"][0]["id"]
    api.patiently("PUT", f"/bays/{api.bay}/seat", {"mode": "student", "student": student["id"], "club": club})
    api.enter({"club": club}, "focus", ["pelvis_rotation@top"])
    for purpose in ("baseline", "practice"):
        api.block(purpose)
        end = time.monotonic() + 2 * PATIENCE_S
        while api.lesson()["block"]["shots"] < SHOTS:
            if time.monotonic() > end:
                raise SystemExit(f"nobody hits in the {purpose}")
            time.sleep(0.1)
    session = api.lesson()["seat"]["session"]
    api.enter({"session": session}, "next", NEXT)
    # Nobody stands there: what is looked at stays as it is.
    api.patiently("PUT", f"/bays/{api.bay}/seat", {"mode": "nobody"})
    return session


class Desk(Look):
    """A person's eyes on the page, and what they miss."""

    def see(self):
        return self.browser.run(SEE)

    def click(self, selector):
        self.until(lambda: self.browser.run(CLICK, selector), f"there is no {selector}")


def side_by_side(look, api, session, swings):
    by_itself(look)
    lesson = f'.lesson[data-session="{session}"]'
    look.until(lambda: STUDENT in look.see()["lessons"], "the lesson is not in the list")
    look.click(f"{lesson} summary")
    for side, swing in zip("ab", swings):
        look.click(f'{lesson} .row[data-id="{swing}"] .pick[data-side="{side}"]')
        look.until(lambda: look.browser.run(OPENED).count(swing), f"{swing} is not opened as {side}")
    told = api.call("GET", f"/comparisons?of=swings&a={swings[0]}&b={swings[1]}")
    look.until(lambda: look.see()["rows"][:1] == [[told["rows"][0]["metric"], told["rows"][0]["real"]]], "the first difference is not the API's first")
    seen = look.see()
    look.check(seen["problems"] == [], f"problems: {seen['problems']}")
    look.check(seen["names"].count(f"{SIDE}-handed") == 2 and "right-handed" not in seen["names"], f"names: {seen['names']!r}")
    look.check(all("← target" in c for c in seen["captions"]), f"captions: {seen['captions']}")
    real = [is_real for _, is_real in seen["rows"]]
    look.check(len(real) > 10 and real == sorted(real, reverse=True), f"rows: {len(real)}, real first: {real}")
    look.check(seen["verdict"] != "", "no sentence says what differs")
    on_one_clock(look, [events(api, swing) for swing in swings])
    drawn(look)


def by_itself(look):
    """The page opens with the blocks of the newest lesson beside each other."""
    look.until(lambda: "Block 1, baseline" in look.see()["names"] and "Block 2, practice" in look.see()["names"], "the newest lesson is not opened by itself")


def events(api, swing):
    """Events in seconds from impact, from the report."""
    times = {name: e["time_s"] for name, e in api.call("GET", f"/swings/{swing}")["report"]["measurement"]["events"].items() if e["time_s"] is not None}
    return {name: t - times["impact"] for name, t in times.items()}


def on_one_clock(look, both):
    for event in TOGETHER:
        look.click(f'.event[data-side="a"][data-event="{event}"]')
        wanted = [swing[event] for swing in both]
        look.until(lambda: near(moments(look.see()["moment"]), wanted), f"stretched, at {event}: {look.see()['moment']!r} is not {wanted}")
    marks = look.see()["marks"]
    look.check(not [m for m in marks if m[0] == "b" and m[1] in TOGETHER], f"stretched, the events lie apart: {marks}")
    look.click("#transport .choice:last-child button:last-child")
    look.click('.event[data-side="a"][data-event="top"]')
    wanted = 2 * [both[0]["top"]]
    look.until(lambda: near(moments(look.see()["moment"]), wanted), f"real time, at the top of A: {look.see()['moment']!r} is not {wanted}")
    look.click("#transport .choice:last-child button:first-child")


def moments(text):
    """`A 0.27 s before impact · B 0.29 s before impact`, or one for both, as seconds from impact."""
    said = [0.0 if not found[0] else float(found[0]) * (-1 if found[1] == "before" else 1)
            for found in re.findall(r"(?:([\d.]+) s (before|after) )?impact", text)]
    return said * 2 if len(said) == 1 else said


def near(said, wanted):
    return len(said) == 2 and all(abs(s - w) <= SAID_S for s, w in zip(said, wanted))


def drawn(look):
    figures = look.browser.run(INK, ".pane canvas")
    look.check(len(figures) == 2 and all(f["share"] > LEAST_FIGURE for f in figures), f"figures: {figures}")
    curves = look.browser.run(INK, ".lane canvas")
    look.check(len(curves) >= 12 and all(c["share"] > LEAST_CURVE for c in curves), f"curves: {curves}")
    look.browser.run("document.querySelector('.lane canvas').scrollIntoView({ block: 'center' })")
    left, top, width, height = look.browser.run(BOX, ".lane canvas")
    x = round(left + 0.6 * width)
    look.browser.point(x, top + height / 2)
    look.until(lambda: abs(look.browser.run(BOX, ".cursor")[0] + 1 - x) <= 2, "the cursor does not stand where the curve was tapped")
    after = look.browser.run(INK, ".pane canvas")
    look.check(all(a["print"] != f["print"] for a, f in zip(after, figures)), "the figures do not go to the moment that was tapped")
    look.check(look.browser.run("return document.querySelectorAll('.group:first-child .lane').length") == 4, "the four segment speeds do not stand in lanes of their own")


def report(look, summary, folder):
    if not look.until(lambda: look.browser.run("return document.getElementById('report').dataset.ready") == "yes", "the report is not shown"):
        return
    stills = look.browser.run("return [...document.querySelectorAll('.stills svg')].map((s) => s.querySelectorAll('path').length)")
    look.check(len(stills) == 3 and all(paths > 20 for paths in stills), f"pictures of the shot: {stills}")
    look.browser.screenshot(folder / "report.png")
    for name, size in PAPERS.items():
        pdf = look.browser.print(*size)
        (folder / f"report-{name}.pdf").write_bytes(pdf)
        pages = pypdf.PdfReader(io.BytesIO(pdf)).pages
        box = [float(v) / 72 * 2.54 for v in (pages[0].mediabox.width, pages[0].mediabox.height)]
        look.check(all(abs(b - s) < 0.1 for b, s in zip(box, size)), f"{name}: the paper is {box} cm")
        look.check(len(pages) <= 2, f"{name}: {len(pages)} pages")
        says_all(look, name, " ".join(" ".join(page.extract_text() for page in pages).split()), summary)


def says_all(look, where, text, summary):
    missing = [words for words in [STUDENT, f"{SIDE}-handed", NEXT_SAID, "What changed", *summary["cautions"]] if words not in text.replace("’", "'").replace("day, ", "day ")]
    look.check(not missing, f"{where}: {missing} is missing in {text!r}")
    look.check("right-handed" not in text, f"{where}: a left-handed student is called right-handed")


def one_file(look, summary, folder):
    text = look.browser.run("return import('/shelf/share.js').then((share) => share.fileOf(document.querySelector('.sheet')))")
    file = folder / "report.html"
    file.write_text(text, encoding="utf-8")
    outside = [a for a in re.findall(r"""(?:src|href|url)\s*[=(]\s*["']?([^"')\s>]+)""", text) if not a.startswith(("#", "&quot;#"))]
    look.check(not outside and "<script" not in text, f"the file refers to {outside}")
    look.browser.requests()
    look.browser.open(file.resolve().as_uri())
    asked = [r for r in look.browser.requests() if r != file.resolve().as_uri()]
    look.check(not asked, f"the file asks for {asked}")
    says_all(look, "the file", " ".join(look.browser.run("return document.body.innerText").split()), summary)
    tall = look.browser.run("return document.querySelector('.stills svg').getBoundingClientRect().height")
    look.check(tall > 100, f"the pictures of the file are {tall} px high")
    look.browser.screenshot(folder / "file.png")


if __name__ == "__main__":
    main(sys.argv[1], sys.argv[2])
