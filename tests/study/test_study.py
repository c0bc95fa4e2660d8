"""A study from a table of seasons, and a sweep from a source: files, words, honesty."""

import csv
import hashlib
import json
from datetime import date

import pandas as pd
import pytest
from click.testing import CliRunner

from patchrisk import __version__
from patchrisk.base import resources
from patchrisk.base.errors import InputError
from patchrisk.base.pen import Pen
from patchrisk.base.toml_files import load_numbers
from patchrisk.cli import main
from patchrisk.cli.study import usual_units
from patchrisk.core.skill.cases import BASELINES
from patchrisk.core.skill.measures import Terms
from patchrisk.read.diseases import load_library
from patchrisk.report.words import rule_words
from patchrisk.study import backtest, sweep_source, write_sweep
from patchrisk.study.observations import usual_terms
from patchrisk.study.study import write_study
from patchrisk.study.table_files import SeasonParts, write_csv
from patchrisk.study.tables import verdicts_as_rules

TERMS = Terms(least_lead=21, most_lead=84, least_absences=2, least_seasons=2, draws=50)
TODAY = date(2020, 1, 1)
DATING = {
    "summary.csv",
    "normals.csv",
    "departures.csv",
    "trends.csv",
    "trends_by_rule.csv",
    "warmest_year.csv",
    "warmest_year_by_rule.csv",
}
SKILL = {"skill.csv", "cases.csv", "comparisons.csv", "held_out.csv"}


@pytest.fixture(scope="module")
def found(table):
    """Dead spot at the invented sites, from modelled soil."""
    return backtest(table, diseases=["dead spot"], soil="modelled")


@pytest.fixture(scope="module")
def seasons(found):
    return found.seasons


@pytest.fixture(scope="module")
def seen(tmp_path_factory):
    path = tmp_path_factory.mktemp("seen") / "seen.csv"
    lines = ["place,disease,first_seen,looked,incidence"]
    lines += [f"{site},dead spot,{year}-07-10,," for site in ("upland", "valley", "coast")
              for year in (2015, 2017)]  # fmt: skip
    lines += [f"{site},dead spot,,2016-07-20,not found" for site in ("upland", "valley", "coast")]
    lines += ["short,dead spot,,2016-11-20,not found"]
    path.write_text("\n".join(lines), encoding="utf-8")
    return path


@pytest.fixture(scope="module")
def study(seasons, seen, tmp_path_factory):
    """The paths of a study with observations."""
    folder = tmp_path_factory.mktemp("study")
    return write_study(folder, seasons, seen, terms=TERMS, today=TODAY)


def test_verdicts_are_judged_beside_the_rules(found, seen, tmp_path, undrawn):
    out = tmp_path / "study"
    write_study(out, found.seasons, seen, verdicts=found.verdicts, terms=TERMS, today=TODAY)
    cases = pd.read_csv(out / "cases.csv", parse_dates=["opened"])
    skill = pd.read_csv(out / "skill.csv").set_index("rule")
    called = cases[cases["rule"] == "verdict-called-summer"]
    assert len(called) == len(cases[cases["rule"] == cases["rule"].iloc[0]])
    expected = found.verdicts.set_index(["site", "season"])["called"]
    assert called["opened"].notna().any()
    for case in called.itertuples():
        assert str(case.opened) == str(expected[(case.place, case.season)])
    assert "the season is called, summer" in skill.loc["verdict-called-summer", "rule_words"]
    assert skill.loc["verdict-called-summer", "presences"] > 0
    comparisons = pd.read_csv(out / "comparisons.csv")
    assert "verdict-called-summer" in set(comparisons["other"])
    doubtful = found.verdicts.assign(in_doubt="start called", called=pd.NaT)
    write_study(out, found.seasons, seen, verdicts=doubtful, terms=TERMS, today=TODAY)
    skill = pd.read_csv(out / "skill.csv").set_index("rule")
    assert skill.loc["verdict-called-summer", "presences"] == 0


def test_verdicts_lie_where_their_sites_do(found):
    """Blocks of space are cut by both, also where no published rule was tied."""
    rules = verdicts_as_rules(found.verdicts)
    for side in ("latitude", "longitude"):
        at = rules.groupby("site", observed=True)[side].first()
        assert at.equals(found.seasons.groupby("site", observed=True)[side].first()[at.index])


def test_the_terms_are_those_of_the_thresholds():
    terms, numbers = usual_terms(), load_numbers("skill")
    assert (terms.least_lead, terms.most_lead) == (21, 84)
    assert terms.least_absences == numbers["least_absences"].value
    assert all(number.source and number.confidence for number in numbers.values())


