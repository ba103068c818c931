"""Who carries a component, asked of both databases: they differ in how they compare texts."""

import pytest

from server.clinic.recall import Place, Wanted, carriers
from server.models import Component
from tests.clinic.cast import Desk, ada_but
from tests.storehouse import NOW

LABELS = (
    {"model": "Cup_2", "lot": "Ab-12 C"},
    {"model": "Cup 2", "lot": None},
    {"model": "Cup 9", "lot": "AB12D"},
    None,
)


@pytest.mark.parametrize(
    ("wanted", "found"),
    [
        (Wanted(lot="ab12c"), [(1, Place.IN_SITU), (2, Place.LOT_UNKNOWN), (4, Place.NOTHING_RECORDED)]),
        (Wanted(model="CUP_"), [(1, Place.IN_SITU), (4, Place.NOTHING_RECORDED)]),
        (Wanted(model="cup", lot="AB 12 D"), [(3, Place.IN_SITU), (2, Place.LOT_UNKNOWN), (4, Place.NOTHING_RECORDED)]),
        (Wanted(lot=" - "), []),
    ],
    ids=["a lot in other letters", "an underline is itself", "a model and a lot", "nothing is looked for"],
)
def test_carriers_are_found_however_the_label_was_typed(
    desk: Desk, wanted: Wanted, found: list[tuple[int, Place]]
) -> None:
    with desk.store.writing() as session:
        order = {}
        for number, label in enumerate(LABELS, 1):
            patient = desk.enrol(session, ada_but(study_number=f"A-{number}"))
            order[patient.id] = number
            if label is not None:
                operation = patient.shoulders[0].operations[0]
                session.add(Component(put_in_id=operation.id, role="head", made_at=NOW, **label))
        session.flush()
        assert [(order[each.patient.id], each.place) for each in carriers(session, wanted)] == found
