# ruff: noqa: E501  (rows of tables)
"""What the publications print, typed apart from the disease files, to hold the files to it.

How a row is written: ``65 degF`` a value as printed; ``65-70@65 degF`` a range and what is taken
of it (``65-70 degF``: its middle); ``?`` after it: no publication says so, it is this project's
reading or a custom. Every number of every file must have a row here, and no row may be left over.

The citation stands beside each block; how each was seen is in the files (abstracts and openings
of pages mostly; trade articles and what is from memory are marked so there).
"""

# id | meaning | statistic | depth | edges | days | season in the north | what closes it | source
WINDOWS = {
    "summer-patch": """
        rutgers-max-5d | treat | daily maximum | 5 cm? | >= 65 degF | 5 days | 03-01 08-31? | season | Rutgers turf blog, soil temperatures, undated
        rutgers-kent-5d | treat | daily mean? | 2 in | > 65 degF | 5-6@5 days | 03-01 08-31? | season | Clarke (Rutgers) by Kent County Extension, 2009
        kstate-max-3d | treat | daily maximum | 2-3 in | > 65 degF | 3 days | 03-01 08-31? | season | Kansas State, 2012
        osu-3in-3d | treat | daily mean? | 3 in | >= 65 degF | 3 days | 03-01 08-31? | season | Ohio State 2012 and 2015
        osu-later-3d | treat | daily mean? | 3 in | >= 70-75@70 degF | 3 days | 03-01 08-31? | season | Ohio State 2012 and 2015
        umass-probe-3d | treat | daily maximum? | 3-4 in | >= 65 degF | 3 days | 03-01 08-31? | season | UMass, April 2022
        usga-2021-65f | treat | daily mean? | 2 in | >= 65 degF | 1 days? | 03-01 08-31? | season | USGA Green Section Record 59(07), 2021
        missouri-2011-5d-mean | treat | rolling mean of 5 days | 2 in | 55..60 degF | 1 days? | 02-01 06-30? | above 60 degF, 1 days? | Missouri, April 2011
        msu-first-65f | infect | daily mean? | 2 in | >= 65 degF | 1 days | 03-01 10-31? | above 35 degC, 1 days? | Michigan State, undated; Phytopathology 80:646
        umass-2011-65f | infect | daily mean? | 5 cm? | >= 65-70@65 degF | 1 days? | 03-01 10-31? | above 35 degC, 1 days? | UMass, 26 May 2011
        uc-65-70f | infect | daily mean? | 5 cm? | >= 65-70@65 degF | 1 days? | 03-01 10-31? | above 35 degC, 1 days? | UC IPM, undated
        ncstate-65f | infect | daily mean? | 5 cm? | >= 65 degF | 1 days? | 03-01 10-31? | above 35 degC, 1 days? | NC State, undated
        missouri-65f | infect | daily mean? | 5 cm? | >= 65 degF | 1 days? | 03-01 10-31? | above 35 degC, 1 days? | Missouri extension, undated
        tamu-75f | infect | daily mean? | 5 cm? | > 75 degF | 1 days? | 03-01 10-31? | above 35 degC, 1 days? | Texas A&M handbook, undated
        msu-70f-48h | express | daily mean? | 2 in | >= 70 degF | 48 hours | 05-01 09-30? | season | Michigan State, undated
    """,
    "take-all-patch": """
        rutgers-avg-40-60f | treat | daily mean | 5 cm? | 40..60 degF | 1 days? | 02-01 06-30? | above 60 degF, 1 days? | Rutgers, March 2020
        usga-2021-55f | treat | daily mean? | 2 in | >= 55 degF | 1 days? | 02-01 06-30? | season | USGA Green Section Record 59(07), 2021
        missouri-2011-5d-mean | treat | rolling mean of 5 days | 2 in | 55..60 degF | 1 days? | 02-01 06-30? | above 60 degF, 1 days? | Missouri, April 2011
        missouri-2011-55f-3d | treat | daily mean | 2 in | >= 55-60@55 degF | 3-5@3 days | 02-01 06-30? | season | Missouri, 24 March 2011
        chicago-2018-50f | treat | daily mean? | 4 in | > 50 degF | 1 days? | 02-01 06-30? | season | Chicago District Golf Association, 4 May 2018
        distributor-spring-55-65f | treat | daily mean? | 5 cm? | 55..65 degF | 1 days? | 02-01 06-30? | above 65 degF, 1 days? | a distributor, undated
        usga-2015-autumn-55-65f | treat | daily mean? | 5 cm? | 55..65 degF | 1 days? | 09-01 11-30? | below 55 degF, 1 days? | USGA Central Region, 29 Sep 2015
        distributor-autumn-55-65f | treat | daily mean? | 5 cm? | 55..65 degF | 1 days? | 09-01 11-30? | below 55 degF, 1 days? | a distributor, undated
        secondary-autumn-treat-7-16c | treat | daily mean? | 5 cm | 7..16 degC | 1 days? | 09-01 11-30 | below 7 degC, 1 days? | a secondary page, undated
        rutgers-slides-40-60f | infect | daily mean? | 5 cm? | 40..60 degF | 1 days? | 09-01 06-30? | above 60 degF, below 40 degF, 1 days? | Rutgers slides, undated
        umass-55-65f | infect | daily mean? | 5 cm? | 55..65 degF | 1 days? | 09-01 06-30? | above 65 degF, below 55 degF, 1 days? | UMass, undated
        usga-2015-55-65f | infect | daily mean? | 5 cm? | 55..65 degF | 1 days? | 09-01 06-30? | above 65 degF, below 55 degF, 1 days? | USGA Central Region, 29 Sep 2015
        purdue-below-65f | infect | daily mean? | 5 cm? | < 65 degF | 1 days? | 09-01 06-30? | above 65 degF, 1 days? | Purdue BP-114, undated
        secondary-autumn-7-16c | infect | daily mean? | 5 cm | 7..16 degC | 1 days? | 09-01 11-30 | above 16 degC, below 7 degC, 1 days? | a secondary page, undated
    """,
    "necrotic-ring-spot": """
        uc-60f | treat | daily mean? | 5 cm? | >= 60 degF | 1 days? | 03-01 08-31? | season | UC IPM, undated
        colorado-65-80f | infect | daily mean? | 5 cm? | 65..80 degF | 1 days? | 05-15 09-15 | above 80 degF, below 65 degF, 1 days? | Colorado State 2.900, second-hand, undated
        nebraska-50-86f | infect | daily mean? | 5 cm? | >= 50 degF | 1 days? | 03-15 11-30? | above 86 degF, 1 days? | Nebraska, undated
        broad-13-28c | infect | daily mean? | 5 cm? | 13..28 degC | 1 days? | 03-15 11-30? | above 28 degC, below 13 degC, 1 days? | an extension page, undated
    """,
    "spring-dead-spot": """
        hutchens-2024-13c | treat | daily mean? | 0-10 cm | <= 13 degC | 1 days? | 08-15 12-15? | season | Hutchens 2024, Crop Science csc2.21411
        ncstate-70f | treat | daily mean? | 5 cm? | <= 70 degF | 1 days? | 08-15 12-15? | season | NC State, Sep 2018; GCM, May 2018
        tredway-2008-15-27c | treat | daily mean? | 5 cm? | 15..27 degC | 1 days? | 08-15 12-15? | below 15 degC, 1 days? | Tredway 2008, Acta Hort. 783:535
        ncstate-60-80f | treat | daily mean? | 5 cm? | 60..80 degF | 1 days? | 08-15 12-15? | below 60 degF, 1 days? | NC State 2024
        missouri-70f | treat | daily mean? | 5 cm? | <= 70 degF | 1 days? | 08-15 12-15? | season | Missouri 2011-2015
        walker-2006-below-21c | infect | daily mean? | 5 cm? | < 21 degC | 1 days? | 08-15 05-31? | above 25 degC, 1 days? | Walker 2006, Plant Dis. 90:1326
        cottrill-below-70f | infect | daily mean? | 5 cm? | < 70 degF | 1 days? | 08-15 05-31? | above 25 degC, 1 days? | Cottrill, Earlywine & Miller 2016; Plant Dis. 90:1326
        vt-50-70f | infect | daily mean? | 5 cm? | 50..70 degF | 1 days? | 08-15 05-31? | above 70 degF, below 50 degF, 1 days? | Virginia Tech in GCM, undated
        vt-2024-50-75f | infect | daily mean? | 5 cm? | 50..75 degF | 1 days? | 08-15 05-31? | above 75 degF, below 50 degF, 1 days? | Virginia Tech 2024
    """,
    "take-all-root-rot": """
        stephens-2024-77-86f | treat | daily mean? | 5 cm? | 77..86 degF | 1 days? | 04-01 11-30? | above 86 degF, below 77 degF, 1 days? | Stephens 2024, CFTM cft2.20261
        usga-2025-75-86f | treat | daily mean? | 5 cm? | 75..86 degF | 1 days? | 07-15 11-30? | below 75 degF, 1 days? | USGA Green Section Record 63(16), September 2025
        nc-accounts-68-86f | treat | daily mean? | 2 in | 68..86 degF | 1 days? | 07-15 11-30? | below 68 degF, 1 days? | NC State work by trade accounts, undated
        older-below-65f | treat | daily mean? | 2 in | < 65 degF | 1 days? | 08-15 12-15? | season | older extension and trade rule, undated
        tamu-spring-55f | treat | daily mean? | 5 cm? | >= 55 degF | 1 days? | 02-01 06-30? | season | Texas A&M, undated
        tamu-60-65f | infect | daily mean? | 5 cm? | 60..65 degF | 1 days? | 09-01 06-30? | above 65 degF, below 60 degF, 1 days? | Texas A&M, undated
    """,
    "pythium-root-dysfunction": """
        ncstate-mean-5d | treat | daily mean | 5 cm? | 50..75 degF | 5 days | 09-01 06-15 | above 75 degF, below 50 degF, 1 days? | NC State alert, 23 Apr 2010
        ncstate-2009-below-75f | treat | daily mean? | 5 cm? | < 75 degF | 5 days? | 08-15 12-15? | season | NC State, Oct 2009
        usga-2021-55f | treat | daily mean? | 2 in | >= 55 degF | 1 days? | 02-01 06-15? | season | USGA Green Section Record 59(07), 2021
        kerns-2008-12-24c | infect | daily mean? | 5 cm? | 12..24 degC | 1 days? | 09-01 06-15? | above 24 degC, below 12 degC, 1 days? | Kerns & Tredway 2008, Plant Dis. 92:1669
        ncstate-50-75f | infect | daily mean | 5 cm? | 50..75 degF | 1 days? | 09-01 06-15 | above 75 degF, below 50 degF, 1 days? | NC State, undated
        ncstate-85f | express | daily mean? | 5 cm? | > 85 degF | 1 days? | 05-01 10-15? | season | NC State, undated
    """,
    "pythium-root-rot": "",
    "large-patch": """
        ncstate-70f | treat | daily mean? | 5 cm? | <= 70 degF | 1 days? | 08-15 12-15? | season | NC State, undated
        usga-2015-60-70f | treat | daily mean? | 2 in | 60..70 degF | 1 days? | 09-01 10-31 | below 60 degF, 1 days? | USGA Central Region, 29 Sep 2015
        obasa-2017-thatch | treat | daily mean? | 5 cm? | 17.8..23.2 degC | 1 days? | 08-15 12-15? | below 17.8 degC, 1 days? | Obasa 2017, ITSRJ itsrj2016.04.0274
        missouri-spring-50-55f | treat | daily mean? | 5 cm? | 50..55 degF | 1 days? | 02-01 06-15? | above 55 degF, 1 days? | Missouri 2011-2015
        missouri-spring-55-60f | treat | daily mean? | 5 cm? | 55..60 degF | 1 days? | 02-01 06-15? | above 60 degF, 1 days? | Missouri 2011-2015
        green-1993-10-30c | infect | daily mean? | 5 cm? | 10..30 degC | 1 days? | 08-15 06-15? | above 30 degC, below 10 degC, 1 days? | Green 1993, Plant Dis. 77:1040
        georgia-50-70f | infect | daily mean? | 5 cm? | 50..70 degF | 1 days? | 08-15 06-15? | above 70 degF, below 50 degF, 1 days? | Georgia, undated
        gci-50-86f | infect | daily mean? | 5 cm? | 50..86 degF | 1 days? | 08-15 06-15? | above 86 degF, below 50 degF, 1 days? | GCI, undated
        texas-below-70f | infect | daily mean? | 5 cm? | < 70 degF | 1 days? | 08-15 06-15? | above 70 degF, 1 days? | Texas, undated
    """,
    "fairy-ring": """
        miller-2007-10-18c | treat | rolling mean of 5 days | 2 in | 10..18 degC | 1 days? | 02-01 06-30? | above 18 degC, 1 days? | Miller 2007, ASA-CSSA abstract P34647
        miller-2012-13-16c | treat | rolling mean of 5 days | 2 in | 13..16 degC | 1 days? | 02-01 06-30? | above 16 degC, 1 days? | Miller 2012, Plant Dis. 96:1001
        ncstate-2011-55f | treat | rolling mean of 5 days | 5 cm? | >= 55 degF | 1 days? | 02-01 06-30? | season | NC State, 10 Mar 2011
        ncstate-2010-60f | treat | daily mean? | 5 cm? | >= 60 degF | 1 days? | 02-01 06-30? | season | NC State, Mar 2010
        missouri-2011-5d-mean | treat | rolling mean of 5 days | 2 in | 55..60 degF | 1 days? | 02-01 06-30? | above 60 degF, 1 days? | Missouri, April 2011
        missouri-2011-55f-3d | treat | daily mean | 2 in | >= 55-60@55 degF | 3-5@3 days | 02-01 06-30? | season | Missouri, 24 March 2011
        rutgers-avg-50-55f | treat | daily mean | 5 cm? | 50..55 degF | 1 days? | 02-01 06-30? | above 55 degF, 1 days? | Rutgers, March 2020
        usga-2021-55f | treat | daily mean? | 2 in | >= 55 degF | 1 days? | 02-01 06-30? | season | USGA Green Section Record 59(07), 2021
    """,
    "dead-spot": """
        kaminski-2002-20c | infect | daily mean? | 5 cm? | >= 20 degC | 1 days? | 03-01 10-31? | above 35 degC, 1 days? | Kaminski 2002, Plant Dis. 86:1290
        kaminski-2006-22-26c | express | daily mean? | 5 cm? | 22..26 degC | 1 days? | 06-15 08-10 | above 26 degC, below 22 degC, 1 days? | Kaminski & Dernoeden 2006, Phytopathology 96:248
    """,
    "dark-root-infecting-fungi": """
        minnesota-50-60f | infect | daily mean? | 5 cm? | 50..60 degF | 1 days? | 03-01 11-30? | above 60 degF, below 50 degF, 1 days? | Minnesota, 2016
    """,
}  # fmt: skip

