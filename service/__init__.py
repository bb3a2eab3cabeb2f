"""The library over HTTP: a REST service and its page."""
