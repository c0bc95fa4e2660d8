"""Mode-of-action groups, each figure beside where it was read; most of the list is from memory."""

import pytest

from patchrisk.base.errors import InputError
from patchrisk.read.diseases import load_library
from patchrisk.read.groups import load_groups, load_guidelines, read_groups, split_list

# code, resistance risk, an active of turf, and who says so. "table 2018" is the table led by
# Rutgers in Golf Course Management, Feb 2018, pp. 83-84, as read in the trade magazine.
ROWS = [
    ("1", "high", "thiophanate-methyl", "risk: table 2018"),
    ("2", "medium to high", "iprodione", "risk 'moderate-high': table 2018"),
    ("3", "medium", "propiconazole", "risk 'moderate': table 2018"),
    ("4", "high", "metalaxyl-M", "FRAC code list 2018, row A1"),
    ("7", "medium to high", "penthiopyrad", "FRAC list, from memory"),
    ("11", "high", "azoxystrobin", "UC IPM, properties and use of fungicides"),
    ("11A", "high", "metyltetraprole", "FRAC on QoI and 11A, 30 Sep 2020"),
    ("12", "low to medium", "fludioxonil", "risk 'low-moderate': table 2018"),
    ("14", "low to medium", "quintozene", "FRAC list, from memory"),
    ("19", "medium", "polyoxin D", "risk 'moderate': table 2018"),
    ("21", "not known", "cyazofamid", "FRAC list, from memory"),
    ("28", "low to medium", "propamocarb", "FRAC list, from memory"),
    ("29", "low", "fluazinam", "risk: table 2018"),
    ("43", "not known", "fluopicolide", "FRAC list, from memory"),
    ("49", "medium to high", "oxathiapiprolin", "FRAC list, from memory"),
    ("52", "medium to high", "ipflufenoquin", "FRAC list, from memory"),
    ("P01", "not known", "acibenzolar-S-methyl", "FRAC list, from memory"),
    ("P07", "low", "fosetyl-Al", "risk: table 2018"),
    ("M03", "low", "mancozeb", "FRAC list, from memory"),
    ("M05", "low", "chlorothalonil", "risk: table 2018"),
    ("U17", "not known", "picarbutrazox", "FRAC list, from memory"),
    ("BM02", "not known", "Bacillus subtilis", "FRAC list, from memory"),
    ("NC", "not known", "mineral oil", "FRAC list, from memory"),
]

# active, mobility, who says so
MOBILITY = [
    ("chlorothalonil", "contact", "table 2018"),
    ("fludioxonil", "contact", "table 2018"),
    ("fluazinam", "contact", "table 2018"),
    ("quintozene", "contact", "table 2018"),
    ("iprodione", "local", "table 2018"),
    ("polyoxin D", "local", "table 2018"),
    ("trifloxystrobin", "translaminar", "Vincelli and Munshaw 2013"),
    ("thiophanate-methyl", "acropetal", "table 2018"),
    ("fenarimol", "acropetal", "table 2018"),
    ("metconazole", "acropetal", "table 2018"),
    ("myclobutanil", "acropetal", "table 2018"),
    ("propiconazole", "acropetal", "table 2018"),
    ("tebuconazole", "acropetal", "table 2018"),
    ("triadimefon", "acropetal", "table 2018"),
    ("triticonazole", "acropetal", "table 2018"),
    ("azoxystrobin", "acropetal", "Pilling et al."),
    ("fosetyl-Al", "ambimobile", "NC State, trade article"),
    ("phosphite salts", "ambimobile", "NC State, trade article"),
]


@pytest.mark.parametrize(("code", "risk", "active", "source"), ROWS)
def test_every_group_as_its_source_has_it(code, risk, active, source):
    group = load_groups().find(code)
    assert (group.code, group.risk) == (code, risk), source
    assert load_groups().group_of(active) is group


def test_no_group_stands_outside_the_table_above():
    assert set(load_groups().codes) == {code for code, *_ in ROWS}


@pytest.mark.parametrize(("name", "mobility", "source"), MOBILITY)
def test_mobility_in_the_plant(name, mobility, source):
    active = load_groups().active(name)
    assert active.mobility == mobility
    short = "Rutgers-led table 2018" if source == "table 2018" else source
    assert active.mobility_source[0].short == short


def test_phosphonates_alone_move_down():
    """NC State, trade article on post-application irrigation: the only turf group to do so."""
    down = {g.code for g in load_groups().group for a in g.actives if a.mobility == "ambimobile"}
    assert down == {"P07"}


def test_what_is_from_memory_says_so():
    """Only the 2018 row of code 4, and FRAC's own notice on 11A, were read at FRAC."""
    groups = load_groups()
    assert {g.code for g in groups.group if g.seen == "seen"} == {"4", "11A"}
    assert {g.code: g.year for g in groups.group if g.year} == {"4": 2018, "11A": 2020}
    assert "from memory" in groups.warning
    assert "list of the year" in groups.warning


def test_the_rules_on_fractions_are_off_and_marked():
    """Seen nowhere: the owner wants them off unless the user turns them on."""
    off = {rule.key for rule in load_guidelines() if not rule.on}
    assert off == {"qoi-fraction", "sdhi-fraction"}
    for rule in load_guidelines():
        assert ("memory" in rule.mark) == (rule.key in off), rule.key
        for code in rule.codes:
            assert load_groups().find(code).code == code


