"""The log of a year: printed ten to a page, as a table, and as the ADAPT Standard has it.

Names and required keys of the standard: root schema and data type definitions 2.0.2
(github.com/ADAPT/Standard, tag 2.0.2, 6 Aug 2025; seen), typed here as far as they are used. Where
tests/outside/fetch.py could get the schema itself and the definitions, the whole of it is checked.
"""

import csv
import io
import json
import re
from datetime import date
from pathlib import Path

import jsonschema
import numpy as np
import pytest
from click.testing import CliRunner

from patchrisk.cli import main
from patchrisk.core.plan.labels import Figure
from patchrisk.read.diseases import load_library
from patchrisk.read.records.applications import APPLICATION_COLUMNS, past_label
from patchrisk.read.records.rows import record_context
from patchrisk.read.site import read_site
from patchrisk.report.log import LOG_COLUMNS, log_of, write_log
from patchrisk.report.records_words import FIGURES
from tests.outside import fetch
from tests.plan.plans_by_hand import NASTY
from tests.plan.test_past_label import SHELF, SITE

ROW = {
    "area": "Greens", "product": "Shelf A", "for": "take-all patch + brown patch",
    "water": "0.25", "unit": "in", "rate": "1 kg/ha", "note": "invented, a note of some length",
    "spot": "9 of 18 greens", "watered": "06:40", "amount": "1.2 kg", "carrier": "120 gal",
    "treated": "3 acre", "start": "05:30", "end": "6:20", "wind": "5 mph", "air": "68 degF",
    "applicator": "A. Applicator (invented)", "licence": "INV 4711",
    "registration": "000-00 (invented)", "re_entry": "12 hours",
}  # fmt: skip
DAYS = np.arange(np.datetime64("2026-03-02"), np.datetime64("2026-08-01"), 14)


@pytest.fixture
def log(tmp_path):
    def make(rows):
        (tmp_path / "site.toml").write_text(
            SITE.replace('use = "green"', 'use = "green"\nsize = "3 acre"')
        )
        (tmp_path / "shelf.toml").write_text(SHELF)
        with (tmp_path / "applications.csv").open("w", newline="") as file:
            writer = csv.DictWriter(file, APPLICATION_COLUMNS)
            writer.writeheader()
            writer.writerows(rows)
        known = record_context(read_site(tmp_path / "site.toml"), load_library(), date(2026, 12, 1))
        day = date(2026, 12, 1)
        whole = log_of(known, (), day, ["Greens", "Lawns"])
        done = whole.entries
        return log_of(known, past_label(known.site, known.shelf, done), day, ["Greens", "Lawns"])

    return make


def rows(count=None, **changes):
    return [{**ROW, "date": str(day), **changes} for day in DAYS[:count]]


def test_the_table_has_a_row_for_each_and_all_that_is_told(log):
    made = log([*rows(2), {"date": "2026-06-01", "area": "Lawns", "product": "Shelf A"},
                {"date": "2025-06-01", "area": "Lawns", "codes": "3"}])  # fmt: skip
    text = write_log(made, Path("a.csv")).decode("utf-8-sig")
    first, _, last = csv.DictReader(io.StringIO(text))
    assert tuple(first) == LOG_COLUMNS
    for name, value in ROW.items():
        if name not in ("water", "unit", "for"):
            assert first[name] == value, name
    assert (first["for"], first["water"]) == ("take-all patch + brown patch", "0.25 in")
    assert first["not_on_record"] == first["past_label"] == ""
    # Restricted, on a turf its label does not name: what the federal list asks for is missing.
    assert last["not_on_record"] == "registration, amount, treated, applicator, licence"
    assert last["past_label"].startswith("Shelf A on Lawns, Jun 1: on a lawn, where")


def sheets_of(browser, html, tmp_path, paper):
    """How many sheets of paper a page of HTML prints on, by chromium."""
    file = tmp_path / "log.html"
    file.write_bytes(html)
    page = browser.new_page()
    page.goto(file.as_uri())
    printed = page.pdf(format=paper, landscape=True, prefer_css_page_size=False)
    page.close()
    return len(re.findall(rb"/Type\s*/Page[^s]", printed))


