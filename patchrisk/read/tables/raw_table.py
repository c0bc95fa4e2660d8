"""A file opened as a table, whatever its shape."""

from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import numpy as np
import pandas as pd

from patchrisk.base.errors import Fault, InputError
from patchrisk.read.logger.layout import LogOptions
from patchrisk.read.tables.date_columns import join_date_columns
from patchrisk.read.tables.decode import decode_text, read_bytes
from patchrisk.read.tables.delimited import RawTable, parse_table
from patchrisk.read.tables.known_formats import (
    RewrittenText,
    name_microclimate_columns,
    rewrite_annotated_csv,
    rewrite_ghcn_daily,
)
from patchrisk.read.tables.long_format import spread_series
from patchrisk.read.tables.workbook import is_workbook, read_sheets

# Each looks at a text, and makes it plain or leaves it alone.
_OF_TEXT: tuple[Callable[[str, LogOptions], RewrittenText | None], ...] = (
    rewrite_annotated_csv,
    rewrite_ghcn_daily,
    join_date_columns,
)


def read_raw_table(path: Path, options: LogOptions) -> RawTable:
    """Open a file as a table.

    Raises
    ------
    InputError
        As `decode.read_text` and `delimited.parse_table` do; and when a workbook has no sheet of
        readings, or more than one and none is told.
    """
    source = str(path)
    raw = read_bytes(path)
    if is_workbook(raw):
        return _from_workbook(raw, source, options)
    if options.sheet is not None:
        found = "this is no Excel workbook"
        raise InputError(Fault(source, "sheet", found, "take sheet out, or name the workbook"))
    text = decode_text(raw, source, options.encoding)
    return _from_text(text.text, text.encoding, source, options)


def _from_workbook(raw: bytes, source: str, options: LogOptions) -> RawTable:
    sheets = read_sheets(raw, source, options.sheet)
    plain = replace(options, delimiter="\t", encoding=None)
    tables: dict[str, RawTable] = {}
    faults: list[Fault] = []
    for name, text in sheets.items():
        try:
            table = _from_text(text, "Excel workbook", f"{source}, sheet {name!r}", plain)
        except InputError as error:
            faults += error.faults
            continue
        tables[name] = replace(table, notes=(f"sheet {name!r}", *table.notes))
    if not tables:
        raise InputError(faults)
    if len(tables) > 1:
        rows = (f"{name!r} ({len(table.cells)} rows)" for name, table in tables.items())
        found = f"{len(tables)} sheets hold rows with dates: {', '.join(rows)}"
        longest = max(tables, key=lambda name: len(tables[name].cells))
        cure = f'say which: set sheet = "{longest}"'
        raise InputError(Fault(source, "", found, cure))
    return next(iter(tables.values()))


def _from_text(text: str, encoding: str, source: str, options: LogOptions) -> RawTable:
    plain = next((p for shape in _OF_TEXT if (p := shape(text, options)) is not None), None)
    if plain is None:
        table = parse_table(text, encoding, source, options)
    else:
        table = _from_plain(plain, encoding, source, options)
    return spread_series(name_microclimate_columns(table), options, source)


def _from_plain(plain: RewrittenText, encoding: str, source: str, options: LogOptions) -> RawTable:
    header = options.header_line if plain.lines is None else None
    options = replace(options, delimiter=plain.delimiter, header_line=header)
    table = parse_table(plain.text, encoding, source, options)
    table = replace(table, notes=(plain.note,))
    if plain.lines is None:
        return table
    cells = table.cells.set_axis(pd.Index(plain.lines[table.cells.index.to_numpy(np.int64) - 1]))
    return replace(
        table,
        cells=cells,
        first_line=int(plain.lines[table.first_line - 1]),
        header_line=None if table.header_line is None else int(plain.lines[table.header_line - 1]),
    )
