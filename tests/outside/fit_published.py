"""Every packing of tests/checks/packing.json must be decided as an exact solver decided it.

usage: fit_published.py PROGRAM

The solver (OR-Tools CP-SAT 9.15) ran before; its seconds stand in the file as `solver_s`, one thread, on
another machine than this: the ratio tells the order of magnitude only. No verdict may be wrong, and none
may be left open.
"""
import json
import subprocess
import sys
from pathlib import Path


def at(sorted_values, share):
    return sorted_values[int((len(sorted_values) - 1) * share)]


published = json.loads((Path(__file__).parent.parent / "checks" / "packing.json").read_text())
asked = "\n".join(json.dumps({key: one[key] for key in ("id", "container", "items")}) for one in published)
told = subprocess.run([sys.argv[1], "fit", "--ndjson", "-"], input=asked, capture_output=True, text=True, check=True)
answers = {answer["id"]: answer for answer in map(json.loads, told.stdout.splitlines())}

wrong = [one["id"] for one in published if answers[one["id"]]["verdict"] not in (one["verdict"], "unknown")]
unknown = [one["id"] for one in published if answers[one["id"]]["verdict"] == "unknown"]
ours = sorted(answers[one["id"]]["micros"] / 1e6 for one in published)
theirs = sorted(one["solver_s"] for one in published)
print(f"{len(published)} packings: {len(wrong)} wrong, {len(unknown)} unknown")
for name, share in (("median", 0.5), ("p95", 0.95), ("most", 1.0)):
    print(f"  {name:6} ours {at(ours, share):8.4f} s   solver {at(theirs, share):8.4f} s   "
          f"{at(theirs, share) / at(ours, share):6.1f} times as fast")
if wrong or unknown:
    sys.exit(f"wrong: {wrong}; unknown: {unknown}")
