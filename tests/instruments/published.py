"""Every threshold and norm that was read in a source, by source. Written from the sources' list, not from the definitions.

A row is (instrument, scale, kind, value, as printed after it, n); a norm is (instrument, scale, mean, standard deviation, n).
None: the source that was read does not say. Left out on purpose: SOURCE.md of each instrument says what and why.
"""

Row = tuple[str, str, str, float, float | None, int | None]
NormRow = tuple[str, str, float, float | None, int | None]

CHANGE, BENEFIT, ERROR, STATE = "mcid", "scb", "detectable_change", "pass"

THRESHOLDS: dict[str, list[Row]] = {
    "Roy, MacDermid, Faber et al.; journal and year not confirmed": [("sst", "total", CHANGE, 3.0, None, 120)],
    "J Shoulder Elbow Surg 2022;31(8):1640-1646, doi 10.1016/j.jse.2022.02.010, PMID 35318157": [
        ("sst", "total", CHANGE, 2.3, None, 887),
        ("sst", "total", CHANGE, 1.6, None, 368),
        ("sst", "total", CHANGE, 2.6, None, 330),
        ("sst", "total", CHANGE, 3.7, None, 80),
    ],
    "Simovitch et al., J Shoulder Elbow Surg 2018;27(2):298-305, doi 10.1016/j.jse.2017.09.013": [
        ("sst", "total", CHANGE, 1.5, 0.3, 466),
        ("ases", "total", CHANGE, 13.6, 2.3, 466),
        ("constant", "total", CHANGE, 5.7, 1.9, 466),
        ("ucla", "total", CHANGE, 8.7, 0.6, 466),
        ("pain", "pain", CHANGE, 1.6, 0.3, 466),
    ],
    "Simovitch et al., J Shoulder Elbow Surg 2018;27(5):903-911, doi 10.1016/j.jse.2017.12.014": [
        ("sst", "total", BENEFIT, 3.4, 0.3, 1568),
        ("ases", "total", BENEFIT, 31.5, 2.0, 1568),
        ("constant", "total", BENEFIT, 19.1, 1.7, 1568),
        ("ucla", "total", BENEFIT, 12.6, 0.5, 1568),
        ("pain", "pain", BENEFIT, 3.2, 0.3, 1568),
    ],
    "J Orthop Surg Res 2013;8:40, doi 10.1186/1749-799X-8-40": [
        ("sst", "total", ERROR, 2.8, None, None),
        ("sst", "total", CHANGE, 2.2, None, 164),
        ("dash", "total", ERROR, 16.3, None, None),
        ("dash", "total", CHANGE, 12.4, None, 164),
        ("quickdash", "total", ERROR, 17.1, None, None),
        ("quickdash", "total", CHANGE, 13.4, None, 164),
        ("oss", "total", ERROR, 6.0, None, None),
        ("oss", "total", CHANGE, 6.0, None, 164),
    ],
    "Kanto et al., BMC Med Res Methodol 2021, doi 10.1186/s12874-021-01241-w": [
        ("sst", "total", CHANGE, 1.5, None, 193),
        ("sst", "total", STATE, 11, None, 193),
        ("constant", "total", CHANGE, 10, None, 193),
        ("constant", "total", STATE, 80, None, 193),
    ],
    "Chamberlain et al., J Shoulder Elb Arthroplast 2017;1, doi 10.1177/2471549217720042": [
        ("sst", "total", STATE, 8.4, None, 326),
        ("ases", "total", STATE, 76, None, 326),
        ("pain", "pain", STATE, 1.5, None, 326),
    ],
    "Michener, McClure, Sennett, J Shoulder Elbow Surg 2002;11:587-594, doi 10.1067/mse.2002.127096": [
        ("ases", "total", ERROR, 9.7, None, 63),
        ("ases", "total", ERROR, 16, None, 63),
        ("ases", "total", CHANGE, 6.4, None, 63),
    ],
    "Roy, MacDermid, Woodhouse, Arthritis Rheum 2009;61:623-632, doi 10.1002/art.24396": [
        ("ases", "total", ERROR, 9.4, None, None),
        ("ases", "total", CHANGE, 6.4, None, None),
        ("spadi", "total", ERROR, 18, None, None),
        ("spadi", "total", CHANGE, 8, None, None),
        ("spadi", "total", CHANGE, 13, None, None),
        ("dash", "total", ERROR, 10.5, None, None),
        ("dash", "total", CHANGE, 10.2, None, None),
    ],
    "Clin Orthop Relat Res 2016, PMC5085930": [
        ("ases", "total", CHANGE, 6.3, None, 490),
        ("ases", "total", CHANGE, 13.5, None, 490),
    ],
    "Semin Arthroplasty JSES 2021;31:159-170": [
        ("ases", "total", STATE, 81.7, None, 204),
        ("sane", "sane", STATE, 85.7, None, 204),
    ],
    "Cvetanovich et al., J Shoulder Elbow Surg; year not confirmed": [
        ("ases", "total", CHANGE, 11.1, None, 288),
        ("ases", "total", BENEFIT, 17.5, None, 288),
        ("ases", "total", STATE, 86.7, None, 288),
        ("sane", "sane", CHANGE, 16.9, None, 288),
        ("sane", "sane", BENEFIT, 29.8, None, 288),
        ("sane", "sane", STATE, 82.5, None, 288),
    ],
    "Kim et al., Am J Sports Med 2020;48:2650-2659, doi 10.1177/0363546520943862, PMID 32813985": [
        ("ases", "total", CHANGE, 21.0, None, 82),
        ("ases", "total", BENEFIT, 26.0, None, 82),
        ("ases", "total", STATE, 78.0, None, 82),
        ("sane", "sane", CHANGE, 13, None, 82),
        ("sane", "sane", BENEFIT, 20, None, 82),
        ("sane", "sane", STATE, 71, None, 82),
        ("pain", "pain", CHANGE, 1.5, None, 82),
        ("pain", "pain", BENEFIT, 2.5, None, 82),
        ("pain", "pain", STATE, 1.7, None, 82),
        ("ucla", "total", CHANGE, 6.0, None, 82),
        ("ucla", "total", BENEFIT, 8.0, None, 82),
        ("ucla", "total", STATE, 23.0, None, 82),
    ],
    "National Institute for Health and Care Excellence, nice.org.uk/consultations/1789/2": [
        ("ases", "total", CHANGE, 17, None, None),
        ("worc", "raw", CHANGE, 245, None, None),
    ],
    "Franchignoni et al., J Orthop Sports Phys Ther 2014;44:30-39": [
        ("dash", "total", ERROR, 10.81, None, 255),
        ("dash", "total", CHANGE, 10.83, None, 255),
        ("quickdash", "total", ERROR, 12.85, None, 255),
        ("quickdash", "total", CHANGE, 15.91, None, 255),
    ],
    "Mintken et al., J Shoulder Elbow Surg 2009;18:920-926, doi 10.1016/j.jse.2008.12.015": [
        ("quickdash", "total", CHANGE, 8.0, None, 101),
        ("pain", "pain", CHANGE, 1.1, None, 101),
    ],
    "Rysstad et al. 2020, doi 10.1186/s12891-020-03289-z": [
        ("quickdash", "total", CHANGE, 10.8, None, 117),
        ("quickdash", "total", CHANGE, 13.6, None, 117),
    ],
    "Rysstad et al. 2017, doi 10.1186/s12891-017-1616-z": [
        ("dash", "total", ERROR, 11.8, None, 50),
        ("dash", "total", CHANGE, 4.4, None, 50),
    ],
    "Larsen et al., Arch Orthop Trauma Surg 2025, PMC11829846": [
        ("dash", "total", CHANGE, 7.2, None, 104),
        ("woos", "total", CHANGE, 13.3, None, 104),
    ],
    "Christiansen et al., J Orthop Sports Phys Ther 2015;45:620-625": [
        ("oss", "total", CHANGE, 6, None, 112),
        ("constant", "total", CHANGE, 11, None, 112),
    ],
    "Fang et al., Arthritis Care Res 2024;76:895-903, doi 10.1002/acr.25304": [
        ("oss", "total", CHANGE, 6.50, None, 1117),
        ("oss", "total", CHANGE, 8.42, None, 1117),
    ],
    "PMC6994807": [
        ("oss", "total", CHANGE, 3.3, None, 306),
        ("oss", "total", CHANGE, 2.7, None, 306),
        ("constant", "total", CHANGE, 6.7, None, 306),
        ("constant", "total", CHANGE, 6.3, None, 306),
        ("ucla", "total", CHANGE, 3.0, None, 306),
        ("ucla", "total", CHANGE, 2.9, None, 306),
    ],
    "Zhou et al., Arthroscopy 2022, doi 10.1016/j.arthro.2022.12.027": [
        ("oss", "total", CHANGE, 6.9, None, 131),
        ("oss", "total", CHANGE, 4.7, None, 131),
        ("oss", "total", CHANGE, 6.6, None, 131),
        ("constant", "total", CHANGE, 7.2, None, 131),
        ("constant", "total", CHANGE, 6.6, None, 131),
        ("constant", "total", CHANGE, 9.3, None, 131),
        ("ucla", "total", CHANGE, 3.3, None, 131),
        ("ucla", "total", CHANGE, 2.4, None, 131),
        ("ucla", "total", CHANGE, 2.9, None, 131),
    ],
    "doi 10.1186/1471-2474-15-211": [("wosi", "total", ERROR, 23, None, None)],
    "doi 10.3390/ijerph192114015": [
        ("wosi", "raw", CHANGE, 126.43, None, None),
        ("wosi", "raw", CHANGE, 174.05, None, None),
    ],
    "doi 10.1186/s12891-021-04483-3": [("wosi", "raw", CHANGE, 331, None, None)],
    "Kukkonen et al., J Shoulder Elbow Surg 2013;22:1650-1655, doi 10.1016/j.jse.2013.05.002": [
        ("constant", "total", CHANGE, 10.4, None, 802),
    ],
    "J Shoulder Elbow Surg 2016;25:262-268, doi 10.1016/j.jse.2015.07.020": [
        ("constant", "total", CHANGE, 8, None, 60)
    ],
    "J Shoulder Elbow Surg 2021;30:e137-e146, doi 10.1016/j.jse.2020.07.011": [
        ("sane", "sane", CHANGE, 14.9, None, 153)
    ],
    "Tashjian et al. 2009, doi 10.1016/j.jse.2009.03.021": [
        ("pain", "pain", CHANGE, 1.4, None, 81),
        ("pain", "pain", STATE, 3, None, 81),
    ],
    "Leggin et al., J Orthop Sports Phys Ther 2006;36:138-151, doi 10.2519/jospt.2006.36.3.138": [
        ("penn", "total", ERROR, 12.1, None, 40),
        ("penn", "function", ERROR, 8.6, None, None),
    ],
}