# Whose each threshold is: the edges of the rule carry this confidence.
STRONG = {
    "walker-2006-below-21c",
    "kerns-2008-12-24c",
    "green-1993-10-30c",
    "miller-2007-10-18c",
    "kaminski-2002-20c",
    "kaminski-2006-22-26c",
}
MODERATE = {
    ("summer-patch", "msu-first-65f"),
    ("summer-patch", "msu-70f-48h"),
    ("spring-dead-spot", "hutchens-2024-13c"),
    ("spring-dead-spot", "tredway-2008-15-27c"),
    ("take-all-root-rot", "stephens-2024-77-86f"),
    ("pythium-root-dysfunction", "ncstate-mean-5d"),
    ("pythium-root-dysfunction", "ncstate-2009-below-75f"),
    ("pythium-root-dysfunction", "ncstate-50-75f"),
    ("pythium-root-dysfunction", "ncstate-85f"),
    ("large-patch", "ncstate-70f"),
    ("large-patch", "obasa-2017-thatch"),
    ("fairy-ring", "miller-2012-13-16c"),
}
WEAK = {
    ("take-all-patch", "secondary-autumn-7-16c"),
    ("take-all-patch", "secondary-autumn-treat-7-16c"),
    ("take-all-patch", "distributor-autumn-55-65f"),
    ("take-all-patch", "distributor-spring-55-65f"),
    ("necrotic-ring-spot", "colorado-65-80f"),
    ("spring-dead-spot", "cottrill-below-70f"),
    ("take-all-root-rot", "older-below-65f"),
    ("large-patch", "missouri-spring-50-55f"),
    ("large-patch", "missouri-spring-55-60f"),
    ("dark-root-infecting-fungi", "minnesota-50-60f"),
}  # all others: expert opinion

