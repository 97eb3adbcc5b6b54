#!/usr/bin/env python3
"""Judges a strip nest with GEOS, which shares no code with shopfloor/nest.

    firstoff nest PROBLEM.json --json > ANSWER.json
    tools/answercheck/strip.py PROBLEM.json ANSWER.json

Needs the GEOS library of the system (Debian: libgeos-c1v5 or libgeos-dev). Every piece is turned about its own origin, then
moved. Faults: a piece missing or too many, a rotation not listed, excess over the strip's edges or the stated length of more
than LENGTH mm, two pieces whose common area is more than AREA of the smaller. Exit status 1 with a line for each fault.
"""
import collections
import ctypes
import ctypes.util
import json
import math
import sys

LENGTH = 1e-6  # mm
AREA = 1e-9  # of the smaller piece

geos = ctypes.CDLL(ctypes.util.find_library("geos_c") or "libgeos_c.so.1")
geos.initGEOS.argtypes = [ctypes.c_void_p, ctypes.c_void_p]
geos.GEOSGeomFromWKT.restype = ctypes.c_void_p
geos.GEOSGeomFromWKT.argtypes = [ctypes.c_char_p]
geos.GEOSIntersection.restype = ctypes.c_void_p
geos.GEOSIntersection.argtypes = [ctypes.c_void_p, ctypes.c_void_p]
geos.GEOSArea.argtypes = [ctypes.c_void_p, ctypes.POINTER(ctypes.c_double)]
geos.GEOSMakeValid.restype = ctypes.c_void_p
geos.GEOSMakeValid.argtypes = [ctypes.c_void_p]
geos.GEOSGeom_destroy.argtypes = [ctypes.c_void_p]
geos.initGEOS(None, None)


def polygon(points):
    text = ",".join(f"{x!r} {y!r}" for x, y in points + points[:1])
    g = geos.GEOSGeomFromWKT(f"POLYGON(({text}))".encode())
    valid = g and geos.GEOSMakeValid(g)
    if not valid:
        sys.exit("GEOS refuses an outline")
    return valid


def area(g):
    a = ctypes.c_double()
    if not g or not geos.GEOSArea(g, ctypes.byref(a)):
        sys.exit("GEOS gives no area")
    return a.value


def main(problem, answer):
    p, r = (json.load(open(f)) for f in (problem, answer))
    items = {i["id"]: i for i in p["items"]}
    faults, placed, worst = [], [], 0.0
    have = collections.Counter(q["id"] for q in r["placements"])
    for i in set(items) | set(have):
        want = items.get(i, {"quantity": 0}).get("quantity", 1)
        if have[i] != want:
            faults.append(f"item {i}: {have[i]} placed, {want} wanted")
    if p.get("spacing_mm"):
        sys.exit("spacing is not judged here")
    for q in r["placements"]:
        item = items[q["id"]]
        turn = q["rotation_deg"]
        listed = item.get("rotations_deg")
        if listed and not any(abs((turn - a + 180) % 360 - 180) < 1e-9 for a in listed):
            faults.append(f"item {q['id']}: rotation {turn} is not listed")
        c, s = math.cos(math.radians(turn)), math.sin(math.radians(turn))
        if turn % 90 == 0:
            c, s = round(c), round(s)
        pts = [(x * c - y * s + q["x_mm"], x * s + y * c + q["y_mm"]) for x, y in item["polygon"]]
        lo = [min(v[k] for v in pts) for k in (0, 1)]
        hi = [max(v[k] for v in pts) for k in (0, 1)]
        out = max(-lo[0], -lo[1], hi[0] - r["length_mm"], hi[1] - p["container"]["width_mm"])
        if out > LENGTH:
            faults.append(f"item {q['id']}: {out:g} mm over the edge")
        placed.append((q["id"], lo, hi, polygon(pts)))
    for k, (a, alo, ahi, ag) in enumerate(placed):
        for b, blo, bhi, bg in placed[:k]:
            if any(ahi[d] <= blo[d] or bhi[d] <= alo[d] for d in (0, 1)):
                continue
            common = geos.GEOSIntersection(ag, bg)
            part = area(common) / min(area(ag), area(bg))
            geos.GEOSGeom_destroy(common)
            worst = max(worst, part)
            if part > AREA:
                faults.append(f"items {a} and {b}: {part:.3g} of the smaller is common")
    print(f"{len(placed)} pieces, length {r['length_mm']:.6f}, {len(faults)} faults, largest common part {worst:.2g}")
    for f in faults:
        print(f)
    return bool(faults)


if __name__ == "__main__":
    sys.exit(main(*sys.argv[1:3]))
