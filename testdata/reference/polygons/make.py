#!/usr/bin/env python3
"""Reference values for offsets of convex outlines, made with Shapely (GEOS).

Made with Shapely 1.8.5 (Debian package python3-shapely) and written to
offsets.json beside this script, in a few minutes:

    /usr/bin/python3 make.py

Each outline is built here without reference to the program under test: as the
convex hull of points on one arc per corner, of the corner's radius and tangent
to both its edges.

  * Outward offsets are Shapely's buffer with round joins.
  * Inward offsets are the intersection, by Shapely, of the half-planes that
    bound the hull, each moved in. Shapely's own inward buffer is not used: GEOS
    simplifies its input by a hundredth of the distance, which is far coarser
    than what is checked here.

Arcs, joins and half-planes come RESOLUTION to the quarter turn. Area, perimeter
and bounds are recorded; a record whose result is empty says so. Inputs are
rounded to 0.001 mm so that the file holds them exactly.
"""

import json
import math
import os
import random

import shapely
from shapely.affinity import translate
from shapely.geometry import MultiPoint, Polygon

RESOLUTION = 400
CASES = 1600
SEED = 20240517


def r3(x):
    return round(x, 3)


def rectangle(l, w, r):
    return [(-l / 2, -w / 2, r), (l / 2, -w / 2, r), (l / 2, w / 2, r), (-l / 2, w / 2, r)]


def even(x):
    """x rounded to 0.002, so that half of it is exact to 0.001."""
    return round(x * 500) / 500


def random_shape(rng):
    kind = rng.choice(["rectangle", "obround", "circle", "dee", "taper", "polygon", "polygon", "polygon"])
    l, w = even(rng.uniform(150, 1500)), even(rng.uniform(150, 1500))
    if kind == "rectangle":
        r = rng.choice([0, r3(rng.uniform(0, min(l, w) / 2)), min(l, w) / 2])
        return kind, [l, w, r], rectangle(l, w, r)
    if kind == "obround":
        l, w = max(l, w), min(l, w)
        return kind, [l, w], rectangle(l, w, w / 2)
    if kind == "circle":
        return kind, [l], rectangle(l, l, l / 2)
    if kind == "dee":
        r = rng.choice([0, r3(rng.uniform(0, w / 2))])
        l = even(l + w / 2 + r)
        c = rectangle(l, w, r)
        return kind, [l, w, r], [c[0], c[1][:2] + (w / 2,), c[2][:2] + (w / 2,), c[3]]
    if kind == "taper":
        f = even(w * rng.uniform(0.3, 1.6))
        pts = [(-l / 2, -w / 2), (l / 2, -f / 2), (l / 2, f / 2), (-l / 2, w / 2)]
        most = largest_common(pts)
        r = rng.choice([0, math.floor(most * rng.uniform(0, 1) * 1000) / 1000])
        return kind, [l, w, f, r], [p + (r,) for p in pts]
    n = rng.randint(3, 12)
    while True:
        angles = sorted(rng.uniform(0, 2 * math.pi) for _ in range(n))
        gaps = [(b - a) % (2 * math.pi) for a, b in zip(angles, angles[1:] + angles[:1])]
        if min(gaps) > 0.12 and max(gaps) < 2.8:
            break
    cx, cy = rng.uniform(-500, 500), rng.uniform(-500, 500)
    pts = [(r3(cx + l / 2 * math.cos(a)), r3(cy + w / 2 * math.sin(a))) for a in angles]
    most = largest_common(pts)
    style = rng.randint(0, 3)
    if style == 0:
        radii = [0.0] * n
    elif style == 1:
        radii = [most * rng.uniform(0, 0.999)] * n
    elif style == 2:
        radii = [most * rng.choice([0, rng.uniform(0, 0.999)]) for _ in pts]
    else:
        # Unequal radii that leave little of the shortest straight.
        t = half_turn_tangents(pts)
        radii = [rng.choice([0, rng.uniform(0, 1), rng.uniform(0, 1)]) for _ in pts]
        used = [radii[i] * t[i] + radii[(i + 1) % n] * t[(i + 1) % n] for i in range(n)]
        k = min(math.dist(pts[i], pts[(i + 1) % n]) / u for i, u in enumerate(used) if u > 0) if any(radii) else 0
        radii = [r * k * rng.uniform(0.8, 0.999) for r in radii]
    radii = [math.floor(r * 1000) / 1000 for r in radii]
    return kind, [], [p + (r,) for p, r in zip(pts, radii)]


def half_turn_tangents(pts):
    out = []
    for i, p in enumerate(pts):
        a, b = pts[i - 1], pts[(i + 1) % len(pts)]
        turn = (math.atan2(b[1] - p[1], b[0] - p[0]) - math.atan2(p[1] - a[1], p[0] - a[0])) % (2 * math.pi)
        out.append(math.tan(turn / 2))
    return out


def largest_common(pts):
    t = half_turn_tangents(pts)
    return min(math.dist(p, pts[(i + 1) % len(pts)]) / (t[i] + t[(i + 1) % len(pts)]) for i, p in enumerate(pts))


