"""Odd answers, head and all, that a service or what stands before it may send.

Each makes the bytes on the wire out of the good body.
"""

import gzip
import itertools
import json
import zlib
from collections.abc import Callable, Iterable

Odd = Callable[[bytes], Iterable[bytes]]
DEEP = b'{"title": ' + b"[" * 100_000 + b"]" * 100_000 + b"}"
MANY_DIGITS = b"9" * 400


def answer(body: bytes, *headers: str | bytes, status: str = "200 OK") -> list[bytes]:
    """An answer that is whole but for what is given."""
    return [*head(*headers, f"Content-Length: {len(body)}", status=status), body]


def head(*headers: str | bytes, status: str = "200 OK") -> list[bytes]:
    lines = [f"HTTP/1.1 {status}", "Connection: close", *headers]
    coded = [line if isinstance(line, bytes) else line.encode() for line in lines]
    return [b"\r\n".join(coded) + b"\r\n\r\n"]


def with_headers(*headers: str | bytes) -> Odd:
    return lambda body: answer(body, *headers)


def error(body: bytes, status: str = "500 Oh") -> Odd:
    return lambda good: answer(body, status=status)


def sent_on(location: str | bytes) -> Odd:
    line = location if isinstance(location, bytes) else location.encode()
    return lambda body: answer(b"", b"Location: " + line, status="302 Found")


def instead(body: bytes, *headers: str) -> Odd:
    return lambda good: answer(body, *headers)


def for_ever(start: list[bytes], part: bytes) -> Iterable[bytes]:
    yield from start
    while True:
        yield part


def packed_twice(size: int) -> bytes:
    return gzip.compress(gzip.compress(b" " * size, 9), 9)


def chunked(*parts: bytes) -> Odd:
    return lambda body: [*head("Transfer-Encoding: chunked"), *parts]


# Good answers in an odd dress: taken, and kept.
TAKEN: dict[str, Odd] = {
    "expires empty": with_headers("Expires: "),
    "expires impossible": with_headers("Expires: Thu, 99 Foo 2026 99:99:99 GMT"),
    "expires no date": with_headers("Expires: tomorrow"),
    "expires in the year 9999": with_headers("Expires: Fri, 31 Dec 9999 23:59:59 GMT"),
    "expires in the year 0": with_headers("Expires: Fri, 31 Dec 0000 23:59:59 GMT"),
    "expires at once": with_headers("Expires: 0"),
    "expires -1": with_headers("Expires: -1"),
    "expires after a date of its own": with_headers(
        "Date: Mon, 01 Jan 1990 00:00:00 GMT", "Expires: Mon, 01 Jan 1990 01:00:00 GMT"
    ),
    "max-age of twenty digits": with_headers("Cache-Control: max-age=99999999999999999999"),
    "max-age negative": with_headers("Cache-Control: max-age=-1"),
    "max-age a word": with_headers("Cache-Control: max-age=long"),
    "max-age in quotes": with_headers('Cache-Control: max-age="60"'),
    "max-age zero": with_headers("Cache-Control: max-age=0"),
    "immutable": with_headers("Cache-Control: immutable, max-age=31536000"),
    "not to be kept": with_headers("Cache-Control: no-store"),
    "stale words": with_headers("Cache-Control: stale-if-error=x, min-fresh=y, =, =="),
    "control of binary": with_headers(b"Cache-Control: \xff\xfe=\x80"),
    "varies by all": with_headers("Vary: *"),
    "varies by what we do not send": with_headers("Vary: Cookie, X-Odd"),
    "mark of control bytes": with_headers(b"ETag: \x01\x02\x7f\xff"),
    "mark over two lines": with_headers("ETag: a\r\n b", "Last-Modified: x\r\n\ty"),
    "mark of a kilobyte": with_headers("ETag: " + "x" * 1000),
    "changed never": with_headers("Last-Modified: never"),
    "charset unknown": with_headers("Content-Type: application/json; charset=klingon"),
    "charset wrong": with_headers("Content-Type: text/html; charset=utf-16"),
    "cookies": with_headers(*[f"Set-Cookie: c{n}={'x' * 1000}" for n in range(50)]),
    "packed as itself": with_headers("Content-Encoding: identity"),
    "a thousand times wait": lambda body: [b"HTTP/1.1 100 Continue\r\n\r\n" * 1000, *answer(body)],
    "reason of escapes": lambda body: answer(body, status="200 \x1b[31m\x07"),
    "location without sending on": with_headers("Location: http://[bad"),
    "chunk by chunk": lambda body: [
        *head("Transfer-Encoding: chunked"),
        b"%x\r\n%b\r\n0\r\n\r\n" % (len(body), body),
    ],
    "longer than told": lambda body: [*answer(body), b"and more"],
}

