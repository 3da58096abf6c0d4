#!/usr/bin/env python3
"""Throws requests that no page sends at the page's server: it answers each, fails at none, and the workshop stays sound.

    check_requests.py WARPWISE FOLDER [--count N] [--seed S]

A workshop with a planned job is made in FOLDER. Each request goes to a route of the server with its fields as the sources name
them, or without some, with values of the right kind, of a wrong one, or hostile. Then what the person had is looked at:
`stock check` calls the ledger sound, the job's text is one that can be read, and nothing lies outside of the workshop.
Exit status 1 and a line for each fault if something is wrong.
"""

import argparse
import collections
import html
import http.client
import json
import os
import pathlib
import random
import re
import subprocess
import sys
import threading
import tomllib
from urllib.parse import quote, urlencode

ROOT = pathlib.Path(__file__).resolve().parents[2]
RIGHT = ["1", "0", "2", "side", "lid", "tape", "plain-200", "1.1", "a4", "mm", "de", "layer.0.angle", "2026-11-30", "up"]
WRONG = [
    "", "-1", "NaN", "inf", "1e308", "-1e308", "9" * 20, "../../x", "%00", "\u202e", "<script>", '"', "\\", "0x10", "1,5", "  ",
    "a" * 5000, "[]", "{}", "null", "0000-00-00", "9999-12-31", "-0", "1e-320", "18446744073709551616", "\n", "\x1b[31m", "NUL", ".", "..",
]
STEPS = ["templates", "cloths", "layers", "plies", "plan", "sheets", "cut", "lay"]
JOB = """[job]
name = "battery box"
[[cloth]]
id = "plain-200"
weave = "plain"
up = "paper"
roll_width = 1000
selvedge = 8
[[template]]
id = "lid"
file = "lid.csv"
arrow = 0
taken_off = "mould"
inked_side = "up"
[[strip]]
id = "tape"
length = 900
width = 50
[[layer]]
cloth = "plain-200"
angle = 45
templates = ["lid", "tape"]
"""
LID = "x_mm,y_mm\n0,0\n310,0\n310,200\n155,240\n0,200\n"


def handlers():
    """Path, method and module of every handler; the fields that each module reads, structure by structure."""
    folder = ROOT / "src/bench"
    texts = {f.stem: f.read_text() for f in folder.glob("*.rs")}
    routes = re.findall(r'"(/[^"]*)", ?((?:\.?(?:get|post)\([\w:]+\))+)', re.sub(r"\s+", " ", texts["mod"]))
    table = [(path, method, name.split("::")[0]) for path, calls in routes for method, name in re.findall(r"(get|post)\(([\w:]+)\)", calls)]
    bodies = {m: re.findall(r"Deserialize[^{]*struct \w+(?:<[^>]*>)? \{(.*?)\n\}", t, re.S) for m, t in texts.items()}
    forms = {m: [re.findall(r"(\w+): ([^,\n]+),", b) for b in all] for m, all in bodies.items()}
    return table, forms


