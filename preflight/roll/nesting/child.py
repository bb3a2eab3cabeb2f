"""The search for irregular pieces itself; as a script, in a process of its own.

The script reads one JSON object from standard input and writes JSON lines: one a better solution, the
last one marked final. The engine panics on input it does not like, and cannot be interrupted from
inside; both are harmless there. Nothing of the project is imported, so that it starts at once.
"""

from __future__ import annotations

import json
import sys
import threading
from collections.abc import Callable
from typing import Any

POLL = 0.05


def solve(task: dict[str, Any], tell: Callable[[dict[str, Any]], None], poll: float = POLL) -> None:
    """Search as ``task`` says and ``tell`` each better solution, the last one marked final.

    Whatever the engine raises is raised here; its panics are no `Exception`.
    """
    import spyrrow  # noqa: PLC0415  (an extra)

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
    progress = spyrrow.ProgressQueue()
    result: list[Any] = []
    broken: list[BaseException] = []

    def run() -> None:
        try:
            result.append(instance.solve(config, progress))
        except BaseException as error:  # a panic, raised again in the caller's thread
            broken.append(error)

    search = threading.Thread(target=run)
    search.start()
    while search.is_alive():
        search.join(poll)
        _tell_best(progress, tell)
    _tell_best(progress, tell)
    if broken:
        raise broken[0]
    tell(_shown(result[0], final=True))


def _tell_best(progress: Any, tell: Callable[[dict[str, Any]], None]) -> None:
    infeasible = {"ExplInfeas", "ExplImproving"}
    feasible = [s for kind, s in progress.drain() if str(kind).rpartition(".")[2] not in infeasible]
    if feasible:
        tell(_shown(min(feasible, key=lambda solution: solution.width), final=False))


def _shown(solution: Any, *, final: bool) -> dict[str, Any]:
    placed = [[p.id, p.rotation, *p.translation] for p in solution.placed_items]
    return {"length": solution.width, "placed": placed, "final": final}


def main() -> int:
    """Search as standard input says."""
    solve(json.load(sys.stdin), lambda found: print(json.dumps(found), flush=True))
    return 0


if __name__ == "__main__":
    sys.exit(main())
