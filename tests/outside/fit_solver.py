"""Fresh random packings: our verdicts against an independent exact solver (OR-Tools CP-SAT, PyPI).

usage: fit_solver.py PROGRAM [COUNT] [SEED]

Of 3 to 12 pieces: two in five are boxes cut into pieces, some of which were made a little smaller or larger;
two in five are loose pieces of 60 to 98 % of the volume; the rest are such, too, of one to three kinds of
equal pieces. The solver states that every two pieces are apart on some axis and puts equal ones in order, so
that it need not try each exchange; nothing else is shared with our search. Placements are checked here, too.
"""
import json
import random
import subprocess
import sys
import time

from ortools.sat.python import cp_model

SECONDS_MAX = 10.0
# Of all instances together: what is left after that is not given to the solver, and counted.
ALL_SECONDS_MAX = 210.0
TURNS = [(0, 1, 2), (1, 0, 2), (0, 2, 1), (2, 0, 1), (1, 2, 0), (2, 1, 0)]


def turns(item):
    allowed = TURNS if item["turn"] == "any" else TURNS[:2]
    return sorted({tuple(item["dims"][axis] for axis in turn) for turn in allowed})


def cut(dice, count):
    room = [dice.randint(60, 300) for _ in range(3)]
    parts = [list(room)]
    while len(parts) < count:
        part = parts.pop(max(range(len(parts)), key=lambda at: parts[at][0] * parts[at][1] * parts[at][2]))
        axis = dice.randrange(3)
        where = max(1, min(part[axis] - 1, int(part[axis] * dice.uniform(0.3, 0.7))))
        for side in (where, part[axis] - where):
            piece = list(part)
            piece[axis] = side
            parts.append(piece)
    for part in parts:
        if dice.random() < 0.4:
            axis = dice.randrange(3)
            part[axis] = max(1, part[axis] + dice.choice([-6, -3, -1, 1, 3]))
    return room, parts


def loose(dice, count):
    return room_for(dice, [[dice.randint(25, 140) for _ in range(3)] for _ in range(count)])


def equal(dice, count):
    kinds = [[dice.randint(25, 140) for _ in range(3)] for _ in range(dice.randint(1, 3))]
    return room_for(dice, [list(kinds[piece % len(kinds)]) for piece in range(count)])


def room_for(dice, parts):
    volume = sum(a * b * c for a, b, c in parts) / dice.uniform(0.6, 0.98)
    shape = [dice.uniform(0.7, 1.5) for _ in range(3)]
    scale = (volume / (shape[0] * shape[1] * shape[2])) ** (1 / 3)
    return [max(1, round(scale * side)) for side in shape], parts


def instance(dice, number):
    room, parts = [cut, loose, cut, loose, equal][number % 5](dice, dice.randint(3, 12))
    turn_of = {}
    items = []
    for part in parts:
        drawn = dice.choice(["any", "any", "upright"])
        # Equal pieces may be turned alike, or they would not be equal.
        turn = turn_of.setdefault(tuple(part), drawn) if number % 5 == 4 else drawn
        items.append({"dims": part, "turn": turn})
    return {"id": str(number), "container": room, "items": items}


def solve(asked):
    """fits, cannot or None, and the seconds."""
    model = cp_model.CpModel()
    room, places = asked["container"], []
    for item in asked["items"]:
        choices = turns(item)
        chosen = [model.new_bool_var("") for _ in choices]
        model.add_exactly_one(chosen)
        ends = []
        for axis in range(3):
            length = sum(side[axis] * one for side, one in zip(choices, chosen))
            start = model.new_int_var(0, room[axis], "")
            model.add(start + length <= room[axis])
            ends.append((start, length))
        places.append(ends)
    for a in range(len(places)):
        for b in range(a):
            if asked["items"][a] == asked["items"][b]:
                model.add(places[b][0][0] <= places[a][0][0])
            apart = []
            for axis in range(3):
                for first, second in ((a, b), (b, a)):
                    (start, length), (other, _) = places[first][axis], places[second][axis]
                    one = model.new_bool_var("")
                    model.add(start + length <= other).only_enforce_if(one)
                    apart.append(one)
            model.add_bool_or(apart)
    solver = cp_model.CpSolver()
    solver.parameters.num_workers = 1
    solver.parameters.max_time_in_seconds = SECONDS_MAX
    begun = time.perf_counter()
    status = solver.solve(model)
    verdict = {cp_model.OPTIMAL: "fits", cp_model.FEASIBLE: "fits", cp_model.INFEASIBLE: "cannot"}.get(status)
    return verdict, time.perf_counter() - begun