def main():
    words = argparse.ArgumentParser()
    words.add_argument("warpwise")
    words.add_argument("folder", type=pathlib.Path)
    words.add_argument("--count", type=int, default=3000)
    words.add_argument("--seed", type=int, default=1)
    said = words.parse_args()
    exe = str(pathlib.Path(said.warpwise).resolve())
    dice = random.Random(said.seed)
    workshop = said.folder / "workshop"
    (workshop / "box").mkdir(parents=True)
    home = said.folder / "home"
    home.mkdir()
    (workshop / "box/job.toml").write_text(JOB)
    (workshop / "box/lid.csv").write_text(LID)
    subprocess.run([exe, "nest", workshop / "box/job.toml", "--effort", "1", "--quiet"], check=True, capture_output=True)
    errors = said.folder / "errors.txt"
    server = subprocess.Popen(
        [exe, "bench", workshop, "--no-open", "--port", "18766"],
        stdout=subprocess.PIPE,
        stderr=errors.open("w"),
        text=True,
        # The workshop last opened is remembered there.
        env=os.environ | {"HOME": str(home), "XDG_CONFIG_HOME": str(home), "XDG_DATA_HOME": str(home)},
    )
    found = next(m for line in server.stdout if (m := re.search(r"http://([\d.]+):(\d+)(/\S*)", line)))
    threading.Thread(target=lambda: collections.deque(server.stdout, 0), daemon=True).start()
    origin = f"http://{found[1]}:{found[2]}"

    def ask(method, path, body=None, kind=None, cookie=""):
        wire = http.client.HTTPConnection(found[1], int(found[2]), timeout=60)
        head = {"Origin": origin, "Sec-Fetch-Site": "same-origin", "HX-Request": "true", "Cookie": cookie}
        wire.request(method, path, body, head | ({"Content-Type": kind} if kind else {}))
        answer = wire.getresponse()
        # A stream of events has no end.
        told = b"" if "event-stream" in (answer.getheader("Content-Type") or "") else answer.read()
        wire.close()
        return answer, told

    cookie = ask("GET", found[3])[0].getheader("Set-Cookie").split(";")[0]
    table, forms = handlers()
    faults, codes, held = [], collections.Counter(), collections.defaultdict(list)

    def look():
        """Takes up what the pages would send now."""
        held.clear()
        for page in ["job/box/" + step for step in STEPS] + ["stock", "cloths", "projector"]:
            answer, told = ask("GET", f"/{page}", cookie=cookie)
            text = told.decode()
            if answer.status != 200:
                faults.append(f"/{page} is not shown any more: {answer.status} {text[:200]}")
            for name, text_of in re.findall(r'name="(\w+)"[^>]*? value="([^"]*)"', text):
                held[name].append(html.unescape(text_of))
            for sent in re.findall(r'hx-vals="([^"]*)"', text):
                for name, inside in json.loads(html.unescape(sent)).items():
                    held[name].append(inside if isinstance(inside, str) else json.dumps(inside))

    def value(kind, name=""):
        if held[name] and dice.random() < 0.6:
            return dice.choice(held[name])
        if re.search(r"f64|u\d|usize|i\d", kind) and dice.random() < 0.7:
            return str(dice.choice([0, 1, 2, 3, -1, 0.5, 90, 1e9]))
        if "bool" in kind and dice.random() < 0.8:
            return dice.choice(["true", "false"])
        return dice.choice(RIGHT if dice.random() < 0.55 else WRONG)

    def part(match):
        if match[1] == "job" and dice.random() < 0.95:
            return "box"
        if match[1] == "step" and dice.random() < 0.8:
            return dice.choice(STEPS)
        return quote(value("u8" if match[1] in ("index", "sheet") else ""), safe="")

    for k in range(said.count):
        if k % 50 == 0:
            look()
        route, method, module = dice.choice(table)
        path = re.sub(r"\{\*?(\w+)\}", part, route)
        fields = [(k, value(t, k)) for k, t in dice.choice(forms[module] or [[]]) if dice.random() < 0.93]
        kind = dice.choice(["form", "form", "json", "noise"])
        if method == "get":
            path, body, sort = f"{path}?{urlencode(fields)}", None, None
        elif kind == "form":
            body, sort = urlencode(fields), "application/x-www-form-urlencoded"
        elif kind == "json":
            other = lambda text: dice.choice([text, text, 1, -1e300, None, [text], {"x": text}, True, [[0, 0], [1, 1]]])
            body, sort = json.dumps({k: other(v) for k, v in fields}), "application/json"
        else:
            body, sort = dice.randbytes(dice.randrange(300)), dice.choice(["application/octet-stream", "text/csv", "image/jpeg"])
        what = f"{method} {path[:200]} {str(fields)[:300]}"
        try:
            answer, told = ask(method.upper(), path, body, sort, cookie)
        except OSError as error:
            faults.append(f"{what}: {error}" + ("; the server is gone" if server.poll() is not None else ""))
            if server.poll() is not None:
                break
            continue
        codes[answer.status] += 1
        # Faults in the workshop's own words are answers; what is meant is a handler that broke.
        if answer.status >= 500:
            faults.append(f"{what}: {answer.status} {told[:200]!r}")
    if server.poll() is None:
        look()
    server.terminate()
    server.wait(20)
    if "panicked" in errors.read_text():
        faults.append(f"a panic: {errors.read_text()[:500]}")
    sound = subprocess.run([exe, "stock", "check", "--ledger", workshop / "stock.sqlite"], capture_output=True, text=True)
    if sound.returncode:
        faults.append(f"the ledger: {sound.stdout}{sound.stderr}")
    for job in workshop.glob("*/job.toml"):
        try:
            tomllib.loads(job.read_text())
        except ValueError as error:
            faults.append(f"{job}: {error}")
    beside = sorted(p.name for p in said.folder.iterdir())
    if beside != ["errors.txt", "home", "workshop"]:
        faults.append(f"beside the workshop: {beside}")
    print(*dict.fromkeys(faults), sep="\n")
    print(f"{len(faults)} faults in {sum(codes.values())} requests: {', '.join(f'{n} x {c}' for c, n in codes.most_common())}")
    return 1 if faults or codes[200] < said.count / 20 else 0


if __name__ == "__main__":
    sys.exit(main())
