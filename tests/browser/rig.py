"""Looks at the Rig page as a technician would: rig.py URL

A page of the real server, but its socket is played here, because faults must come when they are asked
for: a healthy bay, then one with a fault of each kind, a left-handed golfer, and a bay that nobody swings
in. The swing in it is a true one of the bay at URL, with its figures changed. Every limit that the page must show is written here
anew, with what stands behind it. Prints one JSON object: {"ok", "failures": [...]}.
"""

import json
import sys
import time

from bay import quiet
from pages import until_a_swing
from webdriver import Browser

PATIENCE_S = 10
# Plays `window.played` to whatever opens a socket; the page sees an ordinary WebSocket.
SOCKET = """
window.sockets = [];
window.WebSocket = class {
  constructor() { window.sockets.push(this); setTimeout(() => window.feed?.(this), 0); }
  close() { this.onclose?.(); }
};
// What the page asks for by HTTP, where it is played: by the path's end.
const ask = window.fetch;
window.asked = [];
window.fetch = (url, options) => {
  const path = new URL(url, location.href).pathname;
  window.asked.push([options?.method ?? "GET", path, options?.body ?? null]);
  const known = Object.entries(window.answers ?? {}).find(([end]) => path.endsWith(end));
  if (!known) return ask(url, options);
  return Promise.resolve(new Response(JSON.stringify(known[1]), { headers: { "content-type": "application/json" } }));
};
window.play = (messages, answers) => {
  window.answers = answers;
  window.feed = (socket) => messages.forEach((m) => socket.onmessage({ data: JSON.stringify(m) }));
  clearInterval(window.again);
  window.again = setInterval(() => messages.slice(1).forEach((m) => window.sockets.at(-1).onmessage({ data: JSON.stringify(m) })), 400);
  window.feed(window.sockets.at(-1));
};
"""
LOOK = """
const text = (root, part) => root.querySelector(part)?.textContent.trim() ?? "";
return {
  verdict: document.getElementById("verdict").innerText.trim(), more: document.getElementById("verdict-more").innerText,
  checks: Object.fromEntries([...document.querySelectorAll("#day > li")].map((li) => [li.dataset.check, {
    word: text(li, ".word"), shape: text(li, ".shape"), figure: text(li, ".figure"), limit: text(li, ".limit"), todo: text(li, ".todo") }])),
  way: [...document.querySelectorAll(".way")].map((w) => w.textContent),
  ink: [...document.querySelectorAll("canvas")].map((canvas) => {
    const copy = new OffscreenCanvas(canvas.width, canvas.height).getContext("2d");
    copy.drawImage(canvas, 0, 0);
    const { data } = copy.getImageData(0, 0, canvas.width, canvas.height);
    let drawn = 0;
    for (let i = 3; i < data.length; i += 4) drawn += data[i] > 64;
    return drawn;
  }),
  audit: document.querySelector(".audit").innerText, length: document.querySelector("#length .said").innerText,
  now: document.querySelector("#plates .now").innerText, load: document.querySelector("#load .said").innerText, off: document.querySelector('#load [data-out="off"]').textContent,
  limit: document.querySelector('#load [data-out="limit"]').textContent, streams: document.querySelector("#streams .clocks").innerText,
  disk: document.getElementById("archive").innerText, config: document.querySelector('#config [data-part="text"]').textContent,
  measured: document.querySelector('[data-out="measured"]').textContent, difference: document.querySelector('[data-out="difference"]').textContent,
};
"""
# Somebody at address, right-handed: facing +Z (protocol: X toward the target, Y up, Z = X x Y).
BODY = {
    "left_asis": (0.12, 1.0, -0.7), "right_asis": (-0.12, 1.0, -0.7), "left_psis": (0.05, 1.02, -0.9), "right_psis": (-0.05, 1.02, -0.9),
    "c7": (0.0, 1.4, -0.6), "sternal_notch": (0.0, 1.3, -0.5), "left_heel": (0.2, 0.05, -0.9), "left_toe": (0.22, 0.05, -0.7),
    "right_heel": (-0.2, 0.05, -0.9), "right_toe": (-0.22, 0.05, -0.7), "club_butt": (0.0, 0.75, -0.4), "club_head_toe": (0.0, 0.05, 0.22),
}
# Distance of the club's two markers: 3-4-5 scaled would be exact; here by Pythagoras from the table above.
CLUB_MM = 1000 * (0.7**2 + 0.62**2) ** 0.5


