"""API keys: who may use the service, and for what. ``python -m service.keys`` manages them.

Keys lie in one JSON file, which is written by replacing it whole and is read again when it has changed:
it can be mounted read-only, and a key that is revoked is refused at once, without a restart.

Only a digest of each key is kept. It is plain SHA-256 on purpose. Slow functions such as scrypt protect
passwords, which people choose and which can therefore be guessed; the secret of a key is 256 random bits,
of which no guess succeeds at any speed, while a slow function would let anybody who sends wrong keys
occupy the processor.
"""

from __future__ import annotations

import argparse
import fcntl
import hashlib
import hmac
import json
import os
import re
import secrets
import sys
import time
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Annotated, Literal, get_args

from pydantic import BaseModel, ConfigDict, Field, ValidationError

Scope = Literal[
    "reports", "pictures", "jobs", "repairs", "jobsheets", "rehearsals", "layouts", "panels", "metrics"
]
SCOPES: tuple[Scope, ...] = get_args(Scope)

PREFIX = "spk"
ID_BYTES, SECRET_BYTES = 5, 32
TOKEN = re.compile(rf"{PREFIX}_([0-9a-f]{{{2 * ID_BYTES}}})_([A-Za-z0-9_-]{{43}})")
OVERLAP_HOURS = 24.0
UNKNOWN = hashlib.sha256(b"").digest()


class KeysError(Exception):
    """The file of keys cannot be used; the message says which file and why."""


class _Kept(BaseModel):
    model_config = ConfigDict(frozen=True, extra="forbid")


class Secret(_Kept):
    """One secret of a key, as a digest. Times are seconds since 1970."""

    sha256: Annotated[str, Field(pattern=r"^[0-9a-f]{64}$")]
    created: float
    expires: float | None = None


class Key(_Kept):
    """A key: whoever holds one of its secrets may use its scopes."""

    id: Annotated[str, Field(pattern=rf"^[0-9a-f]{{{2 * ID_BYTES}}}$")]
    name: str
    scopes: tuple[Scope, ...]
    rate: Annotated[int, Field(ge=1)] | None = None
    """Requests in a window of the rate limit; None: as many as the settings say."""
    created: float
    secrets: tuple[Secret, ...]


class _File(_Kept):
    version: Literal[1] = 1
    keys: tuple[Key, ...] = ()


@dataclass(frozen=True, slots=True)
class Found:
    """What a token led to: the key, or the word for why there is none."""

    key: Key | None
    why: Literal["", "key-unknown", "key-expired"] = ""


def read_file(path: Path) -> tuple[Key, ...]:
    """Return the keys in the file. Raises `KeysError`."""
    try:
        return _File.model_validate_json(path.read_bytes()).keys
    except OSError as error:
        raise KeysError(f"The keys in {path} cannot be read: {error.strerror}.") from None
    except ValidationError as error:
        first = error.errors(include_url=False, include_input=False)[0]
        where = ".".join(map(str, first["loc"])) or "the file"
        raise KeysError(f"The keys in {path} are damaged: {where}: {first['msg']}.") from None


class KeyRing:
    """The keys of a file, read again whenever it has changed."""

    def __init__(self, path: Path) -> None:
        self._path = path
        self._stamp: tuple[int, int, int] | None = None
        self._keys: dict[str, Key] = {}
        self.load()

    def load(self) -> None:
        """Read the file where it has changed. Raises `KeysError`: keys nobody can check let nobody in."""
        try:
            status = self._path.stat()
        except OSError as error:
            self._stamp = None
            raise KeysError(f"The keys in {self._path} cannot be read: {error.strerror}.") from None
        stamp = (status.st_mtime_ns, status.st_ino, status.st_size)
        if stamp != self._stamp:
            self._stamp = None
            self._keys = {key.id: key for key in read_file(self._path)}
            self._stamp = stamp

    def find(self, token: str, now: float) -> Found:
        """Return the key of ``token`` at the time ``now`` (seconds since 1970). Raises `KeysError`."""
        self.load()
        parts = TOKEN.fullmatch(token)
        key = self._keys.get(parts[1]) if parts else None
        digest = hashlib.sha256(token.encode()).digest()
        if key is None:
            # As much work as for a key that exists, so that the time tells nothing of it.
            hmac.compare_digest(digest, UNKNOWN)
            return Found(None, "key-unknown")
        matching = [one for one in key.secrets if hmac.compare_digest(digest, bytes.fromhex(one.sha256))]
        if not matching:
            return Found(None, "key-unknown")
        if all(one.expires is not None and one.expires <= now for one in matching):
            return Found(None, "key-expired")
        return Found(key)


def create(path: Path, name: str, scopes: Sequence[Scope], rate: int | None, now: float) -> str:
    """Add a key to the file and return its token, which is shown this once. Raises `KeysError`."""
    key_id = secrets.token_hex(ID_BYTES)
    token, secret = _secret(key_id, now)
    with _changing(path) as keys:
        keys.append(
            Key(id=key_id, name=name, scopes=tuple(scopes), rate=rate, created=now, secrets=(secret,))
        )
    return token


def rotate(path: Path, key_id: str, overlap: float, now: float) -> str:
    """Give the key another secret and return its token; older ones end after ``overlap`` seconds."""
    token, secret = _secret(key_id, now)
    with _changing(path) as keys:
        place, key = _named(keys, key_id)
        end = now + overlap
        older = tuple(
            one.model_copy(update={"expires": min(end, one.expires or end)})
            for one in key.secrets
            if (one.expires or end) > now
        )
        keys[place] = key.model_copy(update={"secrets": (*older, secret)})
    return token


