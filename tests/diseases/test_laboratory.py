"""What controlled experiments saw, from the files' numbers through the product's functions.

The papers were seen as abstracts. Rates between the cardinal temperatures are our reading, so
only what a paper says (more, less, none, most) is asserted.
"""

import numpy as np
import pytest

from patchrisk.core.rules.rule import relative_rate

ORDER = {"none": 0, "trace": 1, "low": 2, "middle": 3, "high": 4, "most": 5}


def infect(library, key):
    cardinal = library.diseases[key].response.cardinal
    return lambda *degrees: relative_rate(np.array(degrees, dtype=float), cardinal)


def grow(library, key, fungus):
    (culture,) = (c for c in library.diseases[key].culture if c.fungus == fungus and c.cardinal)
    return lambda *degrees: relative_rate(np.array(degrees, dtype=float), culture.cardinal)


def test_pythium_root_dysfunction_by_temperature_of_infection(library):
    """Kerns & Tredway 2008, Plant Dis. 92:1669: symptoms from 12 to 24 C, worst 16; not 28, 32."""
    rate = infect(library, "pythium-root-dysfunction")
    tried = rate(12, 16, 20, 24)
    assert (tried > 0).all()
    assert tried.argmax() == 1
    assert rate(28, 32).tolist() == [0, 0]


def test_pythium_root_dysfunction_needs_exposure_and_then_heat(library):
    """Kerns & Tredway 2008, Plant Dis. 92:862 and 92:1669.

    Four weeks at 24/16 C: no symptoms until the move to 32/26 C; then in about two weeks, and
    only after infection at 12 to 24 C.
    """
    disease = library.diseases["pythium-root-dysfunction"]
    expression = disease.expression
    weeks = round(expression.exposure.canonical)
    assert weeks == 28
    heat_c = min(s.soil_above.canonical for s in expression.stress if s.soil_above)
    assert 24 < heat_c < 32  # the days of the cool and of the hot chamber
    rate = infect(library, "pythium-root-dysfunction")
    for degrees, infected in ((12, True), (16, True), (20, True), (24, True), (28, False)):
        assert (rate(*[degrees] * weeks).sum() > 0) == infected
    (lag,) = (lag for lag in expression.lag if lag.since == "stress")
    assert lag.time.canonical == 14


def test_summer_patch_disease_rises_to_30_degrees(library):
    """Kackley and others 1990, Phytopathology 80:650: 30 > 25 > 20 C; 35 not above 30."""
    at_20, at_25, at_30, at_35 = infect(library, "summer-patch")(20, 25, 30, 35)
    assert at_30 > at_25 > at_20
    assert at_35 <= at_30


def test_summer_patch_fungus_hardly_spreads_at_14_degrees(library):
    """Smiley and others 1985, Phytopathology 75:1160: very slow at 14, up to 2 cm a week 21-29."""
    at_14, at_21, at_29 = infect(library, "summer-patch")(14, 21, 29)
    assert at_14 < 0.05 * at_29
    assert at_21 > 5 * at_14
    (spread,) = (
        f for f in library.diseases["summer-patch"].figure if f.id == "smiley-spread-per-week"
    )
    assert spread.number.canonical == 2  # [cm]


def test_summer_patch_is_worse_in_wet_soil(library):
    """Kackley and others 1990, Phytopathology 80:650: worst wetter than -0.05 MPa at 25, 30 C."""
    disease = library.diseases["summer-patch"]
    (limit,) = (f for f in disease.figure if f.id == "kackley-wet-limit")
    assert (limit.number.canonical, limit.number.unit) == (-0.05, "MPa")
    assert "Wet soil" in disease.response.wetness.text
    assert disease.response.wetness.confidence == "strong"


def test_spring_dead_spot_lesions_are_longest_at_17_degrees(library):
    """Walker and others 2006, Plant Dis. 90:1326: 17 C, alike below 21; small at 25 and 30."""
    rate = infect(library, "spring-dead-spot")
    at_17, at_25, at_30 = rate(17, 25, 30)
    below_21 = rate(13, 15, 19, 20.9)
    assert (at_17 >= below_21).all()
    assert (below_21 > 2 * at_25).all()
    assert at_25 >= at_30


def test_korrae_harms_bermudagrass_more_at_13_than_at_24_degrees(library):
    """Endo, Ohr & Krausman 1985, Plant Dis. 69:235."""
    at_13, at_24 = infect(library, "spring-dead-spot")(13, 24)
    assert at_13 > at_24


def test_take_all_fungus_on_agar(library):
    """Dernoeden & O'Neill 1983, Plant Dis. 67:528: fastest at 25 C, none at 35."""
    rate = grow(library, "take-all-patch", "Gaeumannomyces avenae")
    assert rate(5, 10, 15, 20, 25, 30).argmax() == 4
    assert rate(35).item() == 0