def complaint(asked, placement):
    room, items = asked["container"], asked["items"]
    if sorted(at["item"] for at in placement) != list(range(len(items))):
        return "not every piece lies in it once"
    for at in placement:
        if tuple(at["size"]) not in turns(items[at["item"]]):
            return f"piece {at['item']} is turned as it may not be"
        if any(at["at"][axis] < 0 or at["at"][axis] + at["size"][axis] > room[axis] for axis in range(3)):
            return f"piece {at['item']} sticks out"
    for a in placement:
        for b in placement:
            apart = any(a["at"][axis] + a["size"][axis] <= b["at"][axis] for axis in range(3))
            apart = apart or any(b["at"][axis] + b["size"][axis] <= a["at"][axis] for axis in range(3))
            if a["item"] < b["item"] and not apart:
                return f"pieces {a['item']} and {b['item']} overlap"
    return None


def main():
    program = sys.argv[1]
    count = int(sys.argv[2]) if len(sys.argv) > 2 else 200
    seed = int(sys.argv[3]) if len(sys.argv) > 3 else random.randrange(1 << 30)
    dice = random.Random(seed)
    asked = [instance(dice, number) for number in range(count)]
    lines = "".join(json.dumps(one) + "\n" for one in asked)
    said = subprocess.run([program, "fit", "--ndjson", "-"], input=lines, capture_output=True, text=True, check=True)
    answers = [json.loads(line) for line in said.stdout.splitlines()]
    assert [one["id"] for one in answers] == [one["id"] for one in asked], "answers are missing or out of order"
    wrong, unknown, unknown_here, undecided, left_out, times = [], 0, 0, 0, 0, []
    fits, begun = 0, time.perf_counter()
    for one, answer in zip(asked, answers):
        given = time.perf_counter() - begun < ALL_SECONDS_MAX
        verdict, seconds = solve(one) if given else (None, None)
        left_out += not given
        undecided += given and verdict is None
        unknown += answer["verdict"] == "unknown"
        unknown_here += answer["verdict"] == "unknown" and (verdict is not None or not given)
        fits += answer["verdict"] == "fits"
        if answer["verdict"] == "fits" and (why := complaint(one, answer["placement"])):
            wrong.append(f"{one}: {why}")
        elif verdict and answer["verdict"] not in (verdict, "unknown"):
            wrong.append(f"{one}: {answer['verdict']}, the solver says {verdict}")
        if given:
            times.append((max(answer["micros"], 1) / 1e6, seconds))
    ours, theirs = (sorted(time) for time in zip(*times))
    ratios = sorted(their / our for our, their in times)
    middle, late = len(times) // 2, len(times) * 95 // 100
    print(f"seed {seed}: {count} packings, {fits} fit, {unknown} unknown ({unknown_here} of them not to the solver), "
          f"{undecided} undecided by the solver in {SECONDS_MAX:.0f} s, {left_out} not given to it, {len(wrong)} wrong")
    print(f"{ratios[middle]:.0f} x as fast in the middle of all, {ratios[len(times) // 20]:.0f} x or more in 95 of 100; "
          f"median {ours[middle] * 1e3:.2f} ms against {theirs[middle] * 1e3:.2f} ms ({theirs[middle] / ours[middle]:.0f} x), "
          f"95 of 100 within {ours[late] * 1e3:.1f} ms against {theirs[late] * 1e3:.1f} ms ({theirs[late] / ours[late]:.0f} x)")
    for line in wrong[:5]:
        print(line)
    # What the solver does not decide in its time either is counted and not held against us.
    sys.exit(1 if wrong or unknown_here * 200 > count else 0)


main()