# Lags from infection, or from a threshold, to symptoms: as typed from the sources in
# tests/diseases/published_figures.py. Dead spot: 3 to 10 days (Kaminski and others 2005), 12 to 28
# days at 20 C (Kaminski 2002). Summer patch: 21 to 28 days (UC IPM), 42 to 56 days (about 1996),
# 70 to 84 days (our reading). Spring dead spot: a trial at Raleigh, sprayed 17 October and 22
# November 2019, rated 27 March and 26 May 2020. The others have none, or one in years or since
# planting or stress.
@pytest.mark.parametrize(
    ("key", "lead", "said"),
    [
        ("dead-spot", (3, 28), "3 to 10 days since infection [Kaminski 2005, spores; "),
        ("summer-patch", (21, 84), "21 to 28 days since infection [UC IPM; expert opinion]"),
        (
            "spring-dead-spot",
            (126, 222),
            "126 to 222 days since treatment [NC State trial 2019-20; our",
        ),
        ("necrotic-ring-spot", (21, 84), "no lag is published for it"),
        ("pythium-root-dysfunction", (21, 84), "the general range"),
        ("take-all-patch", (21, 84), "give the range that fits with --lead"),
    ],
)
def test_useful_leads_are_those_of_the_diseases_file(key, lead, said):
    disease = load_library().diseases[key]
    terms = usual_terms(disease=disease)
    assert (terms.least_lead, terms.most_lead) == lead
    assert said in terms.lead_from
    asked = usual_terms((100, 240), disease)
    assert (asked.least_lead, asked.most_lead) == (100, 240)
    assert asked.lead_from == "as given with --lead"


def test_each_disease_is_judged_by_its_own_lead(seasons, seen, tmp_path, undrawn):
    told = []
    write_study(tmp_path, seasons, seen, today=TODAY, tell=told.append)
    assert len(told) == 1
    assert told[0].startswith(
        "Dead spot: a window is of use when it opens 3 to 28 days before the disease is seen (from "
        "the lags in its file: "
    )
    assert told[0] in (tmp_path / "findings.md").read_text(encoding="utf-8")
    skill = pd.read_csv(tmp_path / "skill.csv")
    assert (skill["least_lead"] == 3).all()
    assert (skill["most_lead"] == 28).all()
    cases = pd.read_csv(tmp_path / "cases.csv").dropna(subset="lead")
    cases = cases[cases["outcome"] != "unjudged"]
    hits = cases["found"] & cases["lead"].between(3, 28)
    assert (hits == (cases["outcome"] == "hit")).all()
    assert hits.any()
    assert not hits[cases["found"]].all()


def test_a_study_without_observations(seasons, tmp_path, undrawn):
    paths = write_study(tmp_path / "study", seasons)
    names = {path.name for path in paths}
    assert names >= DATING | {"findings.md", "captions.md"}
    assert not names & SKILL
    assert all(path.is_file() for path in paths)
    said = (tmp_path / "study" / "findings.md").read_text(encoding="utf-8")
    assert "Too few sites, or seasons, for a headline" in said
    assert "can't say which rule is right, since nothing seen was held against it" in said
    normals = pd.read_csv(tmp_path / "study" / "normals.csv", dtype={"normal": str})
    assert set(normals["site"]) == set(seasons["site"])


def test_a_study_with_observations(study):
    names, folder = {path.name for path in study}, study[0].parent
    assert names >= DATING | SKILL
    assert {
        "dead-spot_modelled_lead_times.png",
        "dead-spot_modelled_roc_pressure_of_the_whole_season.pdf",
    } <= names
    made = json.loads((folder / "metadata.json").read_text())["study"]
    assert made["judged_by"]["dead-spot"]["least_lead"] == 21
    assert made["observations"]["sha256"]
    skill = pd.read_csv(folder / "skill.csv").set_index("rule")
    cases = pd.read_csv(folder / "cases.csv")
    row = skill.loc["kaminski-2002-20c"]
    mine = cases[cases["rule"] == "kaminski-2002-20c"]
    assert len(mine) == 9
    assert row["hit"] == (mine["outcome"] == "hit").sum()
    assert row["presences"] + row["absences"] + row["unjudged"] == 9
    pairs = pd.read_csv(folder / "comparisons.csv")
    # Two rules and four baselines, each two of them.
    assert len(pairs) == 15
    assert set(skill.index) == {*mine["rule"], *pairs["other"], *pairs["rule"]}
    said = (folder / "findings.md").read_text(encoding="utf-8")
    assert "1 look in vain, outside the months in which the disease shows" in said
    assert "## Dead spot, soil modelled" in said
    captions = (folder / "figures" / "captions.md").read_text(encoding="utf-8")
    drawn = {path.stem for path in study if path.suffix in (".pdf", ".png")}
    assert drawn
    for name in drawn:
        assert f"## {name}\n" in captions
    assert captions.count("Alt text:") == len(drawn)


