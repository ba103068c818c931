"""Every part of the series page, in its order."""

from collections.abc import Mapping

from server.staff.series.course_part import course_part
from server.staff.series.flow_part import flow_part
from server.staff.series.part import Build

PARTS: Mapping[str, Build] = {
    "flow": flow_part,
    "course": course_part,
}
