"""What each column of a logger file is, going by its header: soil temperature, or why not.

A column counts as soil temperature when its heading says temperature, says soil or a depth below
ground, and says nothing else; or when the user told it. Whatever is less certain is asked for.
"""

import re
from collections import Counter
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np

from patchrisk.base.errors import Fault, InputError
from patchrisk.base.units import BoolArray, FloatArray
from patchrisk.core.soil.air_to_soil import DEEPEST_CM
from patchrisk.core.soil.conduction import MAX_UP_CM
from patchrisk.read.logger.heading import Heading, find_unit, read_heading
from patchrisk.read.logger.layout import Column, Role, TemperatureUnit
from patchrisk.read.logger.plausible import only_unit
from patchrisk.read.site import LoggerFile
from patchrisk.read.tables.cells import TIME_WORD, find_column

# A probe as deep as this can speak for the deepest layer that the soil model reaches.
REACH_CM = DEEPEST_CM + MAX_UP_CM
_LISTED = 6  # columns named in one fault
_SAMPLED = (0.13, 0.52, 0.87)  # where in a file the values shown of a column stand


# How sure a header makes one that its column is soil temperature: _LIKELY says a part of it,
# _SILENT says nothing.
_CERTAIN, _LIKELY, _SILENT, _OTHER = range(4)


@dataclass(frozen=True)
class FileColumn:
    """A column of a file as it stands: what its heading says, and how it is filled."""

    number: int  # Counted from 1
    # name, under: Its header, and what the lines below the header say of it
    name: str
    under: str
    time: bool  # Whether it is a part of the time
    cells: int  # How many are not missing
    numbers: FloatArray  # NaN where there is none, and throughout a column of the time
    words: BoolArray  # Where a cell is neither a number nor missing
    cell_unit: TemperatureUnit | None  # Unit that the cells themselves carry
    # Says why its values, in a unit or in any, can't be soil temperature; empty where they can
    doubt: Callable[[TemperatureUnit | None], str]

    @property
    def missing(self) -> BoolArray:
        """Where it has no reading."""
        return np.isnan(self.numbers) & ~self.words

    @property
    def known(self) -> FloatArray:
        """Its numbers alone."""
        return self.numbers[~np.isnan(self.numbers)]

    @property
    def heading(self) -> Heading:
        """What its heading says."""
        return read_heading(self.name, self.under)

    @property
    def sample(self) -> str:
        """Three of its values, from early, midway and late in the file."""
        known = self.known
        some = known[(len(known) * np.array(_SAMPLED)).astype(int)] if len(known) else known
        return ", ".join(dict.fromkeys(f"{value:.6g}" for value in some))


@dataclass(frozen=True)
class _JudgedColumn:
    """What a column is taken for, and how sure its header makes one that it is soil temperature."""

    of: FileColumn
    column: Column
    rank: int


def classify_columns(
    columns: Sequence[FileColumn], daily: bool, options: LoggerFile, source: str
) -> tuple[Column, ...]:
    """Say of every column what it is and why.

    ``daily``: whether the file has one row a day; only then do columns of minima and maxima count.
    ``source``: file named in the faults. InputError when no column is soil temperature for certain,
    or several probes have no depth; and when a column that is told is not there, or can't be soil
    temperature by its values.
    """
    judged = [_judge(column, daily) for column in columns]
    candidates = _Candidates(judged, source)
    chosen = (
        _named_by_user(candidates, options) if options.columns else _certain(candidates, options)
    )
    by_user = bool(options.columns)
    return tuple(
        _name_probes([chosen.get(j.column.number, _not_chosen(j, by_user)) for j in judged])
    )


def _judge(of: FileColumn, daily: bool) -> _JudgedColumn:
    header, heading = of.name or f"column {of.number}", of.heading
    unit = heading.unit or of.cell_unit

    def other(role: Role, why: str) -> _JudgedColumn:
        return _JudgedColumn(of, Column(of.number, header, role, why, unit=unit), _OTHER)

    if of.time:
        return other("time", "holds dates or times")
    if not of.cells:
        return other("empty", "no readings")
    if len(of.known) < of.cells / 2:
        return other("text", "words, not numbers")
    low = re.sub(r"[_\s]+", " ", f"{of.name} {of.under}".casefold())
    if TIME_WORD.match(low) and not find_unit(of.name):
        return other("set aside", "a time besides the one used")
    if heading.aside:
        return other("set aside", heading.aside)
    stat = heading.statistic
    if stat != "mean" and not daily:
        return other("set aside", f"the {stat} within each step; the mean is used")
    column = Column(of.number, header, "set aside", "", None, unit, heading.depth_cm, stat)

    def judged(rank: int, why: str) -> _JudgedColumn:
        return _JudgedColumn(of, replace(column, why=why), rank)

    warm = "temperature" in heading.says or of.cell_unit is not None
    if heading.certain or (warm and "soil" in heading.says):
        if heading.convention:
            why = "its name is a network's for soil temperature"
        else:
            what = "soil" if "soil" in heading.says else "a depth below ground"
            why = f"its name says {what} and temperature"
        return judged(_CERTAIN, why)
    if warm:
        return judged(_LIKELY, "says temperature, but neither soil nor a depth below ground")
    if "soil" in heading.says or heading.depth_cm is not None:
        return judged(_LIKELY, "says soil or a depth, but not of what")
    return judged(_SILENT, "nothing in its name says temperature")