def test_agar_is_not_the_infection_window(library):
    """Plant Dis. 67:528 against Rutgers 2020 (40 to 60 F): fast on agar where it does no harm."""
    agar = grow(library, "take-all-patch", "Gaeumannomyces avenae")
    roots = infect(library, "take-all-patch")
    assert agar(25).item() == 1
    assert roots(25).item() == 0
    assert (roots(12, 15) > agar(12, 15)).all()


def test_large_patch_infects_from_10_to_30_degrees(library):
    """Green and others 1993, Plant Dis. 77:1040: 10 to 30 C, best 20-25; thatch above 30 stops."""
    rate = infect(library, "large-patch")
    tried = rate(10, 15, 20, 25, 30)
    assert (tried > 0).all()
    assert tried[2:4].min() > tried[[0, 1, 4]].max()
    assert rate(32).item() == 0


def test_australian_fungi_on_agar(library):
    """Evans, Wong & Martin 2016, Acta Hort. 1122:49."""
    at = dict(
        zip(
            (10, 15, 20, 25, 30, 35),
            grow(library, "take-all-root-rot", "Gaeumannomyces wongoonoo")(10, 15, 20, 25, 30, 35),
            strict=True,
        )
    )
    assert at[10] == 0
    assert at[15] < 0.5  # less than half of the most
    assert min(at[20], at[25]) > max(at[15], at[30])
    assert at[35] == pytest.approx(0, abs=0.05)
    at = dict(
        zip(
            (10, 15, 20, 25, 30, 35),
            grow(library, "take-all-root-rot", "Wongia griffinii")(10, 15, 20, 25, 30, 35),
            strict=True,
        )
    )
    assert at[10] == 0
    assert at[15] == pytest.approx(0, abs=0.1)
    assert min(at[25], at[30]) > at[20]
    assert at[35] == pytest.approx(0, abs=0.05)


def test_dead_spot_comes_back_at_20_degrees(library):
    """Kaminski and others 2002, Plant Dis. 86:1290: from 20 C in 12-28 d, best 25-30, not 35."""
    disease = library.diseases["dead-spot"]
    at_20, at_25, at_30, at_35 = infect(library, "dead-spot")(20, 25, 30, 35)
    assert 0 < at_20 < min(at_25, at_30)
    assert at_35 == 0
    (lag,) = (lag for lag in disease.expression.lag if lag.since == "threshold")
    assert lag.time.span == (12, 28)


def test_one_summer_patch_fungus_outgrows_the_other(library):
    """Luo and others 2017, Mycologia 109:780: 6.8 against 4.5 cm in 7 days at 25 C."""
    speed = {
        c.fungus: c.colony.canonical / 2 / c.after.canonical * 10  # radius [mm/day]
        for c in library.diseases["summer-patch"].culture
        if c.at is not None and c.at.canonical == 25
    }
    poae = speed["Magnaporthiopsis poae"]
    meyeri = speed["Magnaporthiopsis meyeri-festucae"]
    assert poae == pytest.approx(4.86, abs=0.005)  # 68 / 2 / 7
    assert meyeri == pytest.approx(3.21, abs=0.005)  # 45 / 2 / 7


def test_bases_of_fairy_ring_fruit_bodies(library):
    """Terashima & Fujiie 2006, J. Jpn. Soc. Turfgrass Sci. 35(1):19."""
    bases = {
        f.id: f.number.canonical
        for f in library.diseases["fairy-ring"].figure
        if f.id.startswith("base-")
    }
    assert bases == {"base-conocybe": 8.8, "base-bovista": 14.6, "base-vascellum": 17.0}


def test_fairy_ring_has_no_response_to_infect_by(library):
    """Miller and others 2007 and 2012 timed sprays; nothing tells how infection answers."""
    assert library.diseases["fairy-ring"].response is None


def studies(library):
    """Yield every study: its name, its temperatures, what was seen, and the curve beside it."""
    for key, disease in library.diseases.items():
        owners = [c for c in disease.culture if c.observation]
        if disease.response is not None and disease.response.observation:
            owners.append(disease.response)
        for owner in owners:
            for study in dict.fromkeys(o.study for o in owner.observation):
                seen = [o for o in owner.observation if o.study == study]
                yield f"{key}: {study}", seen, owner.cardinal


def test_curves_agree_with_every_observation(library):
    compared = 0
    for name, seen, cardinal in studies(library):
        if cardinal is None:  # growth on agar without all three temperatures has no curve
            continue
        rates = relative_rate(np.array([o.temperature.canonical for o in seen]), cardinal)
        for a, rate_a in zip(seen, rates, strict=True):
            if a.level == "none":
                assert rate_a == 0, name
            if a.level == "trace":
                assert rate_a < 0.1, name
            if a.level == "present":
                assert rate_a > 0, name
            for b, rate_b in zip(seen, rates, strict=True):
                if "present" in (a.level, b.level):
                    continue
                if ORDER[a.level] > ORDER[b.level]:
                    compared += 1
                    assert rate_a > rate_b, f"{name}: {a.temperature.value} {b.temperature.value}"
    assert compared > 15