def arcs(corners):
    """Centre, radius, and first and last angle of the arc at each corner."""
    out = []
    for i, (x, y, r) in enumerate(corners):
        ax, ay, _ = corners[i - 1]
        bx, by, _ = corners[(i + 1) % len(corners)]
        da, db = math.hypot(ax - x, ay - y), math.hypot(bx - x, by - y)
        ux, uy, vx, vy = (ax - x) / da, (ay - y) / da, (bx - x) / db, (by - y) / db
        t = math.acos(max(-1, min(1, ux * vx + uy * vy)))  # interior angle
        mx, my = ux + vx, uy + vy
        k = r / math.sin(t / 2) / math.hypot(mx, my)
        first = math.atan2(ax - x, y - ay)  # outward normal of the edge that comes in
        out.append((x + mx * k, y + my * k, r, first, first + math.pi - t))
    return out


def on_arc(arc, a):
    x, y, r, _, _ = arc
    return x + r * math.cos(a), y + r * math.sin(a)


def hull(corners):
    """The convex hull of points on the corners' arcs."""
    points = []
    for arc in arcs(corners):
        n = max(1, math.ceil((arc[4] - arc[3]) / (math.pi / 2) * RESOLUTION))
        points.extend(on_arc(arc, arc[3] + (arc[4] - arc[3]) * k / n) for k in range(n + 1))
    return MultiPoint(points).convex_hull


def support(all_arcs, a):
    """How far the arcs reach from the origin in the direction of angle a."""
    ux, uy = math.cos(a), math.sin(a)
    reach = -math.inf
    for arc in all_arcs:
        tries = [arc[3], arc[4]]
        if (a - arc[3]) % (2 * math.pi) <= arc[4] - arc[3]:
            tries.append(a)
        for b in tries:
            x, y = on_arc(arc, b)
            reach = max(reach, x * ux + y * uy)
    return reach


def inset(corners, e):
    """The intersection of the half-planes that bound the hull, moved in by e."""
    cs = arcs(corners)
    cx, cy = sum(c[0] for c in corners) / len(corners), sum(c[1] for c in corners) / len(corners)
    cs = [(c[0] - cx, c[1] - cy) + c[2:] for c in cs]
    big = 4 * max(math.hypot(x - cx, y - cy) for x, y, _ in corners)
    angles = [2 * math.pi * k / (4 * RESOLUTION) for k in range(4 * RESOLUTION)]
    angles += [c[3] % (2 * math.pi) for c in cs]
    planes = []
    for a in sorted(set(angles)):
        ux, uy = math.cos(a), math.sin(a)
        h = support(cs, a) - e
        px, py = ux * h, uy * h
        planes.append(Polygon([
            (px - uy * big, py + ux * big), (px - (uy + ux) * big, py + (ux - uy) * big),
            (px + (uy - ux) * big, py - (ux + uy) * big), (px + uy * big, py - ux * big)]))
    while len(planes) > 1:
        joined = [a.intersection(b) for a, b in zip(planes[::2], planes[1::2])]
        planes = joined + planes[2 * len(joined):]
    shape = planes[0]
    if shape.is_empty or shape.area == 0:
        return Polygon()
    return translate(shape, cx, cy)


def main():
    rng = random.Random(SEED)
    cases = []
    while len(cases) < CASES:
        kind, args, corners = random_shape(rng)
        shape = hull(corners)
        assert isinstance(shape, Polygon) and shape.is_valid
        w = min(shape.bounds[2] - shape.bounds[0], shape.bounds[3] - shape.bounds[1])
        d = r3(rng.choice([rng.uniform(0, 150), -rng.uniform(0, 0.1) * w, -rng.uniform(0, 0.48) * w, -rng.uniform(0.2, 0.6) * w]))
        if d < 0:
            moved = inset(corners, -d)
        else:
            moved = shape.buffer(d, resolution=RESOLUTION, join_style=1)
        case = {"shape": kind, "args": args, "corners": [list(c) for c in corners], "offset": d,
                "area": shape.area, "perimeter": shape.length}
        if moved.is_empty:
            case["empty"] = True
        else:
            assert isinstance(moved, Polygon)
            case["offset_area"] = moved.area
            case["offset_perimeter"] = moved.length
            case["offset_bounds"] = [float("%.9g" % v) for v in moved.bounds]
        for k in ("area", "perimeter", "offset_area", "offset_perimeter"):
            if k in case:
                case[k] = float("%.10g" % case[k])
        cases.append(case)
    path = os.path.join(os.path.dirname(os.path.abspath(__file__)), "offsets.json")
    with open(path, "w") as f:
        f.write('{"source": "Shapely %s, make.py beside this file, seed %d, %d to the quarter turn",\n"cases": [\n'
                % (shapely.__version__, SEED, RESOLUTION))
        f.write(",\n".join(json.dumps(c, separators=(",", ":")) for c in cases))
        f.write("\n]}\n")


if __name__ == "__main__":
    main()
