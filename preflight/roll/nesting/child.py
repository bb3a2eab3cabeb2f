"""The search for irregular pieces, run as a script in a process of its own.

It reads one JSON object from standard input and writes JSON lines: one a better solution, the last
one marked final. The engine ends the process on input it does not like, and cannot be interrupted
from inside; both are harmless here. Nothing of the project is imported, so that it starts at once.
"""

from __future__ import annotations

import json
import sys
import threading
from typing import Any

POLL = 0.05


def main() -> int:
    """Search as standard input says; return 0 where a final solution was written."""
    import spyrrow  # noqa: PLC0415  (an extra)

    task = json.load(sys.stdin)
    items = [
        spyrrow.Item(item["id"], [tuple(p) for p in item["shape"]], item["copies"], item["turns"])
        for item in task["items"]
    ]
    instance = spyrrow.StripPackingInstance("strip", task["height"], items)
    config = spyrrow.StripPackingConfig(
        early_termination=task["early"],
        total_computation_time=None,
        exploration_time=task["explore"],
        compression_time=task["compress"],
        num_workers=task["workers"],
        seed=task["seed"],
    )
    queue = spyrrow.ProgressQueue()
    result: list[Any] = []
    search = threading.Thread(target=lambda: result.append(instance.solve(config, queue)), daemon=True)
    search.start()
    while search.is_alive():
        search.join(POLL)
        _tell(queue)
    _tell(queue)
    if not result:
        return 1
    _write(result[0], final=True)
    return 0


def _tell(queue: Any) -> None:
    infeasible = {"ExplInfeas", "ExplImproving"}
    feasible = [s for kind, s in queue.drain() if str(kind).rpartition(".")[2] not in infeasible]
    if feasible:
        _write(min(feasible, key=lambda solution: solution.width), final=False)


def _write(solution: Any, *, final: bool) -> None:
    placed = [[p.id, p.rotation, *p.translation] for p in solution.placed_items]
    print(json.dumps({"length": solution.width, "placed": placed, "final": final}), flush=True)


if __name__ == "__main__":
    sys.exit(main())
