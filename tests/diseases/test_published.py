"""Every number of every disease file against what was typed from the publications."""

from dataclasses import replace
from fractions import Fraction

import pytest

from patchrisk.base import resources
from patchrisk.base.pen import Pen
from patchrisk.read.diseases import load_library
from patchrisk.read.diseases.models import Observation
from patchrisk.read.diseases.quantities import OURS, Number, Source, Sourced, Statement, Table
from patchrisk.read.diseases.rules import PublishedRule
from patchrisk.report.disease import write_disease
from tests.diseases.published_figures import (
    ACTIVES,
    EVIDENCE,
    EVIDENCE_BESIDE,
    EVIDENCE_SIGNS,
    FRAC_CODES,
    GRASSES,
    HELPS,
    LISTED_BY,
    MODERATE,
    MONTHS,
    NOT_READ,
    NUMBERS,
    SEASONS,
    SEEN,
    STRONG,
    WEAK,
    WINDOWS,
)

KEYS = sorted(WINDOWS)


def rows(text):
    return [[cell.strip() for cell in line.split("|")] for line in text.strip().splitlines()]


def item(library, key):
    return library.diseases.get(key) or library.groups[key]


def mark(sourced):
    return "" if sourced.stated else "?"


def written(number):
    """A number as the table of figures writes it."""
    unit = number.unit
    if number.value is not None:
        return f"{number.value:g} {unit}{mark(number)}"
    best = "" if number.best is None else f"@{number.best:g}"
    return f"{number.low:g}-{number.high:g}{best} {unit}{mark(number)}"


def edges(published):
    low, high = published.low, published.high
    if published.direction == "band":
        assert low.unit == high.unit
        assert not published.strict
        return f"{low.value:g}..{high.value:g} {low.unit}"
    sign = {"rising": ">", "falling": "<"}[published.direction]
    return f"{sign}{'' if published.strict else '='} {written(low or high)}"


def closing(published):
    parts = [
        f"{side} {written(number)}"
        for side, number in (("above", published.close_above), ("below", published.close_below))
        if number is not None
    ]
    return ", ".join([*parts, written(published.close_days)]) if parts else "season"


def window_row(published):
    statistic = published.statistic
    mean_of = f" of {written(statistic.mean_of)}" if statistic.mean_of else ""
    season = published.season
    return [
        published.id,
        published.meaning,
        f"{statistic.value}{mean_of}{mark(statistic)}",
        written(published.depth),
        edges(published),
        written(published.days),
        f"{season.start} {season.end}{mark(season)}",
        closing(published),
    ]


@pytest.fixture
def library():
    """The shipped files that have their published figures beside them."""
    whole = load_library()
    typed = {key: disease for key, disease in whole.diseases.items() if key in EVIDENCE}
    return replace(whole, diseases=typed)


def test_a_table_of_figures_for_every_file():
    """A new file fails here alone, until its figures are typed from the publications."""
    whole = load_library()
    tables = {
        "WINDOWS": {*whole.diseases, *whole.groups} ^ set(WINDOWS),
        "NUMBERS": {*whole.diseases, *whole.groups} ^ set(NUMBERS),
        "EVIDENCE": set(whole.diseases) ^ set(EVIDENCE),
        "MONTHS": set(whole.diseases) ^ set(MONTHS),
        "HELPS": set(whole.diseases) ^ set(HELPS),
        "SEASONS": {k for k, d in whole.diseases.items() if d.season}
        ^ {row[0] for row in rows(SEASONS)},
    }
    lacking = {table: keys for table, keys in tables.items() if keys}
    assert not lacking, "tests/diseases/published_figures.py and thresholds/diseases/ differ"


@pytest.mark.parametrize("key", KEYS)
def test_every_rule_says_what_its_source_prints(library, key):
    said = [window_row(published) for published in item(library, key).window]
    assert said == [row[:8] for row in rows(WINDOWS[key]) if row != [""]]