# place in the file | number | source
NUMBERS = {
    "summer-patch": """
        season 1 infect_above | 65 degF | Michigan State, UMass 2011, UC IPM, NC State, Missouri
        response minimum | 12-14@13 degC? | growth very slow at 14 C, Phytopathology 75:1160; inference
        response optimum | 28-30@29 degC? | Phytopathology 75:1160 and 80:650; inference
        response maximum | 36-38@37 degC? | no source; inference
        culture Magnaporthiopsis poae 1 minimum | 12-14 degC? | inference
        culture Magnaporthiopsis poae 1 optimum | 28-31 degC | Phytopathology 75:1160
        culture Magnaporthiopsis poae 1 maximum | 36-38 degC? | inference
        culture Magnaporthiopsis poae 1 colony | 6.8 cm | Mycologia 109:780
        culture Magnaporthiopsis poae 1 after | 7 days | Mycologia 109:780
        culture Magnaporthiopsis poae 1 at | 25 degC | Mycologia 109:780
        culture Magnaporthiopsis poae 2 optimum | 30 degC | Plant Dis. 81:873
        culture Magnaporthiopsis meyeri-festucae colony | 4.5 cm | Mycologia 109:780
        culture Magnaporthiopsis meyeri-festucae after | 7 days | Mycologia 109:780
        culture Magnaporthiopsis meyeri-festucae at | 25 degC | Mycologia 109:780
        expression stress 1 soil_above | 70 degF | Michigan State
        expression stress 1 lasting | 48 hours | Michigan State
        expression stress 2 air_above | 82-95@82 degF | UMass 2011
        expression stress 3 air_above | 83-95@83 degF | UC IPM
        expression lag 1 time | 42-56 days | 6-8 weeks, abstract on nitrogen sources, 1995-96
        expression lag 2 time | 21-28 days | 3-4 weeks, UC IPM
        expression lag 3 time | 70-84 days? | 10-12 weeks, from NC State dates; inference
        treatment interval | 28 days | Rutgers by Kent County 2009; Kansas State 2012
        treatment number | 3 1 | Rutgers by Kent County 2009
        treatment watering_in | 0.125 in | about 1/8 in, Rutgers by Kent County 2009
        treatment carrier | 4-5 gal/1000 ft2 | Rutgers by Kent County 2009
        site 1 worse_above | 6.5 pH | NC State
        site 2 aim | 5.5-6 pH | Missouri
        site 3 worse_above | 7 pH | UMass
        site 3 aim | 5.5-6 pH | UMass
        site 4 worse_above | 6 pH | Rutgers by Kent County 2009
        site 5 worse_above | 9 pH | GCI, calcite greens in Kentucky
        site 9 aim | 7.6 cm | Agron. J. 83:670
        site 10 aim | 2 lb/acre | Missouri
        figure smiley-spread-per-week | 2 cm | Phytopathology 75:1160
        figure kackley-wet-limit | -0.05 MPa | Phytopathology 80:650
        figure acidified-depth | 10 cm | abstract on nitrogen sources, 1995-96
    """,
    "take-all-patch": """
        season 1 infect_above | 40 degF | Rutgers slides and 2020
        season 1 infect_below | 65 degF | UMass, USGA 2015, Purdue
        season 2 infect_above | 40 degF | Rutgers slides and 2020
        season 2 infect_below | 65 degF | UMass, USGA 2015, Purdue
        risk_age age | 1-10 years | extension pages
        response minimum | 4 degC? | extension windows; inference
        response optimum | 14 degC? | extension windows; inference
        response maximum | 25 degC? | extension windows; inference
        culture Gaeumannomyces avenae minimum | 4 degC? | inference
        culture Gaeumannomyces avenae optimum | 25 degC | Plant Dis. 67:528
        culture Gaeumannomyces avenae maximum | 35 degC | Plant Dis. 67:528
        treatment interval | 28 days | Missouri 2011
        treatment number | 2 1 | Missouri 2011
        treatment watering_in | 0.125-0.25@0.25 in | 1/8 in, better 1/4 in, Missouri 2011
        site 1 worse_above | 6.5-7@6.5 pH | extension pages
        site 2 worse_above | 7.5 pH | extension pages
        site 3 worse_below | 21 mg/kg | Crop Sci. 43:1395
        site 4 aim | 2.25 kg/ha | Crop Sci. 43:1395
        site 5 aim | 1.02-2.04 kg/ha | HortScience 34:891
        site 6 worse_below | 30 ppm | trade rule of 2008
        figure uc-air-low | 50 degF | UC IPM
        figure uc-air-high | 60 degF | UC IPM
        figure decline-years | 7-8 years | extension pages
        figure young-stand-years | 1-10 years | extension pages
    """,
    "necrotic-ring-spot": """
        season 1 infect_above | 50 degF | active at 50 F, Nebraska
        season 1 infect_below | 86 degF | inhibited, Nebraska
        response minimum | 8 degC? | inference
        response optimum | 22 degC? | inference
        response maximum | 30 degC? | inference
        culture Ophiosphaerella korrae 1 optimum | 14-28 degC | Phytopathology 75:1160
        culture Ophiosphaerella korrae 2 optimum | 20-28 degC | Michigan State
        culture Ophiosphaerella korrae 3 optimum | 20-25 degC | J. Jpn. Soc. Turfgrass Sci. 35(2):79
        culture Ophiosphaerella korrae 4 optimum | 21-25 degC | Mississippi State isolates
        culture Ophiosphaerella korrae 5 optimum | 25 degC | Plant Dis. 81:873
        culture Ophiosphaerella korrae 6 optimum | 68-82 degF | Nebraska
        culture Ophiosphaerella korrae 7 optimum | 25 degC | Plant Dis. 91:1200
        culture Ophiosphaerella korrae 7 colony | 3-4.5 mm | mm a day, Plant Dis. 91:1200
        culture Ophiosphaerella korrae 7 after | 1 days | Plant Dis. 91:1200
        culture Ophiosphaerella korrae 7 at | 25 degC | Plant Dis. 91:1200
        expression lag 1 time | 2-3 years | Illinois
        expression lag 2 time | 4 years | Illinois
        site 1 aim | 0.1-0.2 in | Michigan State
    """,
    "spring-dead-spot": """
        season 1 infect_above | 50 degF | Georgia C1012; Clemson HGIC
        season 1 infect_below | 25 degC | lesions small at 25 and 30, Plant Dis. 90:1326
        response minimum | 5 degC? | inference
        response optimum | 17 degC? | longest lesions, Plant Dis. 90:1326; inference
        response maximum | 27 degC? | inference
        culture Ophiosphaerella herpotricha optimum | 20-25 degC | Plant Dis. 73:933
        culture Ophiosphaerella korrae optimum | 25 degC | Plant Dis. 72:945, from memory
        expression stress 2 lasting | 56 days | 8 weeks of dormancy, Mississippi State
        expression lag 1 time | 1-2 years | Plant Dis. 73:933
        expression lag 2 time | 126-222 days | 22 Nov to 27 Mar, 17 Oct to 26 May, NC State trial; inference
        treatment interval | 21-28@28 days | NC State 2018; UC Riverside 2016
        treatment number | 1-2@2 1 | NC State 2018; UC Riverside 2016; NC 2009
        treatment watering_in | 0.125 in | 1/8 in, Clemson
        treatment carrier | 2.1 gal/1000 ft2 | Clemson
        site 7 worse_above | 0.5 in | Arkansas
        site 11 aim | 48.8 kg/ha | HortScience 57:332
        figure uc-air-low | 70 degF | UC IPM
        figure uc-air-high | 75 degF | UC IPM
        figure lt50-tifway | -7.9 degC | freezing tests
        figure lt50-tifsport | -7.9 degC | freezing tests
        figure lt50-princess | -6.9 degC | freezing tests
        figure lt50-riviera | -8.3 degC | freezing tests
        figure lt50-u3 | -8.9 degC | freezing tests
        figure lt50-patriot | -9.7 degC | freezing tests
        figure lt50-midlawn | -10.3 degC | freezing tests
        figure korrae-share-virginia | 73 % | mid-Atlantic survey
        figure herpotricha-share-virginia | 76 % | mid-Atlantic survey
        figure isolation-low | 8 degC | Mississippi State
        figure isolation-high | 29 degC | Mississippi State
    """,
    "take-all-root-rot": """
        season 1 infect_above | 68 degF | NC State work by trade accounts
        season 2 infect_above | 55 degF | Texas A&M by others
        season 3 infect_above | 55 degF | Texas A&M by others
        season 4 infect_above | 55 degF? | inference
        season 5 infect_above | 55 degF? | inference
        response minimum | 12 degC? | inference
        response optimum | 25-30@27 degC? | Phytopathology 112:811; inference
        response maximum | 36 degC? | inference
        culture Gaeumannomyces wongoonoo minimum | 10 degC | Acta Hort. 1122:49
        culture Gaeumannomyces wongoonoo optimum | 20-25@24 degC | Acta Hort. 1122:49
        culture Gaeumannomyces wongoonoo maximum | 35 degC | Acta Hort. 1122:49
        culture Wongia griffinii minimum | 10-15@13 degC? | none at 10, next to none at 15, Acta Hort. 1122:49; inference
        culture Wongia griffinii optimum | 25-30@27.5 degC | Acta Hort. 1122:49
        culture Wongia griffinii maximum | 35 degC | Acta Hort. 1122:49
        culture the five fungi of North Carolina greens optimum | 25-30 degC | Phytopathology 112:811, by trade accounts
        culture Magnaporthiopsis cynodontis colony | 6.5 cm | Luo & Zhang 2022
        culture Magnaporthiopsis cynodontis after | 7 days | Luo & Zhang 2022
        culture Magnaporthiopsis cynodontis at | 25 degC | Luo & Zhang 2022
        culture Gaeumannomyces walkeri colony | 6.5 cm | Luo & Zhang 2022
        culture Gaeumannomyces walkeri after | 7 days | Luo & Zhang 2022
        culture Gaeumannomyces walkeri at | 25 degC | Luo & Zhang 2022
        site 1 worse_above | 6.5 pH | extension pages
        site 2 aim | 5.5-6 pH | extension pages
        site 6 aim | 2 lb/1000 ft2 | Georgia
        figure roots-before-leaf | 14-21 days | at least two to three weeks, Florida LH079
        figure zidek-fast-share | 10.5 % | Zidek & Jo 2015
    """,
    "pythium-root-dysfunction": """
        season 1 infect_above | 50 degF | NC State
        season 1 infect_below | 75 degF | NC State
        season 2 infect_above | 50 degF | NC State
        season 2 infect_below | 75 degF | NC State
        risk_age age | 8-10@10 years | up to 8 to 10 years, NC State
        response minimum | 8 degC? | inference
        response optimum | 16 degC? | Plant Dis. 92:1669; inference
        response maximum | 26 degC? | inference
        culture Pythium volutum optimum | 18-26 degC | Plant Dis. 92:1669
        expression exposure | 28 days | 4 weeks, Plant Dis. 92:1669
        expression stress 1 soil_above | 85 degF | NC State
        expression stress 2 air_above | 32 degC | Plant Dis. 92:1669
        expression stress 2 lasting | 14 days | about 2 weeks, Plant Dis. 92:1669
        expression lag 1 time | 14 days | about 2 weeks, Plant Dis. 92:1669
        treatment interval | 21-37@28 days | 29 Sep, 27 Oct; 29 Mar, 19 Apr, 26 May; Plant Dis. 93:1275
        treatment number | 5 1 | two in autumn, three in spring, Plant Dis. 93:1275
        treatment watering_in | 0.125 in | 1/8 in, CSSA abstract P5821
        site 1 worse_below | 8-10@10 years | NC State
        site 2 worse_below | 15 % | at least 15 % organic matter by volume, NC State
        site 3 aim | 4-6 lb/1000 ft2 | NC State
        figure severity-low | 60 % | Plant Dis. 92:862
        figure severity-high | 84 % | Plant Dis. 92:862
        figure no-symptoms-day | 24 degC | Plant Dis. 92:862
    """,
    "pythium-root-rot": """
        culture Pythium vanterpoolii minimum | 10 degC | about 10, Kim & Park 1999
        culture Pythium vanterpoolii optimum | 25 degC | Kim & Park 1999
        culture Pythium aphanidermatum minimum | 10 degC | about 10, Kim & Park 1999
        culture Pythium aphanidermatum optimum | 35 degC | Kim & Park 1999
        culture Pythium myriotylum minimum | 10 degC | about 10, Kim & Park 1999
        culture Pythium myriotylum optimum | 35 degC | Kim & Park 1999
        culture P. arrhenomanes, P. catenulatum, P. graminicola, P. torulosum, G. ultimum minimum | 10 degC | about 10, Kim & Park 1999
        culture P. arrhenomanes, P. catenulatum, P. graminicola, P. torulosum, G. ultimum optimum | 25-35 degC | Kim & Park 1999
        culture Pythium periplocum minimum | 15 degC | Kim & Park 1999
        culture P. aphanidermatum and P. myriotylum minimum | 15 degC | slight, Phytopathology 60:704
        culture P. aphanidermatum and P. myriotylum optimum | 35 degC | Phytopathology 60:704
        culture P. aphanidermatum and P. myriotylum maximum | 43 degC | slight, Phytopathology 60:704
        expression stress 1 lasting | 2-3 days | NC State by the trade press
        expression stress 2 soil_above | 27 degC | severe from 27, Phytopathology 60:704
        treatment interval | 14-21 days | NC State by the trade press
        treatment number | 5 1 | 1, 15, 30 Jun, 27 Jul, 11 Aug, NC State 2022
        treatment watering_in | 0.125 in | 1/8 in, NC State 2022
        treatment carrier | 2 gal/1000 ft2 | NC State 2022
        site 1 aim | 15-20 % | NC State
        figure active-low | 13 degC | Phytopathology 81:1529
        figure active-also | 28 degC | Phytopathology 81:1529
    """,
    "large-patch": """
        season 1 infect_above | 10 degC | infection at 10 to 30 C, Plant Dis. 77:1040
        season 1 infect_below | 30 degC | Plant Dis. 77:1040
        season 2 infect_above | 10 degC | Plant Dis. 77:1040
        season 2 infect_below | 30 degC | Plant Dis. 77:1040
        response minimum | 8 degC? | inference
        response optimum | 20-25@23 degC? | Plant Dis. 77:1040 and 82:857; inference
        response maximum | 31 degC? | inference
        culture Rhizoctonia solani AG 2-2 LP 1 optimum | 23 degC | Plant Dis. 82:857
        culture Rhizoctonia solani AG 2-2 LP 2 optimum | 25 degC | Summa Phytopathol. 46:289
        expression stress 2 lasting | 48 hours | Georgia
        treatment interval | 21-28 days | USGA Central Region, 29 Sep 2015
        treatment number | 1-2@1 1 | ITSRJ itsrj2016.04.0274; USGA Central Region 2015
        treatment carrier | 2 gal/1000 ft2 | USGA Central Region 2015
    """,
    "fairy-ring": """
        season 1 infect_above | 10 degC | coldest start that worked, abstract P34647
        season 1 infect_below | 24 degC | warmest start tried, abstract P34647
        culture Vascellum curtisii optimum | 30 degC | Mycoscience 45:251
        culture Bovista dermoxantha optimum | 35-40 degC | Mycoscience 45:251
        treatment interval | 28 days | Missouri 2011; NC State 2010
        treatment number | 1-2@2 1 | Plant Dis. 96:1001; NC State 2010
        treatment watering_in | 6 mm | ASA-CSSA abstract P34647
        treatment carrier | 800 L/ha | ASA-CSSA abstract P34647
        figure base-conocybe | 8.8 degC | J. Jpn. Soc. Turfgrass Sci. 35(1):19
        figure base-bovista | 14.6 degC | J. Jpn. Soc. Turfgrass Sci. 35(1):19
        figure base-vascellum | 17 degC | J. Jpn. Soc. Turfgrass Sci. 35(1):19
        figure late-start | 21 degC | ASA-CSSA abstract P34647
    """,
    "dead-spot": """
        season 1 infect_above | 20 degC | Plant Dis. 86:1290
        season 1 infect_below | 35 degC | suppressed, Plant Dis. 86:1290
        season 2 infect_above | 20 degC | Plant Dis. 86:1290
        season 2 infect_below | 35 degC | suppressed, Plant Dis. 86:1290
        risk_age age | 1-3 years | within 1 to 3 years of seeding, Penn State
        response minimum | 17 degC? | inference
        response optimum | 25-30@26 degC? | Plant Dis. 86:1290; inference
        response maximum | 35 degC? | suppressed at 35, Plant Dis. 86:1290; inference
        culture Ophiosphaerella agrostidis optimum | 25-30 degC | Plant Dis. 86:1290
        culture Ophiosphaerella agrostidis maximum | 35 degC | suppressed, Plant Dis. 86:1290
        expression lag 1 time | 12-28 days | Plant Dis. 86:1290
        expression lag 2 time | 3-10 days | Phytopathology 95:1356
        site 1 worse_above | 6 pH | ITSRJ 10:214
        site 3 worse_below | 6 years | Phytopathology 96:248
        figure spore-peaks | 12 days | Phytopathology 95:1356
    """,
    "dark-root-infecting-fungi": """
        watering_in | 0.125 in | about 1/8 in, Rutgers by Kent County 2009
        site 1 worse_above | 6.5 pH | NC State; extension pages
    """,
}  # fmt: skip

