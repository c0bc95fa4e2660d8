"""What a study found: a table for each disease, with what it shows and what it can't above it.

Diseases and rules go by the names that people have for them; all is safe in Markdown.
"""

import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Any

import numpy as np
import pandas as pd

from patchrisk.base.pen import Pen, capital, count_of
from patchrisk.base.safe_text import visible
from patchrisk.base.units import System
from patchrisk.core.skill.cases import BASELINES
from patchrisk.core.skill.measures import Terms
from patchrisk.core.skill.scores import HIT_RATE
from patchrisk.core.skill.sweep import Vary
from patchrisk.read.diseases import Library
from patchrisk.report.words import rule_words
from patchrisk.study.study_tables import alike
from patchrisk.study.tables import VERDICT_RULES, SeasonCounts, verdict_rule

_OWN = re.compile(r"#{1,3} |- |")  # what begins the lines that patchrisk writes itself
_MARKUP = re.compile(r"[\\`*<>|~$]|(?<![^\W_])_|_(?![^\W_])|&(?=[#\w]+;)|!(?=\[)|\](?=[(\[])")
_AT_START = re.compile(r"[#+=\[-]|\d+(?=[.)])")


def plain_line(text: str) -> str:
    """Write a text as one line that shows as it reads, after the heading or bullet it begins with.

    What hides or steers is written out too; see `patchrisk.base.safe_text`.
    """
    own = _OWN.match(text)
    assert own is not None
    rest = _MARKUP.sub(r"\\\g<0>", visible(text[own.end() :]))
    if start := _AT_START.match(rest):
        mark = start[0]
        rest = f"{mark}\\{rest[len(mark) :]}" if mark.isdigit() else f"\\{rest}"
    return own[0] + rest


def plain_cell(text: str) -> str:
    """Write a text as a cell of a table that shows as it reads."""
    return _MARKUP.sub(r"\\\g<0>", visible(text))


MEANINGS = {"infect": "infection", "treat": "time to treat", "express": "symptoms"}


@dataclass(frozen=True)
class DiseaseNames:
    """Names of one disease, or group of diseases, as in the middle of a sentence, and of its rules.

    ``rules`` are by id: what each compares, and who published it.
    """

    disease: str
    rules: Mapping[str, tuple[str, str]]

    def rule(self, key: str) -> str:
        """Return the name of a rule; of one that the disease files no longer hold, its id."""
        return self.joined([key])

    def alike(self, keys: Sequence[str]) -> str:
        """Return one short name for rules that say the same."""
        more = len(keys) - 1
        return self.rule(keys[0]) + (f", and {more} more" if more else "")

    def joined(self, keys: Sequence[str]) -> str:
        """Name every rule of some that say the same, each wording once."""
        sources: dict[str, list[str]] = {}
        for key in keys:
            words, source = self.rules.get(key, (key, ""))
            sources.setdefault(words, []).append(source)
        return "; ".join(
            f"{words} [{'; '.join(by)}]" if any(by) else words for words, by in sources.items()
        )


def names_of(library: Library, key: str, system: System = "metric") -> DiseaseNames:
    """Return the names of a disease or group, in the units asked for.

    Rules go by the words that the morning's reports have for them.
    """
    owner = library.diseases.get(key) or library.groups.get(key)
    if owner is None:
        return DiseaseNames(key.replace("-", " "), {})
    show = Pen(system).show
    rules = {w.id: (rule_words(w, show), w.rule.source) for w in owner.window}
    rules |= {key: (words, "no soil") for key, words in BASELINES.items()}
    if key in library.diseases:
        ids = [season.id for season in library.diseases[key].season]
        for column, words in VERDICT_RULES.items():
            rules |= {verdict_rule(column, one): (f"{words}, {one}", "the verdict") for one in ids}
    return DiseaseNames(owner.name[0].lower() + owner.name[1:], rules)


def with_words(table: pd.DataFrame, names: Mapping[str, DiseaseNames]) -> pd.DataFrame:
    """Put beside each id of a rule, or of the other where two are compared, what it says."""
    for column in ("rule", "other"):
        if column in table:
            pairs = zip(table["disease"], table[column], strict=True)
            words = [names[disease].rule(rule) for disease, rule in pairs]
            place = table.columns.get_loc(column)
            assert isinstance(place, int)
            table = table.copy()
            table.insert(place + 1, f"{column}_words", words)
    return table


