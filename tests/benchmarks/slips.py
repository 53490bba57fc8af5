"""How often a slip is named, and how often something else is taken for one: floors of 14 ft x 20 ft read every 2 ft.

    python tests/benchmarks/slips.py --rooms 100 --joists 60

Fine floors with one reading off by 1/4 in and more, with three, and with none; floors of which one joist, on a line of
stations, is proud by 1/4 to 1/2 in.
"""

import argparse
import sys
import time
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[1]))
import flatness
import simulated_rooms as rooms

KINDS = {
    "none": (),
    "1/4 in": (6.35,),
    "3/8 in": (9.525,),
    "1/2 in": (12.7,),
    "1 in": (25.4,),
    "27 in": (685.8,),
    "three of 1/2 in": (12.7,) * 3,
}


def main():
    parser = argparse.ArgumentParser()
    parser.add_argument("--rooms", type=int, default=100, help="with each kind of slip")
    parser.add_argument("--joists", type=int, default=60, help="rooms with a proud joist")
    options = parser.parse_args()
    print("| slips | rooms | named first | named of all | rooms with one named falsely | FAIL | seconds a check |")
    print("|---|---|---|---|---|---|---|")
    for kind in (*KINDS, "proud joist"):
        slips, joist = KINDS.get(kind, ()), kind == "proud joist"
        count = options.joists if joist else options.rooms
        first = named = false = failed = 0
        start = time.process_time()
        for number in range(count):
            survey, at = rooms.fine_floor(number, slips, joist)
            found = flatness.assess(survey, rooms.limit(), seed=number)
            got = [slip.number for slip in found.slips]
            first += bool(got) and got[0] in at
            named += len(set(got) & set(at))
            false += bool(set(got) - set(at))
            failed += found.verdict == "fail"
        seconds = (time.process_time() - start) / count
        of_all = f"{named} of {count * len(slips)}" if slips else "-"
        print(
            f"| {kind} | {count} | {first if slips else '-'} | {of_all} | {false} | {failed} | {seconds:.2f} |",
            flush=True,
        )


if __name__ == "__main__":
    main()