def stream(number, content, rate_hz, **changed):
    return {"stream": number, "content": content, "rate_hz": rate_hz, "seen_hz": rate_hz, "received": 100000, "lost": 0,
            "duplicate": 0, "late": 0, "reordered": 0, "loss_percent": 0.0, "hidden": [], "landmarks": 12 if content == "markers" else 0, **changed}


def clock(**changed):
    return {"clock": 1, "offset_s": 3.0, "drift_ppm": 12.0, "uncertainty_ms": 0.1, "delay_ms": 2.0, "sets": 0, **changed}


def plate(number, **changed):
    x = 0.5 * number
    corners = [[x + a, 0.0, b] for a, b in [(0.2, 0.3), (-0.2, 0.3), (-0.2, -0.3), (0.2, -0.3)]]
    return {"stream": 2, "name": f"plate {number}", "corners": corners, "force_n": [0.0, 0.4, 0.0], "scatter_n": 0.8, "center": None, "stood_on": False,
            "zero": {"force_n": [0.0, 3.0, 0.0], "moment_nm": [0.1, 0.0, 0.1], "age_s": 12.0, "drift_n": 0.5}, **changed}


def plates(*changed):
    return {"/plates": {"bay": "b", "plates": list(changed) or [plate(1), plate(2)], "zeroing": "A plate zeroes itself."}}


ARCHIVE = {"path": "/archive", "free_bytes": 50 << 30, "reserve_bytes": 512 << 20, "minutes_left": 600, "recording": {"file": "one.mcap", "bytes": 5 << 20},
           "stopped": None, "waiting": 0, "verified": None, "verifying": False, "backup": "Make a copy."}
DAMAGED = {"at_utc_ns": 1, "took_s": 2.0, "damaged": True, "sessions": 1, "recordings": 1, "swings": 3,
           "findings": [{"code": "archive.damaged", "severity": "error", "text": "one.mcap: 40 bytes are lost"}]}


def health(streams=None, findings=(), dropped=0, granted=8388608, refused=()):
    return {"type": "health", "bay": "b", "streams": streams or [stream(1, "markers", 360.0), stream(2, "forces", 1080.0)],
            "findings": [{"code": c, "severity": s, "text": t} for c, s, t in findings],
            "receive_buffer": {"asked": 8388608, "granted": granted}, "dropped": dropped, "refused": list(refused)}


def live(points=None, hidden=()):
    points = points or BODY
    return {"type": "live", "bay": "b", "time_s": 0.0, "landmarks": list(points), "points": [None if n in hidden else p for n, p in points.items()]}


def hello(swings, **changed):
    return {"type": "hello", "version": "1.0", "program": "0", "bay": "b", "bay_name": "Practice", "recording": "recorded", "state": "waiting",
            "landmarks": list(BODY), "swings": swings, "health": None, "archived": [{"bay": "b", "id": s["id"], "archived": True} for s in swings], **changed}


def with_metric(swing, **values):
    other = json.loads(json.dumps(swing))
    for name, value in values.items():
        other["measurement"]["metrics"][name.replace("__", ".")] = {"value": value, "unit": "?"}
    return other


def left_handed():
    swap = {"left": "right", "right": "left"}
    name = lambda n: "_".join([swap.get(n.split("_")[0], n.split("_")[0]), *n.split("_")[1:]])
    return {name(n): (x, y, -z) for n, (x, y, z) in BODY.items()}


