#!/usr/bin/env python3
"""Holds printed sheets and cutter files against plan.json, through readers of others: poppler, ezdxf, Chromium.

    check_prints.py WARPWISE PLAN_FOLDER

- A4 pages are A4 (pdfinfo), ask not to be scaled, their frame is as large as their foot says to 0.1 mm, and the roll's
  check square 100.00 mm to 0.05 mm.
- The rendered pages put side by side show every cut line of the plan where it lies, to 0.2 mm (pdftoppm, 10 pixels to the mm).
- DXF files pass ezdxf's audit, are in mm, and have every outline within 0.001 mm.
- The report prints in Chromium on A4, on six pages at the most.
Exit status 1 and a line for each fault if something is wrong.
"""

import json
import math
import pathlib
import re
import shutil
import subprocess
import sys
import tempfile

import ezdxf
import numpy as np

POINTS = 72 / 25.4
MARGIN, FOOT, OVERLAP = 8.0, 9.0, 10.0
PIXELS = 10  # to the mm
REPORT = 6  # pages that the demo's report may print on


def run(*words):
    return subprocess.run([str(w) for w in words], check=True, capture_output=True, text=True).stdout


def box(points):
    xs, ys = [p[0] for p in points], [p[1] for p in points]
    return min(xs), min(ys), max(xs), max(ys)


def segments(plan):
    """Name of the sheet, stock, start and end of each bench segment."""
    for i, stock in enumerate(plan["stocks"]):
        left, _, right, _ = box(stock["outline"])
        spans = stock["segments"] if len(stock["segments"]) > 1 else [[left, right]]
        for k, (start, end) in enumerate(spans):
            tail = f"-segment-{k + 1}" if len(spans) > 1 else ""
            name = re.sub(r"[^a-z0-9]+", "-", stock["id"].lower()).strip("-")
            yield f"{i + 1:02}-{name}{tail}", stock, start, end, len(spans)


def on_it(stock, start, end, count):
    for placed in stock["placed"]:
        b = box(placed["outline"])
        if count == 1 or (b[2] > start and b[0] < end):
            yield placed, b


def page_size(path):
    words = run("pdfinfo", path)
    width, height = re.search(r"Page size:\s+([\d.]+) x ([\d.]+) pts", words).groups()
    return int(re.search(r"Pages:\s+(\d+)", words)[1]), float(width) / POINTS, float(height) / POINTS


def check_square(path, page, work):
    """Closed squares of about 100 mm as pdftocairo draws them."""
    out = work / "page.svg"
    run("pdftocairo", "-svg", "-noshrink", "-f", page, "-l", page, path, out)
    best = 1e9
    for element in re.findall(r"<path [^>]*>", out.read_text()):
        numbers = [float(v) for v in re.findall(r"-?\d+\.?\d*", re.search(r' d="([^"]*)"', element)[1])]
        matrix = re.search(r'transform="matrix\(([^)]*)\)"', element)
        if not matrix or not 8 <= len(numbers) <= 10:
            continue
        a = [float(v) for v in re.split(r"[ ,]+", matrix[1])]
        points = [(a[0] * x + a[2] * y, a[1] * x + a[3] * y) for x, y in zip(numbers[::2], numbers[1::2])]
        b = box(points)
        best = min(best, max(abs((b[2] - b[0]) / POINTS - 100), abs((b[3] - b[1]) / POINTS - 100)))
    return best


