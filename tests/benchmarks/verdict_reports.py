"""Dated reports of what turf pathologists saw or advised, held against the verdict of that day.

Run with ``--data FILE``, as `verdict_replay.py`. Each report is judged at the stations named, the
nearest of that record with measured soil, which is the log. A report agrees at a station when the
verdict is among those that its advice leaves.
"""

import argparse
import json
from dataclasses import dataclass
from datetime import date
from pathlib import Path

import numpy as np
from station_mornings import Morning, stations_of

from patchrisk.base.pen import words_of
from patchrisk.core.verdict.decision_table import Phase, Verdict
from patchrisk.read.area import Area

NO_APPLICATION = frozenset(Verdict) - {Verdict.APPLY, Verdict.DECIDE}
LOOK = frozenset({Verdict.SCOUT, Verdict.DECIDE, Verdict.APPLY, Verdict.KEEP_COVER})
ACTIVE = frozenset({Phase.STARTING, Phase.GOING_ON, Phase.LATE})


@dataclass(frozen=True)
class Report:
    """What was said, where and when.

    ``verdicts`` are those that agree with it, ``phases`` likewise where it speaks of activity,
    ``started_after`` a day before which the season can't have begun.
    """

    id: str
    says: str
    day: str
    stations: tuple[str, ...]
    turf: str
    use: str
    disease: str
    history: str | None
    verdicts: frozenset[Verdict] | None = None
    phases: frozenset[Phase] | None = None
    started_after: str | None = None


MIDWEST = ("KS_Manhattan_6_SSW", "IN_Bedford_5_WNW", "AR_Batesville_8_WNW")
NORTH = ("MI_Gaylord_9_SSW", "MI_Chatham_1_SE", "NE_Lincoln_8_ENE")
CAROLINA = ("SC_Blackville_3_W", "VA_Charlottesville_2_SSE", "GA_Watkinsville_5_SSE")
CALIFORNIA = ("CA_Merced_23_WSW", "CA_Fallbrook_5_NE", "CA_Santa_Barbara_11_W")
BENT, ZOYSIA = ("creeping bentgrass", "green"), ("zoysiagrass", "fairway")
LAWN, BERMUDA = ("Kentucky bluegrass", "lawn"), ("bermudagrass", "fairway")