def cases(true_swing):
    """Name, messages, and what must be seen: check → (word, part of the figure, part of what to do)."""
    # A first report: its replay is not asked for, as there is none of this bay.
    good = with_metric({**true_swing, "revision": 1}, marker_visibility=99.0, gap_longest=20.0, force_residual=3.0, force_marker_lag=1.0, clock_uncertainty=0.0,
                       cluster_residual__pelvis=0.8, cluster_residual__thorax=1.0, cluster_residual__head=0.5, cluster_residual__club=0.6)
    first = hello([good])
    yield "healthy", [first, health(), live()], {
        "link": ("ok", "frames arrive", ""), "rate": ("ok", "360 of 360", ""), "loss": ("ok", "0.00 %", ""), "order": ("ok", "0.00 %", ""),
        "buffer": ("ok", "0 dropped", ""), "hidden": ("ok", "0 of 12", ""), "residual": ("ok", "mm", ""), "visible": ("ok", "99 %", ""),
        "motion": ("ok", "3.0 %, 1.0 ms", ""), "clock": ("ok", "one clock", ""), "kept": ("ok", "archived", "")}
    # daemon/health.rs tells of a loss from 0.1 % on.
    lossy = [stream(1, "markers", 360.0, loss_percent=0.4, late=500), stream(2, "forces", 1080.0)]
    yield "loss", [first, health(lossy, [("stream.lost", "warning", "Stream 1 lost 0.4 % of its datagrams: check cable.")]), live()], {
        "loss": ("look", "0.40 %", "check cable"), "order": ("look", "0.50 % late", "too late")}
    # Below 90 frames a second no club speed is measured near impact (analysis/swing/impact.rs).
    slow = [stream(1, "markers", 80.0), stream(2, "forces", 1080.0, seen_hz=540.0)]
    yield "slow", [first, health(slow), live()], {"rate": ("wrong", "80 of 80", "no club speed")}
    # A healthy rig stays within 4 ms and 3 % (tests/audit.rs).
    apart = hello([with_metric(good, force_residual=14.0, force_marker_lag=-20.0)])
    yield "plates late", [apart, health(findings=[("rig.disagrees", "warning", "Plate 2 is about 20 ms late.")]), live()], {
        "motion": ("wrong", "14.0 %, −20.0 ms", "Plate 2 is about 20 ms late")}
    yield "delay", [first, health([stream(1, "markers", 360.0, clock=clock()), stream(2, "forces", 1080.0, clock=clock(clock=2, delay_ms=45.0, drift_ppm=-150.0))]), live()], {
        "clock": ("look", "slowest 45.0 ms", "cable")}
    yield "drift", [first, health(), live()], {"zero": ("look", "drift 22.0 N", "warm up")}
    yield "never zeroed", [first, health(), live()], {"zero": ("look", "never: plate 2", "Step off")}
    at_work = {**first, "lesson": {"seat": {"student": {"id": "s", "name": "Ivo Brandt"}}, "recording": "recorded", "shots": []}}
    yield "damaged", [at_work, health(), live()], {"kept": ("wrong", "recorded", "Archive below")}
    yield "zero", [first, health(findings=[("plate.odd", "warning", "Force plate 1: zero it.")]), live()], {"zero": ("look", "1 remark", "zero it")}
    loose = hello([with_metric(good, cluster_residual__head=6.0, marker_visibility=60.0)])
    yield "loose marker", [loose, health(), live(hidden=["left_toe"])], {
        "residual": ("wrong", "head 6.0 mm", "head"), "visible": ("wrong", "60 %", "Tape"), "hidden": ("look", "1 of 12", "left toe")}
    full = hello([good], archived=[{"bay": "b", "id": good["id"], "archived": False, "reason": "the disk is full"}])
    yield "disk", [full, health(findings=[("disk.full", "error", "The disk is full: free 2 GB.")], granted=212992,
                                refused=[{"reason": "magic", "count": 3}]), live()], {
        "kept": ("wrong", "not archived", "free 2 GB"), "buffer": ("look", "0 dropped", ""), "order": ("look", "3 refused", "")}
    yield "nobody yet", [hello([]), health(), live(hidden=list(BODY))], {
        "hidden": ("not known", "nobody", ""), "residual": ("not known", "—", ""), "motion": ("not known", "—", "")}
    yield "no frames", [hello([good], state="no_signal"), health(), live()], {"link": ("wrong", "no frames", "start the capture system")}
    yield "left", [first, health(), live(left_handed())], {"hidden": ("ok", "0 of 12", "")}


ANSWERS = {"drift": plates(plate(1), plate(2, zero={**plate(2)["zero"], "drift_n": 22.0})), "never zeroed": plates(plate(1), plate(2, zero=None)),
           "damaged": {**plates(), "/archive": {**ARCHIVE, "verified": DAMAGED, "minutes_left": 20}, "/calibrations": {"calibrations": []}}}
VERDICTS = {"delay": "1 to look at", "drift": "1 to look at", "never zeroed": "1 to look at", "damaged": "Mend first", "healthy": "The bay can teach", "loss": "2 to look at", "slow": "Mend first", "plates late": "Mend first", "zero": "1 to look at",
            "loose marker": "Mend first", "disk": "Mend first", "nobody yet": "So far so good", "no frames": "No signal", "left": "The bay can teach"}
SHAPES = {"ok": "●", "look": "▲", "wrong": "■", "not known": "○"}