def printed_frame(path, page, width, height):
    """How far the frame of a sheet is off what its foot says, from its rendered lines at 1200 dots to the inch."""
    dots = 1200 / 25.4

    def lines(left, top, wide, tall, down):
        data = subprocess.run(["pdftoppm", "-gray", "-r", "1200", "-x", str(int(left * dots)), "-y", str(int(top * dots)), "-W", str(int(wide * dots)),
                               "-H", str(int(tall * dots)), "-f", str(page), "-l", str(page), str(path)], check=True, capture_output=True).stdout
        head = re.match(rb"P5\s+(\d+)\s+(\d+)\s+255\s", data)
        pixels = np.frombuffer(data, np.uint8, offset=head.end()).reshape(int(head[2]), int(head[1]))
        grey = ((pixels > 0xC0) & (pixels < 0xE0)).mean(axis=1 if down else 0) > 0.6
        where = np.flatnonzero(grey)
        return [g.mean() / dots for g in np.split(where, np.flatnonzero(np.diff(where) > 1) + 1) if len(g)]

    said = re.search(r"frame ([\d.]+) × ([\d.]+) mm", run("pdftotext", "-raw", "-f", page, "-l", page, path, "-"))
    across, up = map(float, said.groups())
    found = [lines(MARGIN - 3, MARGIN + 6, width - 2 * MARGIN + 6, 2, False), lines(MARGIN + 6, MARGIN - 3, 2, height - 2 * MARGIN - FOOT + 6, True)]
    return max(min((abs(b - a - wanted) for a in list_ for b in list_), default=1e9) for list_, wanted in zip(found, (across, up)))


def image(path, page):
    data = subprocess.run(["pdftoppm", "-gray", "-r", str(25.4 * PIXELS), "-f", str(page), "-l", str(page), str(path)], check=True, capture_output=True).stdout
    head = re.match(rb"P5\s+(\d+)\s+(\d+)\s+255\s", data)
    return np.frombuffer(data, np.uint8, offset=head.end()).reshape(int(head[2]), int(head[1]))


def check_tiles(path, stock, start, end, count, faults):
    pages, width, height = page_size(path)
    if sorted([round(width, 1), round(height, 1)]) != [210.0, 297.0]:
        faults.append(f"{path.name}: pages of {width} x {height} mm are not A4")
    room = (width - 2 * MARGIN, height - 2 * MARGIN - FOOT)
    pieces = list(on_it(stock, start, end, count))
    tried = hit = 0
    on_page = {}
    for page in range(2, pages + 1):
        # As written, not as laid out: words of the drawing that are cut off at the foot would be read into the line of the foot.
        foot = re.search(r"from x (-?\d+) y (-?\d+) mm", run("pdftotext", "-raw", "-f", page, "-l", page, path, "-"))
        if not foot:
            faults.append(f"{path.name}: page {page} does not tell where it begins")
            continue
        on_page[page] = tuple(map(int, foot.groups()))
    samples = []
    for placed, _ in pieces:
        ring = placed["outline"]
        for (ax, ay), (bx, by) in zip(ring, ring[1:] + ring[:1]):
            length = math.hypot(bx - ax, by - ay)
            if length < 2:
                continue
            for k in range(max(1, int(length / 40))):
                t = (k + 0.5) / max(1, int(length / 40))
                samples.append((ax + (bx - ax) * t, ay + (by - ay) * t, -(by - ay) / length, (bx - ax) / length))
    found = [False] * len(samples)
    for page, (x0, y0) in on_page.items():
        # An edge along the free end lies 1 mm inside the first page; half of that is room enough for the line.
        mine = [i for i, s in enumerate(samples) if x0 + 0.5 < s[0] < x0 + room[0] - 0.5 and y0 + 0.5 < s[1] < y0 + room[1] - 0.5]
        if not mine:
            faults.append(f"{path.name}: page {page} has no cut line on it") if not pieces else None
            continue
        pixels = image(path, page)
        for i in mine:
            x, y, nx, ny = samples[i]
            found[i] = True
            tried += 1
            # The line is 1 mm wide: if it lay 0.2 mm off, one of these would be off it.
            dark = True
            for off in (-0.3, 0.0, 0.3):
                px = (MARGIN + x + off * nx - x0) * PIXELS
                py = (height - (MARGIN + FOOT) - (y + off * ny - y0)) * PIXELS
                dark = dark and pixels[min(int(py), pixels.shape[0] - 1), min(int(px), pixels.shape[1] - 1)] < 128
            hit += dark
    if not all(found):
        faults.append(f"{path.name}: {found.count(False)} of {len(found)} points to cut are on no page")
    # White boxes behind words may lie over a line here and there.
    if tried == 0 or hit < 0.99 * tried:
        faults.append(f"{path.name}: {tried - hit} of {tried} points of cut lines are more than 0.2 mm off")
    return tried


