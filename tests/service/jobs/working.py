"""Start a worker that misbehaves on request: ``python -m tests.service.jobs.working``."""

from __future__ import annotations

from service.worker import main

if __name__ == "__main__":
    raise SystemExit(main([], work="tests.service.hogs:work"))
