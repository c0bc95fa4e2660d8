"""Record files: read with every fault by its line, and added to so that nothing is ever lost."""

import csv
import io
import math
import signal
import subprocess
import sys
import textwrap
import time
import unicodedata
from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace
from datetime import date
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from patchrisk.base.errors import InputError, UnavailableError
from patchrisk.read.diseases import load_library
from patchrisk.read.groups import load_groups
from patchrisk.read.records.applications import APPLICATION_COLUMNS
from patchrisk.read.records.books import (
    APPLICATIONS,
    NOTES,
    OBSERVATIONS,
    read_dates,
    read_site_records,
)
from patchrisk.read.records.file import add_row, locked, read_table
from patchrisk.read.records.rows import Note, record_context
from patchrisk.read.shelf import Rate, Shelf
from patchrisk.read.site import Site

TWO_KG = Rate(unit="kg/ha", value=2.0)
TODAY = date(2026, 5, 18)
HEAD = "date,area,product,codes,actives,for,water,unit,note\n"
SHELF = '[[product]]\nname = "Shelf A"\nactives = ["azoxystrobin"]\n'


@pytest.fixture(scope="module")
def library():
    return load_library()


@pytest.fixture
def known(tmp_path, library):
    (tmp_path / "shelf.toml").write_text(SHELF)
    site = Site.model_validate(
        {
            "site": {"latitude": 40.0, "longitude": -80.0},
            "area": [{"name": "Greens"}, {"name": "Fairways"}],
            "folder": tmp_path,
        }
    )
    return record_context(site, library, TODAY)


def read(known, rows, head=HEAD, encoding="utf-8"):
    path = known.site.folder / "applications.csv"
    path.write_bytes((head + rows).encode(encoding))
    return APPLICATIONS.read(known)


def said(kept):
    return [f"{fault.place}: {fault.found}: {fault.cure}" for fault in kept.faults]


def test_a_row_as_it_stands(known):
    kept = read(
        known,
        "2026-05-12,greens,shelf a,,,Summer patch + take-all patch,0.25,in,after rain\n",
    )
    assert kept.faults == ()
    (row,) = kept.rows
    assert row.day == np.datetime64("2026-05-12")
    assert (row.area, row.product) == ("Greens", "Shelf A")
    assert row.codes == {"11"}
    assert row.actives == ("azoxystrobin",)
    assert row.targets == ("summer-patch", "take-all-patch")
    assert row.water_mm == pytest.approx(6.35, abs=0.005)  # 1 in = 25.4 mm by definition


def test_the_label_on_the_shelf_says_how_long_it_lasts(known):
    label = Shelf((known.shelf.products[0].model_copy(update={"longest_interval_days": 14}),))
    rows = "2026-05-04,Greens,shelf a,,,,,,\n2026-05-05,Greens,,3,,,,,\n"
    kept = read(replace(known, shelf=label), rows)
    assert [one.longest_days for one in kept.rows] == [14, None]


@pytest.mark.parametrize(
    ("product", "rate", "part"),
    [
        ("Shelf A", "1 kg/ha", 0.5),
        ("Shelf A", "200 g/100 m²", 10.0),  # 20 kg/ha
        ("Shelf A", "2,0 KG/HA", 1.0),
        ("Shelf A", "", math.nan),
        ("Shelf A", "1 L/ha", math.nan),  # by volume: that needs the density
        ("sold out", "1 kg/ha", math.nan),
    ],
)
def test_a_rate_is_told_as_a_part_of_the_one_on_the_shelf(known, product, rate, part):
    shelf = Shelf((known.shelf.products[0].model_copy(update={"rate": TWO_KG}),))
    head = HEAD.replace("note", "rate,note")
    row = f'2026-05-04,Greens,{product},11,,,,,"{rate}",\n'
    kept = read(replace(known, shelf=shelf), row, head=head)
    assert kept.faults == ()
    assert kept.rows[0].part == pytest.approx(part, nan_ok=True)


def test_times_of_day_as_a_spreadsheet_saves_them(known):
    """And as people write them: four in the afternoon of one end to six is two hours."""
    head = HEAD.replace("note", "watered,start,end,re_entry")
    kept = read(known, "2026-05-04,Greens,,11,,,,,06:40:00,3 pm,16:00:00,6 pm\n", head=head)
    assert kept.faults == ()
    assert kept.rows[0].kept_off_h == 2.0


