"""Observations tied to what each rule said in their season."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
import pandas as pd

from patchrisk.base.units import DAY, DayArray, FloatArray, IntArray
from patchrisk.core.skill.measures import Terms
from patchrisk.core.skill.scores import Cases, Skill

_SLACK_DAYS = 45  # so much earlier than its disease's a changed rule's season may begin


@dataclass(frozen=True)
class RuleCases:
    """One rule, on one kind of soil record, against the observations of its disease.

    Parameters
    ----------
    soil : str
        "measured" or "modelled".
    disease, rule, meaning : str
    cases : Cases
        One a row of the observations that concern the disease, in their order: the same for
        every rule of the disease.
    pressure : ndarray of float, shape (cases,)
        Infection pressure of the whole season [days at the optimum]; NaN where unknown.
    places : tuple of str
        Site of each case.
    also : tuple of str
        Other rules that give every case the same answer.
    """

    soil: str
    disease: str
    rule: str
    meaning: str
    cases: Cases
    pressure: FloatArray
    places: tuple[str, ...]
    also: tuple[str, ...] = ()

    @property
    def rules(self) -> tuple[str, ...]:
        """The rule, and those that answer alike."""
        return self.rule, *self.also

    def score(self, name: str, terms: Terms) -> FloatArray:
        """Return one of `SCORES`, (cases,); higher is nearer to disease, NaN where unknown."""
        return self.pressure if name == PRESSURE else self.cases.days_open_by_landmark(terms)


PRESSURE = "pressure of the whole season"
SCORES = {
    "days since opening": "days from opening to the landmark [days], 0 where it had not opened",
    PRESSURE: "infection pressure of the whole season [days at the optimum], most of which nobody "
    "knows on the day to act",
}
BLOCK_DEGREES = 5.0  # blocks of space are so wide and high: sites within share their weather


def tie(seasons: pd.DataFrame, observations: pd.DataFrame) -> Iterator[RuleCases]:
    """Give each observation what each rule of its disease said in the season it belongs to.

    An observation belongs to a season of the disease, and every rule answers with its own season
    that begins in it: for symptoms in spring, of a disease whose season begins in autumn, a rule
    for autumn answers with the autumn before, and a rule for summer with the summer to come,
    which is too late. Its opening is the likely one, known where that is one day or none: to keep
    those alone that no missing day can touch would favour early ones.

    Parameters
    ----------
    seasons : DataFrame
        The seasons table.
    observations : DataFrame
        As `patchrisk.study.observations.read_disease_observations` gives it.

    Yields
    ------
    RuleCases
        In the order of the seasons table; none for a disease without observations.
    """
    seen = observations[observations["counts"]]
    day = seen["first_seen"].where(seen["found"], seen["clear_on"])
    seen = seen.assign(day=day.astype("datetime64[s]"))
    blocks = blocks_of_space(seasons)
    for (soil, disease, rule), rows in seasons.groupby(
        ["soil", "disease", "rule"], sort=False, observed=True
    ):
        cases = seen[seen["disease"] == disease]
        if cases.empty:
            continue
        answers = _answers(rows, cases)
        yield RuleCases(
            soil=str(soil),
            disease=str(disease),
            rule=str(rule),
            meaning=str(rows["meaning"].iloc[0]),
            cases=Cases(
                opened=answers["opened"].to_numpy("datetime64[D]"),
                day=cases["day"].to_numpy("datetime64[D]"),
                found=cases["found"].to_numpy(bool),
                known=answers["known"].to_numpy(bool),
                begins=cases["season_first"].to_numpy("datetime64[D]"),
                season=cases["season"].to_numpy(np.int64),
                site=np.unique(cases["place"], return_inverse=True)[1],
                block=np.asarray(cases["place"].map(blocks), dtype=np.int64),
            ),
            pressure=np.where(answers["known"], answers["pressure_season"].to_numpy(float), np.nan),
            places=tuple(cases["place"]),
        )


def blocks_of_space(seasons: pd.DataFrame) -> Mapping[str, int]:
    """Return the number of the block of space that each ``site`` lies in, by its place."""
    sites = seasons.drop_duplicates("site")
    names = sites["site"].astype("str")
    at = [
        np.floor(sites[side].to_numpy(float) / BLOCK_DEGREES)
        if side in sites
        else np.zeros(len(sites))
        for side in ("latitude", "longitude")
    ]
    both = np.nan_to_num(at[0]) * 1000 + np.nan_to_num(at[1])
    return dict(zip(names, np.unique(both, return_inverse=True)[1].tolist(), strict=True))


BASELINES = {
    "baseline-always": "always: from the season's first day",
    "baseline-never": "never",
    "baseline-calendar": "one date everywhere, from the sights of the other seasons",
    "baseline-climatology": "the site's own mean date, from its sights in the other seasons",
}
"""What a rule has to beat, by id, in words. Each date is the middle of the useful days before."""


def baselines(one: RuleCases, terms: Terms) -> Iterator[RuleCases]:
    """Answer the cases of a rule without any soil."""
    cases = one.cases
    days = (cases.day - cases.begins).astype("timedelta64[D]").astype(float)
    target = np.where(cases.found, days - (terms.least_lead + terms.most_lead) / 2, np.nan)
    everywhere = _median_of_others(target, cases.season, np.zeros_like(cases.site))
    at_site = _median_of_others(target, cases.season, cases.site)
    at_site = np.where(np.isnan(at_site), everywhere, at_site)
    nothing = np.full(len(days), np.nan)
    offsets = (np.zeros(len(days)), nothing, everywhere, at_site)
    for rule, offset in zip(BASELINES, offsets, strict=True):
        known = ~np.isnan(offset) | (rule == "baseline-never")
        answers = replace(cases, opened=_after(cases.begins, offset), known=known)
        yield replace(one, rule=rule, meaning="treat", cases=answers, pressure=nothing, also=())


def _median_of_others(target: FloatArray, season: IntArray, site: IntArray) -> FloatArray:
    """Median over the cases of the same site in all other seasons; NaN without any."""
    out = np.full(len(target), np.nan)
    for n in range(len(target)):
        others = target[(season != season[n]) & (site == site[n]) & ~np.isnan(target)]
        if others.size:
            out[n] = np.median(others)
    return out


def _after(begins: DayArray, offset: FloatArray) -> DayArray:
    days = np.where(np.isnan(offset), 0.0, np.round(offset)).astype(np.int64)
    return np.where(np.isnan(offset), np.datetime64("NaT", "D"), begins + days * DAY)


def merge_alike(judged: Sequence[tuple[RuleCases, Skill]]) -> list[tuple[RuleCases, Skill]]:
    """Put rules of one meaning that give every case the same answer together, in order."""
    groups: dict[tuple[object, ...], list[tuple[RuleCases, Skill]]] = {}
    for one, skill in judged:
        answers = [one.cases.opened, one.cases.known, one.pressure]
        key = (one.soil, one.disease, one.meaning, *(a.tobytes() for a in answers))
        groups.setdefault(key, []).append((one, skill))
    return [
        (replace(group[0][0], also=tuple(one.rule for one, _ in group[1:])), group[0][1])
        for group in groups.values()
    ]


def _answers(rows: pd.DataFrame, cases: pd.DataFrame) -> pd.DataFrame:
    """Row of the seasons table for each observation, in the order of the observations."""
    if "likely_from" in rows:  # a verdict is known or not
        start, end = rows["likely_from"], rows["likely_to"]
        same = (start == end) | (start.isna() & end.isna())
        rows = rows.assign(opened=start.where(same, rows["opened"]), complete=same)
    answered = ["place", "opened", "pressure_season", "complete"]
    table = rows.rename(columns={"site": "place"})[answered].astype({"place": "str"})
    table["begins"] = rows["season_first"].astype("datetime64[s]")
    wanted = cases[["place"]].astype("str").reset_index(drop=True).reset_index(names="case")
    wanted["from"] = cases["season_first"].to_numpy("M8[s]") - np.timedelta64(_SLACK_DAYS, "D")
    tied = pd.merge_asof(
        wanted.sort_values("from", kind="stable"),
        table.sort_values("begins", kind="stable"),
        left_on="from",
        right_on="begins",
        by="place",
        direction="forward",
        tolerance=pd.Timedelta(days=364),  # the next but one is of another season
    ).sort_values("case", ignore_index=True)
    tied["known"] = tied["complete"].eq(True)
    return tied
