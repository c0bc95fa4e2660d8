"""The tables of a backtest: a row for each site and season, of every rule and of the verdict."""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np
import numpy.typing as npt
import pandas as pd

from patchrisk.base.toml_files import load_numbers
from patchrisk.base.units import FloatArray, IntArray
from patchrisk.core.rules.rule import REFERENCE_CM
from patchrisk.core.skill.climatology import year_means
from patchrisk.core.skill.openings import DATINGS, Seasons
from patchrisk.core.skill.verdicts import EVENTS, Verdicts
from patchrisk.study.soil import CAME_FROM, Block, BlockSoil

SEASON_COLUMNS = {
    "site": "name of the site",
    "latitude": "degrees north",
    "longitude": "degrees east",
    "soil": "measured, modelled, or mixed: a daily maximum made of the measured mean and, above "
    "it, the modelled swing of the day",
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
    "likely_from": "first day on which it likely opened: missing days of a short gap lie on the "
    "straight line between the known days beside it, those of a longer one are anything allowed",
    "likely_to": "last such day",
    "dating": "what is known of the opening. dated: its day; likely: its day on that line; none: "
    "there was none; by first day: open as soon as the season's days allow, so perhaps before it "
    "had it begun earlier; between, by latest, from earliest: it came between likely_from and "
    "likely_to, not after the latter, or not before the former and perhaps never; unknown: "
    "nothing; not spanned: the record does not cover the season, and nothing is made of it",
    "opened_p10": "the 10 % point of the day it opened, over draws of the error of modelled soil; "
    "draws in which it did not open come last, and none says that the point lies among them. None "
    "of measured soil, without draws, and of a rule that is a function",
    "opened_p50": "the 50 % point",
    "opened_p90": "the 90 % point",
    "opened_share": "share of the draws in which it opened [1]",
    "complete": "whether the opening, its day or that there was none, holds whatever the missing "
    "days were",
    "year_mean_c": "mean soil temperature at 5 cm of the calendar year in which the season began "
    "[degC]; none where too many days of the year are missing",
}

_NOTHING = "nothing"

VERDICT_COLUMNS = {
    "site": "name of the site",
    "latitude": "degrees north",
    "longitude": "degrees east",
    "soil": "measured, modelled or mixed, as in the table of seasons",
    "disease": "key of the disease",
    "grass": "turf whose seasons and rules are judged",
    "host": "how susceptible it is by the disease's file: high, moderate, low or unknown",
    "infection": "id of the season of infection in the disease's file",
    "season": "year in which it began",
    "season_first": "first day that it can have",
    "season_last": "last day that it can have",
    "start": "day of its lasting start; none when it did not start",
    "start_earliest": "first day on which it can have started, whatever the missing days were; "
    "none when it can't have",
    "start_latest": "last such day; none when it need not have started",
    "start_stands": "first morning on which no later day could withdraw that start",
    "called": "first morning on which the phase is starting; before start where what was called "
    "first was withdrawn",
    "late_from": "first morning on which the phase is late, nothing having been applied",
    "over": "first day after the infection",
    "infected_days": "days from start to over on which roots could be infected; missing days add "
    "nothing",
    "unknown_days": "days of the season without soil",
    "first_apply": "first morning with the verdict apply: with history, nothing applied",
    "first_decide": "first morning with the verdict decide: history unknown, nothing applied",
    "treat_until": "last day on which an application for the season is worth making",
    "damage_from": "first day on which the damage of its infections shows",
    "damage_to": "last such day",
    "in_doubt": f"columns that missing days could have changed, left empty: {', '.join(EVENTS)}; "
    f"{_NOTHING} where none",
}
VERDICT_ASSUMPTIONS = (
    "No weather ahead is known: a start is called by its age alone, and infection is judged by "
    "the week before. Nothing was applied, nothing was seen, cost and loss are not weighed. "
    "first_apply is what a laboratory's word for the disease would have brought, first_decide "
    "what an unknown history would have; without history there is no such morning. Missing days "
    "are never filled: a column that could have come out otherwise, had they been as warm or as "
    "cold as a change of {change:g} degC a day from the known days beside them allows, is left "
    "empty and named in in_doubt; days before and after the record are missing days. A season "
    "without any known day has no row."
)