@pytest.mark.parametrize("rate", ["1", "much", "1 mm", "0 kg/ha", "-1 kg/ha", "1e9 kg/ha"])
def test_a_rate_that_is_none_is_named_and_the_record_holds(known, rate):
    head = HEAD.replace("note", "rate,note")
    kept = read(known, f"2026-05-04,Greens,,11,,,,,{rate},\n", head=head)
    assert said(kept)[0].startswith(f"line 2, rate: {rate!r}: write number and unit")
    assert len(kept.rows) == 1


def test_a_rate_needs_its_column_in_an_old_file(known):
    (known.site.folder / "applications.csv").write_text(HEAD)
    given = {"date": "2026-05-12", "area": "greens", "codes": "11", "rate": "1 kg/ha"}
    with pytest.raises(InputError, match="no column rate"):
        APPLICATIONS.append(known, given)


def test_two_seasons_in_a_file_come_in_order_of_day(known):
    kept = read(
        known,
        "2026-04-12,Greens,,3,,,,,\n2025-09-30,Fairways,,7,,,,,\n2026-03-01,Greens,,4,,,,,\n",
    )
    assert [str(row.day) for row in kept.rows] == ["2025-09-30", "2026-03-01", "2026-04-12"]


@pytest.mark.parametrize(
    ("water", "unit", "mm"),
    [
        ("6", "mm", 6.0),
        ("6 mm", "", 6.0),
        ("0.25 in", "", 6.35),
        ("0,25", "inches", 6.35),
        ("6", "", 6.0),  # the unit of a metric site
        ("0.6", "cm", 6.0),
        ("0", "mm", 0.0),
    ],
)
def test_water_in_its_writings(known, water, unit, mm):
    kept = read(known, f'2026-05-12,Greens,,3,,,"{water}",{unit},\n')
    assert kept.faults == ()
    assert kept.rows[0].water_mm == pytest.approx(mm)


# A row with the fault, what is said of it, and whether the row counts all the same.
FAULTY = [
    ("2026-05-12,Tees,,3,,,,,", "area: no area 'Tees': write one of Greens, Fairways", False),
    ("2026-05-12,,,3,,,,,", "area: no area: write one of Greens, Fairways", False),
    ("2026-05-12,Greens,,99,,,,,", "codes: no FRAC code '99' in the list: write one of 1, 2", True),
    ("2026-05-12,Greens,,3 + 99,,,,,", "codes: no FRAC code '99'", True),
    ("2026-05-19,Greens,,3,,,,,", "date: 2026-05-19 is in the future: write 2026-05-18", False),
    ("12.13.2026,Greens,,3,,,,,", "date: '12.13.2026' is no date: write year, month", False),
    ("2026-02-30,Greens,,3,,,,,", "date: '2026-02-30' is no date", False),
    ("0206-05-12,Greens,,3,,,,,", "date: '0206-05-12' is no date", False),
    (",Greens,,3,,,,,", "date: no date", False),
    ("05/04/2026,Greens,,3,,,,,", "day or month first can't be told", False),
    ("2026-05-12,Greens,Old can,,,,,,", "'Old can' has no FRAC code here and is not on", True),
    ("2026-05-12,Greens,,,,,,,only a note", "product: nothing applied is named", False),
    ("2026-05-12,Greens,,,azoxistrobin,,,,", "actives: the group list has no 'azoxistrobin'", True),
    ("2026-05-12,Greens,,3,,sumer patch,,,", "for: no disease 'sumer patch'", True),
    ("2026-05-12,Greens,,3,,,lots,,", "water: 'lots': write a depth with its unit", True),
    ("2026-05-12,Greens,,3,,,6,cups,", "water: '6 cups': write a depth", True),
    ("2026-05-12,Greens,,3,,,600,mm,", "water: 600 mm is more than a watering in", True),
    ("2026-05-12,Greens,,3,,,,,a,b", "10 cells under 9 headings: put text with commas", False),
    ("2026-05-12,Greens,,3,,,,6,5,", "10 cells under 9 headings", False),  # a decimal comma
    ("2026-05-12,Greens,,3,,,,,,", None, True),
    ('2026-05-12,Greens,,3,,,,,a "b" c"', None, True),  # quotes inside a word are text
    ('2026-05-12,Greens,,3,,,,,"a" b', "quotes that don't match", False),
    ('2026-05-12,Greens,,3,,,,,"a', "quotes that don't match", False),  # open to the end
]