@pytest.mark.browser
@pytest.mark.parametrize("paper", ["A4", "Letter"])
@pytest.mark.parametrize(("count", "sheets"), [(1, 1), (10, 1), (11, 2)])
def test_ten_applications_print_on_one_page(browser, log, tmp_path, paper, count, sheets):
    made = log(rows(count))
    assert len(made.entries) == count
    assert sheets_of(browser, write_log(made, Path("a.html")), tmp_path, paper) == sheets


def test_the_page_is_whole_in_itself_and_escapes_what_is_written(log):
    html = write_log(log(rows(11, note='<script>alert(1)</script> & "more"')), Path("a.html"))
    text = html.decode()
    assert "<script" not in text
    assert "&lt;script&gt;" in text
    assert "default-src &#39;none&#39;" in text
    assert text.count("<section>") == text.count("Certified applicator, licence no., date") == 2
    assert "page 2 of 2" in text
    assert NASTY not in text
    assert "No application is on record." in write_log(log([]), Path("a.html")).decode()


def test_every_figure_of_a_label_has_its_word():
    assert set(FIGURES) == set(Figure)


NAMED = {"type": "object", "required": ["id", "name"], "properties": {
    "id": {"type": "object", "required": ["referenceId"]}, "name": {"type": "string"}}}  # fmt: skip
OPERATION = {
    "required": ["id", "name", "operationTypeCode"],
    "properties": {
        "operationTypeCode": {"enum": ["APPLICATION_CROP_PROTECTION", "APPLICATION_IRRIGATION"]},
        "variables": {"items": {**NAMED, "required": ["id", "name", "definitionCode"]}},
        "summaryValues": {
            "items": {
                "required": ["variableId", "valueText"],
                "properties": {"valueText": {"type": "string"}},
            }
        },
        "timeScopes": {
            "items": {
                "required": ["dateContextCode"],
                "properties": {"start": {"type": "string", "format": "date-time"}},
            }
        },
        "partyRoles": {"items": {"required": ["roleCode", "partyId"]}},
    },
}
DATASET = {
    "type": "object",
    "required": ["catalog", "rootSchemaVersion"],
    "properties": {
        "catalog": {
            "properties": {
                "growers": {"items": NAMED},
                "farms": {"items": NAMED},
                "fields": {"items": NAMED},
                "parties": {"items": {**NAMED, "required": ["id", "name", "partyTypeCode"]}},
                "products": {
                    "items": {
                        **NAMED,
                        "required": ["id", "name", "productTypeCode", "productFormCode"],
                    }
                },
            }
        },
        "documents": {
            "properties": {
                "workRecords": {
                    "items": {
                        "required": ["id", "name", "fieldId", "operations"],
                        "properties": {"operations": {"minItems": 1, "items": OPERATION}},
                    }
                }
            }
        },
    },
}


def adapt(log, given):
    return json.loads(write_log(log(given), Path("a.json")))


GIVEN = pytest.mark.parametrize(
    "given", [rows(), rows(1), [], [{"date": "2026-05-01", "area": "Lawns", "codes": "3"}]]
)


@GIVEN
def test_the_standard_has_it_as_operations_of_crop_protection(log, given):
    made = adapt(log, given)
    checker = jsonschema.FormatChecker()
    jsonschema.Draft202012Validator(DATASET, format_checker=checker).validate(made)
    records = made["documents"]["workRecords"]
    assert len(records) == len(given)
    # Everything that is pointed to is there, and no two things go by one name.
    text = json.dumps(made)
    named = re.findall(r'"referenceId": "([^"]+)"', text)
    assert len(named) == len(set(named))
    pointed = re.findall(
        r'"(?:fieldId|farmId|growerId|partyId|productId|variableId)": "([^"]+)"', text
    )
    pointed += [one for r in records for o in r["operations"] for one in o["productIds"]]
    assert set(pointed) <= set(named)


