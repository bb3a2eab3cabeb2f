"""Start the service with misbehaving work, and traced: ``python -m tests.service.traced``."""

from __future__ import annotations

from service.app import create_app
from service.log import configure
from service.server import server
from service.settings import from_environment
from service.telemetry import TRACING


def main() -> None:
    """Run the server with the environment's settings."""
    settings = from_environment()
    configure(settings.log_level)
    TRACING.begin()
    app = create_app(settings, work="tests.service.hogs:work")
    TRACING.instrument(app)
    server(app, settings).run()


if __name__ == "__main__":
    main()
