"""The one way to the screen: nothing that comes out of a file steers it, or hides on it."""

import contextlib
import json
import sys

import click

from patchrisk.base.safe_text import visible, visible_json


def echo(text: object, *, err: bool = False) -> None:
    """Print lines, to standard output or error.

    Names and headings come from files of all origins; what in them would steer a terminal is
    written out, here and nowhere else.
    """
    click.echo(visible(str(text), keep="\n\t"), err=err)


def echo_json(text: str) -> None:
    """Print a JSON document; it stays one, and says the same."""
    text = visible_json(text)
    try:
        text.encode(sys.stdout.encoding or "utf-8")
    except UnicodeEncodeError:  # what stands in for a letter there is no escape of JSON's
        text = json.dumps(json.loads(text), indent=2)
    click.echo(text)


def hold_to_any_letter() -> None:
    """Let a screen that lacks a letter show its escape, instead of ending the command."""
    for stream in (sys.stdout, sys.stderr):
        with contextlib.suppress(AttributeError, ValueError):
            stream.reconfigure(errors="backslashreplace")  # type: ignore[union-attr]
