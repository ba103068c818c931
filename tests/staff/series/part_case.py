"""What a part of the series page is asked, made by hand: its figure and words need no database."""

from collections.abc import Iterable
from typing import Any, cast

from server.outcomes.series.flow import flow_of
from server.outcomes.series.followed import Followed
from server.outcomes.series.row import Row
from server.outcomes.series.sentence import Sentence
from server.outcomes.series.strip import strip_of
from server.staff.series.asked import Asked
from tests.outcomes.series.followed_case import followings

NO_DATABASE = cast(Any, None)


def asked_of(shoulders: Iterable[Followed], *others: Row, sentence: Sentence | None = None) -> Asked:
    wanted, read = sentence or Sentence(), followings(shoulders, *others)
    flow = flow_of(read.record, wanted)
    strip = strip_of(read, flow.rows_at("meant"), wanted)
    return Asked(wanted, {}, (), {}, NO_DATABASE, read.record, read, flow, strip)
