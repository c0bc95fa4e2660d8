"""The table of seasons: a row for each site, soil, rule and season."""

import io
from collections.abc import Callable, Iterable, Iterator, Sequence
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Literal

import numpy as np
import numpy.typing as npt
import pandas as pd

from patchrisk.arrays import FloatArray, IntArray
from patchrisk.backtest.engine import Seasons
from patchrisk.backtest.ground import Block, Ground
from patchrisk.backtest.sums import REFERENCE_CM
from patchrisk.backtest.trend import year_means
from patchrisk.errors import Fault, InputError, UnavailableError
from patchrisk.numbers import load_numbers
from patchrisk.spreadsheet import guard, unguard

Form = Literal["parquet", "csv"]

COLUMNS = {
    "site": "name of the site",
    "latitude": "degrees north",
    "longitude": "degrees east",
    "soil": "measured or modelled",
    "disease": "key of the disease, or group of diseases, that the rule was published for",
    "rule": "id of the rule within its disease",
    "meaning": "of what the rule speaks: infect, treat or express",
    "season": "year in which the season began",
    "season_first": "first day of the season",
    "season_last": "last day of the season",
    "nearing": "first day on which the window was nearing, before it first opened",
    "opened": "day on which the window first opened",
    "closed": "first day on which that window was no longer open; none when the record ends before",
    "days_open": "days of the season on which the window was open, within the record",
    "times_opened": "how often it opened in the season",
    "value_opened_c": "what the rule compares, on the day it opened [degC]",
    "run_opened": "days in a row met when it opened; 0 when it did not",
    "pressure_opened": "infection at 5 cm from the season's first day to the opening "
    "[days at the optimum]; none where the disease has no response to temperature",
    "pressure_season": "the same over the whole season, missing days adding nothing",
    "degree_days_opened": "degree-days of the daily mean at the rule's depth above the rule's "
    "threshold, from the season's first day to the opening [degC d]",
    "days_missing": "days of the season without what the rule compares",
    "days_unknown": "days on which the missing ones leave it in doubt whether it was open",
    "opened_earliest": "first day on which it can have opened, whatever the missing days were; "
    "none when it can't have",
    "opened_latest": "last such day; none when it need not have opened",
    "complete": "whether every date of the row holds whatever the missing days were",
    "year_mean_c": "mean soil temperature at 5 cm of the calendar year in which the season began "
    "[degC]; none where too many days of the year are missing",
}
_WORDS = ("site", "soil", "disease", "rule", "meaning")
_DAYS = (
    "season_first",
    "season_last",
    "nearing",
    "opened",
    "closed",
    "opened_earliest",
    "opened_latest",
)
_WHOLE = {
    "season": "int32",
    "days_open": "int32",
    "times_opened": "int32",
    "run_opened": "int32",
    "days_missing": "int32",
    "days_unknown": "int32",
}
# Digits kept: more than any of these is known to, and the same on every machine.
_DECIMALS = {
    "latitude": 5,
    "longitude": 5,
    "value_opened_c": 3,
    "pressure_opened": 2,
    "pressure_season": 2,
    "degree_days_opened": 1,
    "year_mean_c": 3,
}