@pytest.mark.parametrize(("row", "message", "counts"), FAULTY)
def test_one_line_for_a_fault_and_the_other_rows_hold(known, row, message, counts):
    before, after = "2026-05-01,Greens,,11,,,,,", "2026-05-02,Fairways,,7,,,,,"
    kept = read(known, "\n".join([before, row, after, ""]))
    if message is None:
        assert said(kept) == []
    else:
        (only,) = said(kept)
        assert only.startswith("line 3")
        assert message in only
    days = [str(r.day) for r in kept.rows]
    assert {"2026-05-01", "2026-05-02"} <= set(days)
    assert len(days) == 2 + counts


def test_a_code_that_is_known_counts_beside_one_that_is_not(known):
    assert read(known, "2026-05-12,Greens,,3 + 99,,,,,\n").rows[0].codes == {"3"}


def test_the_same_application_twice_counts_once(known):
    row = "2026-05-12,Greens,Shelf A,,,,,,\n"
    other = "2026-05-12,Fairways,Shelf A,,,,,,\n"
    again = "2026-05-12,greens,SHELF A,11,azoxystrobin,summer patch,6,mm,again\n"
    kept = read(known, row + other + again)
    assert said(kept) == ["line 4: the same as line 2: take one of the two out"]
    assert [r.area for r in kept.rows] == ["Greens", "Fairways"]


def test_all_faults_in_one_go_with_file_and_line(known):
    kept = read(known, "2026-05-12,Tees,,99,,,,,\n2027-01-01,Greens,,3,,,x,,\n")
    assert [fault.place for fault in kept.faults] == [
        "line 2, area",
        "line 2, codes",
        "line 3, date",
        "line 3, water",
    ]
    assert {Path(fault.source).name for fault in kept.faults} == {"applications.csv"}


def test_no_file_and_an_empty_one_are_no_records(known):
    assert APPLICATIONS.read(known).rows == ()
    assert read(known, "", head="").rows == ()
    assert read(known, "", head=" \n,,,\n").rows == ()
    assert read(known, "").rows == ()


@pytest.mark.parametrize("end", ["\n", "\r\n", "\r"])
@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "cp1252"])
@pytest.mark.parametrize("delimiter", [",", ";", "\t"])
def test_as_a_spreadsheet_saves_it(known, delimiter, encoding, end):
    """RFC 4180 commas, and what sheets write where the comma is the decimal mark."""
    out = io.StringIO()
    writer = csv.writer(out, delimiter=delimiter, lineterminator=end)
    writer.writerow(["Date", "Area", "Codes", "Water", "Unit", "Operator", "Note"])
    writer.writerow(["2026-05-12", "Greens", "3", "6,5", "mm", "Zoë", "trübe"])
    kept = read(known, out.getvalue(), head="", encoding=encoding)
    assert kept.faults == ()
    assert kept.rows[0].water_mm == pytest.approx(6.5)


def test_dates_that_a_spreadsheet_turned_are_read_by_the_one_order_that_fits_all(known):
    month_first = read(known, "5/3/2026,Greens,,3,,,,,\n4/28/2026,Greens,,11,,,,,\n")
    assert [str(r.day) for r in month_first.rows] == ["2026-04-28", "2026-05-03"]
    day_first = read(known, "3/5/2026,Greens,,3,,,,,\n28/4/2026,Greens,,11,,,,,\n")
    assert [str(r.day) for r in day_first.rows] == ["2026-04-28", "2026-05-03"]
    # and with ISO dates that `record` added since
    mixed = read(known, "28/4/2026,Greens,,3,,,,,\n2026-05-03,Greens,,11,,,,,\n")
    assert [str(r.day) for r in mixed.rows] == ["2026-04-28", "2026-05-03"]
    assert read(known, "03.05.2026,Greens,,3,,,,,\n").rows[0].day == np.datetime64("2026-05-03")