# disease | in a plant or on agar | temperature [degC] | what was seen | paper
SEEN = """
    summer-patch | response | 20 | low | Phytopathology 80:650
    summer-patch | response | 25 | middle | Phytopathology 80:650
    summer-patch | response | 30 | most | Phytopathology 80:650
    summer-patch | response | 14 | trace | Phytopathology 75:1160
    summer-patch | response | 21 | present | Phytopathology 75:1160
    summer-patch | response | 29 | present | Phytopathology 75:1160
    summer-patch | response | 29 | present | Phytopathology 76:923
    summer-patch | response | 28 | present | Phytopathology 80:520
    summer-patch | culture | 25 | high | Phytopathology 80:646
    summer-patch | culture | 30 | high | Phytopathology 80:646
    summer-patch | culture | 35 | low | Phytopathology 80:646
    take-all-patch | response | 14 | present | Phytopathology 76:923
    take-all-patch | response | 24 | present | Phytopathology 76:923
    take-all-patch | culture | 25 | most | Plant Dis. 67:528
    take-all-patch | culture | 35 | none | Plant Dis. 67:528
    spring-dead-spot | response | 17 | most | Plant Dis. 90:1326
    spring-dead-spot | response | 25 | low | Plant Dis. 90:1326
    spring-dead-spot | response | 30 | low | Plant Dis. 90:1326
    spring-dead-spot | response | 13 | high | Plant Dis. 69:235
    spring-dead-spot | response | 24 | low | Plant Dis. 69:235
    take-all-root-rot | culture | 10 | none | Acta Hort. 1122:49, G. wongoonoo
    take-all-root-rot | culture | 15 | low | Acta Hort. 1122:49, G. wongoonoo
    take-all-root-rot | culture | 20 | high | Acta Hort. 1122:49, G. wongoonoo
    take-all-root-rot | culture | 25 | high | Acta Hort. 1122:49, G. wongoonoo
    take-all-root-rot | culture | 35 | none | Acta Hort. 1122:49, G. wongoonoo
    take-all-root-rot | culture | 10 | none | Acta Hort. 1122:49, W. griffinii
    take-all-root-rot | culture | 15 | trace | Acta Hort. 1122:49, W. griffinii
    take-all-root-rot | culture | 25 | high | Acta Hort. 1122:49, W. griffinii
    take-all-root-rot | culture | 30 | high | Acta Hort. 1122:49, W. griffinii
    take-all-root-rot | culture | 35 | none | Acta Hort. 1122:49, W. griffinii
    pythium-root-dysfunction | response | 12 | present | Plant Dis. 92:1669
    pythium-root-dysfunction | response | 16 | most | Plant Dis. 92:1669
    pythium-root-dysfunction | response | 20 | present | Plant Dis. 92:1669
    pythium-root-dysfunction | response | 24 | present | Plant Dis. 92:1669
    pythium-root-dysfunction | response | 28 | none | Plant Dis. 92:1669
    pythium-root-dysfunction | response | 32 | none | Plant Dis. 92:1669
    large-patch | response | 10 | present | Plant Dis. 77:1040
    large-patch | response | 20 | high | Plant Dis. 77:1040
    large-patch | response | 25 | high | Plant Dis. 77:1040
    large-patch | response | 30 | present | Plant Dis. 77:1040
    dead-spot | response | 15 | none | Plant Dis. 86:1290, tried from 15 to 30, back at 20 and more
    dead-spot | response | 20 | present | Plant Dis. 86:1290
    dead-spot | response | 25 | high | Plant Dis. 86:1290
    dead-spot | response | 30 | high | Plant Dis. 86:1290
    dead-spot | culture | 25 | high | Plant Dis. 86:1290
    dead-spot | culture | 30 | high | Plant Dis. 86:1290
    dead-spot | culture | 35 | low | Plant Dis. 86:1290
"""

