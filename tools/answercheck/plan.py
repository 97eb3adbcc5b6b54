#!/usr/bin/env python3
"""Judges a plan of a makespan problem, written apart from schedule.Verify and sharing no code with it.

    firstoff plan PROBLEM.json --json > ANSWER.json
    tools/answercheck/plan.py PROBLEM.json ANSWER.json

Holds every operation to be planned once, on a machine it may run on, for that machine's duration, after its predecessor and
the job's release; machines to do one thing at a time with the setup between neighbours; the makespan to be the last end.
Calendars and due dates are not judged. Exit status 1 with a line for each fault.
"""
import collections
import json
import sys


def main(problem, answer):
    p, r = (json.load(open(f)) for f in (problem, answer))
    faults, lanes, at = [], collections.defaultdict(list), {}
    jobs = {j["id"]: j for j in p["jobs"]}
    for o in r["operations"]:
        key = o["job"], o["index"]
        if key in at:
            faults.append(f"{key} is planned twice")
        at[key] = o
        lanes[o["machine"]].append(o)
    if len(at) != sum(len(j["operations"]) for j in p["jobs"]):
        faults.append("the number of operations differs")
    for j in p["jobs"]:
        ready = j.get("release_s", 0)
        for k, op in enumerate(j["operations"]):
            o = at.get((j["id"], k))
            if o is None:
                faults.append(f"{j['id']} {k} is missing")
                continue
            took = [a["duration_s"] for a in op["alternatives"] if a["machine"] == o["machine"]]
            if o["end_s"] - o["start_s"] not in took:
                faults.append(f"{j['id']} {k}: {o['end_s'] - o['start_s']} s on {o['machine']}, listed {took}")
            if o["start_s"] < ready:
                faults.append(f"{j['id']} {k} starts at {o['start_s']}, ready at {ready}")
            ready = o["end_s"]
    setups = {s["machine"]: s for s in p.get("setups", [])}
    for machine, lane in lanes.items():
        lane.sort(key=lambda o: (o["start_s"], o["end_s"]))
        s = setups.get(machine)
        row = {f: k for k, f in enumerate(s["families"])} if s else {}
        for a, b in zip(lane, lane[1:]):
            gap = 0
            if s:
                fa, fb = (jobs[o["job"]]["operations"][o["index"]].get("family") for o in (a, b))
                if fa in row and fb in row:
                    gap = s["matrix_s"][row[fa]][row[fb]]
            if b["start_s"] < a["end_s"] + gap:
                faults.append(f"{machine}: {b['job']} {b['index']} starts at {b['start_s']}, free at {a['end_s'] + gap}")
    last = max(o["end_s"] for o in r["operations"])
    if last != r["makespan_s"]:
        faults.append(f"makespan {r['makespan_s']} stated, {last} found")
    print(f"{len(at)} operations, makespan {last}, {len(faults)} faults")
    for f in faults:
        print(f)
    return bool(faults)


if __name__ == "__main__":
    sys.exit(main(*sys.argv[1:3]))