_CALLED = {
    "low": "lower threshold",
    "high": "upper threshold",
    "close_above": "temperature that closes from above",
    "close_below": "temperature that closes from below",
    "days": "days in a row",
    "mean_of": "days of the rolling mean",
    "close_days": "days in a row that close",
    "depth": "depth",
    "season_start": "first day of the season",
    "season_end": "last day of the season",
}
_SIGNS = {"degC": "°C", "degF": "°F", "cm": "cm", "in": "in", "days": "days", "": ""}


def number_name(vary: Vary) -> str:
    """Return what is changed, as people read it."""
    return _CALLED[vary.name]


def unit_sign(vary: Vary) -> str:
    """Return the unit as people read it; empty for a date."""
    return _SIGNS[vary.unit]


def value_text(vary: Vary, value: float) -> str:
    """Write one of the shown values, without its unit."""
    if vary.quantity == "date":
        return f"{date(2001, 1, 1) + timedelta(days=int(value)):%m-%d}"
    return f"{value:.4g}"


def with_unit(vary: Vary, value: float) -> str:
    """Write what is changed and one of the shown values: ``lower threshold 18 °C``."""
    unit = "" if vary.unit == "days" else unit_sign(vary)  # the words speak of days already
    return f"{number_name(vary)} {value_text(vary, value)} {unit}".strip()


_COLUMNS = {
    "rule": "rule",
    "opening": "opening",
    "spread": "10 to 90 % of sites",
    "first_day": "open from the first day [%]",
    "warmest": "in the warmest year",
    "trend": "days a decade",
    "hits": "hits [%]",
    "lead": "lead [days]",
    "alarms": "false alarms [%]",
    "n": "n",
}
_NOTHING = "–"


def scenario_words(about: Mapping[str, Any], units: System) -> list[str]:
    """Say of a scenario, by the metadata of its seasons, that nobody has seen it; else nothing."""
    scale, unit = (1.8, "°F") if units == "us" else (1.0, "°C")
    shift = np.atleast_1d(about.get("options", {}).get("shift_air_c") or 0.0) * scale
    kind = str(about.get("source", {}).get("kind", ""))
    said = [kind] if "mapped by quantiles" in kind else []
    if len(shift) == 1 and shift[0]:
        way = "warmer" if shift[0] > 0 else "colder"
        said.append(f"the air of every day is {abs(shift[0]):.3g} {unit} {way} than it was")
    elif shift.any():
        by = ", ".join(f"{month:+.3g}" for month in shift)
        said.append(f"the air of January to December is changed by {by} {unit}")
    return [f"A scenario, and not a record: {'; '.join(said)}.", ""] if said else []


def extent_words(counts: SeasonCounts, level: float) -> list[str]:
    """Say what the table of seasons holds, and how its figures are to be read."""

    def share(*words: str) -> str:
        return f"{100 * sum(counts.datings.get(w, 0) for w in words) / max(counts.rows, 1):.0f} %"

    bounds = share("likely", "between", "by latest", "from earliest")
    return [
        "# Findings",
        "",
        f"{count_of(len(counts.sites), 'site')}, seasons {counts.first_season} to "
        f"{counts.last_season}, {count_of(len(counts.rules), 'rule')}. Of the rows "
        f"{share('dated')} have a dated opening, {share('by first day')} were open from the first "
        f"day that the season allows, {share('none')} did not open, {bounds} hang on missing "
        f"days, {share('not spanned', 'unknown')} count for nothing since the "
        "record does not span the season or nothing is known.",
        "",
        f"Days and slopes are negative when earlier. Every interval in brackets is one of "
        f"{100 * level:.0f} %; * marks a trend that stays clear when all rules looked at are "
        "counted in. n is sites, and cases with disease and without.",
        "",
    ]


def lead_words(names: DiseaseNames, terms: Terms) -> str:
    """Say how long before the disease is seen an opening is of use, and where that is from."""
    return (
        f"{capital(names.disease)}: a window is of use when it opens {terms.least_lead} to "
        f"{terms.most_lead} days before the disease is seen ({terms.lead_from})."
    )