@dataclass(frozen=True)
class TableLayout:
    """A table with a row for each season of a site, as it is kept in files of its name.

    ``words``, ``days`` and ``flags`` are columns of text, of dates and of yes or no; ``whole`` is
    the kind of each column of whole numbers; the others are decimal numbers. ``decimals`` are the
    digits kept: more than any of these is known to, and the same on every machine.
    """

    name: str
    columns: Mapping[str, str]
    words: tuple[str, ...]
    days: tuple[str, ...]
    whole: Mapping[str, str]
    decimals: Mapping[str, int]
    flags: tuple[str, ...] = ()

    def typed(self, frame: pd.DataFrame) -> pd.DataFrame:
        """Return a table with the types of its columns, words being plain text."""
        kinds = dict.fromkeys(self.words, "str") | dict.fromkeys(self.days, "datetime64[s]")
        return frame.astype(kinds | dict(self.whole))

    def empty(self) -> pd.DataFrame:
        """Return the table without rows."""
        kinds = dict.fromkeys(self.columns, "float64") | dict.fromkeys(self.flags, "bool")
        return self.typed(pd.DataFrame({n: pd.Series(dtype=kind) for n, kind in kinds.items()}))

    def joined(self, frames: Sequence[pd.DataFrame]) -> pd.DataFrame:
        """Join tables of this layout."""
        some = [frame for frame in frames if len(frame)] or [self.empty()]
        return pd.concat([self.typed(frame) for frame in some], ignore_index=True)


_PLACE = {"latitude": 5, "longitude": 5}
SEASONS_LAYOUT = TableLayout(
    name="seasons",
    columns=SEASON_COLUMNS,
    words=("site", "soil", "disease", "rule", "meaning", "dating"),
    days=("season_first", "season_last", "nearing", "opened", "closed", "opened_earliest",
          "opened_latest", "likely_from", "likely_to", "opened_p10", "opened_p50", "opened_p90"),
    whole=dict.fromkeys(("season", "days_open", "times_opened", "run_opened", "days_missing",
                         "days_unknown"), "int32"),
    decimals={**_PLACE, "value_opened_c": 3, "pressure_opened": 2, "pressure_season": 2,
              "degree_days_opened": 1, "year_mean_c": 3, "opened_share": 3},
    flags=("complete",),
)  # fmt: skip
VERDICTS_LAYOUT = TableLayout(
    name="verdicts",
    columns=VERDICT_COLUMNS,
    words=("site", "soil", "disease", "grass", "host", "infection", "in_doubt"),
    days=("season_first", "season_last", "start", "start_earliest", "start_latest", "start_stands",
          "called", "late_from", "over", "first_apply", "first_decide", "treat_until",
          "damage_from", "damage_to"),
    whole={"season": "int32", "infected_days": "Int32", "unknown_days": "int32"},
    decimals=_PLACE,
)  # fmt: skip
LAYOUTS = SEASONS_LAYOUT, VERDICTS_LAYOUT


