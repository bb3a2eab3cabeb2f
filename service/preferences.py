"""The `Prefer` header (RFC 7240): how long a client is ready to wait."""

from __future__ import annotations

import re

_WAIT = re.compile(r'\s*wait\s*=\s*"?(\d{1,9})"?\s*', re.IGNORECASE)


def wait(header: str | None) -> int | None:
    """Return the seconds of the first ``wait`` preference, or None.

    RFC 7240, 2: the first of equal preferences counts, and one that cannot be understood is ignored, as is
    a wait of no time at all, within which nothing can be done.
    """
    for part in (header or "").split(","):
        preference = part.partition(";")[0]
        if preference.partition("=")[0].strip().lower() == "wait":
            found = _WAIT.fullmatch(preference)
            return int(found[1]) or None if found else None
    return None
