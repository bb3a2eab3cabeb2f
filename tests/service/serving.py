"""Start the service with misbehaving work: ``python -m tests.service.serving``."""

from __future__ import annotations

import uvicorn

from service.app import create_app
from service.log import configure
from service.settings import from_environment


def main() -> None:
    """Run the server with the environment's settings."""
    settings = from_environment()
    configure(settings.log_level)
    uvicorn.run(
        create_app(settings, work="tests.service.hogs:work"),
        host=settings.host,
        port=settings.port,
        log_config=None,
        access_log=False,
        timeout_graceful_shutdown=2,
    )


if __name__ == "__main__":
    main()