def test_two_orders_in_one_file_are_not_guessed():
    assert all(isinstance(day, str) for day in read_dates(["28/4/2026", "4/28/2026"]))


@pytest.mark.parametrize(
    ("head", "message"),
    [
        ("2026-05-12,Greens,,3,,,,,\n", "no column 'date': make the first line date,area"),
        ("date,area,produkt,codes\n", "unknown column 'produkt': did you mean product?"),
        ("date,area,codes,codes\n", "two columns 'codes': take one out"),
    ],
)
def test_columns_that_cant_be_told_stop_it(known, head, message):
    with pytest.raises(InputError, match=message):
        read(known, "2026-05-12,Greens,3,11\n", head=head)


@pytest.mark.parametrize("raw", [b"PK\x03\x04zip", HEAD.encode("utf-16")])
def test_a_workbook_or_utf_16_under_the_name_is_refused(known, raw):
    (known.site.folder / "applications.csv").write_bytes(raw)
    with pytest.raises(InputError) as caught:
        APPLICATIONS.read(known)
    assert "CSV" in caught.value.faults[0].cure


def test_a_torn_last_line_is_named_and_the_next_record_does_not_join_it(known):
    kept = read(known, "2026-05-01,Greens,,11,,,,,\n2026-05-02,Fairw")
    assert said(kept) == [
        "line 3: 2 of 9 cells: the last line is torn: finish it, or take it out and record it again"
    ]
    assert len(kept.rows) == 1
    path = known.site.folder / "applications.csv"
    raw = path.read_bytes()
    _, before = APPLICATIONS.append(known, {"date": "2026-05-12", "area": "Greens", "codes": "3"})
    assert len(before.faults) == 1
    assert path.read_bytes() == raw + b"\n2026-05-12,Greens,,3,,,,,\n"
    assert [str(r.day) for r in APPLICATIONS.read(known).rows] == ["2026-05-01", "2026-05-12"]


def test_a_last_line_without_its_end_is_whole_when_its_cells_are(known):
    assert read(known, "2026-05-01,Greens,,11,,,,,").faults == ()


def test_a_new_file_has_its_columns_and_opens_in_a_spreadsheet(known):
    done, before = APPLICATIONS.append(
        known,
        {
            "date": "2026-05-12",
            "area": "greens",
            "product": "shelf a",
            "for": "summer patch",
            "water": "6",
        },
    )
    assert before.rows == ()
    raw = (known.site.folder / "applications.csv").read_bytes()
    assert raw == b"\xef\xbb\xbf" + ",".join(APPLICATION_COLUMNS).encode() + (
        b"\n2026-05-12,Greens,Shelf A,11,azoxystrobin,summer-patch,6,mm,,,,,,,,,,,,,,,\n"
    )
    assert APPLICATIONS.read(known).rows == (done,)


def test_a_record_stands_when_the_shelf_has_changed(known):
    APPLICATIONS.append(known, {"date": "2026-05-12", "area": "Greens", "product": "Shelf A"})
    (row,) = APPLICATIONS.read(known.__class__(**{**vars(known), "shelf": Shelf()})).rows
    assert row.codes == {"11"}


def test_codes_are_written_so_that_no_sheet_takes_them_for_a_number_or_a_date(known):
    APPLICATIONS.append(known, {"date": "2026-05-12", "area": "Greens", "codes": "11, 3"})
    assert b",3 + 11," in (known.site.folder / "applications.csv").read_bytes()


def test_an_old_file_keeps_its_bytes_columns_delimiter_and_line_ends(known):
    path = known.site.folder / "applications.csv"
    old = "Note;Area;Date;Operator;Codes;Water\r\nschön;Greens;2026-05-01;Zoë;3;6,5 mm\r\n"
    path.write_bytes(old.encode("cp1252"))
    APPLICATIONS.append(
        known,
        {"date": "2026-05-12", "area": "Greens", "codes": "11", "note": "a; b"},
    )
    new = path.read_bytes()
    assert new.startswith(old.encode("cp1252"))
    assert new[len(old) :] == b'"a; b";Greens;2026-05-12;;11;\r\n'
    assert len(APPLICATIONS.read(known).rows) == 2