# The limits that a source prints around a value, by (instrument, kind, value).
LIMITS: dict[tuple[str, str, float], tuple[float, float]] = {
    ("woos", CHANGE, 13.3): (-6.2, 23.3),  # Larsen and others: 104 of 231 people
    ("dash", CHANGE, 7.2): (1.7, 12.8),
    ("oss", CHANGE, 6.5): (4.41, 8.61),  # Fang and others
    ("oss", CHANGE, 8.42): (5.68, 12.23),
    ("constant", CHANGE, 6.7): (4.5, 8.9),  # isakos.com/GlobalLink/Abstract/3316
    ("ucla", CHANGE, 3.0): (2.4, 3.7),
    ("oss", CHANGE, 3.3): (2.1, 4.6),
    ("constant", CHANGE, 6.3): (3.6, 9.1),
    ("ucla", CHANGE, 2.9): (2.0, 3.7),  # after 24 months; not the same value after reverse arthroplasty
    ("oss", CHANGE, 2.7): (2.1, 3.4),
}
# Worked out from the spread of scores, as their sources say: J Shoulder Elbow Surg 2021;30:e137, doi 10.3390/ijerph192114015.
FROM_THE_SPREAD = {("sane", CHANGE, 14.9), ("wosi", CHANGE, 174.05)}

