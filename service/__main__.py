"""Start the service: ``python -m service``; ask a running one: ``python -m service healthcheck``."""

from __future__ import annotations

import argparse
import multiprocessing
import sys
import urllib.error
import urllib.request
from collections.abc import Sequence
from multiprocessing import forkserver
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from service.settings import Settings

HEALTHCHECK_SECONDS = 4.0
PRELOADED = ["service.library", "service.warm"]
"""Named, not imported: they are loaded in the workers' fork server only."""


def main(arguments: Sequence[str] | None = None) -> int:
    """Run the command line; return the exit status."""
    parser = argparse.ArgumentParser(prog="python -m service", description="The sign preflight service.")
    parser.add_argument("action", nargs="?", choices=("serve", "healthcheck"), default="serve")
    parser.add_argument("--host", help="address to listen on (SIGN_PREFLIGHT_HOST)")
    parser.add_argument("--port", type=int, help="port to listen on (SIGN_PREFLIGHT_PORT)")
    options = parser.parse_args(arguments)
    from service.settings import Settings, SettingsError, from_environment  # noqa: PLC0415  (quick --help)

    try:
        settings = from_environment()
        changes = {"host": options.host, "port": options.port}
        given = {name: value for name, value in changes.items() if value is not None}
        settings = Settings.model_validate(settings.model_dump() | given)
    except (SettingsError, ValueError) as error:
        print(error, file=sys.stderr)
        return 2
    if options.action == "healthcheck":
        return _healthcheck(settings.port)
    from service.access import require_guard  # noqa: PLC0415

    try:
        require_guard(settings)
    except SettingsError as error:
        print(error, file=sys.stderr)
        return 2
    return _serve(settings)


def _begin_loading() -> None:
    """Start the fork server, which loads the library while this process loads the web framework."""
    context = multiprocessing.get_context("forkserver")
    context.set_forkserver_preload(PRELOADED)
    forkserver.ensure_running()


def _serve(settings: Settings) -> int:
    _begin_loading()
    from service.app import create_app  # noqa: PLC0415  (not for --help and the health check)
    from service.log import configure  # noqa: PLC0415
    from service.memory import return_large_buffers  # noqa: PLC0415
    from service.server import server  # noqa: PLC0415
    from service.settings import SettingsError  # noqa: PLC0415
    from service.telemetry import TRACING  # noqa: PLC0415

    configure(settings.log_level, settings.log_format)
    return_large_buffers()
    try:
        TRACING.begin()
        app = create_app(settings)
    except SettingsError as error:
        print(error, file=sys.stderr)
        return 2
    TRACING.instrument(app)
    running = server(app, settings)
    running.run()
    return 0 if running.started else 1


def _healthcheck(port: int) -> int:
    url = f"http://127.0.0.1:{port}/readyz"
    try:
        with urllib.request.urlopen(url, timeout=HEALTHCHECK_SECONDS) as answer:  # only ever http
            return 0 if answer.status == 200 else 1
    except (urllib.error.URLError, OSError) as error:
        print(f"{url}: {error}", file=sys.stderr)
        return 1


if __name__ == "__main__":
    raise SystemExit(main())