def test_a_file_without_a_column_that_is_needed_is_not_added_to(known):
    path = known.site.folder / "applications.csv"
    path.write_text("date,area,codes\n")
    with pytest.raises(InputError, match="no column note"):
        APPLICATIONS.append(
            known, {"date": "2026-05-12", "area": "Greens", "codes": "3", "note": "x"}
        )
    assert path.read_text() == "date,area,codes\n"


def test_a_letter_the_encoding_lacks_is_refused_before_anything_is_written(known):
    path = known.site.folder / "applications.csv"
    path.write_bytes((HEAD + "2026-05-01,Greens,,3,,,,,Zoë\n").encode("cp1252"))
    raw = path.read_bytes()
    with pytest.raises(InputError, match="can't be written in cp1252"):
        APPLICATIONS.append(
            known, {"date": "2026-05-12", "area": "Greens", "codes": "3", "note": "Ω"}
        )
    assert path.read_bytes() == raw


# OWASP, CSV Injection: cells that begin with these are taken for formulas.
@pytest.mark.parametrize("note", ["=1+1", "+1", "-1", "@SUM(A1)", "'=1", "''@x", "'tis", "a=1"])
def test_no_cell_is_a_formula_and_every_text_comes_back(known, note):
    cells = {"date": "2026-05-12", "area": "Greens", "disease": "summer patch", "seen": "yes"}
    OBSERVATIONS.append(known, {**cells, "note": note})
    raw = (known.site.folder / "observations.csv").read_text(encoding="utf-8-sig")
    for row in csv.reader(io.StringIO(raw)):
        assert not any(cell.startswith(("=", "+", "-", "@", "\t", "\r")) for cell in row)
    assert OBSERVATIONS.read(known).rows[0].note == note


@given(note=st.text(max_size=40))
@settings(max_examples=30, suppress_health_check=[HealthCheck.function_scoped_fixture])
def test_any_note_comes_back_on_one_line_or_is_refused(known, note):
    path = known.site.folder / "observations.csv"
    path.unlink(missing_ok=True)
    cells = {"date": "2026-05-12", "area": "Greens", "disease": "summer patch", "seen": "no"}
    controls = any(unicodedata.category(c) in ("Cc", "Zl", "Zp") for c in "".join(note.split()))
    if controls:
        with pytest.raises(InputError, match="control character"):
            OBSERVATIONS.append(known, {**cells, "note": note})
        assert not path.exists()
        return
    OBSERVATIONS.append(known, {**cells, "note": note})
    kept = OBSERVATIONS.read(known)
    assert kept.faults == ()
    assert kept.rows[0].note == " ".join(note.split())
    assert len(path.read_bytes().splitlines()) == 2


OBSERVED = [
    ("2026-05-12,Greens,summer patch,yes,5%,", True, 5.0, None),
    ("2026-05-12,Greens,summer patch,,5,", True, 5.0, None),
    ("2026-05-12,Greens,summer patch,No,,", False, math.nan, None),
    ('2026-05-12,Greens,summer patch,Y,"2,5 %",', True, 2.5, None),
    ("2026-05-12,Greens,summer patch,no,0,", False, 0.0, None),
    ("2026-05-12,Greens,rust,yes,,", None, 0, "disease: no disease 'rust'"),
    ("2026-05-12,Greens,,yes,,", None, 0, "disease: no disease: write one of"),
    ("2026-05-12,Greens,summer patch,,,", None, 0, "seen: neither seen nor not seen"),
    ("2026-05-12,Greens,summer patch,maybe,,", None, 0, "seen: 'maybe': write yes or no"),
    ("2026-05-12,Greens,summer patch,no,5%,", None, 0, "seen: not seen, on 5%"),
    ("2026-05-12,Greens,summer patch,yes,105%,", None, 0, "share: '105%'"),
    ("2026-05-12,Greens,summer patch,yes,some,", None, 0, "share: 'some'"),
    ("2026-06-12,Greens,summer patch,yes,,", None, 0, "date: 2026-06-12 is in the future"),
]