# Evidence of each mode-of-action group by disease: + works, ~ some, - weak, 0 no effect,
# l listed, . no data, x outside its spectrum (spectra from memory). The trials are cited in the files; the
# class is this project's judgement of them. A group best in one place and second in another
# counts as some (group 3 on spring dead spot, 21 on Pythium root dysfunction).
FRAC_CODES = ["1", "3", "4", "7", "11", "14", "19", "21", "28", "P07", "U17"]
EVIDENCE = {
    "summer-patch":             "l l x . l . . x x . x",
    "take-all-patch":           "l l x . l . . x x . x",
    "necrotic-ring-spot":       ". l x . . . . x x . x",
    "spring-dead-spot":         ". ~ x + ~ . . x x . x",
    "take-all-root-rot":        "0 + x 0 + . . x x . x",
    "pythium-root-dysfunction": "x x - x + - x ~ - - .",
    "pythium-root-rot":         "x x ~ x ~ . x + ~ ~ +",
    "large-patch":              "l ~ x ~ ~ . . x x . x",
    "fairy-ring":               ". + x ~ ~ . ~ x x . x",
    "dead-spot":                ". . x . . . . x x . x",
}  # fmt: skip
EVIDENCE_BESIDE = {
    ("pythium-root-dysfunction", "43"): "no effect",  # Plant Dis. 93:1275
    ("dead-spot", "2"): "no effect",  # iprodione once injury stands, ITSRJ 10:214
}
# Who names a group as effective or recommended, where no trial figures were read.
LISTED_BY = {
    ("summer-patch", "1"): "universities",  # UMass 2004, Rutgers 2009
    ("summer-patch", "3"): "universities",
    ("summer-patch", "11"): "universities",
    ("take-all-patch", "1"): "trade",  # a distributor, on bentgrass
    ("take-all-patch", "3"): "a university",  # Missouri 2011
    ("take-all-patch", "11"): "trade",
    ("necrotic-ring-spot", "3"): "a university",  # Texas A&M 2013
    ("large-patch", "1"): "a university",  # Rutgers 2009
}
# What was read of single actives, where it differs from their group or is all there is.
ACTIVES = {
    ("take-all-root-rot", "tebuconazole"): "no data",  # Florida none; NC State by group only
    ("take-all-root-rot", "propiconazole"): "no effect",  # Plant Dis. 79:945
    ("spring-dead-spot", "isofetamid"): "works",  # Virginia 2019 and 2021-22
    ("spring-dead-spot", "penthiopyrad"): "works",
    ("spring-dead-spot", "pydiflumetofen"): "works",
    ("spring-dead-spot", "mefentrifluconazole"): "works",
    ("spring-dead-spot", "fluxapyroxad"): "some",
    ("spring-dead-spot", "myclobutanil"): "weak",  # none in North Carolina, equal in Mississippi
    ("pythium-root-dysfunction", "cyazofamid"): "some",  # Plant Dis. 93:1275
    ("pythium-root-rot", "cyazofamid"): "works",
    ("summer-patch", "cyazofamid"): "outside spectrum",  # acts on oomycetes only
    ("summer-patch", "florylpicoxamid"): "no data",  # of the same code, acts on true fungi
}
EVIDENCE_SIGNS = {
    "+": "works",
    "~": "some",
    "-": "weak",
    "0": "no effect",
    "l": "listed",
    ".": "no data",
    "x": "outside spectrum",
}

