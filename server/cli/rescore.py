"""`yearmark rescore`: rebuilds scores from the stored answers and says what changed, why, and what was left alone."""

import sys
from pathlib import Path

import click

from server.cli.opening import Refusal, data_option, opened_clinic, plainly
from server.cli.progress import progress_bar


@click.command()
@data_option
@click.option("--check", is_flag=True, help="Say what would change; write nothing to the database.")
@click.option("--report", type=click.Path(path_type=Path, dir_okay=False), help="A new CSV file: one row a change.")
def rescore(data: Path | None, check: bool, report: Path | None) -> None:
    """Rebuild every score from the stored answers, by this program's definitions and scoring version.

    A score that comes out otherwise is superseded: its old row stays. A second run changes nothing. Safe beside a running server.
    Exit code 1 when something was left alone that somebody can mend.
    """
    from server.cli.rescore_report import MENDABLE, report_file, summary_lines
    from server.intake.rescore import RescoreProblem, count_responses
    from server.intake.rescore import rescore as rescore_all

    runtime = opened_clinic(data)
    with (
        plainly(),
        report_file(report) as write_report,
        progress_bar(count_responses(runtime.store), "Responses") as bar,
    ):
        try:
            summary = rescore_all(
                runtime.store, runtime.keys, runtime.library, now=runtime.now(), check=check, report=write_report,
                progress=lambda batch: bar.update(batch.responses),
            )  # fmt: skip
        except RescoreProblem as problem:
            raise Refusal(str(problem)) from problem
        except KeyboardInterrupt as stop:
            again = "the same command" if report is None else "the same command with another file for the report"
            raise Refusal(f"stopped. What was rebuilt is whole, and {again} goes on from there") from stop
    for line in summary_lines(summary, check=check):
        click.echo(line)
    sys.exit(1 if any(summary.left_alone[why] for why in MENDABLE) else 0)
