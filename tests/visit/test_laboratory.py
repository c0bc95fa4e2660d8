"""A laboratory's table: read in every direction, and asked about where it is in doubt."""

import pytest

from patchrisk.base.errors import InputError
from patchrisk.read.visit.guidelines import load_soil_tests
from patchrisk.read.visit.laboratory import Laboratory, parse_heading, read_laboratory

PLACES = ("Good", "Middling", "Bad")
M3 = Laboratory(extractant="Mehlich-3")


def read(tmp_path, text, options=M3, places=PLACES, name="soil.csv"):
    path = tmp_path / name
    path.write_text(text, encoding="utf-8")
    return read_laboratory(path, places, options, load_soil_tests())


def figures(table):
    return {
        place: {(v.analyte, v.method): (v.value, v.below) for v in values}
        for place, values in table.values.items()
    }


WIDE = "Sample,K ppm,Ca (mg/kg),ECe dS/m\nGood,80,700,1.1\nMiddling,82,720,1.4\nBad,84,760,1.9\n"
UPRIGHT = (
    "Test;Unit;Good;Middling;Bad\nPotassium;ppm;80;82;84\nCalcium;mg/kg;700;720;760\n"
    "ECe;dS/m;1.1;1.4;1.9\n"
)
LONG = "Sample ID,Analyte,Result,Units,Method\n" + "".join(
    f"{place},{what},{value},{unit},{method}\n"
    for place, *values in (
        ("Good", 80, 700, 1.1),
        ("Middling", 82, 720, 1.4),
        ("Bad", 84, 760, 1.9),
    )
    for (what, unit, method), value in zip(
        (
            ("K", "ppm", "M3"),
            ("Calcium", "mg/kg", "Mehlich III"),
            ("EC", "dS/m", "saturated paste"),
        ),
        values,
        strict=True,
    )
)
UNITS_BELOW = (
    "Some laboratory\n\nSample\tK\tCa\tECe\n\tppm\tmg/kg\tdS/m\n"
    "Good\t80\t700\t1.1\nMiddling\t82\t720\t1.4\nBad\t84\t760\t1.9\n"
)


@pytest.mark.parametrize("text", [WIDE, UPRIGHT, LONG, UNITS_BELOW])
def test_every_direction_says_the_same(tmp_path, text):
    found = figures(read(tmp_path, text))
    assert found["Bad"] == {
        ("potassium", "Mehlich-3"): (84, False),
        ("calcium", "Mehlich-3"): (760, False),
        ("conductivity", "paste"): (1.9, False),
    }
    assert found["Good"][("potassium", "Mehlich-3")] == (80, False)


def test_a_workbook_reads_the_same(tmp_path):
    openpyxl = pytest.importorskip("openpyxl")
    book = openpyxl.Workbook()
    for row in (["Sample", "K ppm", "ECe dS/m"], ["Good", 80, 1.1], ["Bad", 84, 1.9]):
        book.active.append(row)
    path = tmp_path / "soil.xlsx"
    book.save(path)
    table = read_laboratory(path, ("Good", "Bad"), M3, load_soil_tests())
    assert figures(table)["Bad"][("conductivity", "paste")] == (1.9, False)


@pytest.mark.parametrize(
    ("heading", "analyte", "unit", "method"),
    [
        ("M3-Ca (mg/kg)", "calcium", "mg/kg", "Mehlich-3"),
        ("Olsen P ppm", "phosphorus", "ppm", "Olsen"),
        ("Mehlich-3 Phosphorus (ppm)", "phosphorus", "ppm", "Mehlich-3"),
        ("pH 1:1", "pH", "", "1:1"),
        ("pH (CaCl2)", "pH", "", "CaCl2"),
        ("Soluble salts 1:2 mmhos/cm", "conductivity", "mmhos/cm", "1:2"),
        ("ECe", "conductivity", "", "paste"),
        ("Sat paste Na mg/L", "sodium", "mg/L", "paste"),
        ("OM %", "organic matter", "%", ""),
        ("NO3-N ppm", "nitrate", "ppm", ""),
        ("CEC meq/100g", "cation exchange", "meq/100g", ""),
        ("lbs/acre", None, "", ""),
        ("Date received", None, "", ""),
        ("%K Base Sat", None, "", ""),
    ],
)
def test_headings(heading, analyte, unit, method):
    found, its_unit, its_method = parse_heading(heading, load_soil_tests())
    assert (found.name if found else None) == analyte
    if analyte:
        assert (its_unit, its_method) == (unit, method)


