"""Life tables as a clinic installs them: what is read, and what is refused with the line that it stands in."""

import pytest

from server.outcomes.arithmetic.life_table import read_life_table
from server.outcomes.arithmetic.table import TableProblem
from tests.outcomes.arithmetic.sets import DATA

QX = "sex,age,qx\nfemale,60,0.01\nfemale,61,0.02\nmale,60,0.03\nmale,61,1\n"


def test_a_probability_is_read_as_the_rate_that_brings_it_in_a_year() -> None:
    table = read_life_table(QX)
    assert table.rate("female", 60, 2015) == pytest.approx(0.010050336)  # -log(0.99)
    assert table.rate("male", 61, 2015) == 10.0
    assert (table.first_age, table.last_age, table.years) == (60, 61, (0,))


def test_an_age_above_the_last_goes_by_the_last_and_one_below_the_first_by_none() -> None:
    table = read_life_table(QX)
    assert table.rate("female", 95, 2015) == table.rate("female", 61, 2015)
    assert (table.rate("female", 59, 2015), table.rate("unknown", 60, 2015)) == (None, None)


def test_a_year_that_is_not_there_goes_by_the_nearest() -> None:
    rows = [
        f"{year},{sex},70,{rate}"
        for year, rate in ((2000, 0.03), (2010, 0.02), (2060, 0.01))
        for sex in ("female", "male")
    ]
    table = read_life_table("year,sex,age,rate\n" + "\n".join(rows))
    found = {year: table.rate("female", 70, year) for year in (1990, 2004, 2005, 2006, 2030, 2035, 2036)}
    assert found == {1990: 0.03, 2004: 0.03, 2005: 0.03, 2006: 0.02, 2030: 0.02, 2035: 0.02, 2036: 0.01}


def test_the_ends_of_ages_and_years_and_of_rates_are_taken() -> None:
    rows = [f"{year},{sex},{age},10" for year in (1800, 2199) for sex in ("female", "male") for age in range(131)]
    table = read_life_table("year,sex,age,rate\n" + "\n".join(rows))
    assert (table.years, table.first_age, table.last_age) == ((1800, 2199), 0, 130)
    assert table.rate("male", 130, 2199) == 10.0


def test_nobody_needs_to_die_at_every_age() -> None:
    assert read_life_table(QX.replace("0.01", "0")).rate("female", 60, 2015) == 0


def test_columns_stand_in_any_order_and_a_mark_of_the_encoding_is_no_sign() -> None:
    assert read_life_table("\ufeffqx,age,sex\n0.1,50,Female\n0.2,50,MALE\n").rate("male", 50, 2020) is not None


def test_a_published_table_is_read_whole() -> None:
    table = read_life_table((DATA / "us_life_table.csv").read_text(encoding="utf-8"))
    assert (table.years, table.first_age, table.last_age) == (tuple(range(2005, 2015)), 60, 80)
    assert table.rate("female", 61, 2005) == 0.008080394


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("", "it is empty"),
        ("sex,age\nmale,60\n", "it names neither"),
        ("sex,age,qx,rate\nmale,60,0.1,0.1\n", "it names both"),
        ("sex,age,qx,lx\nmale,60,0.1,99\n", "names a column 'lx' that is not known"),
        ("sex;age;qx\nmale;60;0,1\n", "separated by semicolons"),
        ("sex,age,qx\n", "has no row under them"),
        ("sex,age,qx\nF,60,0.1\n", "line 2: sex is 'F'; it must be female or male"),
        ("sex,age,qx\nmale,60.5,0.1\n", "line 2: age is '60.5'; it must be a whole number from 0 to 130"),
        ("sex,age,qx\nmale,131,0.1\n", "line 2: age is '131'"),
        ("sex,age,qx\nmale,\u0666\u0660,0.1\n", r"age is '\u0666\u0660'"),  # 60, in the digits of Arabic
        (f"sex,age,qx\nmale,{'9' * 5000},0.1\n", "line 2: age is '999"),
        (
            "sex,age,qx\nmale,60,1.5\n",
            "line 2: qx is 1.5; a probability is at most 1, so a table per 1,000 has to be divided",
        ),
        ("sex,age,qx\nmale,60,12\n", "line 2: qx is 12; a probability"),
        (
            "sex,age,rate\nmale,60,12\n",
            "line 2: rate is 12; deaths per person-year, so a table per 1,000 has to be divided",
        ),
        ("sex,age,qx\nmale,60,-0.1\n", "line 2: qx is '-0.1'"),
        ("sex,age,qx\nmale,60,\n", "line 2: qx is ''; it must be a number of 0 or more, with a decimal point"),
        ("sex,age,qx\nmale,60,nan\n", "line 2: qx is 'nan'"),
        ("sex,age,qx\nmale,60,0.1\nmale,60,0.2\n", "line 3: men have age 60 a second time"),
        ("year,sex,age,qx\n205,male,60,0.1\n", "line 2: year is '205'; it must be a whole number from 1800 to 2199"),
        ("year,sex,age,qx\n1799,male,60,0.1\n", "line 2: year is '1799'"),
        ("year,sex,age,qx\n2200,male,60,0.1\n", "line 2: year is '2200'"),
        ("year,sex,age,qx\n2010,male,60,0.1\n2010,male,60,0.1\n", "men of 2010 have age 60 a second time"),
        ("sex,age,qx\nmale,60,0.1\n", "women have no age 60; every one needs each age from 60 to 60"),
        ("sex,age,qx\nfemale,1,.1\nfemale,2,.1\nfemale,3,.1\nmale,1,.1\nmale,3,.1\n", "men have no age 2"),
        (QX + "male,62,0.2\n", "men have ages 60 to 62, others 60 to 61; all need the same"),
        (QX.replace("female,60,0.01\n", ""), "men have ages 60 to 61, others 61 to 61"),
        ("sex,age,qx\nmale,60,0\nfemale,60,0\n", "nobody dies in this table"),
    ],
)
def test_what_is_no_life_table_is_refused_with_its_line(text: str, says: str) -> None:
    with pytest.raises(TableProblem) as refused:
        read_life_table(text)
    assert says in str(refused.value)


@pytest.mark.parametrize("column", ["sex", "age", "qx"])
def test_of_a_long_cell_the_refusal_says_the_beginning(column: str) -> None:
    cells = {"sex": "male", "age": "60", "qx": "0.1", column: "x" * 5000}
    with pytest.raises(TableProblem) as refused:
        read_life_table("sex,age,qx\n" + ",".join(cells.values()))
    assert f"line 2: {column} is '{'x' * 39}; it must be" in str(refused.value)