class _Rows:
    """Which seasons of which sites are rows, by site, then kind in the order given, then season.

    A kind is a rule, or a season of infection of a disease.
    """

    def __init__(self, kinds: Sequence[Seasons | Verdicts], years: tuple[int, int] | None) -> None:
        low, high = (-np.inf, np.inf) if years is None else years
        wanted = [k.known & ((k.year >= low) & (k.year <= high))[:, None] for k in kinds]
        self._kinds, self._kept = kinds, [np.nonzero(some) for some in wanted]
        season, lane = (np.concatenate([kept[n] for kept in self._kept]) for n in range(2))
        which = np.repeat(np.arange(len(kinds)), [len(season) for season, _ in self._kept])
        self._order = np.lexsort((season, which, lane))
        self.lane: IntArray = lane[self._order]
        self.which: IntArray = which[self._order]

    def column(self, attribute: str) -> npt.NDArray[Any]:
        """Return a column from an array of each kind, (seasons,) or (seasons, sites)."""
        arrays = [getattr(kind, attribute) for kind in self._kinds]
        some = [
            one[season] if one.ndim == 1 else one[season, lane]
            for one, (season, lane) in zip(arrays, self._kept, strict=True)
        ]
        found: npt.NDArray[Any] = np.concatenate(some)[self._order]
        return found


def _words(codes: IntArray, words: Sequence[str]) -> "pd.Categorical[str]":
    """Return a column of words, each by its place among them."""
    categories = list(dict.fromkeys(words))
    place = np.array([categories.index(word) for word in words], dtype=np.int64)
    return pd.Categorical.from_codes(place[codes], categories=pd.Index(categories))


def _lay_out(
    layout: TableLayout,
    block: Block,
    soil: BlockSoil,
    kinds: Sequence[Seasons | Verdicts],
    years: tuple[int, int] | None,
    words: Mapping[str, Sequence[str]],
    computed: Mapping[str, Callable[[_Rows], Any]],
) -> pd.DataFrame:
    """Lay seasons out as rows: ``words`` of each kind, ``computed`` columns, and its arrays."""
    if not kinds:
        return layout.empty()
    rows = _Rows(kinds, years)
    asked = [[k.rule] if isinstance(k, Seasons) else k.span.rules for k in kinds]
    came_from = np.stack([soil.came_from_of(some) for some in asked])
    site = soil.lanes[rows.lane]
    out: dict[str, Any] = {
        "site": _words(site, block.sites),
        "latitude": block.latitude[site],
        "longitude": block.longitude[site],
        "soil": _words(came_from[rows.which, rows.lane], CAME_FROM),
        "season": rows.column("year"),
        "season_first": rows.column("first"),
        "season_last": rows.column("last"),
    }
    out |= {name: _words(rows.which, some) for name, some in words.items()}
    out |= {name: compute(rows) for name, compute in computed.items()}
    for name in layout.columns:
        if name not in out:
            out[name] = rows.column(name)
    for name, decimals in layout.decimals.items():
        out[name] = np.round(out[name], decimals)
    for name in layout.days:
        out[name] = out[name].astype("datetime64[s]")
    return pd.DataFrame({name: out[name] for name in layout.columns}).astype(dict(layout.whole))


def seasons_table(
    block: Block, soil: BlockSoil, seasons: Sequence[Seasons], years: tuple[int, int] | None
) -> pd.DataFrame:
    """Lay the seasons of rules on a block's sites out as rows; none without a known day.

    ``years`` are the first and the last season wanted, by the year in which it began. By site, then
    rule in the order given, then season.
    """

    def year_mean(rows: _Rows) -> FloatArray:
        known_share = load_numbers("outlook")["ahead.known_year"].value / 100
        years, means = year_means(soil.soil.dates, soil.soil.mean_c[REFERENCE_CM], known_share)
        row = rows.column("year") - years[0]
        inside = (row >= 0) & (row < len(years))
        return np.where(inside, means[np.clip(row, 0, len(years) - 1), rows.lane], np.nan)

    def complete(rows: _Rows) -> npt.NDArray[Any]:
        days = [rows.column(n) for n in ("opened", "opened_earliest", "opened_latest")]
        same = (days[0] == days[1]) & (days[0] == days[2])
        return np.asarray(same | np.isnat(days).all(axis=0))

    words: dict[str, list[str]] = {
        "disease": [s.disease for s in seasons],
        "rule": [s.rule.id for s in seasons],
        "meaning": [s.rule.meaning for s in seasons],
    }
    computed = {
        "dating": lambda rows: _words(rows.column("dating"), DATINGS),
        "complete": complete,
        "year_mean_c": year_mean,
    }
    return _lay_out(SEASONS_LAYOUT, block, soil, seasons, years, words, computed)