@pytest.mark.parametrize(("row", "seen", "share", "message"), OBSERVED)
def test_observations(known, row, seen, share, message):
    path = known.site.folder / "observations.csv"
    path.write_text(f"date,area,disease,seen,share,note\n{row}\n")
    kept = OBSERVATIONS.read(known)
    if message is not None:
        assert kept.rows == ()
        assert message in said(kept)[0]
        return
    assert kept.faults == ()
    assert (kept.rows[0].seen, kept.rows[0].disease) == (seen, "summer-patch")
    assert kept.rows[0].share == pytest.approx(share, nan_ok=True)


WRITER = textwrap.dedent("""
    import os, signal, sys
    from pathlib import Path
    from patchrisk.read.records.file import add_row

    moment, path = sys.argv[1], Path(sys.argv[2])
    die = lambda: os.kill(os.getpid(), signal.SIGKILL)
    if moment == "half written":
        real = os.fdopen
        def fdopen(*args):
            file = real(*args)
            class Half:
                def __enter__(self): return self
                def __exit__(self, *args): return False
                def write(self, data): file.write(data[:len(data) // 2]); file.flush(); die()
            return Half()
        os.fdopen = fdopen
    elif moment == "not yet on disk":
        os.fsync = lambda handle: die()
    elif moment == "before it takes the place":
        Path.replace = lambda self, other: die()
    elif moment == "just after":
        whole = Path.replace
        Path.replace = lambda self, other: (whole(self, other), die())
    add_row(path, ("date", "note"), {"date": "2026-05-12", "note": "x" * 5000})
""")


@pytest.mark.parametrize(
    ("moment", "added"),
    [
        ("half written", False),
        ("not yet on disk", False),
        ("before it takes the place", False),
        ("just after", True),
    ],
)
def test_killed_at_any_step_the_file_is_whole(tmp_path, moment, added):
    path = tmp_path / "applications.csv"
    old = b"date,note\n2026-05-01,first\n"
    path.write_bytes(old)
    done = subprocess.run([sys.executable, "-c", WRITER, moment, path], check=False)
    assert done.returncode == -signal.SIGKILL
    new = old + (b"2026-05-12," + b"x" * 5000 + b"\n" if added else b"")
    assert path.read_bytes() == new
    # the lock went with the process, and what was left behind is cleared away
    add_row(path, ("date", "note"), {"date": "2026-05-13", "note": "next"})
    assert path.read_bytes() == new + b"2026-05-13,next\n"
    assert {p.name for p in tmp_path.iterdir()} == {path.name, f".{path.name}.lock"}


def test_killed_at_any_time_every_line_is_whole(tmp_path):
    path = tmp_path / "applications.csv"
    loop = (
        "import sys\nfrom pathlib import Path\nfrom patchrisk.read.records.file import add_row\n"
        "for n in range(100000):\n"
        "    add_row(Path(sys.argv[1]), ('date', 'note'), {'date': str(n), 'note': 'x' * 200})\n"
    )
    seen = b""
    for wait_s in (0.02, 0.05, 0.11):
        child = subprocess.Popen([sys.executable, "-c", loop, path])
        started = path.stat().st_size if path.exists() else 0
        while not path.exists() or path.stat().st_size == started:
            time.sleep(0.005)
            assert child.poll() is None
        time.sleep(wait_s)
        child.kill()
        child.wait()
        raw = path.read_bytes()
        assert raw.startswith(seen)
        assert raw.endswith(b"x" * 200 + b"\n")
        assert read_table(path, ("date", "note")).faults == ()
        seen = raw


def test_several_at_once_lose_nothing(tmp_path):
    path = tmp_path / "applications.csv"
    with ThreadPoolExecutor(6) as pool:
        jobs = [
            pool.submit(add_row, path, ("date", "note"), {"date": "d", "note": str(n)})
            for n in range(24)
        ]
        for job in jobs:
            job.result()
    notes = sorted(int(row.cells["note"]) for row in read_table(path, ("date", "note")).rows)
    assert notes == list(range(24))


def test_a_lock_that_another_holds_is_said_so(tmp_path, monkeypatch):
    path = tmp_path / "applications.csv"
    monkeypatch.setattr("patchrisk.read.records.file.LOCK_WAIT_S", 0.05)
    with (
        locked(path),
        ThreadPoolExecutor(1) as pool,
        pytest.raises(UnavailableError, match="another"),
    ):
        pool.submit(add_row, path, ("date",), {"date": "d"}).result()
    assert not path.exists()