@pytest.mark.parametrize("key", KEYS)
def test_every_threshold_cites_whose_it_is(library, key):
    for published, row in zip(item(library, key).window, rows(WINDOWS[key]), strict=False):
        (source,) = published.threshold.source
        assert source.short.split()[0].strip(",") in row[8]
        assert str(source.year) in row[8]


@pytest.mark.parametrize("key", KEYS)
def test_confidence_in_each_threshold(library, key):
    graded = {
        published.id: published.threshold.confidence for published in item(library, key).window
    }
    expected = {}
    for name in graded:
        grade = "expert opinion"
        grade = "strong" if name in STRONG else grade
        grade = "moderate" if (key, name) in MODERATE else grade
        expected[name] = "weak" if (key, name) in WEAK else grade
    assert graded == expected


def test_the_grades_name_rules_that_exist():
    ids = {(key, row[0]) for key in KEYS for row in rows(WINDOWS[key])}
    assert ids >= MODERATE | WEAK
    assert {name for _, name in ids} >= STRONG


def exact_c(number, printed):
    """Degrees Celsius by the definition of the Fahrenheit scale (NIST SP 811, B.9), exactly."""
    value = Fraction(str(printed))
    return (value - 32) * Fraction(5, 9) if number.unit == "degF" else value


@pytest.mark.parametrize("key", KEYS)
def test_thresholds_are_converted_exactly_and_not_rounded(library, key):
    for published in item(library, key).window:
        rule = published.rule
        for number, got in (
            (published.low, rule.low_c),
            (published.high, rule.high_c),
            (published.close_above, rule.close_above_c),
            (published.close_below, rule.close_below_c),
        ):
            if number is None:
                assert got is None
                continue
            printed = number.value if number.value is not None else number.best
            assert got == pytest.approx(float(exact_c(number, printed)), abs=1e-12)


def test_65_degrees_fahrenheit_is_not_18(library):
    rule = library.diseases["summer-patch"].published("rutgers-max-5d").rule
    assert rule.low_c == pytest.approx(18.0 + 1 / 3, abs=1e-12)


@pytest.mark.parametrize("key", KEYS)
def test_rules_carry_depth_days_and_provenance(library, key):
    for published, row in zip(item(library, key).window, rows(WINDOWS[key]), strict=False):
        rule = published.rule
        depth, unit = row[3].rstrip("?").split()
        low, _, high = depth.partition("-")
        middle = (Fraction(low) + Fraction(high or low)) / 2  # the middle of a range of depths
        assert rule.depth_cm == pytest.approx(
            float(middle * (Fraction("2.54") if unit == "in" else 1)), abs=1e-12
        )
        days = Fraction(row[5].split()[0].split("@")[-1])
        assert rule.days == days / 24 if "hours" in row[5] else days
        assert rule.mean_days == (5 if "of 5 days" in row[2] else 1)
        assert (rule.id, rule.meaning) == (row[0], row[1])
        assert rule.statistic == row[2].rstrip("?").split(" of ")[0]
        assert rule.direction == {">": "rising", "<": "falling"}.get(row[4][0], "band")
        assert rule.strict == (row[4][0] in "<>" and row[4][1] != "=")
        limits = tuple(
            tuple(int(part) for part in day.split("-")) for day in row[6].rstrip("?").split()
        )
        assert (rule.season.start, rule.season.end) == limits
        assert rule.source == published.threshold.short
        assert rule.confidence == published.threshold.confidence
        stated = {
            name
            for name, cell in (("statistic", 2), ("depth", 3), ("days", 5), ("season", 6))
            if not row[cell].endswith("?")
        }
        assert rule.stated == stated


def numbers(table, place=""):
    """Every number in a table and where it is, windows left out."""
    for name in type(table).model_fields:
        if name == "window":
            continue
        inside = getattr(table, name)
        if isinstance(inside, Number):
            yield f"{place} {name}".strip(), inside
        elif isinstance(inside, Source):
            continue
        elif isinstance(inside, Table):
            yield from numbers(inside, f"{place} {name}".strip())
        elif isinstance(inside, tuple) and inside and isinstance(inside[0], Table):
            for n, row in enumerate(inside, start=1):
                yield from numbers(row, f"{place} {name} {n}".strip())