def verdicts_table(
    block: Block, soil: BlockSoil, verdicts: Sequence[Verdicts], years: tuple[int, int] | None
) -> pd.DataFrame:
    """Lay the verdicts on one soil out as rows; seasons without a known day are left out.

    By site, then disease and season of infection as given, then year.
    """
    words = {
        "disease": [v.subject.disease for v in verdicts],
        "grass": [v.subject.grass for v in verdicts],
        "host": [v.subject.host.name.lower() for v in verdicts],
        "infection": [v.span.id for v in verdicts],
    }
    doubts = [
        " ".join(name for n, name in enumerate(EVENTS) if code >> n & 1) or _NOTHING
        for code in range(2 ** len(EVENTS))
    ]
    computed = {"in_doubt": lambda rows: _words(rows.column("doubt"), doubts)}
    return _lay_out(VERDICTS_LAYOUT, block, soil, verdicts, years, words, computed)


@dataclass
class SeasonCounts:
    """What a table of seasons holds, counted part by part."""

    rows: int = 0
    opened: int = 0
    in_doubt: int = 0
    days_missing: int = 0
    first_season: int | None = None
    last_season: int | None = None
    sites: set[str] = field(default_factory=set)
    rules: set[tuple[str, str]] = field(default_factory=set)
    datings: dict[str, int] = field(default_factory=dict)

    def add(self, seasons: pd.DataFrame) -> None:
        """Count the rows of a part."""
        if seasons.empty:
            return
        self.rows += len(seasons)
        self.opened += int(seasons["opened"].notna().sum())
        self.in_doubt += int((~seasons["complete"]).sum())
        self.days_missing += int(seasons["days_missing"].sum())
        first, last = int(seasons["season"].min()), int(seasons["season"].max())
        self.first_season = first if self.first_season is None else min(first, self.first_season)
        self.last_season = last if self.last_season is None else max(last, self.last_season)
        self.sites.update(seasons["site"].unique())
        for dating, rows in seasons["dating"].astype("str").value_counts().items():
            self.datings[str(dating)] = self.datings.get(str(dating), 0) + int(rows)
        rules = seasons[["disease", "rule"]].drop_duplicates()
        self.rules.update(zip(rules["disease"], rules["rule"], strict=True))


VERDICT_RULES = {"called": "the season is called", "first_apply": "apply, with history"}
"""Columns by which skill is judged, as an opening of a rule is, and what people call them."""


def verdict_rule(column: str, infection: str) -> str:
    """Return the id of the rule that a column of a season of infection is made."""
    return f"verdict-{column.removeprefix('first_')}-{infection}"


def verdicts_as_rules(verdicts: pd.DataFrame) -> pd.DataFrame:
    """Return the verdicts as further rules of the seasons table, to be tied to observations.

    Each season of infection of a disease makes two rules, by the column in which they "open":
    ``verdict-called-`` and ``verdict-apply-`` with the id of the season behind it. A season in
    which the column is in doubt is not complete. Only what skill is judged by is there.
    """
    kept = ["site", *_PLACE, "soil", "disease", "season", "season_first", "season_last"]
    some = []
    for column in VERDICT_RULES:
        doubt = verdicts["in_doubt"].astype("str").str.split()
        some.append(
            verdicts[kept].assign(
                rule=[verdict_rule(column, str(one)) for one in verdicts["infection"]],
                meaning="treat",
                opened=verdicts[column],
                pressure_season=np.nan,
                complete=[column not in names for names in doubt],
            )
        )
    return pd.concat(some, ignore_index=True)
