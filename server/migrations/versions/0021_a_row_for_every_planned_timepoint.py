"""a row for every planned timepoint: who was asked, which clock asks, and no end by a revision"""

import sqlalchemy as sa
from alembic import op

import server.store.base  # noqa: F401  column types of STRICT tables

revision = "0021"
down_revision = "0020"
branch_labels = None
depends_on = None

BIG = sa.BigInteger().with_variant(sa.Integer(), "sqlite")
UNDONE = (
    "opens_on", "due_on", "closes_on", "anchor_on", "ladder_exhausted_on", "not_expected_on", "done_at", "withheld_on", "last_try",
    "again_on", "asked_on", "carried_by_id",
)  # fmt: skip
# Of an instant, its day in UTC: the calendar of the clinic would differ by one day at most.
DAY = {"sqlite": "substr({}, 1, 10)", "postgresql": "CAST({} AS DATE)"}
ASKED = """
    UPDATE timepoint SET asked_on = (SELECT MIN(asked.on_day) FROM (
        SELECT {sent} AS on_day FROM message m WHERE m.timepoint_id = timepoint.id AND m.outcome = 'sent'
        UNION ALL
        SELECT {tried} FROM contact_attempt a WHERE a.patient_id = timepoint.patient_id
            AND (a.timepoint_id = timepoint.id OR a.timepoint_id IS NULL)
            AND (a.result IN ('reached', 'promised', 'declined', 'left_message') OR (a.channel = 'letter' AND a.result <> 'wrong_number'))
        UNION ALL
        SELECT {fetched} FROM gate_fetch f JOIN link l ON l.lookup_hash = f.lookup_hash
            WHERE l.patient_id = timepoint.patient_id AND timepoint.withheld_on IS NULL
    ) asked WHERE asked.on_day >= timepoint.opens_on AND (timepoint.closes_on IS NULL OR asked.on_day <= timepoint.closes_on))
"""


def upgrade() -> None:
    _columns()
    _facts()
    _ends()
    # The next daily pass looks at them again and writes what has changed as corrected.
    op.execute(
        "UPDATE timepoint SET done_at = NULL, look_again_on = opens_on WHERE done_at IS NOT NULL"
        " AND ((answered_on IS NULL AND asked_on IS NULL) OR window_state = 'recalled')"
    )
    for column in ("status_before", "status_after"):
        op.execute(f"UPDATE transition SET {column} = 'never_asked' WHERE {column} = 'withheld'")


def _columns() -> None:
    op.add_column("follow_up", sa.Column("look_ahead_on", sa.Date(), nullable=True))
    op.drop_index("ix_timepoint_undone", table_name="timepoint")
    with op.batch_alter_table("timepoint", table_kwargs={"sqlite_strict": True}) as timepoint:
        timepoint.add_column(sa.Column("historical", sa.Boolean(), server_default=sa.false(), nullable=False))
        timepoint.add_column(sa.Column("asked_on", sa.Date(), nullable=True))
        timepoint.drop_column("withheld_unasked")
        for name in ("carried_by_id", "answer_from_id"):
            timepoint.add_column(sa.Column(name, BIG, nullable=True))
            timepoint.create_foreign_key(op.f(f"fk_timepoint_{name}"), "timepoint", [name], ["id"])
        timepoint.add_column(sa.Column("drawn_on", sa.Date(), nullable=True))
        timepoint.add_column(sa.Column("drawing_probability", sa.Float(), nullable=True))
        in_range = "drawing_probability > 0 AND drawing_probability <= 1"
        timepoint.create_check_constraint(op.f("ck_timepoint_drawing_probability"), in_range)
        both = "(drawn_on IS NULL) = (drawing_probability IS NULL)"
        timepoint.create_check_constraint(op.f("ck_timepoint_drawn"), both)
    op.create_index(
        "ix_timepoint_undone",
        "timepoint",
        list(UNDONE),
        unique=False,
        sqlite_where=sa.text("done_at IS NULL"),
        postgresql_where=sa.text("done_at IS NULL"),
    )
    op.create_index("ix_timepoint_answer_from_id", "timepoint", ["answer_from_id"], unique=False)


def _facts() -> None:
    day = DAY[op.get_bind().dialect.name].format
    op.execute(ASKED.format(sent=day("m.done_at"), tried=day("a.at"), fetched=day("f.fetched_at")))
    started = "(SELECT started_on FROM follow_up WHERE follow_up.id = timepoint.follow_up_id)"
    op.execute(f"UPDATE timepoint SET historical = (1 = 1) WHERE closes_on < {started}")
    op.execute("UPDATE follow_up SET look_ahead_on = started_on")


def _ends() -> None:
    """A revision ends no follow-up any more. Who died, withdrew or was transferred ends it on that day instead."""
    connection = op.get_bind()
    revised = sa.text(
        "SELECT f.id, p.died_on, p.withdrew_on, p.transferred_on FROM follow_up f JOIN operation o ON o.id = f.operation_id"
        " JOIN shoulder s ON s.id = o.shoulder_id JOIN patient p ON p.id = s.patient_id WHERE f.end_reason = 'revised'"
    )
    for row in connection.execute(revised).all():
        ends = zip(row[1:], ("died", "withdrew", "transferred"), strict=True)
        day, reason = min((each for each in ends if each[0] is not None), default=(None, None))
        values = {"id": row.id, "day": day, "reason": reason}
        connection.execute(sa.text("UPDATE follow_up SET ended_on = :day, end_reason = :reason WHERE id = :id"), values)
        connection.execute(
            sa.text(
                "UPDATE timepoint SET not_expected_on = :day, not_expected_reason = :reason, done_at = NULL, look_again_on = opens_on"
                " WHERE follow_up_id = :id"
            ),
            values,
        )
    with op.batch_alter_table("follow_up", table_kwargs={"sqlite_strict": True}) as follow_up:
        follow_up.drop_constraint(op.f("ck_follow_up_end_reason"), type_="check")
        left = "end_reason IN ('died', 'withdrew', 'transferred', 'cancelled')"
        follow_up.create_check_constraint(op.f("ck_follow_up_end_reason"), left)


def downgrade() -> None:
    raise RuntimeError("Yearmark goes back by restoring a backup, not by undoing a migration")
