"""The table of the benchmarks says of each figure whether it keeps its bound."""

from tests.benchmarks.__main__ import benchmarks, main
from tests.benchmarks.table import Row, table


def test_a_figure_is_held_to_its_own_bound_and_a_rate_to_its_floor() -> None:
    assert Row("paint", 700, 600, "ms", at_most=1000).ok is True
    assert Row("paint", 1001, 600, "ms", at_most=1000).ok is False
    assert Row("ingest", 60, 100, "forms/s", at_least=0.5).ok is True
    assert Row("ingest", 40, 100, "forms/s", at_least=0.5).ok is False
    assert Row("ingest", 40, None, "forms/s", at_least=0.5).ok is False
    assert Row("size", 40, None, "kB").ok is None


def test_figures_stand_under_each_other_with_ratio_bound_and_verdict() -> None:
    said = table([Row("first paint", 708.4, 616, "ms", at_most=1000), Row("script", 30.5, None, "kB", at_most=30)])
    assert said.splitlines() == [
        "name         measured   floor  ratio  wanted            ok",
        "first paint    708 ms  616 ms   1.15  at most 1,000 ms  yes",
        "script        30.5 kB                 at most 30 kB     NO",
    ]


def test_every_benchmark_is_gathered_and_an_unknown_name_is_refused() -> None:
    assert {"ingest", "phone", "worklist"} <= {name for name, _measure in benchmarks()}
    assert main(["no-such-benchmark"]) == 2