NORMS: dict[str, list[NormRow]] = {
    "J Shoulder Elbow Surg 2009;18(3):424-428, doi 10.1016/j.jse.2008.10.009": [
        ("sst", "total", 11.79, 0.60, 192),
        ("dash", "total", 1.85, 5.99, 192),
    ],
    "Clement and Court-Brown 2014, doi 10.4103/0973-6042.131849": [
        ("oss", "old", 18.8, 5.4, None),
        ("oss", "old", 16.3, 4.5, None),
    ],
    "Younis et al. 2011, doi 10.1308/003588411X13165261994193": [("oss", "old", 15.3, None, None)],
    "Gahlot et al., Clin Shoulder Elb 2022;25:274-281, doi 10.5397/cise.2022.00864": [
        ("constant", "total", 84.6, 2.9, 248),
        ("constant", "total", 86.1, 3.0, None),
        ("constant", "total", 81.8, 2.9, None),
    ],
    "Lopiz et al. 2024, doi 10.1016/j.jse.2024.09.031": [
        ("constant", "total", 88.9, 10.9, 505),
        ("constant", "total", 99.2, 3.0, None),
        ("constant", "total", 75.3, 8.8, None),
    ],
}

# Why each instrument can or cannot be sent. `usable`: what a score depends on was read in a source, and every topic somewhere.
STATUS = {
    "sst": "usable",
    "ases": "usable",
    "spadi": "usable",
    "pain": "usable",
    "sane": "usable",
    "pass": "usable",
    "global-change": "usable",
    "satisfaction": "usable",
    "since": "usable",
    "early": "usable",
    "return": "usable",
    "preference": "usable",
    "dash": "needs_permission",
    "quickdash": "needs_permission",
    "oss": "needs_permission",
    "woos": "unverified",
    "worc": "unverified",
    "wosi": "unverified",
    "constant": "unverified",
    "ucla": "unverified",
    "penn": "unverified",
    "promis-global": "unverified",
}