@dataclass(frozen=True)
class _Candidates:
    """The columns of a file while one is looked for: which could be right, and their names."""

    judged: Sequence[_JudgedColumn]
    source: str

    @property
    def could_be(self) -> list[_JudgedColumn]:
        """Columns that could be soil temperature by name and values, the likeliest kind alone."""
        for ranks in ((_CERTAIN,), (_LIKELY,), (_SILENT,)):
            fit = [
                j
                for j in self.judged
                if j.rank in ranks
                and j.column.statistic == "mean"
                and (j.column.depth_cm is None or 0 < j.column.depth_cm <= REACH_CM)
                and not j.of.doubt(j.column.unit)
            ]
            if fit:
                return fit
        return []

    def why(self, judged: _JudgedColumn) -> str:
        """Say why a column is no soil temperature: by its name, else by its values."""
        by_name = judged.column.why
        if judged.rank == _OTHER:
            return by_name
        return judged.of.doubt(judged.column.unit) or by_name

    def listed(self, judged: Sequence[_JudgedColumn]) -> str:
        """Name columns, each with its unit and a sample of its values."""
        names = []
        for j in judged[:_LISTED]:
            unit = f" {j.column.unit}" if j.column.unit else ""
            sample = f" ({j.of.sample}{unit})" if j.of.sample else ""
            names.append(_describe_column(j.column) + sample)
        more = len(judged) - _LISTED
        return ", ".join(names) + (f" and {more} more" if more > 0 else "")

    def cure(self, judged: Sequence[_JudgedColumn], before: str = "") -> str:
        """Return the line to write; of several columns it names the first with a depth."""
        deep_ones = (j for j in judged if j.column.depth_cm is not None or j.of.heading.number)
        first = next(deep_ones, judged[0])
        depth = first.column.depth_cm
        if depth is not None:
            deep = f"{depth:.4g} cm"
        elif first.of.heading.number:
            deep = f"{first.of.heading.number} cm"
        else:
            deep = "5 cm"
        known = first.of.known
        unit = first.column.unit is None and len(known) and only_unit(known)[0] is None
        also = ', and unit = "degC" or unit = "degF"' if unit else ""
        return f'{before}set columns = {{ "{self.key(first.column)}" = "{deep}" }}{also}'

    def key(self, column: Column) -> str:
        same = sum(j.column.header == column.header for j in self.judged)
        alone = same == 1 and '"' not in column.header and "\\" not in column.header
        return column.header if alone else f"column {column.number}"

    def fault(self, found: str, cure: str, place: str = "") -> InputError:
        return InputError(Fault(self.source, place, found, cure))


def _named_by_user(candidates: _Candidates, options: LoggerFile) -> dict[int, Column]:
    """Columns that the options name."""
    chosen: dict[int, Column] = {}
    faults: list[Fault] = []
    judged = candidates.judged
    headers = [j.column.header for j in judged]
    for name, depth in options.columns_cm.items():
        found = find_column(name, headers)
        if not found:
            faults.append(_not_there(candidates, name))
            continue
        likely = [i for i in found if judged[i].rank <= _LIKELY]
        found = likely if len(likely) == 1 else found
        if len(found) > 1:
            cure = "write " + " or ".join(f'"column {i + 1}"' for i in found)
            cure += f": {candidates.listed([judged[i] for i in found])}" if likely else ""
            faults.append(
                Fault(candidates.source, "columns", f"{len(found)} columns are {name!r}", cure)
            )
            continue
        column = judged[found[0]].column
        if column.role != "set aside":
            what = {"time": "the time", "empty": "empty", "text": "words"}[column.role]
            faults.append(
                Fault(candidates.source, f"column {name!r}", f"this is {what}", "name another")
            )
            continue
        unit = options.unit or column.unit
        if why := judged[found[0]].of.doubt(unit):
            place, found_ = f"column {name!r}", f"this can't be soil temperature: {why}"
            others = [j for j in candidates.could_be if j.column.number != column.number]
            cure = f"name another: {candidates.listed(others)}" if others else "name another file"
            faults.append(Fault(candidates.source, place, found_, cure))
            continue
        chosen[column.number] = replace(
            column, role="soil temperature", why="as told", depth_cm=depth
        )
    if faults:
        raise InputError(faults)
    return chosen


def _not_there(candidates: _Candidates, name: str) -> Fault:
    """Say that a column is not there, and what is, the columns that could be right first."""
    fit = candidates.could_be
    if fit:
        return Fault(
            candidates.source,
            "columns",
            f"no column {name!r}",
            f"write one of {candidates.listed(fit)}",
        )
    there = ", ".join(repr(j.column.header) for j in candidates.judged[:_LISTED])
    found = f"no column {name!r}, and none that could be soil temperature among {there}"
    return Fault(candidates.source, "columns", found, "name another file, or export it again")