def main(url):
    swing = {"type": "swing", "bay": "b", **until_a_swing(url)}
    failures = []
    with Browser(1280, 800) as browser:
        browser.cdp("Page.addScriptToEvaluateOnNewDocument", {"source": SOCKET})
        for name, messages, wanted in cases(swing):
            browser.open(f"{url}rig")
            browser.run("window.play(arguments[0], arguments[1]);", messages, {**plates(), **ANSWERS.get(name, {})})
            seen = until(browser, lambda seen: not missing(name, seen, wanted))
            failures += [f"{name}: {wrong}" for wrong in missing(name, seen, wanted)]
        failures += known_weight(browser, swing)
        failures += wizards(browser, swing)
        failures += known_length(browser)
        failures += quiet(browser, url)
    print(json.dumps({"ok": not failures, "failures": failures}, ensure_ascii=False))


def until(browser, done):
    end = time.monotonic() + PATIENCE_S
    while True:
        seen = browser.run(LOOK)
        if done(seen) or time.monotonic() > end:
            return seen
        time.sleep(0.1)


def missing(name, seen, wanted):
    """What a person would not see of what must be seen."""
    wrong = [] if VERDICTS[name] in seen["verdict"] else [f"the verdict reads {seen['verdict']!r}"]
    for check, (word, figure, todo) in wanted.items():
        card = seen["checks"].get(check)
        if not card:
            wrong.append(f"no check {check}")
            continue
        if card["word"] != word or card["shape"] != SHAPES[word] or figure not in card["figure"] or todo not in card["todo"]:
            wrong.append(f"{check} reads {card}, not {(word, figure, todo)}")
        if "limit:" not in card["limit"]:
            wrong.append(f"{check} shows no limit")
    if name == "plates late" and "Plate 2 is about 20 ms late" not in seen["audit"]:
        wrong.append(f"the audit reads {seen['audit']!r}")
    parts = {"healthy": [("now", "plate 2"), ("now", "12 s ago"), ("now", "3.0 N"), ("config", "version = 1")], "drift": [("now", "22.0 N")],
             "never zeroed": [("now", "never zeroed")], "delay": [("streams", "45.0 ms"), ("streams", "−150.0 ppm"), ("streams", "± 0.10 ms")],
             "damaged": [("disk", "40 bytes are lost"), ("disk", "20 minutes"), ("disk", "one.mcap"), ("disk", "Make a copy")]}
    wrong += [f"{part} lacks {text!r}: {seen[part]!r}" for part, text in parts.get(name, []) if text not in seen[part]]
    way = {"left": "← target", "nobody yet": "nobody in view"}.get(name, "target →")
    if seen["way"] != 3 * [way]:
        wrong.append(f"the pictures say {seen['way']} instead of {way}")
    if name == "healthy" and min(seen["ink"]) < 300:
        wrong.append(f"a picture is blank: {seen['ink']}")
    return wrong


def known_weight(browser, swing):
    """Puts 20 kg on plate 1: 196.133 N (20 × 9.80665 m/s²), whose limit is 5 N as 1 % is less."""
    wrong = []
    first = hello([{**swing, "revision": 1}])
    type_in = """const field = document.querySelector("#load input"); field.value = "20"; field.dispatchEvent(new Event("input"));"""
    middle, aside = [0.5, 0.0, 0.0], [0.6, 0.0, 0.0]
    cases = [(196.5, 0.8, middle, {}, "ok", "+0.4 N"), (203.0, 0.8, middle, {}, "look", "+6.9 N"), (176.0, 0.8, middle, {}, "wrong", "−20.1 N"),
             (196.5, 9.0, middle, {}, "nothing moves", "+0.4 N"), (0.4, 0.8, None, {}, "put the weight", "−195.7 N"), (196.5, 0.8, aside, {}, "10 cm", "+0.4 N"),
             (196.5, 0.8, middle, {"zero": None}, "never seen empty", "+0.4 N")]
    for load, scatter, center, changed, word, off in cases:
        loaded = plate(1, force_n=[0.0, load, 0.0], scatter_n=scatter, center=center, **changed)
        browser.run("window.play(arguments[0], arguments[1]);", [first, health(), live()], plates(loaded, plate(2)))
        browser.run(type_in)
        good = lambda seen: word in seen["load"] and seen["off"] == off and seen["limit"] == "± 5.0 N"
        seen = until(browser, good)
        if not good(seen):
            wrong.append(f"weight {load} ± {scatter}: {seen['load']!r}, {seen['off']!r}, {seen['limit']!r} instead of {word!r}, {off}")
    return wrong