def table_of(
    block: Block, ground: Ground, seasons: Sequence[Seasons], years: tuple[int, int] | None
) -> pd.DataFrame:
    """Lay the seasons of one ground out as rows; those without a known day are left out.

    Parameters
    ----------
    block : Block
        Whose sites they are.
    ground : Ground
    seasons : sequence of Seasons
        One for each rule.
    years : (int, int), optional
        First and last season wanted.

    Returns
    -------
    DataFrame
        See `COLUMNS`; by site, then rule in the order given, then season.
    """
    low, high = (-(10**6), 10**6) if years is None else years
    kept = [np.nonzero(s.known & ((s.year >= low) & (s.year <= high))[:, None]) for s in seasons]
    season = np.concatenate([k for k, _ in kept])
    lane = np.concatenate([n for _, n in kept])
    which = np.repeat(np.arange(len(seasons)), [len(k) for k, _ in kept])
    order = np.lexsort((season, which, lane))
    lane, which = lane[order], which[order]

    def each(name: str) -> npt.NDArray[Any]:
        some = []
        for one, (k, n) in zip(seasons, kept, strict=True):
            values = getattr(one, name)
            some.append(values[k] if values.ndim == 1 else values[k, n])
        found: npt.NDArray[Any] = np.concatenate(some)[order]
        return found

    def named(codes: IntArray, words: Sequence[str]) -> "pd.Categorical[str]":
        categories = list(dict.fromkeys(words))
        place = np.array([categories.index(w) for w in words], dtype=np.int64)
        return pd.Categorical.from_codes(place[codes], categories=pd.Index(categories))

    site = ground.lanes[lane]
    out = {
        "site": named(site, block.sites),
        "latitude": block.latitude[site],
        "longitude": block.longitude[site],
        "soil": named(np.zeros(len(site), dtype=np.int64), [ground.came_from]),
        "disease": named(which, [s.disease for s in seasons]),
        "rule": named(which, [s.rule.id for s in seasons]),
        "meaning": named(which, [s.rule.meaning for s in seasons]),
        "season": each("year"),
        "season_first": each("start"),
        "season_last": each("end"),
    }
    out |= {name: each(name) for name in list(COLUMNS)[len(out) : -2]}
    out["complete"] = out["days_unknown"] == 0
    out["year_mean_c"] = _year_means(ground, out["season"], lane)
    for name, decimals in _DECIMALS.items():
        out[name] = np.round(out[name], decimals)
    for name in _DAYS:
        out[name] = out[name].astype("datetime64[s]")
    return pd.DataFrame(out).astype(_WHOLE)


def _year_means(ground: Ground, year: IntArray, lane: IntArray) -> FloatArray:
    known_share = load_numbers("outlook")["ahead.known_year"].value / 100
    years, means = year_means(ground.soil.dates, ground.soil.mean_c[REFERENCE_CM], known_share)
    inside = (year >= years[0]) & (year <= years[-1])
    row = np.clip(year - years[0], 0, len(years) - 1)
    return np.where(inside, means[row, lane], np.nan)


def together(frames: Sequence[pd.DataFrame]) -> pd.DataFrame:
    """Join tables, words being plain text in the whole."""
    some = [f for f in frames if len(f)] or [empty()]
    return pd.concat([_plain(f) for f in some], ignore_index=True)


def empty() -> pd.DataFrame:
    """Return a table without rows."""
    kinds = dict.fromkeys(COLUMNS, "float64") | dict.fromkeys(_WORDS, "str")
    kinds |= dict.fromkeys(_DAYS, "datetime64[s]") | _WHOLE | {"complete": "bool"}
    return pd.DataFrame({name: pd.Series(dtype=kind) for name, kind in kinds.items()})


def _plain(frame: pd.DataFrame) -> pd.DataFrame:
    changes = dict.fromkeys(_WORDS, "str") | dict.fromkeys(_DAYS, "datetime64[s]") | _WHOLE
    return frame.astype(changes)


def form_here() -> Form:
    """Return the form that parts are kept in: Parquet where it can be written."""
    try:
        import pyarrow  # noqa: F401
    except ImportError:
        return "csv"
    return "parquet"


def encode(frame: pd.DataFrame, form: Form) -> bytes:
    """Write a table as the bytes of a file."""
    out = io.BytesIO()
    if form == "csv":
        frame.to_csv(out, index=False, date_format="%Y-%m-%d", lineterminator="\n")
    else:
        frame.to_parquet(out, index=False, compression="zstd")
    return out.getvalue()


def read_seasons(folder: Path) -> pd.DataFrame:
    """Read the seasons that a backtest wrote, finished or not.

    Raises
    ------
    InputError
        When there are none.
    """
    forms: tuple[Form, ...] = ("parquet", "csv")
    for form in forms:
        files = [folder / f"seasons.{form}"]
        if not files[0].is_file():
            files = sorted((folder / "parts").glob(f"part-*.{form}"))
        if files:
            return together([decode(file, form) for file in files])
    raise InputError(
        Fault(str(folder), "", "no table of seasons", "name the folder that a backtest wrote")
    )


