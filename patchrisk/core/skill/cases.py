"""Observations tied to what each rule said in their season."""

from collections.abc import Iterator, Mapping
from dataclasses import replace

import numpy as np
import pandas as pd

from patchrisk.base.units import DAY, DayArray, FloatArray, IntArray
from patchrisk.core.skill.measures import Terms
from patchrisk.core.skill.scores import Cases

_SLACK_DAYS = 45  # so much earlier than its disease's a changed rule's season may begin


BLOCK_DEGREES = 5.0  # blocks of space are so wide and high: sites within share their weather


def tie(seasons: pd.DataFrame, observations: pd.DataFrame) -> Iterator[Cases]:
    """Give each observation what each rule of its disease said in the season it belongs to.

    An observation belongs to a season of the disease, and every rule answers with its own season
    that begins in it: for symptoms in spring, of a disease whose season begins in autumn, a rule
    for autumn answers with the autumn before, and a rule for summer with the summer to come,
    which is too late. Its opening is the likely one, known where that is one day or none: to keep
    those alone that no missing day can touch would favour early ones.

    By rule, in the order of the seasons table; none for a disease without observations, which are
    as `patchrisk.study.observations.read_disease_observations` gives them.
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
        yield Cases(
            soil=str(soil),
            disease=str(disease),
            rule=str(rule),
            meaning=str(rows["meaning"].iloc[0]),
            places=tuple(cases["place"]),
            opened=answers["opened"].to_numpy("datetime64[D]"),
            day=cases["day"].to_numpy("datetime64[D]"),
            found=cases["found"].to_numpy(bool),
            known=answers["known"].to_numpy(bool),
            begins=cases["season_first"].to_numpy("datetime64[D]"),
            season=cases["season"].to_numpy(np.int64),
            site=np.unique(cases["place"], return_inverse=True)[1],
            block=np.asarray(cases["place"].map(blocks), dtype=np.int64),
            pressure=np.where(answers["known"], answers["pressure_season"].to_numpy(float), np.nan),
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


def baselines(cases: Cases, terms: Terms) -> Iterator[Cases]:
    """Answer the cases of a rule without any soil."""
    days = (cases.day - cases.begins).astype("timedelta64[D]").astype(float)
    target = np.where(cases.found, days - (terms.least_lead + terms.most_lead) / 2, np.nan)
    everywhere = _median_of_others(target, cases.season, np.zeros_like(cases.site))
    at_site = _median_of_others(target, cases.season, cases.site)
    at_site = np.where(np.isnan(at_site), everywhere, at_site)
    nothing = np.full(len(days), np.nan)
    offsets = (np.zeros(len(days)), nothing, everywhere, at_site)
    for rule, offset in zip(BASELINES, offsets, strict=True):
        known = ~np.isnan(offset) | (rule == "baseline-never")
        opened = _after(cases.begins, offset)
        yield replace(cases, rule=rule, meaning="treat", opened=opened, known=known,
                      pressure=nothing)  # fmt: skip


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