def test_through_a_link_the_link_stays(tmp_path):
    real, link = tmp_path / "real.csv", tmp_path / "link.csv"
    real.write_text("date,note\n")
    link.symlink_to(real)
    add_row(link, ("date", "note"), {"date": "2026-05-12", "note": "x"})
    assert link.is_symlink()
    assert real.read_text() == "date,note\n2026-05-12,x\n"


def test_records_are_columns_that_pandas_reads_too(known):
    """Read back by another reader of CSV than ours."""
    APPLICATIONS.append(
        known, {"date": "2026-05-12", "area": "Greens", "codes": "3", "note": "é, x"}
    )
    frame = pd.read_csv(known.site.folder / "applications.csv")
    assert tuple(frame.columns) == APPLICATION_COLUMNS
    assert frame.loc[0, "note"] == "é, x"
    assert load_groups().find(frame.loc[0, "codes"]).code == "3"


def test_two_lone_quotes_swallow_no_rows(known):
    rows = [f"2026-05-{day:02d},Greens,,3,,,,,n{day}" for day in range(1, 13)]
    rows[2] += '"'  # a quote inside a word is text
    rows[4] = rows[4].replace("n5", '"n5')
    rows[8] += '"'
    kept = read(known, "\n".join(rows) + "\n")
    assert [str(row.day)[-2:] for row in kept.rows] == [f"{n:02d}" for n in range(1, 13) if n != 5]
    (one,) = said(kept)
    assert "line 6: quotes that don't match" in one


def test_a_note_over_several_lines_is_a_note(known):
    kept = read(known, '2026-05-12,Greens,,3,,,,,"dry\nwindy, and 2026-05-13 too"\n')
    assert len(kept.rows) == 1
    assert kept.faults == ()


@pytest.mark.parametrize(
    ("row", "says"),
    [
        ("2026-05-12,Greens,,3,,,,," + "x" * 100_001, "line 2: more than 100,000 characters"),
        ("2026-05-12,Greens,,3,,,,," + "x," * 300_000, "line 2: more than 100,000 characters"),
        ("2026-05-12,Greens,,3,,,,," + "," * 90_000, "line 2: 90,009 columns"),
    ],
)
def test_a_row_out_of_all_measure_is_one_line(known, row, says):
    began = time.process_time()
    with pytest.raises(InputError, match=says) as error:
        read(known, row)
    assert len(error.value.faults) == 1
    assert time.process_time() - began < 5


def test_a_quote_left_open_over_thousands_of_lines_is_one_line(known):
    kept = read(known, '2026-05-12,Greens,,3,,,,,"' + "x\n" * 70_000)
    assert "line 2: quotes that don't match" in said(kept)[0]


def test_many_lone_quotes_take_no_time(known):
    began = time.process_time()
    kept = read(known, '2026-05-12,Greens,,3,,,,,"a"b\n' * 20_000)
    assert len(kept.faults) == 20_000
    assert time.process_time() - began < 10


def test_notes_of_a_us_site_have_their_month_first(known):
    """As spreadsheets there save them again; elsewhere that can't be told, and is said."""
    path = known.site.folder / "notes.csv"
    path.write_text("date,area,note\n5/12/2026,greens,aerified\n5/11/2026,Greens,syringed\n")
    place = known.site.site.model_copy(update={"country": "US"})
    us = replace(known, site=known.site.model_copy(update={"site": place}))
    kept = NOTES.read(us)
    assert kept.faults == ()
    assert kept.rows == (
        Note(np.datetime64("2026-05-11"), "Greens", "syringed"),
        Note(np.datetime64("2026-05-12"), "Greens", "aerified"),
    )
    assert [text.partition(":")[0] for text in said(NOTES.read(known))] == [
        "line 2, date", "line 3, date"
    ]  # fmt: skip
    assert read_site_records(known).faults == NOTES.read(known).faults
    with pytest.raises(InputError, match="the same was recorded before"):
        NOTES.append(us, {"date": "2026-05-12", "area": "greens", "note": "aerified"})