def revoke(path: Path, key_id: str) -> None:
    """Take the key out of the file. Raises `KeysError`."""
    with _changing(path) as keys:
        place, _ = _named(keys, key_id)
        del keys[place]


def _secret(key_id: str, now: float) -> tuple[str, Secret]:
    token = f"{PREFIX}_{key_id}_{secrets.token_urlsafe(SECRET_BYTES)}"
    return token, Secret(sha256=hashlib.sha256(token.encode()).hexdigest(), created=now)


def _named(keys: Sequence[Key], key_id: str) -> tuple[int, Key]:
    for place, key in enumerate(keys):
        if key.id == key_id:
            return place, key
    raise KeysError(f"There is no key {key_id}. “list” shows those there are.")


@contextmanager
def _changing(path: Path) -> Iterator[list[Key]]:
    """Yield the keys and put the file in place with what has become of them, one change at a time."""
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        with path.with_name(path.name + ".lock").open("w") as lock:
            fcntl.flock(lock, fcntl.LOCK_EX)
            keys = list(read_file(path)) if path.exists() else []
            yield keys
            fresh = path.with_name(f"{path.name}.{os.getpid()}")
            handle = os.open(fresh, os.O_WRONLY | os.O_CREAT | os.O_TRUNC, 0o600)
            with os.fdopen(handle, "w") as file:
                file.write(_File(keys=tuple(keys)).model_dump_json(indent=1) + "\n")
                file.flush()
                os.fsync(file.fileno())
            fresh.replace(path)
    except OSError as error:
        raise KeysError(f"The keys in {path} cannot be written: {error.strerror}.") from None


def main(arguments: Sequence[str] | None = None) -> int:
    """Run the command line; return the exit status."""
    options = _parser().parse_args(arguments)
    path = Path(options.file or os.environ.get("SIGN_PREFLIGHT_KEYS_FILE", ""))
    if not path.name:
        print("Name the file: --file, or SIGN_PREFLIGHT_KEYS_FILE.", file=sys.stderr)
        return 2
    now = time.time()
    try:
        match options.action:
            case "create":
                scopes = [scope for scope in SCOPES if scope in options.scopes]
                print(create(path, options.name, scopes, options.rate, now))
                print("This is the only time the key is shown: only its digest is kept.", file=sys.stderr)
            case "rotate":
                print(rotate(path, options.id, options.overlap * 3600, now))
                print(f"Older secrets of this key end in {options.overlap:g} hours.", file=sys.stderr)
            case "revoke":
                revoke(path, options.id)
            case _:
                for key in read_file(path):
                    print(json.dumps(_listed(key, now)))
    except KeysError as error:
        print(error, file=sys.stderr)
        return 1
    return 0


def _listed(key: Key, now: float) -> dict[str, object]:
    live = [one for one in key.secrets if one.expires is None or one.expires > now]
    ends = [one.expires for one in live]
    return {
        "id": key.id,
        "name": key.name,
        "scopes": list(key.scopes),
        "rate": key.rate,
        "created": _shown_time(key.created),
        "secrets": len(live),
        "expires": [_shown_time(end) for end in ends if end is not None],
    }


def _shown_time(seconds: float) -> str:
    return time.strftime("%Y-%m-%dT%H:%M:%SZ", time.gmtime(seconds))


def _parser() -> argparse.ArgumentParser:
    parser = argparse.ArgumentParser(prog="python -m service.keys", description="Manage the API keys.")
    parser.add_argument("--file", help="the file of keys (SIGN_PREFLIGHT_KEYS_FILE)")
    actions = parser.add_subparsers(dest="action", required=True)
    new = actions.add_parser("create", help="add a key and print it, this once")
    new.add_argument("name", help="whose it is, for your own list")
    new.add_argument(
        "--scopes",
        type=_scopes,
        default=("reports", "pictures"),
        help=f"what it may be used for, with commas: {', '.join(SCOPES)} (stock: reports,pictures)",
    )
    new.add_argument("--rate", type=_positive, help="requests in a window of the rate limit")
    actions.add_parser("list", help="print all keys, one JSON object a line, without their secrets")
    gone = actions.add_parser("revoke", help="end a key at once")
    gone.add_argument("id")
    turn = actions.add_parser("rotate", help="give a key another secret and print it")
    turn.add_argument("id")
    turn.add_argument(
        "--overlap",
        type=_hours,
        default=OVERLAP_HOURS,
        help=f"hours in which older secrets still count (stock: {OVERLAP_HOURS:g})",
    )
    return parser


def _scopes(text: str) -> tuple[str, ...]:
    given = tuple(part.strip() for part in text.split(",") if part.strip())
    if not given or any(one not in SCOPES for one in given):
        raise argparse.ArgumentTypeError(f"scopes are {', '.join(SCOPES)}")
    return given


def _positive(text: str) -> int:
    number = int(text)
    if number < 1:
        raise argparse.ArgumentTypeError("at least 1")
    return number


def _hours(text: str) -> float:
    number = float(text)
    if not 0 <= number <= 24 * 366:
        raise argparse.ArgumentTypeError("from 0 to 8784 hours")
    return number


if __name__ == "__main__":
    raise SystemExit(main())
