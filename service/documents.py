"""Answers that are pages: the policy that a browser holds each kind of them to.

A page may use the one style sheet, and a rehearsal the one script, that come with the library, each by its
hash; nothing else is loaded or run, and its origin is none of ours. What is in the page's own policy holds
as well.
"""

from __future__ import annotations

import base64
import hashlib
from functools import cache
from importlib.util import find_spec
from pathlib import Path

PAGE = "text/html"


@cache
def policy_of(kind: str) -> str:
    """Return the Content Security Policy (level 3) of an answer of ``kind``, the name of a worker's task."""
    rehearsal = kind.startswith("rehearsal-")
    style = _hash("rehearsal.css" if rehearsal else "jobsheet.css")
    script = f" script-src {_hash('rehearsal.js')};" if rehearsal else ""
    return (
        f"default-src 'none';{script} style-src {style}; base-uri 'none'; form-action 'none';"
        f" frame-ancestors 'none'; sandbox{' allow-scripts' if rehearsal else ''}"
    )


def page_headers(kind: str, media: str) -> dict[str, str]:
    """Return the headers that go with an answer of ``kind`` where ``media`` is a page's."""
    if media != PAGE:
        return {}
    # HTML standard, 7.4.5: a sandboxed page that also asks to be alone is a network error.
    return {"Content-Security-Policy": policy_of(kind), "Cross-Origin-Opener-Policy": "unsafe-none"}


def _hash(name: str) -> str:
    # Found without being imported: the service's own process does not load the library.
    spec = find_spec("preflight")
    assert spec is not None
    assert spec.submodule_search_locations
    data = (Path(spec.submodule_search_locations[0]) / "data" / name).read_text("utf-8").encode()
    return f"'sha256-{base64.b64encode(hashlib.sha256(data).digest()).decode()}'"