# Answers of no use, with what is to be said of them. Nothing foreseen is told by a class's name.
REFUSED: dict[str, tuple[Odd, str]] = {
    "deep error": (error(DEEP), "answered 500"),
    "error of 400 digits": (error(b'{"title": %b}' % MANY_DIGITS), "answered 500"),
    "error of 5000 digits": (error(b'{"title": %b}' % (MANY_DIGITS * 13)), "answered 500"),
    "error that is a list": (error(b'["title"]'), "answered 500"),
    "error whose title is an object": (error(b'{"title": {"a": 1}}'), "answered 500"),
    "error of escapes": (error(b'{"title": "\\u001b[31m\\u202e"}'), r"answered 500 \( \[31m \)"),
    "error in latin-1": (error(b'{"title": "\xe9"}'), "answered 500"),
    "error of three megabytes": (error(b"x" * 3_000_000), "answered 500|more than 1 MB"),
    "status 999": (error(b"", "999 What"), "answered 999"),
    "status 304 unasked": (error(b"", "304 Not Modified"), "answered 304|not renewed"),
    "status 204": (error(b"", "204 None"), "answered 204"),
    "status 206": (error(b"{}", "206 Part"), "answered 206"),
    "sent on to brackets": (sent_on("http://[bad"), "no address"),
    "sent on to a port out of range": (sent_on("http://127.0.0.1:99999/"), "no address"),
    "sent on to bytes": (sent_on(b"\xff\xfe"), "no address"),
    "sent on to blanks": (sent_on("http://a b/"), "no address"),
    "sent on to nothing": (sent_on(""), "no address|answered 302|in circles"),
    "sent on without where": (error(b"", "302 Found"), "answered 302"),
    "sent on to a file": (sent_on("file:///etc/passwd"), "sent on to nowhere"),
    "sent on to another host": (sent_on("https://a.test/"), r"sent on to a\.test by"),
    "sent on to plain http": (sent_on("http://a.test/"), r"sent on to a\.test by"),
    "sent on to another port here": (sent_on("http://127.0.0.1:1/"), r"sent on to 127.0.0.1:1 by"),
    "sent on with a password": (sent_on("http://a:b@127.0.0.1/"), "sent on to a:b@"),
    "sent on to itself": (sent_on("?again=1"), "in circles|answered 404"),
    "two hundred headers": (with_headers(*[f"X-{n}: x" for n in range(200)]), "can't be reached"),
    "a header of 100 kB": (with_headers("X: " + "x" * 100_000), "can't be reached"),
    "utf-16 with a mark": (lambda body: answer(b"\xff\xfe" + b"\xd8\x00" * 20), "something else"),
    "gzip without its end": (
        lambda body: answer(gzip.compress(body)[:-9], "Content-Encoding: gzip"),
        "gzip that was cut short",
    ),
    "gzip without its check": (
        lambda body: answer(gzip.compress(body)[:-8] + b"x" * 8, "Content-Encoding: gzip"),
        "gzip that is damaged",
    ),
    "gzip and more": (
        lambda body: answer(gzip.compress(body) + b"x", "Content-Encoding: gzip"),
        "gzip with something behind it",
    ),
    "gzip that is none": (instead(b"{}", "Content-Encoding: gzip"), "gzip that is damaged"),
    "deflate": (instead(zlib.compress(b"{}"), "Content-Encoding: deflate"), "not asked for"),
    "packed in a way not asked for": (instead(b"{}", "Content-Encoding: br"), "not asked for"),
    "packed in a made-up way": (instead(b"{}", "Content-Encoding: zip"), "not asked for"),
    "packed twice": (
        instead(packed_twice(1_000_000_000), "Content-Encoding: gzip, gzip"),
        "not asked for",
    ),
    "packed in two headers": (
        instead(b"{}", "Content-Encoding: gzip", "Content-Encoding: gzip"),
        "not asked for",
    ),
    "packed a hundred times": (
        instead(b"{}", "Content-Encoding: " + ", ".join(["gzip"] * 100)),
        "not asked for",
    ),
    "gzip bomb": (
        instead(gzip.compress(b" " * 400_000_000, 1), "Content-Encoding: gzip"),
        "more than 1 MB",
    ),
    "chunks of garbage": (chunked(b"hello\r\n"), "broke off"),
    "a chunk of no length": (chunked(b"-5\r\nhello\r\n"), "can't be used|broke off"),
    "a chunk of minus one": (
        lambda body: for_ever([*head("Transfer-Encoding: chunked"), b"-1\r\n"], b"x" * 65536),
        "broke off",
    ),
    "a chunk of exabytes": (chunked(b"FFFFFFFFFFFFFFFF\r\nhello"), "broke off"),
    "a chunk's length without end": (
        lambda body: for_ever(head("Transfer-Encoding: chunked"), b"0" * 65536),
        "broke off|no whole answer|something else",
    ),
    "trailers without end": (
        lambda body: for_ever([*head("Transfer-Encoding: chunked"), b"0\r\n"], b"X: y\r\n" * 500),
        "no whole answer|something else|broke off",
    ),
    "waiting without end": (
        lambda body: itertools.repeat(b"HTTP/1.1 100 Continue\r\n\r\n" * 500),
        "no whole answer",
    ),
    "a body without end": (lambda body: for_ever(head(), b" " * 65536), "more than 1 MB"),
    "a head without end": (lambda body: itertools.repeat(b"X: y\r\n" * 500), "can't be reached"),
    "HTTP/0.9": (lambda body: [body or b"x"], "can't be reached|garbled|broke off"),
    "HTTP/9.9": (lambda body: [b"HTTP/9.9 200 OK\r\n\r\n", body], "can't be reached|garbled"),
    "a status that is none": (lambda body: [b"HTTP/1.1 abc\r\n\r\n"], "can't be reached|garbled"),
    "nothing but ends of lines": (lambda body: [b"\r\n" * 99], "can't be reached|garbled"),
    "a length below nothing": (
        lambda body: [*head("Content-Length: -1"), body[:50]],
        "something else|broke off",
    ),
    "two lengths": (
        lambda body: [*head("Content-Length: 5", "Content-Length: 50"), body[:5]],
        "can't be reached|garbled|broke off|something else",
    ),
    "a length of 400 digits": (
        lambda body: [*head(f"Content-Length: {'9' * 400}"), body[:5]],
        "can't be reached|garbled|broke off|something else|can't be used",
    ),
    "empty": (instead(b""), "something else"),
    "zeros": (instead(b"\x00" * 1000), "something else"),
    "deep": (instead(b"[" * 100_000), "something else"),
    "deep and closed": (instead(DEEP), "something else"),
    "a number": (instead(MANY_DIGITS), "something else"),
    "a number too long to read": (instead(MANY_DIGITS * 13), "something else"),
    "not a number": (instead(json.dumps({"properties": float("nan")}).encode()), "something else"),
    "nothing": (instead(b"null"), "something else"),
    "a sign-in page": (instead(b" \n<html>"), "sign-in"),
}