# Months with symptoms, in the north.
MONTHS = {
    "summer-patch": {6, 7, 8, 9},  # Cornell: June to September; NC State: from early July
    "take-all-patch": {4, 5, 6, 7, 8, 9, 10},  # Purdue BP-114: April to October
    "necrotic-ring-spot": {5, 6, 7, 8, 9, 10, 11},  # Plant Dis. 79:966: May to November
    "spring-dead-spot": {3, 4, 5},  # at green-up
    "take-all-root-rot": {8, 9, 10},  # Phytopathology 81:1380: late summer to early autumn
    "pythium-root-dysfunction": {4, 5, 6, 7, 8, 9},  # NC State: an outbreak on 23 April 2010
    "pythium-root-rot": {5, 6, 7, 8, 9},  # NC State: late May or early June onward
    "large-patch": {3, 4, 5, 6, 9, 10, 11},  # Plant Dis. 77:1040: spring and autumn
    "fairy-ring": {5, 6, 7, 8, 9},  # abstract P34647: late May on
    "dead-spot": {5, 6, 7, 8, 9, 10},  # Penn State: May to October
}

# disease | season | grasses, or all | span in the north | soil | what begins it | treated until | its
# damage shows in the months | where the months are from
SEASONS = """
    summer-patch | warm-soil | all | 03-01 10-31? | rising | rutgers-max-5d rutgers-kent-5d kstate-max-3d osu-3in-3d osu-later-3d umass-probe-3d usga-2021-65f | 08-15? | 6 7 8 9 | Cornell: June to September
    take-all-patch | autumn | all | 09-01 01-31? | falling | usga-2015-autumn-55-65f distributor-autumn-55-65f secondary-autumn-treat-7-16c | | 11 12 1 2 3 4 5 6 7? | UC IPM: late fall and winter; UMass: grey in winter; Purdue: April on; inference
    take-all-patch | spring | all | 02-01 06-30? | rising | rutgers-avg-40-60f usga-2021-55f missouri-2011-5d-mean missouri-2011-55f-3d chicago-2018-50f distributor-spring-55-65f | | 4 5 6 7 8 9 10 | Purdue BP-114: April to October
    necrotic-ring-spot | spring-to-autumn | all | 03-01 11-30? | rising | uc-60f | | 5 6 7 8 9 10 11 | Plant Dis. 79:966: May to November
    spring-dead-spot | autumn-to-spring | all | 08-15 05-31? | falling | hutchens-2024-13c ncstate-70f tredway-2008-15-27c ncstate-60-80f missouri-70f | 11-25? | 3 4 5 | at green-up
    large-patch | autumn | all | 08-15 01-31? | falling | ncstate-70f usga-2015-60-70f obasa-2017-thatch | 12-15? | 9 10 11 3 4 5 6 | Plant Dis. 77:1040: spring and autumn
    large-patch | spring | all | 02-01 06-15? | rising | missouri-spring-50-55f missouri-spring-55-60f | | 3 4 5 6 | Plant Dis. 77:1040: spring
    pythium-root-dysfunction | autumn | all | 08-15 01-31? | falling | ncstate-2009-below-75f ncstate-mean-5d | | 4 5 6 7 8 9 | NC State: summer, an outbreak on 23 April
    pythium-root-dysfunction | spring | all | 02-01 06-15? | rising | usga-2021-55f ncstate-mean-5d | | 4 5 6 7 8 9 | NC State: summer, an outbreak on 23 April
    fairy-ring | spring | all | 02-01 06-30? | rising | miller-2007-10-18c miller-2012-13-16c ncstate-2011-55f ncstate-2010-60f missouri-2011-5d-mean missouri-2011-55f-3d rutgers-avg-50-55f usga-2021-55f | | 5 6 7 8 9 | abstract P34647: late May on
    dead-spot | summer | creeping bentgrass, colonial bentgrass, velvet bentgrass | 05-01 10-31 | rising | kaminski-2002-20c | | 5 6 7 8 9 10 | Penn State: May to October
    dead-spot | bermudagrass | hybrid bermudagrass, rough bluegrass | 03-01 10-31? | rising | kaminski-2002-20c | | 3 4 5 | Penn State: at green-up; Texas, March and April 1998
    take-all-root-rot | ultradwarf | hybrid bermudagrass | 07-15 12-15? | falling | stephens-2024-77-86f usga-2025-75-86f nc-accounts-68-86f | 11-30? | 8 9 10 11 12 1 2 3 4 5 | Phytopathology 81:1380: late summer; NC State: autumn through spring
    take-all-root-rot | texas-autumn | St. Augustinegrass, bermudagrass | 08-15 01-31? | falling | older-below-65f | | 3 4 5 6 7 8 9 10? | inference
    take-all-root-rot | texas-spring | St. Augustinegrass, bermudagrass | 02-01 06-30? | rising | tamu-spring-55f | | 5 6 7 8 9 10? | late summer by Phytopathology 81:1380; inference
    take-all-root-rot | zoysiagrass | zoysiagrass | 08-15 01-31? | falling | older-below-65f | | 3 4 5 6 7 8 9 10? | inference
    take-all-root-rot | other-grasses | centipedegrass, kikuyugrass, seashore paspalum | 08-15 01-31? | falling | older-below-65f | | 3 4 5 6 7 8 9 10? | inference
"""