def test_the_watched_groups():
    """CropLife Australia, turf strategy, 2 Jul 2019: 1, 2, 4, 7, 11 and 21."""
    rule = next(rule for rule in load_guidelines() if rule.key == "break-as-long-as-run")
    assert set(rule.codes) == {"1", "2", "4", "7", "11", "21"}


@pytest.mark.parametrize(
    ("written", "code"),
    [
        ("33", "P07"),
        ("M5", "M05"),
        ("U15", "49"),
        (3, "3"),
        ("03", "3"),
        ("3.0", "3"),
        ("FRAC 3", "3"),
        ("frac group 11", "11"),
        (" 11a ", "11A"),
        ("p7", "P07"),
    ],
)
def test_codes_in_other_writings(written, code):
    assert load_groups().find(written).code == code


@pytest.mark.parametrize("written", ["99", "", "C3", "11.3", "113", "0"])
def test_an_unknown_code_is_refused_with_those_known(written):
    with pytest.raises(InputError) as caught:
        load_groups().find(written)
    (fault,) = caught.value.faults
    assert repr(written) in fault.found
    assert "1, 2, 3, 4, 7, 11, 11A" in fault.cure


@pytest.mark.parametrize(
    "text", ["11 + 3", "11,3", "3; 11", "3/11", "FRAC 3 and FRAC 11", "11+3.0"]
)
def test_codes_that_stand_together(text):
    assert load_groups().sort_codes(split_list(text)) == ({"3", "11"}, ())


def test_every_unknown_code_of_a_list_is_named():
    known, faults = load_groups().sort_codes(split_list("3 + 98 + 99"))
    assert known == {"3"}
    assert len(faults) == 2


def test_codes_of_actives():
    groups = load_groups()
    assert groups.codes_of(["Azoxystrobin", "mefenoxam", "PCNB"]) == {"11", "4", "14"}
    assert groups.codes_of(["a new one"]) == frozenset()
    assert groups.near("azoxistrobin") == "azoxystrobin"


# Evidence classes of the disease files, from the trials each file cites. A group of the table that
# a disease file leaves out, or has under another code, would be lost to the schedule.
GROUPS_JUDGED = {"1", "3", "4", "7", "11", "14", "19", "21", "28", "P07", "U17"}
OOMYCETES_ONLY = {"4", "21", "28", "U17"}  # FRAC list, from memory


def test_every_disease_judges_every_group():
    for key, disease in load_library().diseases.items():
        codes = {m.frac for m in disease.mode_of_action}
        assert codes >= GROUPS_JUDGED, key
        outside = {m.frac for m in disease.mode_of_action if m.evidence == "outside spectrum"}
        (oomycete,) = {"oomycete" in pathogen.kind for pathogen in disease.pathogen}
        assert outside == ({"1", "3", "7", "19"} if oomycete else OOMYCETES_ONLY), key


def test_actives_of_the_disease_files_are_iso_names_of_their_group():
    groups = load_groups()
    for key, disease in load_library().diseases.items():
        for row in disease.mode_of_action:
            for name in row.actives:
                assert groups.active(name).name == name, key
                assert groups.group_of(name).code == row.frac, key


BEST = [
    # Hutchens et al. 2021, Virginia Turfgrass Journal Jan/Feb: SDHI best of 11 actives
    ("spring-dead-spot", "7", "works"),
    # Kerns et al. 2009, Plant Dis. 93:1275-1280: pyraclostrobin superior over 3 years
    ("pythium-root-dysfunction", "11", "works"),
    # Kerns et al. 2005, CSSA abstract P5821: moderate to poor curatively
    ("pythium-root-dysfunction", "4", "weak"),
    # Stephens et al. 2023, PHP: no slower growth of mycelium in 14 actives and 4 species
    ("take-all-root-rot", "7", "no effect"),
    # Stephens et al. 2024, CFTM 10(1): groups 11 and 3 reduced it most
    ("take-all-root-rot", "11", "works"),
    ("take-all-root-rot", "3", "works"),
    # Obasa et al. 2017, ITSRJ: autumn treatment reduced it
    ("large-patch", "7", "some"),
    # Miller et al. 2012, Plant Dis. 96:1001-1007: all preventive treatments less severe
    ("fairy-ring", "3", "works"),
    # no trial seen for the patches below
    ("summer-patch", "11", "listed"),
    ("necrotic-ring-spot", "3", "listed"),
    ("take-all-patch", "3", "listed"),
]


@pytest.mark.parametrize(("disease", "code", "evidence"), BEST)
def test_evidence_as_the_trials_have_it(disease, code, evidence):
    rows = load_library().diseases[disease].mode_of_action
    assert next(m.evidence for m in rows if m.frac == code) == evidence


def test_a_code_or_a_name_that_stands_twice_is_refused(tmp_path):
    row = (
        '[[group]]\ncode = "{}"\nname = "n"\nmoa = "C3"\ntarget = "t"\nchemistry = "c"\n'
        'risk = "low"\ncross_resistance = "none"\nsource = "s"\nconfidence = "weak"\n'
        'actives = [{{ name = "{}" }}]\n'
    )
    source = '[sources.s]\nshort = "s"\ncitation = "c"\nyear = "undated"\nseen = "memory"\n'
    path = tmp_path / "groups.toml"
    path.write_text('warning = "w"\n' + row.format("3", "x") + row.format("03", "X") + source)
    with pytest.raises(InputError, match="more than once"):
        read_groups(path)
