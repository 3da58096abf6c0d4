#!/bin/sh
# Makes a job from drawings that Inkscape wrote, run without a screen (Debian: apt-get install -y --no-install-recommends inkscape).
#
#     make_inkscape.sh DIR [PYTHON]
#
# PYTHON (default python3) must have the packages of requirements.txt. Writes into DIR two SVG files as Inkscape saves them (one
# plain in mm, one in its own form in px with layers), `job.toml` and `expected.json` for check_import.py.
set -eu
if [ $# -lt 1 ]; then
    sed -n '2,7p' "$0" >&2
    exit 2
fi
here=$(cd "$(dirname "$0")" && pwd)
mkdir -p "$1"
cd "$1"
python=${2:-python3}
command -v inkscape >/dev/null || { echo "make_inkscape.sh: inkscape is not installed" >&2; exit 1; }

# A lid with a port hole, to be cut out by Inkscape's path difference; turned, in mm.
cat >lid-source.svg <<'SVG'
<svg xmlns="http://www.w3.org/2000/svg" width="360mm" height="240mm" viewBox="0 0 360 240">
  <g id="lid-group">
    <rect id="lid" x="20" y="20" width="300" height="180" rx="30" transform="rotate(10 170 110)"/>
    <circle id="port" cx="110" cy="90" r="35"/>
  </g>
</svg>
SVG
# A toe block: a union of three shapes on a layer; in px, which are 1/96 inch. A note lies on another layer.
cat >toe-source.svg <<'SVG'
<svg xmlns="http://www.w3.org/2000/svg" xmlns:inkscape="http://www.inkscape.org/namespaces/inkscape" width="960px" height="768px">
  <g inkscape:groupmode="layer" inkscape:label="toe-block" id="layer1" transform="translate(48 96) scale(1.5)">
    <rect id="plate" x="0" y="0" width="240" height="120"/>
    <ellipse id="nose" cx="240" cy="80" rx="110" ry="60"/>
    <path id="heel" d="M 0,0 L 96,-72 L 120,60 Z"/>
  </g>
  <g inkscape:groupmode="layer" inkscape:label="notes" id="layer2">
    <text x="20" y="700" id="note">toe block, left</text>
  </g>
</svg>
SVG

# export_as SOURCE TARGET ACTIONS
export_as() {
    rm -f "$2"
    inkscape "$1" --batch-process --actions="$3;export-filename:$2;export-do" >inkscape.log 2>&1 || true
    [ -s "$2" ] || { echo "make_inkscape.sh: Inkscape wrote no $2:" >&2; cat inkscape.log >&2; exit 1; }
}
export_as lid-source.svg lid.svg "select-by-id:lid,port;path-difference;export-plain-svg"
export_as toe-source.svg toe-block.svg "select-by-id:plate,nose,heel;path-union;export-type:svg"
# The sources are not part of the job, and had the shapes not been combined the files would hold three of them.
for file in lid.svg toe-block.svg; do
    if grep -q -e '<circle' -e '<ellipse' -e '<rect' "$file"; then
        echo "make_inkscape.sh: $file still holds the separate shapes" >&2
        exit 1
    fi
done
rm -f lid-source.svg toe-source.svg inkscape.log

PYTHONPATH="$here" "$python" - <<'PY'
import json
from pathlib import Path

from shapely import affinity
from shapely.geometry import Point, Polygon, box
from shapely.ops import unary_union

from make_drawings import ANGLES, ply

FINE = 256  # segments of a quarter circle

# The same shapes, y up: what lies at y in a drawing whose y runs down lies at -y here; where it lies does not matter.
up = lambda shape: affinity.scale(shape, 1, -1, origin=(0, 0))
rounded = affinity.rotate(box(50, 50, 290, 170).buffer(30, quad_segs=FINE), 10, origin=(170, 110))
lid = up(rounded.difference(Point(110, 90).buffer(35, quad_segs=FINE)))
nose = affinity.scale(Point(240, 80).buffer(1, quad_segs=FINE), 110, 60, origin=(240, 80))
toe = unary_union([box(0, 0, 240, 120), nose, Polygon([(0, 0), (96, -72), (120, 60)])])
px = 25.4 / 96
toe = up(affinity.scale(toe, 1.5 * px, 1.5 * px, origin=(0, 0)))

job = ['[job]\nname = "drawings from Inkscape"\n', "[cutting]\ngap = 5\ntrim = 25.0\nlap = 25\n"]
job.append('[[cloth]]\nid = "twill"\nweave = "twill 2/2"\ntwill_line = 45\nup = "paper"\nroll_width = 1250\nselvedge = 10\n')
expected = []
for name, outline, layer in [("lid", lid, ""), ("toe-block", toe, 'layer = "toe-block"\n')]:
    job.append(
        f'[[template]]\nid = "{name}"\nfile = "{name}.svg"\n{layer}taken_off = "mould"\ninked_side = "up"\nedge = "butt"\n'
        f'hands = "as traced"\narrow = 0\n'
    )
    for angle in ANGLES:
        expected.append(ply(name, outline, angle, "butt"))
for angle in ANGLES:
    job.append(f'[[layer]]\nname = "at {angle}"\ncloth = "twill"\nangle = {angle}\ntemplates = ["lid", "toe-block"]\n')
Path("job.toml").write_text("\n".join(job))
Path("expected.json").write_text(json.dumps({"plies": expected}, indent=1))
PY
echo "2 templates by Inkscape in $1"
