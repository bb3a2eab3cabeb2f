"""A process that only works on jobs: ``python -m service.worker``; start as many as there are machines for."""

from __future__ import annotations

import argparse
import asyncio
import logging
import signal
import sys
from collections.abc import Sequence

from service.jobs.desk import Desk
from service.jobs.store import StoreError
from service.log import configure, event
from service.settings import Settings, SettingsError, from_environment
from service.workers import WORK


def main(arguments: Sequence[str] | None = None, work: str = WORK) -> int:
    """Run until SIGTERM or SIGINT; return the exit status."""
    parser = argparse.ArgumentParser(
        prog="python -m service.worker",
        description="Works on the jobs that the service has accepted. Settings are those of the service.",
    )
    parser.parse_args(arguments)
    try:
        settings = from_environment()
        if not settings.job_workers:
            raise SettingsError("SIGN_PREFLIGHT_JOB_WORKERS is 0: this process would do nothing.")
        configure(settings.log_level, settings.log_format)
        return asyncio.run(_work(settings, work))
    except (SettingsError, StoreError) as error:
        print(error, file=sys.stderr)
        return 2


async def _work(settings: Settings, work: str) -> int:
    desk = Desk(settings, work)
    ended = asyncio.Event()
    loop = asyncio.get_running_loop()
    for number in (signal.SIGTERM, signal.SIGINT):
        loop.add_signal_handler(number, ended.set)
    await desk.open(required=True)
    event(logging.INFO, "worker-ready", job_workers=settings.job_workers)
    try:
        await ended.wait()
    finally:
        await desk.close()
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
