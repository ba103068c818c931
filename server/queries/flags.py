"""Which open flags are one thing for a person to do: one row on Today, settled together.

Rules:

1. All of one kind that one response raised.
2. What was said beside a form again and again, by one person: a family that says twice that the patient has died is asked once.
3. Where what was said is about one form, only what says the same of it: two shoulders, or two sides, are two things.
"""

from typing import Any

from sqlalchemy import Row, case

from server.models import Flag
from server.models.contact import NOTICE_KINDS

OF_A_FORM = ("said_wrong_side", "said_wrong_date")
# Rules 2 and 3 over flags: notices that agree in all of these.
ONE_NOTICE = (Flag.kind, Flag.patient_id, case((Flag.kind.in_(OF_A_FORM), Flag.timepoint_id)), Flag.true_side)


def one_thing(flag: Flag | Row[*tuple[Any, ...]], flag_id: int) -> tuple[Any, ...]:
    """The same for flags that are one thing to do."""
    if flag.kind in NOTICE_KINDS:
        return flag.kind, flag.patient_id, flag.timepoint_id if flag.kind in OF_A_FORM else None, flag.true_side
    return flag.kind, flag.response_id or -flag_id