def test_rules_go_by_the_words_of_the_mornings_reports(study):
    folder = study[0].parent
    show = Pen("metric").show
    published = load_library().diseases["dead-spot"].window
    words = {w.id: f"{rule_words(w, show)} [{w.rule.source}]" for w in published}
    words |= {key: f"{said} [no soil]" for key, said in BASELINES.items()}
    assert words["kaminski-2002-20c"] == "daily mean at 5 cm at least 20.0 °C [Kaminski 2002]"
    for name in DATING | SKILL:
        table = pd.read_csv(folder / name)
        assert (table["rule_words"] == table["rule"].map(words)).all(), name
    pairs = pd.read_csv(folder / "comparisons.csv")
    assert (pairs["other_words"] == pairs["other"].map(words)).all()
    said = (folder / "findings.md").read_text(encoding="utf-8")
    said += (folder / "figures" / "captions.md").read_text(encoding="utf-8")
    assert f"| {words['kaminski-2002-20c']} | " in said
    assert not any(rule in said for rule in words)


def test_in_us_units(study, seasons, seen, tmp_path, undrawn):
    write_study(tmp_path, seasons, seen, terms=TERMS, today=TODAY, units="us")
    said = (tmp_path / "findings.md").read_text(encoding="utf-8")
    assert "| daily mean at 2 in at least 68.0 °F [Kaminski 2002] | " in said
    for name in DATING | SKILL:
        assert "°C" not in (tmp_path / name).read_text(encoding="utf-8"), name
    assert "°C" not in said
    ours, metric = (pd.read_csv(f / "warmest_year.csv") for f in (tmp_path, study[0].parent))
    assert [n for n in ours if n.endswith("_f")] == ["year_mean_f", "warmer_by_f"]
    # NIST SP 811, appendix B.8: t/degC = (t/degF - 32)/1.8. Both tables have six digits.
    assert ours["year_mean_f"].to_numpy() == pytest.approx(1.8 * metric["year_mean_c"] + 32, 1e-5)
    assert ours["warmer_by_f"].to_numpy() == pytest.approx(1.8 * metric["warmer_by_c"], 1e-4)


def test_the_same_study_gives_the_same_files(study, seasons, seen, tmp_path, monkeypatch):
    monkeypatch.setattr("patchrisk.study.study.save_figure", lambda *_: [])
    again = write_study(tmp_path, seasons, seen, terms=TERMS, today=TODAY)
    written = [path for path in study if path.suffix in (".csv", ".md")]
    assert len(written) == 13
    for a, b in zip(written, again, strict=True):
        assert a.read_bytes() == b.read_bytes(), a.name


def test_a_table_in_parts_gives_the_same_study(sites, table, small_parts, seen, tmp_path, undrawn):
    found = backtest(table, tmp_path / "parts", diseases=["dead spot"])
    parts = SeasonParts(tmp_path / "parts")
    assert len(parts) > 1
    assert [set(part["site"]) for part in parts] == [{site} for site in sites["site"].unique()]
    pd.testing.assert_frame_equal(pd.concat(list(parts), ignore_index=True), found.seasons)
    options = {"terms": TERMS, "today": TODAY}
    whole = write_study(tmp_path / "whole", found.seasons, seen, **options)
    apart = write_study(tmp_path / "apart", parts, seen, **options)
    assert len(whole) == 13
    for a, b in zip(whole, apart, strict=True):
        assert a.read_bytes() == b.read_bytes(), a.name


def test_a_part_of_which_nothing_is_known_adds_nothing(seasons, tmp_path, undrawn):
    doubtful = seasons.assign(
        dating=seasons["dating"].where(seasons["site"] == "valley", "unknown")
    )
    parts = [part for _, part in doubtful.groupby("site", sort=False)]
    write_study(tmp_path / "apart", parts)
    write_study(tmp_path / "whole", doubtful)
    for name in sorted(DATING | {"findings.md"}):
        assert (tmp_path / "apart" / name).read_bytes() == (tmp_path / "whole" / name).read_bytes()
    write_study(tmp_path / "none", seasons.assign(dating="unknown"))
    assert pd.read_csv(tmp_path / "none" / "normals.csv").empty


def test_observations_that_are_wrong_stop_it_before_anything_is_written(seasons, tmp_path):
    path = tmp_path / "seen.csv"
    path.write_text("place,disease,first_seen\nnowhere,dead spot,2016-07-10\n", encoding="utf-8")
    with pytest.raises(InputError, match="no site 'nowhere'"):
        write_study(tmp_path / "study", seasons, path)
    assert not (tmp_path / "study").exists()


