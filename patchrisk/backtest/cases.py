"""Observations tied to what each rule said in their season."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np
import pandas as pd

from patchrisk.arrays import FloatArray
from patchrisk.backtest.skill import Cases, Skill

RULE = ["soil", "disease", "rule"]
SLACK_DAYS = 45  # so much earlier than its disease's a changed rule's season may begin


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
    scores : dict of str to ndarray of float, shape (cases,)
        By name; higher is nearer to disease, NaN where unknown.
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
    scores: dict[str, FloatArray]
    places: tuple[str, ...]
    also: tuple[str, ...] = ()

    @property
    def rules(self) -> tuple[str, ...]:
        """The rule, and those that answer alike."""
        return self.rule, *self.also


SCORES = {
    "pressure": "infection pressure of the season [days at the optimum]",
    "days open": "days on which the window was open in the season [days]",
    "days since opening": "days from opening to the end of the season [days], 0 without opening",
}


def tie(seasons: pd.DataFrame, observations: pd.DataFrame) -> Iterator[RuleCases]:
    """Give each observation what each rule of its disease said in the season it belongs to.

    An observation belongs to a season of the disease, and every rule answers with its own season
    that begins in it: for symptoms in spring, of a disease whose season begins in autumn, a rule
    for autumn answers with the autumn before, and a rule for summer with the summer to come,
    which is too late.

    Parameters
    ----------
    seasons : DataFrame
        The seasons table.
    observations : DataFrame
        As `patchrisk.backtest.observations.read_observations` gives it.

    Yields
    ------
    RuleCases
        In the order of the seasons table; none for a disease without observations.
    """
    seen = observations[observations["counts"]]
    day = seen["first_seen"].where(seen["found"], seen["clear_on"])
    seen = seen.assign(day=day.astype("datetime64[s]"))
    for (soil, disease, rule), rows in seasons.groupby(RULE, sort=False, observed=True):
        mine = seen[seen["disease"] == disease]
        if not mine.empty:
            said = _said(rows, mine)
            yield RuleCases(
                str(soil),
                str(disease),
                str(rule),
                str(rows["meaning"].iloc[0]),
                Cases(
                    opened=said["opened"].to_numpy("datetime64[D]"),
                    day=mine["day"].to_numpy("datetime64[D]"),
                    found=mine["found"].to_numpy(bool),
                    known=said["known"].to_numpy(bool),
                    season=mine["season"].to_numpy(np.int64),
                ),
                _scores(said),
                tuple(mine["place"]),
            )


def together(judged: Sequence[tuple[RuleCases, Skill]]) -> list[tuple[RuleCases, Skill]]:
    """Put rules of one meaning that give every case the same answer together, in order."""
    groups: dict[tuple[object, ...], list[tuple[RuleCases, Skill]]] = {}
    for one, skill in judged:
        answers = [one.cases.opened, one.cases.known, *one.scores.values()]
        key = (one.soil, one.disease, one.meaning, *(a.tobytes() for a in answers))
        groups.setdefault(key, []).append((one, skill))
    return [
        (replace(group[0][0], also=tuple(one.rule for one, _ in group[1:])), group[0][1])
        for group in groups.values()
    ]


def _said(rows: pd.DataFrame, seen: pd.DataFrame) -> pd.DataFrame:
    """Row of the seasons table for each observation, in the order of the observations."""
    wanted = [
        "season_first",
        "season_last",
        "opened",
        "days_open",
        "pressure_season",
        "complete",
    ]
    table = rows.rename(columns={"site": "place"})[["place", *wanted]].astype({"place": "str"})
    table["begins"] = table["season_first"].astype("datetime64[s]")
    asked = seen[["place"]].astype("str").reset_index(drop=True).reset_index(names="case")
    asked["from"] = seen["season_first"].to_numpy("M8[s]") - np.timedelta64(SLACK_DAYS, "D")
    tied = pd.merge_asof(
        asked.sort_values("from", kind="stable"),
        table.sort_values("begins", kind="stable"),
        left_on="from",
        right_on="begins",
        by="place",
        direction="forward",
        tolerance=pd.Timedelta(days=364),  # the next but one is of another season
    ).sort_values("case", ignore_index=True)
    tied["known"] = tied["complete"].eq(True)
    return tied


def _scores(said: pd.DataFrame) -> dict[str, FloatArray]:
    known = said["known"].to_numpy(bool)
    since = (said["season_last"] - said["opened"]).dt.days.to_numpy(float)
    scores = {
        "pressure": said["pressure_season"].to_numpy(float),
        "days open": said["days_open"].to_numpy(float),
        "days since opening": np.where(np.isnan(since), 0.0, since + 1),
    }
    return {name: np.where(known, score, np.nan) for name, score in scores.items()}
