"""Every part of the series page, in its order."""

from collections.abc import Mapping

from server.staff.series.acceptable_part import acceptable_part
from server.staff.series.course_part import course_part
from server.staff.series.flow_part import flow_part
from server.staff.series.groups_part import groups_part
from server.staff.series.part import Build
from server.staff.series.preference_part import preference_part
from server.staff.series.recovery_part import recovery_part
from server.staff.series.silence_part import silence_part
from server.staff.series.survival_part import survival_part

PARTS: Mapping[str, Build] = {
    "flow": flow_part,
    "course": course_part,
    "acceptable": acceptable_part,
    "recovery": recovery_part,
    "survival": survival_part,
    "preference": preference_part,
    "silence": silence_part,
    "groups": groups_part,
}