def test_no_text_is_taken_for_a_formula(tmp_path):
    table = pd.DataFrame(
        {"site": ["=1+1", "@x", "-5 green", "plain", None], "days": [-5.0, 1, 2, 3, 1 / 3]}
    )
    write_csv(tmp_path / "table.csv", table)
    rows = list(csv.reader((tmp_path / "table.csv").read_text(encoding="utf-8").splitlines()))
    assert [row[0] for row in rows[1:]] == ["'=1+1", "'@x", "'-5 green", "plain", ""]
    assert [row[1] for row in rows[1:]] == ["-5", "1", "2", "3", "0.333333"]


def test_a_sweep_from_a_source(table, found, seasons, seen, tmp_path):
    swept = sweep_source(
        table, "dead spot", "kaminski-2002-20c", ["low=17:21:2degC", "days=1:3:2"],
        observations=seen, terms=TERMS, today=TODAY, soil="modelled",
    )  # fmt: skip
    assert swept.table["low"].tolist() == [17, 17, 19, 19, 21, 21]
    assert swept.skill is not None
    days = swept.table.set_index(["low", "days"])["opening_day"]
    assert days[17, 1] <= days[19, 1] <= days[21, 1]
    assert days[19, 1] <= days[19, 3]
    # As the backtest itself has it, on the value that was published.
    own = sweep_source(
        table, "dead spot", "kaminski-2002-20c", ["low=20:20:1degC"], soil="modelled"
    )
    rule = seasons[(seasons["rule"] == "kaminski-2002-20c") & (seasons["dating"] != "not spanned")]
    assert own.table["site_seasons"][0] == len(rule)
    assert own.table["opened_share"][0] == pytest.approx(rule["likely_to"].notna().mean())
    written = write_sweep(tmp_path / "out", swept)
    assert [path.suffix for path in written] == [".csv", ".md", ".pdf", ".png"]
    about = json.loads((tmp_path / "out" / "metadata.json").read_text())
    made = about["sweeps"]["kaminski-2002-20c"]
    assert made["source"]["sha256"] == found.metadata["source"]["sha256"]
    digest = hashlib.sha256(seen.read_bytes()).hexdigest()
    assert made["observations"] == {"name": str(seen), "sha256": digest}
    assert made["vary"][0]["shown"] == [17, 19, 21]
    assert made["rules"][0]["low_c"] == 20
    judged = made["judged_by"]["dead-spot"]
    assert (judged["draws"], judged["level"], judged["seed"]) == (50, 0.9, 1)
    assert {"patchrisk", "numpy", "scipy"} <= set(made["made_with"])
    assert made["made_at"][:4].isdigit()


@pytest.mark.parametrize(
    ("options", "said"),
    [
        ({"rule": "kaminski-2003"}, "no rule 'kaminski-2003': write one of kaminski-200"),
        ({"disease": "ded spot"}, "write one of dead-spot"),
        ({"vary": ["depth=5:500:100cm"]}, "out of range"),
        ({"vary": ["depth=5:80:15cm"]}, "a depth the soil is not known at"),
        ({"vary": ["high=20:25:5degC"]}, "has no such number"),
        ({"soil": "both"}, "one at a time"),
    ],
)
def test_a_sweep_that_can_not_be(table, options, said):
    usual = {"disease": "dead spot", "rule": "kaminski-2002-20c", "vary": ["low=17:21:2degC"]}
    with pytest.raises(InputError, match=said):
        sweep_source(table, **{**usual, **options})


def test_a_site_file_has_units_of_its_own(table):
    site = resources.sample_weather() / "site.toml"
    assert 'units = "us"' in site.read_text(encoding="utf-8")
    assert usual_units(site) == "us"
    assert usual_units(table) == "metric"


def test_it_is_cited_by_the_version_it_has():
    root = resources.thresholds().parent
    text = (root / "CITATION.cff").read_text(encoding="utf-8")
    assert f"\nversion: {__version__}\n" in text
    assert 'name: "The patchrisk developers"' in text


def test_the_command(table, seen, tmp_path):
    command = ["sweep", str(table), "--disease", "dead spot", "--rule", "kaminski-2002-20c",
               "--vary", "low=64:72:4degF", "--out", str(tmp_path / "out")]  # fmt: skip
    more = ["--observations", str(seen), "--lead", "14-90", "--units", "us"]
    run = CliRunner().invoke(main, [*command, *more])
    assert run.exit_code == 0, run.stderr
    assert "hit rate" in run.stdout
    assert (tmp_path / "out" / "sweep_kaminski-2002-20c.png").is_file()
    said = (tmp_path / "out" / "sweep_kaminski-2002-20c.md").read_text(encoding="utf-8")
    assert said.startswith("# Dead spot, daily mean at 2 in at least 68.0 °F [Kaminski 2002]")
    assert "°C" not in said
    refused = CliRunner().invoke(main, [*command, "--lead", "90-14"])
    assert refused.exit_code == 2
    assert "such as 21-84" in refused.stderr
