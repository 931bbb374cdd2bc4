"""The irregular packer, run as a program of its own: one problem in, ever shorter layouts out.

Reads one JSON object on stdin and writes one JSON line for each layout shorter than the last.
It stands alone (imports nothing of this package) because a shape the packer cannot take ends it
in a panic, and because a search is stopped by ending its process.

in:  {"height", "separation", "seconds", "seed", "workers",
      "items": [{"ring": [[x, y], ...], "demand", "rotations": [...] or null}]}
out: {"length", "placed": [[item, rotation_deg, x, y], ...]}   ...   {"done": true}
     and every now and then {"spent": seconds of processor time so far}
"""

import json
import sys
import threading
import time

LONGEST_WAIT_S = 0.03
SAY_SPENT_S = 0.1
MOST_MEMORY_BYTES = 6 << 30


def main() -> None:
    """Solve the problem on stdin; layouts go to stdout as they are found."""
    import spyrrow

    _limit_memory()
    task = json.load(sys.stdin)
    items = [
        spyrrow.Item(str(k), [tuple(p) for p in it["ring"]], it["demand"], it["rotations"])
        for k, it in enumerate(task["items"])
    ]
    instance = spyrrow.StripPackingInstance("strip", task["height"], items)
    seconds = task["seconds"]
    squeeze = max(1, round(seconds * 0.2)) if seconds >= 2 else 0
    config = spyrrow.StripPackingConfig(
        early_termination=False,
        min_items_separation=task["separation"] or None,
        total_computation_time=None,
        exploration_time=max(1, round(seconds - squeeze)),
        compression_time=squeeze,
        num_workers=task["workers"],
        seed=task["seed"],
    )
    queue, final = spyrrow.ProgressQueue(), []
    search = threading.Thread(target=lambda: final.append(instance.solve(config, queue)))
    search.daemon = True
    search.start()
    best, spent = float("inf"), time.process_time()
    proper = (spyrrow.ReportType.ExplFeas, spyrrow.ReportType.CmprFeas, spyrrow.ReportType.Final)
    while True:
        search.join(LONGEST_WAIT_S)
        over = not search.is_alive()
        found = [solution for kind, solution in queue.drain() if kind in proper]
        found += final if over else []
        for solution in sorted(found, key=lambda s: s.width)[:1]:
            if solution.width < best:
                best = solution.width
                _say(solution)
        if over:
            break
        if time.process_time() > spent + SAY_SPENT_S:
            spent = time.process_time()
            print(json.dumps({"spent": spent}), flush=True)
    print(json.dumps({"done": bool(final)}), flush=True)


def _say(solution) -> None:
    placed = [[int(p.id), p.rotation, *p.translation] for p in solution.placed_items]
    print(json.dumps({"length": solution.width, "placed": placed}), flush=True)


def _limit_memory() -> None:
    try:
        import resource

        resource.setrlimit(resource.RLIMIT_AS, (MOST_MEMORY_BYTES, MOST_MEMORY_BYTES))
    except (ImportError, ValueError, OSError):  # not every system has it
        return


if __name__ == "__main__":
    main()