def placed(disease):
    """Places named as the table of figures names them: cultures by fungus, figures by id."""
    cultures = [row.fungus for row in getattr(disease, "culture", ())]
    for place, number in numbers(disease):
        head, _, rest = place.partition(" ")
        if head == "culture" and "observation" in place:
            continue
        if head == "response" and "observation" in place:
            continue
        if head == "culture":
            n, _, part = rest.partition(" ")
            fungus = cultures[int(n) - 1]
            which = f" {cultures[: int(n)].count(fungus)}" if cultures.count(fungus) > 1 else ""
            yield f"culture {fungus}{which} {part}", number
        elif head == "figure":
            yield f"figure {disease.figure[int(rest.split()[0]) - 1].id}", number
        else:
            yield place, number


@pytest.mark.parametrize("key", KEYS)
def test_every_other_number_says_what_its_source_prints(library, key):
    said = {place: written(number) for place, number in placed(item(library, key))}
    assert said == {place: number for place, number, _ in rows(NUMBERS[key])}


def test_every_observation(library):
    said = sorted(
        [key, part, written(o.temperature), o.level]
        for key, disease in library.diseases.items()
        for part, owners in (
            ("response", [disease.response] if disease.response else []),
            ("culture", disease.culture),
        )
        for owner in owners
        for o in owner.observation
    )
    typed = sorted([key, part, f"{t} degC", level] for key, part, t, level, _ in rows(SEEN))
    assert said == typed


def test_evidence_of_each_group(library):
    for key, disease in library.diseases.items():
        said = {row.frac: row.evidence for row in disease.mode_of_action}
        signs = dict(zip(FRAC_CODES, EVIDENCE[key].split(), strict=True))
        beside = {frac: e for (k, frac), e in EVIDENCE_BESIDE.items() if k == key}
        assert said == {frac: EVIDENCE_SIGNS[sign] for frac, sign in signs.items()} | beside


def test_who_lists_a_group_without_figures(library):
    said = {
        (key, row.frac): row.listed_by
        for key, disease in library.diseases.items()
        for row in disease.mode_of_action
        if row.evidence == "listed"
    }
    assert said == LISTED_BY


def test_what_was_read_of_single_actives(library):
    said = {
        (key, active): evidence
        for key, disease in library.diseases.items()
        for row in disease.mode_of_action
        for active, evidence in row.actives.items()
    }
    assert {which: said.get(which) for which in ACTIVES} == ACTIVES


def test_a_code_of_two_kinds_of_fungi_is_told_by_its_active(library):
    """Cyazofamid acts on oomycetes only; the picolinamides of code 21 act on true fungi."""
    for disease in library.diseases.values():
        (row,) = (row for row in disease.mode_of_action if row.frac == "21")
        assert row.actives["cyazofamid"] == row.evidence
        assert row.actives["florylpicoxamid"] == "no data"
        assert "picolinamides" in row.note


def test_seasons(library):
    said = [
        [
            key,
            season.id,
            ", ".join(season.grass) or "all",
            f"{season.span.start} {season.span.end}{mark(season.span)}",
            season.turn,
            " ".join(season.rules),
            f"{season.treat_until.day}{mark(season.treat_until)}" if season.treat_until else "",
            f"{' '.join(map(str, season.shows.value))}{mark(season.shows)}",
        ]
        for key, disease in library.diseases.items()
        for season in disease.season
    ]
    assert sorted(said) == sorted(row[:8] for row in rows(SEASONS))


def test_rules_that_speak_of_some_grasses_only(library):
    said = {
        (key, window.id): set(window.grass)
        for key, disease in library.diseases.items()
        for window in disease.window
        if window.grass
    }
    assert said == GRASSES


def test_what_an_application_can_still_do(library):
    said = {
        key: (disease.treatment.late.helps, disease.treatment.once_seen.helps)
        for key, disease in library.diseases.items()
    }
    assert said == HELPS
    for disease in library.diseases.values():
        for told in (disease.treatment.late, disease.treatment.once_seen):
            assert told.stated or told.helps == "not known"


