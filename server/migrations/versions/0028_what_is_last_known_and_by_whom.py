"""a death says by whom it is known, each step of a withdrawal has its day, and tries, messages and sources say what they show"""

import json
from datetime import date

import sqlalchemy as sa
from alembic import op

import server.store.base  # noqa: F401  column types of STRICT tables

revision = "0028"
down_revision = "0027"
branch_labels = None
depends_on = None

STRICT = {"sqlite_strict": True}
END_REASONS = ("died", "withdrew", "transferred", "cancelled", "capacity_lost", "no_follow_up", "taken_back")
OUTCOMES = (
    "sent", "returned", "no_contact", "no_consent", "already_answered", "window_closed", "passed_over", "channel_failed", "ended",
)  # fmt: skip
DEATH_SOURCES = ("relative", "gp", "hospital", "death_register", "certificate", "unknown")
# Operations with which no follow-up begins. What was expected of them until now was told as cancelled surgery.
WITHOUT = (
    "SELECT f.id, f.started_on FROM follow_up f JOIN operation o ON o.id = f.operation_id"
    " WHERE (o.kind IN ('other', 'earlier') OR o.stage = 'first_of_two')"
    " AND (f.ended_on IS NULL OR f.ended_on > f.started_on)"
    " AND (o.cancelled_on IS NULL OR o.cancelled_on > f.started_on)"
)


def upgrade() -> None:
    _patients()
    _known_status()
    op.add_column("contact_attempt", sa.Column("taken_back_at", sa.DateTime(timezone=True), nullable=True))
    with op.batch_alter_table("message", table_kwargs=STRICT) as message:
        message.drop_constraint(op.f("ck_message_outcome"), type_="check")
        message.create_check_constraint(op.f("ck_message_outcome"), _one_of("outcome", OUTCOMES))
    _follow_ups()


def _one_of(column: str, words: tuple[str, ...]) -> str:
    return f"{column} IN ({', '.join(repr(word) for word in words)})"


def _patients() -> None:
    words = (
        ("died_precision", 5, ("day", "month", "year")),
        ("died_source", 20, DEATH_SOURCES),
        ("died_certainty", 12, ("reported", "confirmed", "adjudicated")),
    )
    for column, length, allowed in words:
        check = sa.CheckConstraint(_one_of(column, allowed), name=op.f(f"ck_patient_{column}"))
        op.add_column("patient", sa.Column(column, sa.String(length), check, nullable=True))
    for column in ("records_closed_on", "erasure_asked_on"):
        op.add_column("patient", sa.Column(column, sa.Date(), nullable=True))
    connection = op.get_bind()
    patient = sa.table(
        "patient", sa.column("id"), sa.column("withdrew_on", sa.Date()), sa.column("withdrawal_extent"),
        sa.column("records_closed_on", sa.Date()), sa.column("erasure_asked_on", sa.Date()),
    )  # fmt: skip
    closed = sa.select(patient).where(patient.c.withdrawal_extent.in_(("records", "erasure")))
    for row in connection.execute(closed).all():
        steps = _steps(row.id)
        records = steps.get("records") or steps.get("erasure") or row.withdrew_on
        values = {"records_closed_on": records}
        if row.withdrawal_extent == "erasure":
            values["erasure_asked_on"] = steps.get("erasure") or row.withdrew_on
        connection.execute(sa.update(patient).where(patient.c.id == row.id).values(values))


def _steps(patient_id: int) -> dict[str, date]:
    """By the audit trail, the day of each step of the withdrawal that stands."""
    told = (
        "SELECT action, detail FROM audit_entry WHERE thing = :thing"
        " AND action IN ('patient:withdrew', 'patient:withdrew_taken_back') ORDER BY id"
    )
    steps: dict[str, date] = {}
    for row in op.get_bind().execute(sa.text(told), {"thing": f"patient {patient_id}"}).all():
        if row.action != "patient:withdrew":
            steps.clear()
            continue
        detail = json.loads(row.detail or "{}")
        if detail.get("on") and detail.get("extent"):
            steps[detail["extent"]] = date.fromisoformat(detail["on"])
    return steps


def _known_status() -> None:
    for column in ("examined", "covers"):
        op.add_column("known_status", sa.Column(column, sa.Boolean(), nullable=True))


def _follow_ups() -> None:
    with op.batch_alter_table("follow_up", table_kwargs=STRICT) as follow_up:
        follow_up.drop_constraint(op.f("ck_follow_up_end_reason"), type_="check")
        follow_up.create_check_constraint(op.f("ck_follow_up_end_reason"), _one_of("end_reason", END_REASONS))
    connection = op.get_bind()
    for row in connection.execute(sa.text(WITHOUT)).all():
        values = {"id": row.id, "day": row.started_on}
        ended = "UPDATE follow_up SET ended_on = :day, end_reason = 'no_follow_up' WHERE id = :id"
        connection.execute(sa.text(ended), values)
        # The next pass over statuses writes down what this changes.
        rows = (
            "UPDATE timepoint SET not_expected_on = :day, not_expected_reason = 'no_follow_up', done_at = NULL,"
            " look_again_on = opens_on WHERE follow_up_id = :id"
        )
        connection.execute(sa.text(rows), values)


def downgrade() -> None:
    raise RuntimeError("Yearmark goes back by restoring a backup, not by undoing a migration")