def findings_words(
    summary: pd.DataFrame,
    held: pd.DataFrame,
    comparisons: pd.DataFrame,
    names: Mapping[str, DiseaseNames],
    terms: Mapping[str, Terms],
    figures: Mapping[tuple[str, str, str], str],
) -> Iterator[str]:
    """Write each disease's table, ready as Markdown.

    ``summary`` is of `summary_table`, ``held`` and ``comparisons`` of `skill_tables`, empty without
    observations; ``names`` and ``terms`` go by key of the disease, ``figures``, that beside each
    table, by (soil, disease, time).
    """
    for (soil, disease), whole in summary.groupby(["soil", "disease"], sort=False):
        called = names[str(disease)]
        yield from (plain_line(f"## {capital(called.disease)}, soil {soil}"), "")
        mine = [t[(t["soil"] == soil) & (t["disease"] == disease)] if len(t) else t
                for t in (held, comparisons)]  # fmt: skip
        times = list(whole.groupby("time", sort=False))
        for time, rows in times:
            if len(times) > 1:
                yield from (plain_line(f"### Seasons that begin about {time}"), "")
            yield plain_line(_shows(rows, mine[0], called))
            yield from ("", plain_line(_can_not(rows, mine[1])), "")
            figure = figures.get((str(soil), str(disease), str(time)))
            if figure is not None:
                yield from (f"![The table as a figure](figures/{figure}.png)", "")
            yield from _table(rows, called)
            yield ""
        if len(mine[0]):
            yield from (plain_line(lead_words(called, terms[str(disease)])), "")


def _shows(rows: pd.DataFrame, held: pd.DataFrame, names: DiseaseNames) -> str:
    enough = rows[rows["headline"]].dropna(subset="opening_day")
    if enough.empty:
        most = count_of(int(rows["sites"].max()), "site")
        text = f"Too few sites, or seasons, for a headline ({most} at most): the table holds for "
        text += "the sites in it alone"
    else:
        ends = [enough["opening"].iloc[n] for n in (0, -1)]  # rows are in order of day
        text = f"At the median of {count_of(int(enough['sites'].max()), 'site')} the window opens "
        text += f"on {ends[0]} by every rule" if ends[0] == ends[1] else (
            f"between {ends[0]} and {ends[1]}, depending on which of "
            f"{count_of(len(enough), 'rule')} is asked"
        )  # fmt: skip
    best = held[held["rule"].isin(rows["rule"])] if len(held) else held
    if len(best):
        one = best.iloc[0]
        worth = [f"{row['held_out']:.2f} on the {row['fold']}s" for _, row in best.iterrows()
                 if np.isfinite(row["held_out"])]  # fmt: skip
        text += (
            f"; best of {count_of(int(one['rules']), 'rule')} is {names.rule(one['rule'])}, "
            f"{one['of']} {one['skill']:.2f}"
        )
        text += f", worth {', '.join(worth)} that it was not picked on" if worth else ""
    return text + "."


def _can_not(rows: pd.DataFrame, comparisons: pd.DataFrame) -> str:
    rows = rows[~rows["rule"].isin(BASELINES)]
    clear = rows[rows["trend_clear"]]
    text = "No trend is clear"
    if rows["trend"].isna().all():
        text = "Seasons are too few for a trend"
    elif len(clear):
        text = f"A trend is clear by {len(clear)} of {count_of(len(rows), 'rule')}"
    if comparisons.empty:
        return f"{text}; it can't say which rule is right, since nothing seen was held against it."
    some = comparisons[comparisons["rule"].isin(rows["rule"])]
    against = some[some["other"].isin(BASELINES)]
    won = against[against["better"] == against["rule"]]
    beaten = won.groupby("rule").size()
    every = int((beaten == len(BASELINES)).sum())
    apart = int((~some["other"].isin(BASELINES) & ~some["better"].isin(["neither", ""])).sum())
    pairs = int((~some["other"].isin(BASELINES)).sum())
    of = some["of"].iloc[0] if len(some) else HIT_RATE
    return (
        f"{text}; by {of}, {every} of {count_of(len(rows), 'rule')} can be told from always, "
        f"never, one date everywhere and the site's mean date, and {apart} of "
        f"{count_of(pairs, 'pair')} of rules from each other, corrected for their number."
    )


def _table(rows: pd.DataFrame, names: DiseaseNames) -> Iterator[str]:
    cells = [_cells(row, names) for row in alike(rows.drop(columns="meaning")).to_dict("records")]
    shown = [name for name in _COLUMNS if any(row[name] != _NOTHING for row in cells)]
    yield f"| {' | '.join(_COLUMNS[name] for name in shown)} |"
    yield f"|{'---|' * len(shown)}"
    for row in cells:
        yield f"| {' | '.join(plain_cell(row[name]) for name in shown)} |"