def _certain(candidates: _Candidates, options: LoggerFile) -> dict[int, Column]:
    """Columns that are soil temperature for certain; everything else is a question."""
    certain = [j for j in candidates.judged if j.rank == _CERTAIN]
    means = [j for j in certain if j.column.statistic == "mean"]
    deep = [j for j in means if j.column.depth_cm is not None]
    if deep:
        # Beside probes of known depth one without is passed over: it can't be told where it lies.
        kept = {j.column.depth_cm for j in deep}
        certain = [
            j for j in certain if j.column.depth_cm in kept and j.column.depth_cm is not None
        ]
        return _as_soil([j.column for j in certain])
    if len(means) == 1:
        loose = means[0].of.heading.number
        if loose and options.depth_cm is None:
            found = f"{loose} of {candidates.listed(means)} may be its depth in cm or in inches"
            cure = candidates.cure(means) + f', or "{loose} in"'
            raise candidates.fault(found, cure)
        return _as_soil([j.column for j in certain])
    if len(means) > 1:
        found = f"{len(means)} probes without a depth: {candidates.listed(means)}"
        raise candidates.fault(found, candidates.cure(means, "say which, and how deep: "))
    fit = candidates.could_be
    if fit and options.depth_cm is not None and len(fit) == 1 and fit[0].rank == _LIKELY:
        # The user said how deep the file's only probe lies.
        return _as_soil([replace(fit[0].column, why="the only temperature, its depth as told")])
    if fit:
        one = "a column" if len(fit) == 1 else f"{len(fit)} columns"
        found = f"{one} could be soil temperature: {candidates.listed(fit)}"
        raise candidates.fault(found, candidates.cure(fit))
    raise _no_soil_temperature(candidates)


def _no_soil_temperature(candidates: _Candidates) -> InputError:
    """Say why no column can be soil temperature."""
    columns = [j.column for j in candidates.judged]
    empty = [
        j.column
        for j in candidates.judged
        if j.column.role == "empty"
        and not j.of.heading.aside
        and (j.of.heading.unit or j.of.heading.depth_cm is not None)
    ]
    if empty:
        found = f"not one reading in {empty[0].header!r}"
        cure = "name other columns, or export again"
        return candidates.fault(found, cure, f"column {empty[0].number}")
    words = [c for c in columns if c.role == "text" and c.unit]
    if words:
        found = f"{words[0].header!r} holds words where numbers are wanted"
        return candidates.fault(found, "export plain numbers", f"column {words[0].number}")
    aside = [
        f"{_describe_column(j.column)} ({candidates.why(j)})"
        for j in candidates.judged
        if j.column.role == "set aside"
    ]
    more = f" and {len(aside) - _LISTED} more" if len(aside) > _LISTED else ""
    there = ", ".join(aside[:_LISTED]) + more
    found = f"no column is soil temperature; there are {there or 'no numbers'}"
    return candidates.fault(found, "export the soil temperature too, or name another file")


def _as_soil(columns: Sequence[Column]) -> dict[int, Column]:
    return {c.number: replace(c, role="soil temperature") for c in columns}


def _not_chosen(judged: _JudgedColumn, by_user: bool) -> Column:
    """Return a column that was not chosen, with the reason why."""
    column = judged.column
    if by_user and judged.rank <= _LIKELY:
        return replace(column, why="not among the columns named")
    if judged.rank == _CERTAIN:
        return replace(column, why="no depth in its name, as others have: name it to use it")
    return column


def _describe_column(column: Column) -> str:
    """Name a column by its number and header."""
    nameless = column.header == f"column {column.number}"
    return column.header if nameless else f"column {column.number} {column.header!r}"


def _name_probes(columns: Sequence[Column]) -> Iterator[Column]:
    """Give every soil column its probe: columns that differ in min, max and mean share one."""
    soil = [c for c in columns if c.role == "soil temperature"]
    bases = {c.number: (read_heading(c.header).base, c.depth_cm) for c in soil}
    means = Counter(bases[c.number] for c in soil if c.statistic == "mean")
    for column in columns:
        if column.role != "soil temperature":
            yield column
            continue
        base = bases[column.number]
        if means[base] == 1:
            mean = next(c for c in soil if c.statistic == "mean" and bases[c.number] == base)
            same = sum(c.header == mean.header for c in soil)
            yield replace(column, probe=mean.header if same == 1 else _numbered(mean))
        elif column.statistic == "mean":
            same = sum(c.header == column.header for c in soil)
            yield replace(column, probe=column.header if same == 1 else _numbered(column))
        else:
            why = f"a {column.statistic} without its mean"
            yield replace(column, role="set aside", why=why)


def _numbered(column: Column) -> str:
    return f"{column.header} (column {column.number})"