# Rules that speak of some grasses only.
GRASSES = {
    ("take-all-root-rot", "stephens-2024-77-86f"): {"hybrid bermudagrass"},
    ("take-all-root-rot", "usga-2025-75-86f"): {"hybrid bermudagrass"},
    ("take-all-root-rot", "nc-accounts-68-86f"): {"hybrid bermudagrass"},
    ("take-all-root-rot", "older-below-65f"): {
        "St. Augustinegrass", "bermudagrass", "centipedegrass", "zoysiagrass", "kikuyugrass",
        "seashore paspalum",
    },
    ("take-all-root-rot", "tamu-spring-55f"): {"St. Augustinegrass", "bermudagrass"},
    ("take-all-root-rot", "tamu-60-65f"): {"St. Augustinegrass", "bermudagrass"},
}  # fmt: skip

# What an application can do late, and once the damage of the season shows.
HELPS = {
    "summer-patch": ("disputed", "disputed"),  # UMass 2022 against UMass 2004
    "take-all-patch": ("not known", "no"),  # a registrant's guide: curative far less effective
    "necrotic-ring-spot": ("not known", "no"),  # SportsTurf 2013; Nebraska
    "spring-dead-spot": ("yes", "no"),  # Acta Hort. 783:535; Butler 2005
    "take-all-root-rot": ("not known", "no"),  # USGA 2025; Plant Dis. 79:945
    "pythium-root-dysfunction": ("yes", "disputed"),  # CSSA abstract P5821
    "pythium-root-rot": ("yes", "yes"),  # cyazofamid also as a curative
    "large-patch": ("yes", "yes"),  # ITSRJ itsrj2016.04.0274: early curative in spring
    "fairy-ring": ("yes", "yes"),  # abstract P34647
    "dead-spot": ("not known", "no"),  # ITSRJ 10:214
}