def _cells(row: Mapping[Any, Any], names: DiseaseNames) -> dict[str, str]:
    def number(name: str, digits: str, factor: float = 1.0) -> str:
        def shown(value: float) -> str:
            text = f"{factor * value:{digits}}"
            return text if text.strip("+-0.") else text.lstrip("+-")

        if pd.isna(row.get(name)):
            return _NOTHING
        text = shown(row[name])
        ends = [row.get(f"{name}_{end}", np.nan) for end in ("low", "high")]
        if any(pd.isna(end) for end in ends):
            return text
        return f"{text} ({shown(ends[0])} to {shown(ends[1])})"

    n = f"{row['sites']:.0f}"
    if not pd.isna(row.get("presences")):
        n += f"; {row['presences']:.0f} and {row['absences']:.0f}"
    return {
        "rule": names.joined(row["rules"]),
        "opening": row["opening"] or _NOTHING,
        "spread": f"{row['opening_10']} to {row['opening_90']}" if row["opening_10"] else _NOTHING,
        "first_day": f"{100 * row['first_day_share']:.0f}" if row["sites"] else _NOTHING,
        "warmest": number("warmest", "+.0f"),
        "trend": number("trend", "+.1f") + ("*" if row["trend_clear"] else ""),
        "hits": number("hit_rate", ".0f", 100),
        "lead": number("median_lead", ".0f"),
        "alarms": number("false_alarm_rate", ".0f", 100),
        "n": n,
    }


_FORMS = {
    "season": "chance of it in a season, as of the landmark",
    "week": "chance that it is first seen in a week, by the weather before",
}
_RATIOS_SHOWN = (0.05, 0.1, 0.2, 0.5)


def model_words(
    tables: Mapping[str, pd.DataFrame], names: Mapping[str, DiseaseNames]
) -> Iterator[str]:
    """Say how right models of disease were where they had not been fitted, ready as Markdown.

    ``tables`` are those of `patchrisk.study.models.model_tables`.
    """
    for (disease, form), rows in tables["models"].groupby(["disease", "form"], sort=False):
        key, one = str(disease), rows.iloc[0]
        yield from (plain_line(f"## {capital(names[key].disease)}: {_FORMS[str(form)]}"), "")
        model = rows[rows["name"] == "model"]
        others = rows[~rows["name"].isin(["model", "always", "never"])]
        least = others.groupby("leave_out", sort=False)["score"].min()
        worth = model.set_index("leave_out")["score"]
        beats = [f"{out}s" for out in worth.index if worth[out] < least[out]]
        text = f"better than the best baseline on {' and '.join(beats)} that it had not seen"
        yield (
            f"{count_of(int(one['cases']), 'case')}, {int(one['found'])} with disease; "
            f"{count_of(int(one['left_out']), 'row')} without weather enough. The penalised "
            f"logistic model is {text if beats else 'no better than the best baseline'}. "
            "Cost is that of acting where the stated chance is at least the cost over the loss, a "
            f"{form}, in units of the loss."
        )  # fmt: skip
        costs = tables["model_decisions"]
        costs = costs[(costs["disease"] == disease) & (costs["form"] == form)]
        ratios = [f"cost at {ratio:g}" for ratio in _RATIOS_SHOWN]
        head = ["left out", "by", "Brier", "reliability", "resolution", "area", *ratios]
        yield from ("", f"| {' | '.join(head)} |", f"|{'---|' * len(head)}")
        for row in rows.to_dict("records"):
            mine = costs[(costs["leave_out"] == row["leave_out"]) & (costs["name"] == row["name"])]
            paid = [mine["cost"][np.isclose(mine["ratio"], r)].iloc[0] for r in _RATIOS_SHOWN]
            figures = [row[n] for n in ("score", "reliability", "resolution", "area")] + paid
            cells = [_NOTHING if np.isnan(f) else f"{f:.3f}" for f in figures]
            yield f"| {row['leave_out']} | {row['name']} | {' | '.join(cells)} |"
        curve = tables["model_calibration"]
        curve = curve[(curve["disease"] == disease) & (curve["form"] == form)
                      & (curve["name"] == "model") & (curve["leave_out"] == "season")]  # fmt: skip
        points = zip(*(curve[n].tolist() for n in ("stated", "rows", "came")), strict=True)
        told = [f"{100 * p:.0f} % of {n:.0f} came as {100 * came:.0f} %" for p, n, came in points]
        yield from ("", f"Stated to seasons not seen: {'; '.join(told)}.", "")


def unseen_words(seen: pd.DataFrame, judged: Sequence[Any]) -> list[str]:
    """Say which observations counted for nothing."""
    out = []
    idle = int((~seen["counts"]).sum())
    if idle:
        text = f"{count_of(idle, 'look')} in vain, outside the months in which the disease shows, "
        out += [f"{text}counted for nothing.", ""]
    if not judged:
        out += ["No rule of this table concerns a disease that was looked for.", ""]
    return out