def wizards(browser, swing):
    """Presses what reads taps, places and a calibration; what the bay answers is played."""
    wrong = []
    first = hello([{**swing, "revision": 1}], lesson={"seat": {"student": {"id": "s", "name": "Ivo Brandt"}}, "recording": "recorded", "shots": []})
    taps = [{"plate": f"plate {n}", "time_s": n, "late_ms": 4.0 + n / 10} for n in (1, 2, 3)]
    tapped = {"stream": 2, "taps": taps, "late_ms": 4.2, "uncertainty_ms": 0.1, "told_ms": 0.0, "sure": True}
    placed = {"face": [0.01, 0.03, 0.02], "scatter_mm": 0.2, "ball": [0.031, 0.021, 0.02], "told_ball": [0, 0.021, 0], "ball_off_mm": 31.0,
              "line_off_deg": 3.2, "lines": "target = [0.9986, 0.0000, -0.0523]", "words": "The ball lies 31 mm nearer to the target."}
    answers = {**plates(), "/archive": ARCHIVE, "/tap": {"streams": [tapped], "beside": 1, "lines": "[late_millis]\n2 = 4.2", "words": "Put these lines into bay.toml"},
               "/place": placed, "/calibrations": {"calibrations": [], "number": 2, "entry": 7, "words": ["The legs' movement placed the hips."]}, "/undo": {}}
    browser.run("window.play(arguments[0], arguments[1]);", [first, health(), live()], answers)
    look = """return { text: document.querySelector(arguments[0]).innerText, asked: window.asked.filter((a) => a[0] === "POST"),
      off: [...document.querySelectorAll(arguments[0] + " button")].map((b) => b.disabled) };"""
    steps = [("#tap button", "#tap", ["4.2 ms later", "± 0.10 ms", "2 = 4.2", "1 blow met no plate"], ["POST", "/api/v1/bays/b/tap", {"seconds": 30}]),
             ("#place button", "#place", ["3.1, 2.1, 2.0 cm", "+31 mm", "31 mm nearer"], ["POST", "/api/v1/bays/b/place", {}]),
             ("#place button + button", "#place", ["+3.2°", "to the left", "target = [0.9986"], ["POST", "/api/v1/bays/b/place", {"ball": [0.031, 0.021, 0.02]}]),
             ('#trial [data-part="last"]', "#trial", ["Calibration 2 goes", "placed the hips", "Ivo Brandt"], ["POST", "/api/v1/students/s/calibrations", {"from": "last", "seconds": 20}]),
             ('#trial [data-part="undo"]', "#trial", ["Taken back"], ["POST", "/api/v1/entries/7/undo", {}]),
             ("#archive button", "#archive", ["Not checked since", "10 hours"], ["POST", "/api/v1/archive/verify", {}])]
    for button, part, texts, asked in steps:
        end = time.monotonic() + PATIENCE_S
        # Enabled as soon as the page knows who stands in the bay.
        while browser.run("const b = document.querySelector(arguments[0]); if (!b.disabled && !b.hidden) { b.click(); return false; } return true;", button) and time.monotonic() < end:
            time.sleep(0.1)
        while True:
            seen = browser.run(look, part)
            sent = [[method, path, json.loads(body)] for method, path, body in seen["asked"]]
            lacks = [text for text in texts if text not in seen["text"]]
            if (not lacks and asked in sent) or time.monotonic() > end:
                break
            time.sleep(0.1)
        if lacks or asked not in sent:
            wrong.append(f"{button} lacks {lacks}, asked {sent}: {seen['text']!r}")
    return wrong


def known_length(browser):
    """Enters a length 10 mm off, then the right one."""
    wrong = []
    type_in = """const field = document.querySelector("#length input"); field.value = arguments[0]; field.dispatchEvent(new Event("input"));"""
    # Limit: 0.5 % of 935 mm is 4.7 mm.
    for told, word, difference in [(CLUB_MM - 10, "look", "+10.0 mm"), (CLUB_MM, "ok", "0.0 mm"), (CLUB_MM + 20, "wrong", "−20.0 mm")]:
        browser.run(type_in, f"{told:.1f}")
        good = lambda seen: word in seen["length"] and near(seen["difference"], difference)
        seen = until(browser, good)
        if not good(seen) or not near(seen["measured"], f"{CLUB_MM:.1f} mm"):
            wrong.append(f"length {told:.1f}: {seen['length']!r}, {seen['difference']!r}, {seen['measured']!r}")
    return wrong


def near(shown, wanted):
    """Equal but for what rounding of the entry leaves."""
    number = lambda text: float(text.replace("−", "-").replace("mm", "").strip() or "nan")
    return shown != "—" and abs(number(shown) - number(wanted)) <= 0.11


if __name__ == "__main__":
    main(sys.argv[1])
