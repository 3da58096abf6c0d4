"""The judge itself: answers made from a truth, spoilt in one way each, must get the verdict that this deserves."""

import copy
import math
import unittest

import numpy as np
from shapely.geometry import Polygon

import cover
import verdict


def truth():
    a = np.linspace(0, 2 * math.pi, 400, endpoint=False)
    outer = np.stack([150 * np.cos(a), 90 * np.sin(a) + 15 * np.cos(2 * a)], 1)
    hole = np.stack([60 + 12 * np.cos(a), 12 * np.sin(a)], 1)
    tags = dict(
        narrow_darts=0,
        darts=0,
        slits=1,
        net="edge",
        gaps=0,
        faint=False,
        doubled=0,
        pen_mm=1.0,
        touching=False,
        covered=False,
        bent_card=False,
        cards=3,
        light="window",
        blur_px=0.6,
        lifted=False,
        contrast="far",
        see_through=False,
        ground="painted",
        tilt=5.0,
        mm_a_pixel=0.3,
        others=0,
    )
    return dict(
        outer=outer.tolist(),
        holes=[hole.tolist()],
        darts=[],
        reliefs=[[[-140, 30], [-100, 20]]],
        arrow=[[-60, -30], [20, 10]],
        others=[],
        net="edge",
        covered=False,
        tags=tags,
    )


def answer(t, turn=1.1):
    c, s = math.cos(turn), math.sin(turn)
    move = lambda p: (np.asarray(p) @ np.array([[c, s], [-s, c]]) + [400, 250]).tolist()
    template = dict(net=move(t["outer"]), holes=[move(h) for h in t["holes"]], arrow=move(t["arrow"]), cuts=[move(r) for r in t["reliefs"]])
    return dict(templates=[template], warnings=[])


class Verdicts(unittest.TestCase):
    def judged(self, change=lambda t: None, stderr=""):
        t = truth()
        a = answer(t)
        change(a["templates"][0])
        return verdict.judge_answer(a, stderr, t)

    def test_the_truth_itself_is_right_wherever_it_lies(self):
        v = self.judged()
        self.assertEqual(v["verdict"], verdict.RIGHT, v["why"])
        self.assertLess(v["figures"]["worst"], 0.02)

    def test_a_moved_stretch_is_silent_unless_its_place_is_named(self):
        def moved(t):
            n = np.array(t["net"])
            n[100:108] += (n[104] - n.mean(0)) / 30
            t["net"] = n.tolist()

        self.assertEqual(self.judged(moved)["verdict"], verdict.SILENT)
        x, y = answer(truth())["templates"][0]["net"][104]
        self.assertEqual(self.judged(moved, f"warning: edge at ({x:.2f}, {y:.2f}) mm: doubtful")["verdict"], verdict.SAID)
        self.assertEqual(self.judged(moved, f"warning: edge at ({x + 60:.2f}, {y:.2f}) mm: doubtful")["verdict"], verdict.SILENT)

    def test_scale_is_not_fitted(self):
        def scaled(t):
            for k in ("net", "arrow"):
                t[k] = (np.array(t[k]) * 1.004).tolist()

        self.assertIn("area", self.judged(scaled)["why"])

    def test_holes_cuts_and_the_arrow_count(self):
        for change, what in (
            (lambda t: t["holes"].clear(), "0 holes instead of 1"),
            (lambda t: t["cuts"].clear(), "1 of 1 relief cuts missed"),
            (lambda t: t["cuts"].append([[400, 250], [420, 250]]), "1 relief cuts that are none"),
            (lambda t: t["arrow"].reverse(), "arrow"),
            (lambda t: t.update(arrow=None), "no arrow"),
        ):
            self.assertIn(what, self.judged(change)["why"])

    def test_clutter_traced_beside_the_template_is_wrong(self):
        t = truth()
        a = answer(t)
        other = copy.deepcopy(a["templates"][0])
        other["net"] = (np.array(other["net"]) * 0.3).tolist()
        a["templates"].append(other)
        self.assertEqual(verdict.judge_answer(a, "", t)["verdict"], verdict.SILENT)

    def test_a_refusal_is_true_only_if_its_cause_is_in_the_scene(self):
        t = truth()
        self.assertEqual(verdict.judge_refusal("a.jpg: template and ground are too alike\n    use another", t)["verdict"], verdict.WRONG_CAUSE)
        t["tags"]["contrast"] = "equal"
        self.assertEqual(verdict.judge_refusal("a.jpg: template and ground are too alike\n    use another", t)["verdict"], verdict.TRUE_CAUSE)


class Cover(unittest.TestCase):
    def test_cover_is_the_area_of_each_pixel(self):
        from shapely.geometry import box

        a = np.linspace(0, 2 * math.pi, 90, endpoint=False)
        outer, inner = np.stack([14.3 + 11.7 * np.cos(a), 9.6 + 11.7 * np.sin(a)], 1), np.stack([14.3 + 4 * np.cos(-a), 9.6 + 4 * np.sin(-a)], 1)
        shape = Polygon(outer, [inner])
        got = cover.cover([outer, inner], 8, 2, 12, 30)
        for y in range(30):
            for x in range(12):
                self.assertAlmostEqual(float(got[y, x]), shape.intersection(box(x + 7.5, y + 1.5, x + 8.5, y + 2.5)).area, places=4)


if __name__ == "__main__":
    unittest.main()