@dataclass(frozen=True)
class Shelved:
    """The finished Parquet table of a backtest, read again and again, part by part.

    A part holds some sites, each with all of its rows.
    """

    folder: Path

    @property
    def _path(self) -> Path:
        return self.folder / "seasons.parquet"

    def __len__(self) -> int:
        import pyarrow.parquet as pq

        count: int = pq.read_metadata(self._path).num_row_groups
        return count

    def __iter__(self) -> Iterator[pd.DataFrame]:
        import pyarrow.parquet as pq

        with pq.ParquetFile(self._path) as file:
            for group in range(file.num_row_groups):
                yield _plain(file.read_row_group(group, use_threads=False).to_pandas())


def decode(table: Path | io.BytesIO, form: Form) -> pd.DataFrame:
    """Read what `encode` wrote, from a file or from memory."""
    if form == "csv":
        found = pd.read_csv(
            table,
            dtype=dict.fromkeys(_WORDS, "str"),
            parse_dates=list(_DAYS),
            na_values=[""],
            keep_default_na=False,  # a site may be called NA
        )
        return found.assign(site=found["site"].map(_by_name(found["site"], unguard)))
    return pd.read_parquet(table)


@dataclass
class Counts:
    """What a table holds."""

    rows: int = 0
    opened: int = 0
    in_doubt: int = 0
    days_missing: int = 0
    first_season: int | None = None
    last_season: int | None = None

    def add(self, frame: pd.DataFrame) -> None:
        """Count the rows of a part."""
        if not len(frame):
            return
        self.rows += len(frame)
        self.opened += int(frame["opened"].notna().sum())
        self.in_doubt += int((~frame["complete"]).sum())
        self.days_missing += int(frame["days_missing"].sum())
        first, last = int(frame["season"].min()), int(frame["season"].max())
        self.first_season = min(first, first if self.first_season is None else self.first_season)
        self.last_season = max(last, last if self.last_season is None else self.last_season)


def merge(parts: Iterable[Path], form: Form, folder: Path, forms: Sequence[Form]) -> Counts:
    """Put the parts together into ``seasons.parquet`` and ``seasons.csv``, one part at a time.

    Raises
    ------
    UnavailableError
        When the disk is full or the folder can't be written to.
    """
    counts = Counts()
    scratch = {name: folder / f".seasons.{name}" for name in forms}
    try:
        with ExitStack() as stack:
            writers = [stack.enter_context(_WRITERS[f](path)) for f, path in scratch.items()]
            for part in parts:
                frame = _plain(decode(part, form))
                counts.add(frame)
                for write in writers:
                    write(frame)
        for name, path in scratch.items():
            path.replace(folder / f"seasons.{name}")
    except OSError as error:
        reason = (error.strerror or str(error)).lower()
        cure = "free some room and give the same command again"
        raise UnavailableError(
            Fault(str(folder), "", f"can't write the tables ({reason})", cure)
        ) from None
    finally:
        for path in scratch.values():
            path.unlink(missing_ok=True)
    return counts


def _by_name(sites: pd.Series, change: Callable[[str], str]) -> dict[str, str]:
    """Return each name as changed; few are looked at, however many rows there are."""
    return {str(name): change(str(name)) for name in sites.unique()}


@contextmanager
def _csv(path: Path) -> Iterator[Callable[[pd.DataFrame], None]]:
    with path.open("wb") as file:

        def write(frame: pd.DataFrame) -> None:
            frame = frame.assign(site=frame["site"].map(_by_name(frame["site"], guard)))
            frame.to_csv(
                file,
                index=False,
                header=file.tell() == 0,
                date_format="%Y-%m-%d",
                lineterminator="\n",
            )

        yield write


@contextmanager
def _parquet(path: Path) -> Iterator[Callable[[pd.DataFrame], None]]:
    import pyarrow as pa
    import pyarrow.parquet as pq

    schema = pa.Schema.from_pandas(_plain(empty()), preserve_index=False)
    with pq.ParquetWriter(path, schema, compression="zstd") as writer:

        def write(frame: pd.DataFrame) -> None:
            table = pa.Table.from_pandas(frame, schema=schema, preserve_index=False)
            writer.write_table(
                table, row_group_size=max(1, len(frame))
            )  # a part is read as a whole

        yield write


_WRITERS = {"csv": _csv, "parquet": _parquet}