@pytest.mark.parametrize(
    ("text", "options", "said"),
    [
        # no unit
        ("Sample,K,Ca\nGood,80,700\nBad,84,760\n", M3, "no unit"),
        # two units
        ("Sample,K ppm,Ca ppm\n,lb/acre,ppm\nGood,80,700\nBad,84,760\n", M3, "two units"),
        ("Sample,K ppm,Ca ppm\nGood,80,700\nBad,84 meq/100 g,760\n", M3, "under a heading"),
        # no extractant
        ("Sample,K ppm,Ca ppm\nGood,80,700\n", Laboratory(), "by which extractant"),
        ("Sample,pH,Ca ppm\nGood,7,700\n", M3, "mixture of soil and water"),
        # commas
        ("Sample;K ppm;Ca ppm\nGood;80;1,200\nBad;84;760\n", M3, "could be 1200 or 1.200"),
        # a place that is missing, or strange
        ("Sample,K ppm,Ca ppm\nGood,80,700\nEdge,84,760\n", M3, "no place 'Edge'"),
        ("Test,Unit,Good,Edge\nK,ppm,80,84\nCa,ppm,700,760\n", M3, "no place 'Edge'"),
        ("Sample,K ppm,Ca ppm\nGood,80,700\n,84,760\n", M3, "no place ''"),
        # a hundredfold off, and percent for ppm
        ("Sample,K ppm,Ca ppm\nGood,0.008,700\nBad,84,760\n", M3, "soils have 1 to 3000"),
        ("Sample,Na ppm,Ca ppm\nGood,60,700\nBad,0.6,760\n", M3, "percent for ppm"),
        ("Sample,K %,Ca ppm\nGood,4,700\nBad,4,760\n", M3, "of the soil, or of the exchange"),
        ("Sample,K lb/acre,Ca ppm\nGood,160,700\n", M3, "without its depth"),
        # one analyte twice, text for a number
        ("Sample,K ppm,Potassium ppm\nGood,80,82\n", M3, "twice for Good"),
        ("Sample,K ppm,Ca ppm\nGood,high,700\n", M3, "is no number"),
        ("nothing of soil,here\n1,2\n", M3, "no table of places"),
    ],
)
def test_what_is_in_doubt_is_asked_about_in_one_line(tmp_path, text, options, said):
    with pytest.raises(InputError) as caught:
        read(tmp_path, text, options, places=("Good", "Bad"))
    assert any(said in str(fault) for fault in caught.value.faults)
    assert all("\n" not in str(fault) for fault in caught.value.faults)


def test_less_than_is_kept_as_such_and_not_detected_is_told(tmp_path):
    text = "Sample,K ppm,B ppm,Cu ppm\nGood,80,<0.5,ND\nBad,84,0.6,1.1\n"
    table = read(tmp_path, text, places=("Good", "Bad"))
    assert figures(table)["Good"] == {
        ("potassium", "Mehlich-3"): (80, False),
        ("boron", "Mehlich-3"): (0.5, True),
    }
    assert any("copper: ND" in note for note in table.notes)


def test_a_decimal_comma_is_read(tmp_path):
    text = "Sample;K ppm;ECe dS/m\nGood;80,5;1,1\nBad;84;1,95\n"
    found = figures(read(tmp_path, text, places=("Good", "Bad")))
    assert found["Good"][("potassium", "Mehlich-3")] == (80.5, False)
    assert found["Bad"][("conductivity", "paste")] == (1.95, False)


def test_thousands_are_read_where_the_decimal_sign_is_told(tmp_path):
    text = 'Sample,K ppm,Ca ppm\nGood,80,"1,200"\nBad,84,760\n'
    options = Laboratory(extractant="Mehlich-3", decimal=".")
    found = figures(read(tmp_path, text, options, places=("Good", "Bad")))
    assert found["Good"][("calcium", "Mehlich-3")] == (1200, False)


def test_what_the_user_says_of_columns_and_samples_goes_first(tmp_path):
    text = "Lab no,Kali,Ca ppm\nS-1,80,700\nS-2,84,760\nS-3,1,1\n"
    options = Laboratory(
        extractant="Mehlich-3",
        columns={"Kali": "potassium, ppm, Olsen", "Ca ppm": "left out"},
        samples={"S-1": "Good", "S-2": "Bad", "S-3": "left out"},
    )
    found = figures(read(tmp_path, text, options, places=("Good", "Bad")))
    assert found["Bad"] == {("potassium", "Olsen"): (84, False)}


def test_a_figure_that_is_sure_stands(tmp_path):
    text = "Sample,Na ppm,Ca ppm\nGood,60,700\nBad,9000,760\n"
    options = Laboratory(extractant="Mehlich-3", sure=["sodium"])
    assert figures(read(tmp_path, text, options, places=("Good", "Bad")))["Bad"][
        ("sodium", "Mehlich-3")
    ] == (9000, False)
    with pytest.raises(InputError, match="sure"):
        read(tmp_path, text, M3, places=("Good", "Bad"))


def test_a_place_without_a_sample_is_told(tmp_path):
    table = read(tmp_path, WIDE.replace("Middling,82,720,1.4\n", ""))
    assert table.values["Middling"] == ()
    assert any("Middling: no sample" in note for note in table.notes)


def test_a_table_of_more_than_a_visit_is_refused(tmp_path):
    with pytest.raises(InputError, match="samples of this visit alone"):
        read(tmp_path, WIDE + "Bad,84,760,1.9\n" * 3000)
