"""The reference: the same checks in plain processes, without a service. Started by `benchmarks.service_load`.

Reads nothing but the numbers of signs on standard input, one line a round, and answers with the seconds.
"""

from __future__ import annotations

import sys
import time

from benchmarks.loading.uploads import small_signs
from preflight import Job, check, read
from preflight.report.json import to_json


def main() -> None:
    signs = small_signs()
    for sign in signs[:10]:
        to_json(check(read(sign.data, sign.name), Job())).encode()
    print("ready", flush=True)
    for line in sys.stdin:
        begun = time.monotonic()
        for number in map(int, line.split()):
            sign = signs[number % len(signs)]
            to_json(check(read(sign.data, None), Job())).encode()
        print(time.monotonic() - begun, flush=True)


if __name__ == "__main__":
    main()
