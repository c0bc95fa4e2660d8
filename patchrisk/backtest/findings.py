"""What a study found, in words."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

import pandas as pd

from patchrisk.backtest.cases import RuleCases
from patchrisk.backtest.measures import Terms
from patchrisk.backtest.naming import MEANINGS, Names
from patchrisk.backtest.plate import many
from patchrisk.backtest.skill import Skill

LEAST_SITES = 5  # of fewer no 10 and 90 % points are written


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
        f"temperature at 5 cm, against the normal (median of at least {least} complete seasons).",
        "",
    ]
    for (soil, disease), rows in summary.groupby(["soil", "disease"], sort=False):
        called, parts = names[str(disease)].rule, []
        for rank, row in enumerate(
            rows.sort_values("median", ascending=False, kind="stable").to_dict("records")
        ):
            if rank in (0, len(rows) - 1):
                parts.append(
                    f"{called(row['rule'])} ({MEANINGS[row['meaning']]}) "
                    f"{_days_earlier(row['median'])} in the median of {many(row['sites'], 'site')}"
                )
                if row["sites"] >= LEAST_SITES:
                    parts[-1] += f" (10 to 90 %: {row['low']:.0f} to {row['high']:.0f})"
        top = rows.loc[[rows["most"].idxmax()]].to_dict("records")[0]
        out.append(
            f"- {_headed(names[str(disease)])}, soil {soil}: by rule, from "
            + " to ".join(parts)
            + f". The single most: {_days_earlier(top['most'])} at {top['most_site']} in "
            f"{top['most_year']}, by {called(top['rule'])}."
        )
    return [*out, ""]


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
        f"Theil-Sen slopes with {100 * terms.level:.0f} % intervals; where nothing changes, chance "
        f"alone makes {chance:.0f} % of the sites clearly earlier and as many clearly later, and "
        "sites near each other share their years.",
        "",
    ]
    for (soil, disease), rows in summary.groupby(["soil", "disease"], sort=False):
        total = rows[["sites", "clearly_earlier", "clearly_later"]].sum()
        out.append(
            f"- {_headed(names[str(disease)])}, soil {soil}: median slopes from "
            f"{rows['median'].min():+.1f} to {rows['median'].max():+.1f} days a decade by rule; of "
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
    before: tuple[str, str] | None = None
    for one, skill in judged:
        if before != (one.soil, one.disease):
            before = (one.soil, one.disease)
            out += ["", f"### {_headed(names[one.disease])}, soil {one.soil}", ""]
            out += [lead_words(names[one.disease], terms[one.disease]), ""]
        called = f"{names[one.disease].rule(one.rule)} ({MEANINGS[one.meaning]})"
        out.append(f"- {called}: {skill.words(terms[one.disease])}")
    return [*out, ""]
