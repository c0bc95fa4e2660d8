"""What has to be on record of an application, by law as listed and by the user's own wish."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from functools import cache

from patchrisk.base import resources
from patchrisk.base.toml_files import read_toml, validate
from patchrisk.read.diseases.quantities import Rows, SomeRows, Table, Text
from patchrisk.read.records.books import LogEntry
from patchrisk.read.records.rows import RecordContext

YOUR_OWN = "your own list, record_needs"


class _Required(Table):
    key: Text
    says: Text
    countries: SomeRows[Text]
    restricted: bool
    columns: SomeRows[Text]
    source: Text
    mark: Text
    note: Text | None = None


class _File(Table):
    required: Rows[_Required] = ()


@dataclass(frozen=True)
class Lacking:
    """Cells that a list asks for and a record does not have: ``list_`` says whose it is."""

    entry: LogEntry
    list_: str
    columns: tuple[str, ...]


@cache
def _lists() -> tuple[_Required, ...]:
    path = resources.thresholds() / "records.toml"
    return validate(_File, read_toml(path), str(path)).required


def lacking(context: RecordContext, entries: Sequence[LogEntry]) -> Iterator[Lacking]:
    """Yield what records lack of what the lists for the site's country, and its own, ask for."""
    own = tuple(context.site.programme.record_needs)
    for entry in entries:
        product = context.shelf.find(entry.applied.product)
        for one in _lists():
            if context.country not in one.countries:
                continue
            if one.restricted and (product is None or not product.restricted):
                continue
            yield from _lacking(entry, f"{one.says} ({one.source})", one.columns)
        yield from _lacking(entry, YOUR_OWN, own)


def _lacking(entry: LogEntry, list_: str, columns: Sequence[str]) -> Iterator[Lacking]:
    empty = tuple(name for name in columns if not entry.cells.get(name, "").strip())
    if empty:
        yield Lacking(entry, list_, empty)


def not_told_restricted(context: RecordContext, entries: Sequence[LogEntry]) -> tuple[str, ...]:
    """Return products on record of which the shelf does not say whether they are restricted."""
    if not any(one.restricted and context.country in one.countries for one in _lists()):
        return ()
    used = (context.shelf.find(entry.applied.product) for entry in entries)
    return tuple(dict.fromkeys(p.name for p in used if p is not None and p.restricted is None))