# Sources that are not the text or the abstract of a publication, and how they were seen instead.
NOT_READ = {
    "trade": {
        "dark-root-infecting-fungi": {"golfdom-water", "minnesota-2016"},
        "fairy-ring": {"gcm-2012", "usga-2021"},
        "large-patch": {"gci", "usga-2015"},
        "necrotic-ring-spot": {"minnesota-2016", "nebraska", "sportsturf-2013"},
        "pythium-root-dysfunction": {"usga-2021"},
        "pythium-root-rot": {"ncstate-2022", "ncstate-advice", "trials-2023"},
        "spring-dead-spot": {"clemson-trial", "hutchens-2021", "ncstate-2024", "vt-2024", "vt-gcm"},
        "summer-patch": {"gci-calcite", "minnesota-2016", "usga-2021"},
        "take-all-patch": {
            "chicago-2018",
            "distributor",
            "registrant",
            "trade-2008",
            "usga-2015",
            "usga-2021",
        },
        "take-all-root-rot": {"nc-accounts", "older-rule", "tamu-handbook", "usga-2025"},
    },
    "second-hand": {
        "necrotic-ring-spot": {"colorado"},
        "take-all-patch": {"secondary"},
    },
    "memory": {
        "spring-dead-spot": {"crahay-1988"},
    },
}
