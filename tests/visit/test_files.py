"""The visit's file: read whole, and what is wrong in it told in one line each."""

import re
from datetime import date

import pytest

from patchrisk.base.errors import InputError
from patchrisk.cli.visit import write_new_visit
from patchrisk.read.visit.file import (
    GroundSeen,
    RootsSeen,
    Strip,
    VisitFile,
    VisitPlace,
    read_visit,
)
from patchrisk.read.visit.laboratory import Laboratory
from patchrisk.site_day.visit import judge_day
from tests.visit.conftest import NOW

HEAD = 'area = "Greens"\ndate = 2026-02-03\n'
PLACE = '[[place]]\nname = "Bad"\n'


def write(folder, text, name="one.toml"):
    path = folder / name
    path.write_text(text, encoding="utf-8")
    return path


def test_a_file_with_a_place_alone_is_enough(tmp_path):
    data = read_visit(write(tmp_path, HEAD + PLACE))
    assert data.places[0].damage is None
    assert not data.places[0].roots_seen


def test_everything_is_read_in_one_unit(tmp_path):
    text = (
        HEAD + PLACE + "damage = 30\n"
        'roots = { length = "2 in", runner_hyphae = "few", tips = "bulbous" }\n'
        'ground = { drop_time = "2 min", infiltration = "6 in/h", thatch = "10 mm", '
        'organic_matter = { "0 to 2 cm" = 3.2 } }\n'
        'nematodes = { ring = "900 per 500 cm3", stubby_root = "60 per 100 cc" }\n'
        'soil = { pH = ["7.2, 1:1", "6.6, CaCl2"], calcium = "3.5 meq/100 g, Mehlich-3", '
        'B = "<0.5 ppm, Mehlich-3", K = "160 lb/acre furrow slice, M3" }\n'
    )
    place = read_visit(write(tmp_path, text)).places[0]
    assert place.length_cm == pytest.approx(5.08)
    assert place.signs == {"runner_hyphae": "few", "bulbous_tips": "many"}
    assert place.ground == {"drop_time": 120, "infiltration": pytest.approx(152.4), "thatch": 1}
    assert place.nematodes == {"ring": 180, "stubby-root": 60}
    values = {(v.analyte, v.method): (v.value, v.below) for v in place.soil}
    assert values[("pH", "1:1")] == (7.2, False)
    assert values[("pH", "CaCl2")] == (6.6, False)
    assert values[("calcium", "Mehlich-3")] == (pytest.approx(701.4), False)
    assert values[("boron", "Mehlich-3")] == (0.5, True)
    assert values[("potassium", "Mehlich-3")] == (80, False)
    assert values[("organic matter", "0 to 2 cm")] == (3.2, False)


@pytest.mark.parametrize(
    ("text", "said"),
    [
        (HEAD, "place: missing"),
        (HEAD + PLACE + "damage = 30\n" + '[[place]]\nname = "Good"\ndamage = 5\n', "no order"),
        (HEAD + PLACE + '[[place]]\nname = "bad"\n', "two places of one name"),
        (HEAD + "thinned = 2026-03-01\n" + PLACE, "after the visit"),
        (HEAD + PLACE + 'soil = { calcium = "900" }\n', "by which extractant"),
        (HEAD + PLACE + 'soil = { calcium = "900, Mehlich-3" }\n', "no unit"),
        (HEAD + PLACE + 'soil = { calcium = "900 ppm, Melich" }\n', "no extractant known"),
        (HEAD + PLACE + 'soil = { calcium = "1,200 ppm, M3" }\n', "could be 1200 or 1.200"),
        (HEAD + PLACE + 'soil = { boron = "ND" }\n', "without its limit"),
        (HEAD + PLACE + 'soil = { pH = "7.2" }\n', "mixture of soil and water"),
        (HEAD + PLACE + 'soil = { calcium = "0.09 ppm, M3" }\n', "soils have 10 to 20000"),
        (HEAD + PLACE + 'soil = { kryptonite = "1 ppm, M3" }\n', "no analyte"),
        (HEAD + PLACE + 'nematodes = { ring = "300" }\n', "300 per 100 cm3"),
        (HEAD + PLACE + 'roots = { length = "6" }\n', "5 cm"),
        (HEAD + PLACE + 'roots = { runner_hyphae = "yes" }\n', "'none', 'few' or 'many'"),
        (HEAD + PLACE + 'photos = ["gone.jpg"]\n', "gone.jpg is not there"),
        (HEAD + 'previous = "gone.toml"\n' + PLACE, "gone.toml is not there"),
        (HEAD + PLACE + "dammage = 3\n", "did you mean damage?"),
        (HEAD + '[laboratory]\nsure = ["gold"]\n' + PLACE, "no analyte 'gold'"),
    ],
)
def test_a_fault_is_told_in_one_line(tmp_path, text, said):
    with pytest.raises(InputError) as caught:
        read_visit(write(tmp_path, text))
    lines = [str(fault) for fault in caught.value.faults]
    assert any(said in line for line in lines), lines
    assert all("\n" not in line for line in lines)


def test_the_laboratorys_own_column_gives_way_to_what_the_user_writes(tmp_path):
    (tmp_path / "soil.csv").write_text("Sample,K ppm,Ca ppm\nBad,80,700\n", encoding="utf-8")
    text = (
        HEAD + '[laboratory]\nfile = "soil.csv"\nextractant = "Mehlich-3"\n' + PLACE
        + 'soil = { potassium = "75 ppm, Mehlich-3" }\n'
    )  # fmt: skip
    values = {v.analyte: v.value for v in read_visit(write(tmp_path, text)).places[0].soil}
    assert values == {"potassium": 75, "calcium": 700}


def test_a_figure_that_is_said_to_be_right_stands(tmp_path):
    text = HEAD + '[laboratory]\nsure = ["Ca"]\n' + PLACE + 'soil = { Ca = "0.09 ppm, M3" }\n'
    assert read_visit(write(tmp_path, text)).places[0].soil[0].value == 0.09


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ('area = "Nowhere"\ndate = 2026-02-03\n', "no area 'Nowhere'"),
        ('area = "Greens"\ndate = 2099-02-03\n', "in the future"),
        (
            'area = "Greens"\ndate = 2026-02-03\n[laboratory]\nfound = { "blight" = "DNA" }\n',
            "no disease 'blight'",
        ),
    ],
)
def test_what_the_site_does_not_know_is_told(course, text, said):
    with pytest.raises(InputError) as caught:
        judge_day(write(course, text + PLACE, "odd.toml"), NOW)
    assert any(said in str(fault) for fault in caught.value.faults)
    assert all(fault.source.endswith("odd.toml") for fault in caught.value.faults)


def test_every_key_stands_in_a_new_file_and_every_example_in_it_is_right(tmp_path):
    path = tmp_path / "visit.toml"
    day = date(2026, 5, 12)
    write_new_visit(path, site="site.toml", area="Greens", day=day, thinned=None)
    text = re.sub(r"^# (?=\w+ = |\[strip\])", "", path.read_text(encoding="utf-8"), flags=re.M)
    files = r"^(?:file|photos|previous|guidelines) = .*\n"
    text = re.sub(files, "", text, flags=re.M)
    read_visit(write(tmp_path, text))
    whole = path.read_text(encoding="utf-8")
    models = (VisitFile, Laboratory, Strip, VisitPlace, RootsSeen, GroundSeen)
    keys = {key for model in models for key in model.model_fields}
    assert [key for key in sorted(keys) if not re.search(rf"\b{key}\b", whole)] == []
