"""Rates, and whose address counts."""

from __future__ import annotations

import pytest

from service.access import address
from service.rates import Rates


def test_a_window_takes_its_quota_and_begins_anew_when_it_has_passed() -> None:
    rates = Rates(window=60)
    assert [rates.take("a", 3, 100.0).remaining for _ in range(3)] == [2, 1, 0]
    refused = rates.take("a", 3, 130.0)
    assert (refused.allowed, refused.remaining, refused.resets) == (False, 0, 30)
    assert rates.take("b", 3, 130.0).allowed
    assert not rates.take("a", 3, 159.9).allowed
    assert rates.take("a", 3, 160.0) == rates.take("c", 3, 160.0)


def test_refused_requests_do_not_make_the_wait_longer() -> None:
    rates = Rates(window=10)
    rates.take("a", 1, 0.0)
    assert all(not rates.take("a", 1, t).allowed for t in (1.0, 5.0, 9.9))
    assert rates.take("a", 1, 10.0).allowed


def test_the_fields_are_those_of_the_draft() -> None:
    # draft-ietf-httpapi-ratelimit-headers, 3 and 4: lists of strings with the parameters q, w and r, t
    # (structured fields, RFC 9651: strings in quotation marks, integers bare). From memory.
    quota = Rates(window=60).take("a", 10, 0.0)
    assert quota.headers() == {
        "RateLimit-Policy": '"requests";q=10;w=60',
        "RateLimit": '"requests";r=9;t=60',
    }


def test_remembered_callers_are_bounded() -> None:
    rates = Rates(window=1000, most=10)
    rates.take("first", 1, 0.0)
    for number in range(9):
        rates.take(str(number), 1, 1.0)
    assert not rates.take("first", 1, 2.0).allowed
    for number in range(10, 19):
        rates.take(str(number), 1, 3.0)
    assert not rates.take("first", 1, 4.0).allowed
    rates.take("one more", 1, 5.0)
    assert not rates.take("first", 1, 6.0).allowed


@pytest.mark.parametrize(
    ("client", "forwarded", "proxies", "expected"),
    [
        ("192.0.2.1", "", 0, "192.0.2.1"),
        # Without proxies of one's own the header is the caller's invention.
        ("192.0.2.1", "198.51.100.9", 0, "192.0.2.1"),
        ("10.0.0.1", "198.51.100.9", 1, "198.51.100.9"),
        ("10.0.0.1", "203.0.113.5, 198.51.100.9", 1, "198.51.100.9"),
        ("10.0.0.1", "203.0.113.5, 198.51.100.9, 10.0.0.2", 2, "198.51.100.9"),
        ("10.0.0.1", "", 1, "unknown"),
        ("10.0.0.1", "nonsense", 1, "unknown"),
        # RFC 4291, 2.5.5.2; and a subscriber's network is one caller (RFC 6177: at least a /64 each).
        ("::ffff:192.0.2.1", "", 0, "192.0.2.1"),
        ("2001:db8:1:2:aaaa::1", "", 0, "2001:db8:1:2::/64"),
        ("2001:db8:1:2:bbbb::9", "", 0, "2001:db8:1:2::/64"),
    ],
)
def test_the_callers_address(client: str, forwarded: str, proxies: int, expected: str) -> None:
    headers = [(b"x-forwarded-for", forwarded.encode())] if forwarded else []
    scope = {"type": "http", "client": (client, 1), "headers": headers}
    assert address(scope, proxies) == expected


def test_header_fields_sent_twice_are_one_list() -> None:
    # RFC 9110, 5.3.
    headers = [(b"x-forwarded-for", b"203.0.113.5"), (b"x-forwarded-for", b"198.51.100.9")]
    scope = {"type": "http", "client": ("10.0.0.1", 1), "headers": headers}
    assert address(scope, 1) == "198.51.100.9"
