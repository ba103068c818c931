"""Whom each source's thresholds were found in, by source: what decides which of them is used, and is printed beside it.

A row is (population, treatment, implants, holds_hemiarthroplasty, anchor, shortest follow-up in days, confidence in percent).
Written down apart from the definitions, so that neither can change alone. None: the source that was read does not say.
"""
# ruff: noqa: E501  populations as they are told

People = tuple[str, str, tuple[str, ...], bool | None, str, int | None, int | None]

PEOPLE: dict[str, list[People]] = {
    "Chamberlain et al., J Shoulder Elb Arthroplast 2017;1, doi 10.1177/2471549217720042": [
        (
            "anatomic total and reverse arthroplasty",
            "arthroplasty",
            (),
            False,
            "not stated in what was read",
            730,
            None,
        ),
    ],
    "Christiansen et al., J Orthop Sports Phys Ther 2015;45:620-625": [
        ("subacromial decompression", "other", (), False, "not stated in what was read", 91, None),
    ],
    "Clin Orthop Relat Res 2016, PMC5085930": [
        (
            "anatomic total and reverse arthroplasty",
            "arthroplasty",
            (),
            False,
            "satisfaction, the lowest of four anchors",
            730,
            None,
        ),
        (
            "anatomic total and reverse arthroplasty",
            "arthroplasty",
            (),
            False,
            "satisfaction, the highest of four anchors",
            730,
            None,
        ),
    ],
    "Cvetanovich et al., J Shoulder Elbow Surg; year not confirmed": [
        ("rotator cuff repair", "other", (), False, "not stated in what was read", 365, None),
    ],
    "Fang et al., Arthritis Care Res 2024;76:895-903, doi 10.1002/acr.25304": [
        (
            "primary total shoulder replacement, a national joint registry",
            "arthroplasty",
            (),
            None,
            "improvement as the patient saw it; mean change",
            183,
            None,
        ),
        (
            "primary total shoulder replacement, a national joint registry",
            "arthroplasty",
            (),
            None,
            "improvement as the patient saw it; predictive model",
            183,
            None,
        ),
    ],
    "Franchignoni et al., J Orthop Sports Phys Ther 2014;44:30-39": [
        (
            "upper-limb disorders, before and after physiotherapy",
            "other",
            (),
            False,
            "none: measurement error",
            None,
            90,
        ),
        (
            "upper-limb disorders, before and after physiotherapy",
            "other",
            (),
            False,
            "global rating of change on seven levels, with measurement error",
            None,
            None,
        ),
    ],
    "J Orthop Surg Res 2013;8:40, doi 10.1186/1749-799X-8-40": [
        ("mixed shoulder clinic", "mixed", (), None, "none: measurement error", 14, None),
        (
            "mixed shoulder clinic",
            "mixed",
            (),
            None,
            "the patient's own ranking of change in seven steps; mean change of the slightly improved",
            183,
            None,
        ),
    ],
    "J Shoulder Elbow Surg 2016;25:262-268, doi 10.1016/j.jse.2015.07.020": [
        ("reverse arthroplasty", "arthroplasty", ("reverse",), False, "not stated in what was read", 365, None),
    ],
    "J Shoulder Elbow Surg 2021;30:e137-e146, doi 10.1016/j.jse.2020.07.011": [
        (
            "anatomic or reverse total arthroplasty",
            "arthroplasty",
            (),
            False,
            "none: from the distribution of scores",
            730,
            None,
        ),
    ],
    "J Shoulder Elbow Surg 2022;31(8):1640-1646, doi 10.1016/j.jse.2022.02.010, PMID 35318157": [
        (
            "shoulder arthroplasty, all types: 368 anatomic total, 330 ream-and-run, 80 reverse, 53 cuff tear arthropathy arthroplasty, 56 hemiarthroplasty",
            "arthroplasty",
            (),
            True,
            "satisfaction",
            730,
            None,
        ),
        ("anatomic total arthroplasty", "arthroplasty", ("anatomic_total",), False, "satisfaction", 730, None),
        ("ream-and-run arthroplasty (a hemiarthroplasty)", "arthroplasty", (), True, "satisfaction", 730, None),
        ("reverse arthroplasty", "arthroplasty", ("reverse",), False, "satisfaction", 730, None),
    ],
    "Kanto et al., BMC Med Res Methodol 2021, doi 10.1186/s12874-021-01241-w": [
        ("subacromial pain", "other", (), False, "not stated in what was read", None, None),
        ("subacromial pain", "other", (), False, "ROC curve; which anchor is not stated in what was read", None, None),
    ],
    "Kim et al., Am J Sports Med 2020;48:2650-2659, doi 10.1177/0363546520943862, PMID 32813985": [
        (
            "rotator cuff repair",
            "other",
            (),
            False,
            "anchor questions; which they were is not stated in what was read",
            365,
            None,
        ),
    ],
    "Kukkonen et al., J Shoulder Elbow Surg 2013;22:1650-1655, doi 10.1016/j.jse.2013.05.002": [
        (
            "arthroscopically treated cuff tears",
            "other",
            (),
            False,
            "better or worse than before the operation; mean change",
            91,
            None,
        ),
    ],
    "Larsen et al., Arch Orthop Trauma Surg 2025, PMC11829846": [
        (
            "total shoulder arthroplasty for osteoarthritis or cuff tear arthropathy",
            "arthroplasty",
            (),
            False,
            "the patient's global impression of change; adjusted predictive model",
            84,
            None,
        ),
    ],
    "Leggin et al., J Orthop Sports Phys Ther 2006;36:138-151, doi 10.2519/jospt.2006.36.3.138": [
        ("shoulder disorders, outpatient physical therapy", "other", (), None, "none: measurement error", 3, 90),
        ("not stated in what was read", "not_stated", (), None, "none: measurement error", None, None),
    ],
    "Michener, McClure, Sennett, J Shoulder Elbow Surg 2002;11:587-594, doi 10.1067/mse.2002.127096": [
        ("people in physiotherapy for the shoulder", "other", (), None, "none: measurement error", None, None),
        ("people in physiotherapy for the shoulder", "other", (), None, "none: measurement error", None, 90),
        ("people in physiotherapy for the shoulder", "other", (), None, "not stated in what was read", None, None),
    ],
    "Mintken et al., J Shoulder Elbow Surg 2009;18:920-926, doi 10.1016/j.jse.2008.12.015": [
        (
            "shoulder pain, physical therapy",
            "other",
            (),
            None,
            "global rating of change: improved or stable",
            None,
            None,
        ),
    ],
    "National Institute for Health and Care Excellence, nice.org.uk/consultations/1789/2": [
        ("not stated in what was read", "not_stated", (), None, "not stated in what was read", None, None),
    ],
    "PMC6994807": [
        (
            "rotator cuff repair",
            "other",
            (),
            False,
            "satisfaction and fulfilled expectation; linear regression",
            365,
            None,
        ),
        (
            "rotator cuff repair",
            "other",
            (),
            False,
            "satisfaction and fulfilled expectation; linear regression",
            730,
            None,
        ),
    ],
    "Roy, MacDermid, Faber et al.; journal and year not confirmed": [
        (
            "shoulder arthroplasty; types not stated in what was read",
            "arthroplasty",
            (),
            None,
            "ROC curve; which anchor is not stated in what was read",
            183,
            None,
        ),
    ],
    "Roy, MacDermid, Woodhouse, Arthritis Rheum 2009;61:623-632, doi 10.1002/art.24396": [
        (
            "a review of published studies; their populations are not stated in what was read",
            "not_stated",
            (),
            None,
            "none: measurement error",
            None,
            None,
        ),
        (
            "a review of published studies; their populations are not stated in what was read",
            "not_stated",
            (),
            None,
            "not stated in what was read",
            None,
            None,
        ),
        (
            "a review of published studies; their populations are not stated in what was read",
            "not_stated",
            (),
            None,
            "the lowest value of the review",
            None,
            None,
        ),
        (
            "a review of published studies; their populations are not stated in what was read",
            "not_stated",
            (),
            None,
            "the highest value of the review",
            None,
            None,
        ),
    ],
    "Rysstad et al. 2017, doi 10.1186/s12891-017-1616-z": [
        ("subacromial pain", "other", (), False, "none: measurement error", None, None),
        ("subacromial pain", "other", (), False, "not stated in what was read", None, None),
    ],
    "Rysstad et al. 2020, doi 10.1186/s12891-020-03289-z": [
        (
            "shoulder pain, a hospital outpatient clinic",
            "other",
            (),
            None,
            "the lowest of two anchor-based values",
            91,
            None,
        ),
        (
            "shoulder pain, a hospital outpatient clinic",
            "other",
            (),
            None,
            "the highest of two anchor-based values",
            91,
            None,
        ),
    ],
    "Semin Arthroplasty JSES 2021;31:159-170": [
        (
            "93 anatomic total and 111 reverse arthroplasties",
            "arthroplasty",
            (),
            False,
            "not stated in what was read",
            730,
            None,
        ),
    ],
    "Simovitch et al., J Shoulder Elbow Surg 2018;27(2):298-305, doi 10.1016/j.jse.2017.09.013": [
        (
            "anatomic total and reverse arthroplasty",
            "arthroplasty",
            (),
            False,
            "anchor-based; which anchor is not stated in what was read",
            730,
            None,
        ),
    ],
    "Simovitch et al., J Shoulder Elbow Surg 2018;27(5):903-911, doi 10.1016/j.jse.2017.12.014": [
        (
            "shoulder arthroplasty; types not stated in what was read",
            "arthroplasty",
            (),
            None,
            "anchor-based; which anchor is not stated in what was read",
            730,
            None,
        ),
    ],
    "Tashjian et al. 2009, doi 10.1016/j.jse.2009.03.021": [
        ("rotator cuff disease treated without surgery", "other", (), False, "not stated in what was read", 42, None),
    ],
    "Zhou et al., Arthroscopy 2022, doi 10.1016/j.arthro.2022.12.027": [
        (
            "reverse arthroplasty",
            "arthroplasty",
            ("reverse",),
            False,
            "satisfaction and fulfilled expectation; linear regression",
            91,
            None,
        ),
        (
            "reverse arthroplasty",
            "arthroplasty",
            ("reverse",),
            False,
            "satisfaction and fulfilled expectation; linear regression",
            183,
            None,
        ),
        (
            "reverse arthroplasty",
            "arthroplasty",
            ("reverse",),
            False,
            "satisfaction and fulfilled expectation; linear regression",
            365,
            None,
        ),
    ],
    "doi 10.1186/1471-2474-15-211": [
        ("not stated in what was read", "not_stated", (), None, "none: measurement error", None, None),
    ],
    "doi 10.1186/s12891-021-04483-3": [
        ("SLAP lesions", "other", (), False, "not stated in what was read", 730, None),
    ],
    "doi 10.3390/ijerph192114015": [
        (
            "not stated in what was read",
            "not_stated",
            (),
            None,
            "anchor-based; which anchor is not stated in what was read",
            None,
            None,
        ),
        ("not stated in what was read", "not_stated", (), None, "none: from the distribution of scores", None, None),
    ],
}