def check_dxf(path, stock, start, end, count, faults):
    document = ezdxf.readfile(path)
    audit = document.audit()
    if audit.errors:
        faults.append(f"{path.name}: {len(audit.errors)} errors in the audit: {audit.errors[0].message}")
    if document.dxfversion != "AC1015" or document.units != 4:
        faults.append(f"{path.name}: version {document.dxfversion}, units {document.units}")
    drawn = [[(p[0], p[1]) for p in line.get_points("xy")] for line in document.modelspace().query('LWPOLYLINE[layer=="CUT"]')]
    for placed, _ in on_it(stock, start, end, count):
        for ring in [placed["outline"], *placed["holes"]]:
            same = [d for d in drawn if len(d) == len(ring) and all(math.dist(p, q) < 0.001 for p, q in zip(d, ring))]
            if len(same) != 1:
                faults.append(f"{path.name}: {placed['piece']} is drawn {len(same)} times where it lies")


def main():
    if len(sys.argv) != 3:
        sys.exit(__doc__)
    warpwise, folder = sys.argv[1], pathlib.Path(sys.argv[2])
    plan = json.loads((folder / "plan.json").read_text(encoding="utf-8"))
    faults, points = [], 0
    with tempfile.TemporaryDirectory() as name:
        work = pathlib.Path(name)
        run(warpwise, "sheets", folder, "--as", "pdf", "--out", work, "--quiet")
        run(warpwise, "sheets", folder, "--as", "dxf", "--out", work)
        run(warpwise, "sheets", folder, "--pieces", "--paper", "a3", "--out", work)
        run(warpwise, "sheets", folder, "--as", "pdf", "--paper", "roll", "--out", work)
        for sheet, stock, start, end, count in segments(plan):
            path = work / f"{sheet}-a4.pdf"
            if b"/PrintScaling/None" not in path.read_bytes().replace(b" ", b""):
                faults.append(f"{path.name}: the print dialogue is not told to leave the scale alone")
            pages, width, height = page_size(path)
            roll = work / f"{sheet}-roll.pdf"
            # Grey lines of the drawing beside the frame blur what is read of it.
            for tried, off, most in ((path, printed_frame(path, pages, width, height), 0.1), (roll, check_square(roll, 1, work), 0.05)):
                if off > most:
                    faults.append(f"{tried.name}: the frame or the check square is {off} mm off")
            points += check_tiles(path, stock, start, end, count, faults)
            check_dxf(work / f"{sheet}.dxf", stock, start, end, count, faults)
        off = printed_frame(work / "templates-a3.pdf", 1, *page_size(work / "templates-a3.pdf")[1:])
        if off > 0.1:
            faults.append(f"templates: the frame is {off} mm off")
        chromium = shutil.which("chromium") or "chromium"
        flags = ["--headless", "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run", "--disable-background-networking",
                 "--disable-component-update", "--disable-sync", f"--user-data-dir={work / 'profile'}"]
        report = (folder / "report.html").resolve().as_uri()
        run(chromium, *flags, "--no-pdf-header-footer", f"--print-to-pdf={work / 'report.pdf'}", report)
        pages, width, height = page_size(work / "report.pdf")
        if pages > REPORT:
            faults.append(f"the report prints on {pages} pages, more than {REPORT}")
        if abs(width - 210) > 0.3 or abs(height - 297) > 0.3:
            faults.append(f"the report prints on {width} x {height} mm")
        page = run(chromium, *flags, "--dump-dom", report)
        if 'class="zoom"' not in page or "<th scope=\"col\"><button" not in page:
            faults.append("the report's script did not run in Chromium")
    for fault in faults:
        print(fault)
    print(f"{len(faults)} faults in print; {points} points of cut lines held against rendered pages")
    sys.exit(1 if faults else 0)


if __name__ == "__main__":
    main()