def test_months_of_symptoms(library):
    said = {key: set(d.expression.months.value) for key, d in library.diseases.items()}
    assert said == MONTHS


def walk(table):
    yield table
    for name in type(table).model_fields:
        inside = getattr(table, name)
        for part in inside if isinstance(inside, tuple) else (inside,):
            if isinstance(part, Table) and not isinstance(part, Source):
                yield from walk(part)


@pytest.mark.parametrize("key", KEYS)
def test_the_text_of_a_file_leaves_no_number_and_no_note_out(library, key):
    said = " ".join(write_disease(library, key, Pen("metric").show).split())
    expression = getattr(item(library, key), "expression", None)
    # What brings it to light, and how long after, is told in the sentence itself.
    told = () if expression is None else (*expression.stress, *expression.lag)
    in_words = {id(part) for one in told for part in walk(one)}
    for part in walk(item(library, key)):
        note = getattr(part, "note", None)
        if isinstance(note, str) and id(part) not in in_words:
            assert note in said
        if isinstance(part, Number) and id(part) not in in_words:
            assert part.printed in said


@pytest.mark.parametrize("key", KEYS)
def test_a_reading_of_ours_is_never_more_than_weak(library, key):
    for part in walk(item(library, key)):
        if isinstance(part, Number) and not part.stated:
            assert part.confidence == ("expert opinion" if part.seen == "no source" else "weak")
            assert part.seen in OURS


@pytest.mark.parametrize("key", KEYS)
def test_the_mark_on_a_number_is_the_mark_on_what_is_said_with_it(library, key):
    for part in walk(item(library, key)):
        if isinstance(part, PublishedRule):
            edge = part.threshold
            marked = [n for n in part.numbers.values() if n.source == edge.source]
        elif isinstance(part, Statement):
            edge = part
            marked = [n for n in walk(part) if isinstance(n, Number)]
        else:
            continue
        assert {n.confidence for n in marked} <= {edge.confidence}
        assert {n.source for n in marked} <= {edge.source}


@pytest.mark.parametrize("key", KEYS)
def test_an_observation_is_cited_as_its_temperature_is(library, key):
    for part in walk(item(library, key)):
        if isinstance(part, Observation):
            assert part.temperature.source == part.source
            assert part.temperature.stated


@pytest.mark.parametrize("key", KEYS)
def test_every_source_is_used(library, key):
    used = {
        s for part in walk(item(library, key)) if isinstance(part, Sourced) for s in part.source
    }
    assert set(item(library, key).sources.values()) == used


def test_what_was_not_read_says_so(library):
    said = {mark: {} for mark in NOT_READ}
    for key in KEYS:
        for name, source in item(library, key).sources.items():
            # names of fungi and spectra of groups are from memory in every file
            if source.seen in said and name not in ("names", "spectrum"):
                said[source.seen].setdefault(key, set()).add(name)
    assert said == NOT_READ


@pytest.mark.parametrize("name", ["names", "spectrum", "reading", "custom"])
def test_what_stands_for_no_publication_is_marked_so_everywhere(library, name):
    marks = {"names": "memory", "spectrum": "memory", "reading": "inference", "custom": "no source"}
    files = [item(library, key).sources for key in KEYS]
    seen = {sources[name].seen for sources in files if name in sources}
    assert seen == {marks[name]}


@pytest.mark.parametrize("key", KEYS)
def test_rates_of_fungicides_are_nowhere(key):
    text = (resources.thresholds() / "diseases" / f"{key}.toml").read_text(encoding="utf-8")
    assert "fl oz" not in text
    assert "kg ai" not in text
    assert "rate =" not in text


def test_every_disease_forecasts_or_says_why_not(library):
    without = {key for key, disease in library.diseases.items() if not disease.window}
    assert without == {"pythium-root-rot"}
    said = library.diseases["pythium-root-rot"].no_forecast
    assert "aturation" in said.text
    assert said.stated
