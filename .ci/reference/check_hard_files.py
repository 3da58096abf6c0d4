"""Files of up to 64 MB made to be hard to read: each is read or refused by name within bounds.

Usage: check_hard_files.py WARPWISE WORK_FOLDER [--page] [NAME...]
With --page they are sent to the page's server, one after the other, and what it takes for each is measured.
Prints a table of size, seconds of the processor, peak memory, exit status and the first words said.
Nothing but Python's standard library; the files are made anew and removed one by one.
"""

import http.client
import json
import os
import pathlib
import re
import resource
import subprocess
import sys
import tempfile
import zlib

MOST_SECONDS = 20
MOST_MEMORY = 500  # MB
MB = 1 << 20
FIXTURES = pathlib.Path(__file__).resolve().parents[2] / "tests/data/0.1.0"


def filled(head, unit, tail, size):
    """Text of about `size` bytes: a head, a unit (a text, or one for each number) many times, a tail."""
    if isinstance(unit, str):
        return head + unit * ((size - len(head) - len(tail)) // len(unit)) + tail
    step = len(unit(10**6))
    return head + "".join(unit(k) for k in range((size - len(head) - len(tail)) // step)) + tail


def stock(rest):
    return '{"schema":1,' + rest


CON = '{"id":"con-%d","kind":"resin","name":"r"}'
OFFCUT = '{"id":"off-1","cloth":"twill","added":"2026-01-05","outline":'


def ledger(size):
    """An export as older builds wrote it, with a line for every number: most of it is the history."""
    def offcut(k):
        ring = [[0.0, 0.0], [147.096 + k, 0.0], [147.096 + k, 260.512], [146.501, 261.043], [88.125, 299.5], [0.0, 300.0]]
        return {"facts": {"added": "2026-11-29", "age": {"cosmetic_only": False, "expiry": None, "is_out": False, "out_hours": 0.0, "out_life_hours": None}, "batch": None, "cloth": "twill", "face": "up", "flaws": [], "holes": [], "id": f"off-{k}", "outline": ring, "parent": None, "place": "box 3", "revision": 0}, "open_plan": None, "out_since": None, "record": "offcut"}

    one = len(json.dumps(offcut(0), indent=2)) * 4
    count = size // one
    kept = 200
    entries, records = [], []
    for k in range(1, count + 1):
        record = offcut(k)
        changes = [{"after": record, "before": None, "id": f"off-{k}"}]
        entries.append({"at": "2026-11-29T10:00:00Z", "changes": changes, "number": 2 * k, "undone": False, "what": "added 1 offcut of twill"})
        if k > kept:
            changes = [{"after": None, "before": record, "id": f"off-{k}"}]
            entries.append({"at": "2026-11-29T11:00:00Z", "changes": changes, "number": 2 * k + 1, "undone": False, "what": f"removed off-{k}"})
        else:
            records.append(record)
    archive = {"entries": entries, "numbers": {"con": 0, "off": count, "roll": 0}, "records": records}
    listed = [r["facts"] for r in records]
    return json.dumps({"schema": 1, "ledger": "1db65eccd1b880bc", "day": "2026-11-29", "rolls": [], "offcuts": listed, "consumables": [], "archive": archive}, indent=2)


def plan(where, unit, size):
    """The plan of a fixture with a list of it filled up."""
    model = json.loads((FIXTURES / "plan.json").read_text(encoding="utf-8"))
    at = model
    for key in where[:-1]:
        at = at[key]
    at[where[-1]] = "HERE"
    head, tail = json.dumps(model).split('"HERE"')
    return filled(head + "[", unit + ",", unit + "]" + tail, size)


def png(width, height, bits, colour, row):
    """A picture of equal rows: little in the file, much in memory."""
    def chunk(kind, data):
        return len(data).to_bytes(4, "big") + kind + data + zlib.crc32(kind + data).to_bytes(4, "big")

    packer = zlib.compressobj(9)
    rows = b"".join(packer.compress(row) for _ in range(height)) + packer.flush()
    head = width.to_bytes(4, "big") + height.to_bytes(4, "big") + bytes([bits, colour, 0, 0, 0])
    return b"\x89PNG\r\n\x1a\n" + chunk(b"IHDR", head) + chunk(b"IDAT", rows) + chunk(b"IEND", b"")


def jpeg(side, scans):
    """A progressive picture of very many scans, each of a few bytes that go over all of it."""
    size = side.to_bytes(2, "big")
    frame = b"\xff\xc2" + (11).to_bytes(2, "big") + b"\x08" + size + size + b"\x01\x01\x11\x00"
    table = b"\xff\xdb" + (67).to_bytes(2, "big") + b"\x00" + b"\x01" * 64
    # Codes of one letter each: 0 for no difference, and a run of 16384 empty blocks and more.
    dc = b"\xff\xc4" + (20).to_bytes(2, "big") + b"\x00" + b"\x01" + bytes(15) + b"\x00"
    ac = b"\xff\xc4" + (20).to_bytes(2, "big") + b"\x10" + b"\x01" + bytes(15) + b"\xe0"
    blocks = (side // 8) ** 2
    first = b"\xff\xda" + (8).to_bytes(2, "big") + b"\x01\x01\x00\x00\x00\x00" + bytes(blocks // 8)
    runs = blocks // 32767 + 1
    bits = ("0" + "1" * 14) * runs
    bits += "1" * (-len(bits) % 8)
    data = int(bits, 2).to_bytes(len(bits) // 8, "big").replace(b"\xff", b"\xff\x00")
    scan = b"\xff\xda" + (8).to_bytes(2, "big") + b"\x01\x01\x00\x01\x3f\x00" + data
    return b"\xff\xd8" + table + frame + dc + ac + first + scan * scans + b"\xff\xd9"


def svg(body, head=""):
    return f'<?xml version="1.0"?>{head}<svg xmlns="http://www.w3.org/2000/svg" xmlns:xlink="http://www.w3.org/1999/xlink" width="1000mm" height="1000mm" viewBox="0 0 1000 1000">{body}</svg>'


def use_chain():
    body = '<path id="a0" d="M0 0C1 900 900 1 900 900L0 900z"/>'
    for k in range(1, 40):
        body += f'<g id="a{k}"><use xlink:href="#a{k - 1}"/><use xlink:href="#a{k - 1}" x="1"/></g>'
    return svg(body)


def entities():
    rows = '<!ENTITY e0 "M0 0h9v9z">' + "".join(f'<!ENTITY e{k} "{f"&e{k - 1};" * 10}">' for k in range(1, 10))
    return svg('<path d="&e9;"/>', f"<!DOCTYPE svg [{rows}]>")


def dxf(blocks="", entities=""):
    return f"0\nSECTION\n2\nHEADER\n9\n$INSUNITS\n70\n4\n0\nENDSEC\n0\nSECTION\n2\nBLOCKS\n{blocks}0\nENDSEC\n0\nSECTION\n2\nENTITIES\n{entities}0\nENDSEC\n0\nEOF\n"


def nested_blocks():
    blocks = "0\nBLOCK\n2\nB0\n10\n0\n20\n0\n0\nCIRCLE\n8\n0\n10\n0\n20\n0\n40\n500\n0\nENDBLK\n"
    for k in range(1, 12):
        insert = f"0\nINSERT\n2\nB{k - 1}\n10\n1\n20\n1\n70\n9\n71\n9\n44\n3\n45\n3\n"
        blocks += f"0\nBLOCK\n2\nB{k}\n10\n0\n20\n0\n{insert}0\nENDBLK\n"
    return dxf(blocks, "0\nINSERT\n2\nB11\n10\n0\n20\n0\n")


def spline(degree, count):
    knots = [0] * (degree + 1) + list(range(1, count - degree)) + [count - degree] * (degree + 1)
    text = f"0\nSPLINE\n8\n0\n70\n8\n71\n{degree}\n72\n{len(knots)}\n73\n{count}\n"
    text += "".join(f"40\n{k}\n" for k in knots)
    return dxf("", text + "".join(f"10\n{(k * 7919) % 997}\n20\n{(k * 104729) % 991}\n30\n0\n" for k in range(count)))


def job(body):
    return '[job]\nname = "hard"\n[[cloth]]\nid = "twill"\nweave = "plain"\nup = "paper"\nroll_width = 1000\n' + body


STOCK, PLAN, SVG, DXF, CSV, JOB = "stock.json", "plan.json", "a.svg", "a.dxf", "a.csv", "job.toml"
LINE = "0\nLINE\n8\n0\n10\n%d\n20\n%d\n11\n%d\n21\n%d\n"
# Name, what it is, the file's name, its content.
FILES = [
    ("export", "stock: an export of 47 MB, nearly all of it history", STOCK, lambda: ledger(47 * MB)),
    ("stock-rings", "stock: flaws without points", STOCK, lambda: filled(stock('"offcuts":[' + OFFCUT + '[[0,0],[9,0],[0,9]],"flaws":['), "[],", "[]]}]}", 17 * MB)),
    ("stock-points", "stock: one outline of millions of points", STOCK, lambda: filled(stock('"offcuts":[' + OFFCUT + "["), lambda k: f"[{k % 3000},{k // 3000}],", "[0,9]]}]}", 41 * MB)),
    ("stock-names", "stock: a million things of one name", STOCK, lambda: filled(stock('"consumables":['), CON % 1 + ",", CON % 1 + "]}", 64 * MB)),
    ("stock-archive", "stock: a history of a million changes in one entry", STOCK, lambda: filled(stock('"archive":{"numbers":{"roll":0,"off":0,"con":0},"records":[],"entries":[{"number":1,"at":"","what":"","undone":false,"changes":['), '{"id":"a","before":null,"after":{"record":"consumable",' + (CON % 1)[1:] + "},", '{"id":"a","before":null,"after":null}]}]}}', 64 * MB)),
    ("stock-faults", "stock: a hundred thousand offcuts, all of them wrong", STOCK, lambda: filled(stock('"offcuts":['), lambda k: OFFCUT.replace("off-1", f"o{k}\\n").replace("twill", "") + '[[0,0],[9,9],[9,0],[0,9]],"batch":"\\n","place":"\\n"},', OFFCUT + "[]}]}", 10 * MB)),
    ("stock-deep", "stock: lists in lists", STOCK, lambda: filled(stock('"archive":'), "[", "", 64 * MB)),
    ("plan-rings", "plan: holes without points", PLAN, lambda: plan(["pieces", 0, "holes"], "[]", 17 * MB)),
    ("plan-points", "plan: net lines of a million points", PLAN, lambda: plan(["pieces", 0, "net"], "[[0.5,0],[9,0],[9,9],[0,9]]", 15 * MB)),
    ("plan-texts", "plan: millions of empty warnings", PLAN, lambda: plan(["warnings"], '""', 34 * MB)),
    ("svg-squares", "SVG: nearly 50,000 little squares in one path", SVG, lambda: svg(filled('<path d="', lambda k: f"M{k % 900} {k // 900}h.5v.5z", '"/>', MB * 7 // 10))),
    ("svg-use", "SVG: copies of copies, 40 deep", SVG, use_chain),
    ("svg-entities", "SVG: entities of entities", SVG, entities),
    ("svg-deep", "SVG: groups in groups", SVG, lambda: svg(filled("", "<g>", "", 31 * MB))),
    ("svg-names", "SVG: nearly 200,000 elements", SVG, lambda: svg(filled("", lambda k: f'<g id="n{k}"/>', "", 2 * MB))),
    ("dxf-blocks", "DXF: blocks in blocks, rows of rows", DXF, nested_blocks),
    ("dxf-lines", "DXF: 150,000 lines that cross everywhere", DXF, lambda: dxf("", filled("", lambda k: LINE % (k % 700, k // 700, 700 - k % 650, k % 977), "", 6 * MB))),
    ("dxf-spline", "DXF: a spline of degree 50", DXF, lambda: spline(50, 200_000)),
    ("csv-points", "CSV: one line of 250,000 points", CSV, lambda: filled("x_mm,y_mm\n", lambda k: f"{k % 1500},{(k * 7919) % 1499}\n", "", MB * 22 // 10)),
    ("csv-parts", "CSV: nearly 50,000 parts", CSV, lambda: filled("x_mm,y_mm,part\n", lambda k: f"{k % 5},{k % 7},p{k // 3}\n", "", MB * 16 // 10)),
    ("job-strips", "job: a hundred thousand strips", JOB, lambda: filled(job(""), lambda k: f'[[strip]]\nid="s{k}"\nlength=9\nwidth=9\n', "", 4 * MB - 9)),
    ("job-layers", "job: half a million empty layers", JOB, lambda: filled(job(""), "[[layer]]\n", "", 4 * MB - 9)),
    ("photo-png", "photo: 8000 × 8000 pixels of 64 bits", "a.png", lambda: png(8000, 8000, 16, 6, bytes(64_001))),
    ("photo-stripes", "photo: 8000 × 8000 pixels in stripes, with opacity", "a.png", lambda: png(8000, 8000, 8, 6, bytes(1) + bytes([9] * 3 + [99] + [240] * 3 + [255]) * 4000)),
    ("photo-scans", "photo: a progressive JPEG of 640,000 scans", "a.jpg", lambda: jpeg(8000, 640_000)),
    ("ledger-noise", "ledger: 64 MB of noise behind a right beginning", "stock.sqlite", lambda: b"SQLite format 3\0" + os.urandom(64 * MB)),
]


def words_for(warpwise, file, folder):
    """What to run for a file."""
    name = file.name
    if name == STOCK:
        return [warpwise, "stock", "--ledger", folder / "new.sqlite", "import", file]
    if name == PLAN:
        return [warpwise, "sheets", file, "--out", folder / "out"]
    if name == JOB:
        return [warpwise, "check", file]
    if name.startswith("stock"):
        return [warpwise, "stock", "--ledger", file, "check"]
    if name in ("a.png", "a.jpg"):
        return [warpwise, "trace", "photo", file, "--net", "edge", "--inked", "up", "--off", "mould", "--out", folder / "out"]
    text = job(f'[[template]]\nid = "a"\nfile = "{name}"\narrow = 0\ntaken_off = "mould"\ninked_side = "up"\n[[layer]]\ncloth = "twill"\nangle = 0\ntemplates = ["a"]\n')
    (folder / "job.toml").write_text(text, encoding="utf-8")
    return [warpwise, "check", folder / "job.toml"]


def measured(words, said):
    """Exit status, seconds of the processor and peak memory in MB."""
    child = subprocess.Popen([str(w) for w in words], stdout=said, stderr=subprocess.STDOUT, stdin=subprocess.DEVNULL, preexec_fn=lambda: resource.setrlimit(resource.RLIMIT_CPU, (60, 60)))
    _, status, usage = os.wait4(child.pid, 0)
    child.returncode = os.waitstatus_to_exitcode(status)
    return child.returncode, usage.ru_utime + usage.ru_stime, usage.ru_maxrss / 1024


class Page:
    """The page's server in a folder, as a browser sees it."""

    def __init__(self, warpwise, folder):
        home = {**os.environ, "XDG_DATA_HOME": str(folder / "data")}
        words = [warpwise, "bench", "--no-open", folder / "shop"]
        (folder / "shop").mkdir()
        self.child = subprocess.Popen([str(w) for w in words], stdout=subprocess.PIPE, stderr=subprocess.DEVNULL, env=home, text=True)
        self.host, key = self.child.stdout.readline().strip().removeprefix("http://").split("/?key=")
        self.cookie = f"warpwise_bench={key}"
        self.send("/jobs", b"name=hard", "application/x-www-form-urlencoded")

    def send(self, path, body, kind="application/octet-stream"):
        line = http.client.HTTPConnection(self.host, timeout=120)
        line.request("POST", path, body, {"Origin": f"http://{self.host}", "Cookie": self.cookie, "Content-Type": kind})
        answer = line.getresponse()
        return answer.status, re.sub("<[^>]*>", " ", answer.read().decode(errors="replace"))

    def taken(self):
        """Seconds of the processor so far, and the peak of memory in MB, which begins anew."""
        own = pathlib.Path(f"/proc/{self.child.pid}")
        fields = (own / "stat").read_text().rsplit(")", 1)[1].split()
        peak = re.search(r"VmHWM:\s+(\d+)", (own / "status").read_text())
        (own / "clear_refs").write_text("5")
        return (int(fields[11]) + int(fields[12])) / os.sysconf("SC_CLK_TCK"), int(peak[1]) / 1024


def sent(page, file):
    """Status, seconds, memory and words of a file that is sent to the page's server."""
    before = page.taken()[0]
    status, words = page.send(f"/job/hard/take?name={file.name}&off=mould&inked=up", file.read_bytes())
    after, memory = page.taken()
    return status, after - before, memory, words


def main():
    warpwise, work = sys.argv[1], pathlib.Path(sys.argv[2])
    work.mkdir(parents=True, exist_ok=True)
    asked, over = sys.argv[3:], []
    by_page = "--page" in asked
    asked = [name for name in asked if name != "--page"]
    print("| file | MB | s | peak MB | exit | says |\n|---|---|---|---|---|---|")
    for name, about, file, make in FILES:
        if asked and name not in asked or by_page and file in (STOCK, PLAN, JOB, "stock.sqlite"):
            continue
        with tempfile.TemporaryDirectory(dir=work) as at:
            folder = pathlib.Path(at)
            content = make()
            (folder / file).write_bytes(content if isinstance(content, bytes) else content.encode())
            size = (folder / file).stat().st_size / MB
            del content
            if by_page:
                page = Page(warpwise, folder)
                code, seconds, memory, words = sent(page, folder / file)
                page.child.kill()
                page.child.wait()
            else:
                with open(folder / "said", "w+b") as said:
                    code, seconds, memory = measured(words_for(warpwise, folder / file, folder), said)
                    said.seek(0)
                    words = said.read(2000).decode(errors="replace").replace(str(folder), "")
            words = " ".join(words.split())[:90].replace("|", "/")
            print(f"| {about} | {size:.3g} | {seconds:.1f} | {memory:.0f} | {code} | {words} |", flush=True)
            # An ordinary end: done, or refused with a reason (4: a ledger that is damaged).
            ends = (200, 204, 303, 413, 422) if by_page else (0, 1, 3, 4)
            if code not in ends or seconds > MOST_SECONDS or memory > MOST_MEMORY or not words:
                over.append(name)
    if over:
        sys.exit(f"over {MOST_SECONDS} s or {MOST_MEMORY} MB, or ended by itself: {', '.join(over)}")


main()