REPORTS = (
    *(
        Report(
            "N1",
            "Miller, University of Missouri, 24 Mar 2011: at least a week too early; waits for "
            "55-60 degF for 3 to 5 days",
            "2011-03-24",
            MIDWEST,
            *BENT,
            disease,
            "laboratory",
            NO_APPLICATION,
        )
        for disease in ("take-all-patch", "fairy-ring")
    ),
    *(
        Report(
            "N4",
            "Koch, University of Wisconsin, Mar 2012: a record warm spell; hold off despite the "
            "soil, unless the disease was there lately",
            "2012-03-22",
            NORTH,
            *BENT,
            disease,
            None,
            NO_APPLICATION,
        )
        for disease in ("take-all-patch", "fairy-ring")
    ),
    Report(
        "N6",
        "Settle, Chicago district, 1 Jun 2012: take-all patch shows",
        "2012-06-01",
        ("IN_Bedford_5_WNW",),
        *BENT,
        "take-all-patch",
        "laboratory",
        NO_APPLICATION,
    ),
    Report(
        "N9",
        "Latin, Purdue, 21 May 2013: entering the summer patch window",
        "2013-05-21",
        ("IN_Bedford_5_WNW", "KY_Bowling_Green_21_NNE"),
        *LAWN,
        "summer-patch",
        "laboratory",
        frozenset({Verdict.GET_READY, Verdict.APPLY}),
    ),
    Report(
        "N11",
        "University of Missouri, 11 May 2015: most spring thresholds are gone",
        "2015-05-11",
        MIDWEST,
        *BENT,
        "fairy-ring",
        "none in 5 years",
        NO_APPLICATION,
    ),
    Report(
        "N17",
        "Kennelly, Kansas State, 10 Oct 2019: large patch seen",
        "2019-10-10",
        ("KS_Manhattan_6_SSW",),
        *ZOYSIA,
        "large-patch",
        "laboratory",
        LOOK,
        ACTIVE,
        "2019-09-10",
    ),
    Report(
        "N17",
        "Kennelly, Kansas State, 10 Oct 2019: think of spring dead spot",
        "2019-10-10",
        ("KS_Manhattan_6_SSW",),
        *BERMUDA,
        "spring-dead-spot",
        "laboratory",
        frozenset({Verdict.APPLY}),
        ACTIVE,
        "2019-09-10",
    ),
    Report(
        "N20",
        "North Carolina extension, 24 May 2020: soil at 55-65 degF since mid-March; large patch",
        "2020-05-24",
        CAROLINA,
        *ZOYSIA,
        "large-patch",
        "seen",
        LOOK | {Verdict.NOTHING},
        ACTIVE,
    ),
    Report(
        "N21",
        "Miller, Purdue, 29 May 2023: summer patch due",
        "2023-05-29",
        ("IN_Bedford_5_WNW",),
        *LAWN,
        "summer-patch",
        "laboratory",
        frozenset({Verdict.APPLY}),
    ),
    Report(
        "N21",
        "Miller, Purdue, 29 May 2023: large patch active on zoysiagrass",
        "2023-05-29",
        ("IN_Bedford_5_WNW",),
        *ZOYSIA,
        "large-patch",
        "seen",
        None,
        ACTIVE,
    ),
    *(
        Report(
            "N25",
            "University of California IPM: take-all patch is principally a disease of late fall "
            "and winter, in wet soil",
            f"2016-{day}",
            CALIFORNIA,
            *BENT,
            "take-all-patch",
            "laboratory",
            frozenset(Verdict) - {Verdict.NOTHING},
            ACTIVE,
        )
        for day in ("12-15", "01-15")
    ),
    *(
        Report(
            "N26",
            "University of Massachusetts, 15 Apr 2022: a fungicide after symptoms is generally "
            "ineffective on lawns; only with a history",
            day,
            ("NH_Durham_2_SSW", "NY_Ithaca_13_E"),
            *LAWN,
            "summer-patch",
            history,
            NO_APPLICATION,
        )
        for day, history in (("2021-06-10", "none in 5 years"), ("2021-08-25", "laboratory"))
    ),
    Report(
        "N27",
        "Penn State: dead spot is seen from May to October",
        "2019-09-15",
        ("PA_Avondale_2_N", "MI_Gaylord_9_SSW"),
        *BENT,
        "dead-spot",
        "laboratory",
        LOOK,
    ),
    Report(
        "N28",
        "Purdue, Aug 2025: summer patch on numerous bentgrass greens; asked of a green of which "
        "nothing is told, in another August",
        "2022-08-01",
        ("IN_Bedford_5_WNW",),
        *BENT,
        "summer-patch",
        None,
        LOOK - {Verdict.APPLY},
    ),
)


def held(report, made):
    """Whether a judgement agrees with a report."""
    fits = report.verdicts is None or made.verdict in report.verdicts
    if report.phases is not None:
        fits &= made.phase in report.phases
    if report.started_after is not None:
        fits &= made.start is None or made.start >= np.datetime64(report.started_after)
    return bool(fits)


def replayed(data):
    wanted = {name for report in REPORTS for name in report.stations}
    stations = {s.name: s for s in stations_of(data, 1, wanted)}
    mornings = {}
    for report in REPORTS:
        for name in report.stations:
            if name not in stations:
                continue
            key = name, report.day
            if key not in mornings:
                mornings[key] = Morning(stations[name], date.fromisoformat(report.day))
            here = mornings[key]
            history = {} if report.history is None else {report.disease: report.history}
            area = Area(name="area", turf=report.turf, use=report.use, history=history)
            made = here.judge(here.cases(area)[report.disease])
            yield report, name, made, held(report, made)


def main():
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--data", type=Path, required=True)
    parser.add_argument("--json", action="store_true")
    options = parser.parse_args()
    rows = [
        {
            "report": report.id,
            "disease": report.disease,
            "day": report.day,
            "station": name,
            "verdict": words_of(made.verdict),
            "reason": made.reason,
            "phase": words_of(made.phase),
            "start": None if made.start is None else str(made.start),
            "agrees": agrees,
        }
        for report, name, made, agrees in replayed(options.data)
    ]
    if options.json:
        print(json.dumps(rows, indent=1))
        return
    for row in rows:
        print("  ".join(str(value) for value in row.values()))
    print(f"{sum(row['agrees'] for row in rows)} of {len(rows)} agree")


if __name__ == "__main__":
    main()