@pytest.mark.outside
@GIVEN
def test_the_published_schema_and_definitions_hold(log, given):
    if fetch.lacking(fetch.ADAPT):
        pytest.skip("the schema is not there: run python tests/outside/fetch.py --repositories")
    schema, definitions = (
        json.loads((fetch.folder() / "adapt" / source.archive).read_text())
        for source in fetch.ADAPT
    )
    made = adapt(log, given)
    checker = jsonschema.FormatChecker()
    jsonschema.Draft202012Validator(schema, format_checker=checker).validate(made)
    known = {one["definitionCode"]: one for one in definitions["dataTypeDefinitions"]}
    for operation in (o for r in made["documents"]["workRecords"] for o in r["operations"]):
        for one in operation.get("variables", []):
            assert "VARIABLE" in known[one["definitionCode"]]["scopes"]
        for one in operation.get("contextItems", []):
            assert "OPERATION" in known[one["definitionCode"]]["scopes"][0]
    for product in made["catalog"]["products"]:
        for one in product.get("contextItems", []):
            assert "PRODUCT" in known[one["definitionCode"]]["scopes"]


def test_measures_are_in_the_units_of_the_definitions(log):
    """3 acre are 1.21406 ha, 120 gal 454.249 L, 5 mph 2.2352 m/s, 68 degF 20 degC, 1/4 in 6.35 mm;
    half past five of standard time five hours behind is half past ten."""
    made = adapt(log, rows(1))
    (record,) = made["documents"]["workRecords"]
    spray, water = record["operations"]
    codes = {v["id"]["referenceId"]: v["definitionCode"] for v in spray["variables"]}
    values = [(codes[v["variableId"]], float(v["valueText"])) for v in spray["summaryValues"]]
    assert values == [
        ("AppliedTotalMass", 1.2), ("AppliedMassPerAreaActual", 1.0),
        ("AppliedTotalVolume", pytest.approx(454.249, abs=0.001)),
        ("WindSpeed", pytest.approx(2.2352)), ("AirTemperature", pytest.approx(20.0)),
    ]  # fmt: skip
    assert spray["contextItems"] == [{"definitionCode": "AppliedArea", "valueText": "1.21406"}]
    assert spray["timeScopes"] == [
        {
            "dateContextCode": "ACTUAL",
            "start": "2026-03-02T10:30:00Z",
            "end": "2026-03-02T11:20:00Z",
        }
    ]
    assert [v["valueText"] for v in water["summaryValues"]] == ["63500"]
    product = made["catalog"]["products"][0]
    assert product["contextItems"][0]["definitionCode"] == "US-EPA-RegistrationNumber"
    assert made["catalog"]["parties"][0]["name"] == ROW["applicator"]


@pytest.mark.parametrize(
    ("changes", "code", "value"),
    [
        ({"rate": "1,5 kg/ha"}, "AppliedMassPerAreaActual", 1.5),
        ({"rate": "3 KG/HA"}, "AppliedMassPerAreaActual", 3.0),
        ({"rate": "1 l/100 m²"}, None, None),  # no unit of a rate
        ({"amount": "1,2 KG"}, "AppliedTotalMass", 1.2),
        ({"amount": "1,200 mL"}, None, None),  # thousands, or a decimal comma
        ({"wind": "2,5 M/S"}, "WindSpeed", 2.5),
    ],
)
def test_a_measure_is_in_the_standard_in_every_writing_that_records_allow(
    log, changes, code, value
):
    (record,) = adapt(log, rows(1, **changes))["documents"]["workRecords"]
    spray = record["operations"][0]
    codes = {v["id"]["referenceId"]: v["definitionCode"] for v in spray["variables"]}
    values = {codes[v["variableId"]]: float(v["valueText"]) for v in spray["summaryValues"]}
    assert len(values) == (4 if code is None else 5)
    assert code is None or values[code] == pytest.approx(value)


@pytest.mark.parametrize(("start", "end"), [("05:30:00", "06:20:00"), ("5.30 am", "6h20")])
def test_a_time_of_day_is_in_the_standard_in_every_writing_that_records_allow(log, start, end):
    (record,) = adapt(log, rows(1, start=start, end=end))["documents"]["workRecords"]
    (scope,) = record["operations"][0]["timeScopes"]
    assert scope["start"] == "2026-03-02T10:30:00Z"
    assert scope["end"] == "2026-03-02T11:20:00Z"


def test_the_ending_says_how_it_is_written(tmp_path):
    result = CliRunner().invoke(main, ["plan", "--sample", "--log", str(tmp_path / "a.txt")])
    assert result.exit_code == 2
    assert "name a file that ends in .html to print, .csv for a table, or .json" in result.output
    assert list(tmp_path.iterdir()) == []
