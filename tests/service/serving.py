"""Start the service with misbehaving work: ``python -m tests.service.serving``."""

from __future__ import annotations

from service.app import create_app
from service.log import configure
from service.server import server
from service.settings import from_environment


def main() -> None:
    """Run the server with the environment's settings."""
    settings = from_environment()
    configure(settings.log_level)
    server(create_app(settings, work="tests.service.hogs:work"), settings).run()


if __name__ == "__main__":
    main()
