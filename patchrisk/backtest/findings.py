"""What a study found, in words."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

import pandas as pd

from patchrisk.backtest.cases import RuleCases
from patchrisk.backtest.measures import Terms
from patchrisk.backtest.naming import MEANINGS, Names
from patchrisk.backtest.plate import many
from patchrisk.backtest.skill import LEAST_CASES, Skill


@dataclass
class Record:
    """What the table of seasons holds, counted part by part."""

    rows: int = 0
    complete: int = 0
    sites: set[str] = field(default_factory=set)
    rules: set[tuple[str, str]] = field(default_factory=set)
    first: int | None = None
    last: int | None = None

    def add(self, seasons: pd.DataFrame) -> None:
        """Count a part."""
        self.rows += len(seasons)
        self.complete += int(seasons["complete"].sum())
        self.sites.update(seasons["site"].unique())
        rules = seasons[["disease", "rule"]].drop_duplicates()
        self.rules.update(zip(rules["disease"], rules["rule"], strict=True))
        first, last = int(seasons["season"].min()), int(seasons["season"].max())
        self.first = first if self.first is None else min(first, self.first)
        self.last = last if self.last is None else max(last, self.last)

    def words(self) -> list[str]:
        """Say what it holds."""
        return [
            "# Findings",
            "",
            f"{many(len(self.sites), 'site')}, seasons {self.first} to {self.last}, "
            f"{many(len(self.rules), 'rule')}. {100 * self.complete / max(self.rows, 1):.0f} % of "
            "the rows are complete: no missing day leaves a date in doubt. Only these count below.",
            "",
        ]


def warmth_words(
    tables: dict[str, pd.DataFrame], names: Mapping[str, Names], least: int
) -> list[str]:
    """Say how much earlier than normal the windows opened in the warmest year."""
    summary = tables["warmest_year_by_rule"]
    out = ["## The warmest year", ""]
    if summary.empty:
        return [*out, f"No site has a normal of {least} complete seasons and a warmest year.", ""]
    out += [
        "At each site: the season that began in the calendar year of the highest mean soil "
        f"temperature at 5 cm (2 in), against the normal (median of at least {least} complete "
        "seasons).",
        "",
    ]
    for (soil, disease), rows in summary.groupby(["soil", "disease"], sort=False):
        mine = names[str(disease)]
        text = f"- {_headed(mine)}, soil {soil}: {_by_rule(rows, mine)}."
        if rows["sites"].max() > 1:
            top = rows.loc[[rows["most"].idxmax()]].to_dict("records")[0]
            text += (
                f" The single most: {_days_earlier(top['most'])} at {top['most_site']} in "
                f"{top['most_year']}, by {mine.rule(top['rule'])}."
            )
        out.append(text)
    return [*out, ""]


def _by_rule(rows: pd.DataFrame, names: Names) -> str:
    """Say how much earlier by the first and by the last of a disease's rules."""
    order = rows.sort_values("median", ascending=False, kind="stable").to_dict("records")
    first, last = order[0], order[-1]
    if len(order) > 1 and _days_earlier(first["median"]) == _days_earlier(last["median"]):
        return f"by each of {len(order)} rules {_days_earlier(first['median'])} in the median"
    parts = []
    for row in (first, last)[: len(order)]:
        where = f"in the median of {row['sites']} sites"
        if row["sites"] == 1:
            where = f"at {row['most_site']} in {row['most_year']}"
        parts.append(
            f"{names.rule(row['rule'])} ({MEANINGS[row['meaning']]}) "
            f"{_days_earlier(row['median'])} {where}"
        )
        if row["sites"] >= LEAST_CASES:
            parts[-1] += f" (10 to 90 %: {row['low']:.0f} to {row['high']:.0f})"
    return ("by its one rule, " if len(order) == 1 else "by rule, from ") + " to ".join(parts)


def _headed(names: Names) -> str:
    """Name of the disease at the head of a line."""
    return names.disease[0].upper() + names.disease[1:]


def _days_earlier(days: float) -> str:
    if abs(days) <= 0.5:
        return "no earlier and no later"
    return f"{many(round(abs(days)), 'day')} {'earlier' if days > 0 else 'later'}"


def trend_words(summary: pd.DataFrame, names: Mapping[str, Names], terms: Terms) -> list[str]:
    """Say how the openings moved over the years."""
    out = ["## Trends", ""]
    if summary.empty:
        return [*out, "No site has seasons enough for a trend.", ""]
    chance = 50 * (1 - terms.level)
    out += [
        f"Theil-Sen slopes (negative: earlier) with {100 * terms.level:.0f} % intervals; where "
        f"nothing changes, chance alone makes {chance:.0f} % of the sites clearly earlier and as "
        "many clearly later, and sites near each other share their years.",
        "",
    ]
    for (soil, disease), rows in summary.groupby(["soil", "disease"], sort=False):
        total = rows[["sites", "clearly_earlier", "clearly_later"]].sum()
        ends = f"{rows['median'].min():+.1f}", f"{rows['median'].max():+.1f}"
        slopes = "median slope" if ends[0] == ends[1] else "median slopes by rule from"
        out.append(
            f"- {_headed(names[str(disease)])}, soil {soil}: {slopes} "
            f"{' to '.join(dict.fromkeys(ends))} days a decade; of "
            f"{total['sites']} slopes (sites times rules) {total['clearly_earlier']} clearly "
            f"earlier, {total['clearly_later']} clearly later."
        )
    return [*out, ""]


def lead_words(names: Names, terms: Terms) -> str:
    """Say how long before the disease is seen an opening is of use, and where that is from."""
    return (
        f"{_headed(names)}: a window is of use when it opens {terms.least_lead} to "
        f"{terms.most_lead} days before the disease is seen ({terms.lead_from})."
    )


def skill_words(
    judged: Sequence[tuple[RuleCases, Skill]],
    seen: pd.DataFrame,
    names: Mapping[str, Names],
    terms: Mapping[str, Terms],
) -> list[str]:
    """Say how right each rule was."""
    out = ["## Against what was seen", ""]
    idle = int((~seen["counts"]).sum())
    if idle:
        out += [
            f"{many(idle, 'look')} in vain, outside the months in which the disease shows, "
            "counted for nothing.",
            "",
        ]
    if not judged:
        return [*out, "No rule of this table concerns a disease that was looked for.", ""]
    groups: dict[tuple[str, str], list[tuple[RuleCases, list[str]]]] = {}
    for one, skill in judged:
        sentences = skill.sentences(terms[one.disease])
        groups.setdefault((one.soil, one.disease), []).append((one, sentences))
    for (soil, disease), rules in groups.items():
        called = names[disease]
        out += [f"### {_headed(called)}, soil {soil}", "", lead_words(called, terms[disease]), ""]
        shared = [s for s in rules[0][1] if len(rules) > 1 and all(s in said for _, said in rules)]
        if shared:
            out += [f"Of every rule: {' '.join(shared)}", ""]
        for one, said in rules:
            own = " ".join(s for s in said if s not in shared)
            text = f"- {called.together(one.rules)} ({MEANINGS[one.meaning]})"
            out.append(f"{text}: {own}" if own else f"{text}.")
        out.append("")
    return out
