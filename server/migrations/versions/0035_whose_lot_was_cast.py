"""draws of the random quarter of the silent are kept, with everybody whose lot was cast"""

import sqlalchemy as sa
from alembic import op

from server.store.base import Instant

revision = "0035"
down_revision = "0034"
branch_labels = None
depends_on = None

STRICT = {"sqlite_strict": True}
BIG = sa.BigInteger().with_variant(sa.Integer(), "sqlite")
UNDONE = (
    "opens_on", "due_on", "closes_on", "anchor_on", "ladder_exhausted_on", "not_expected_on", "done_at", "withheld_on", "last_try",
    "again_on", "asked_on", "carried_by_id", "drawn_on",
)  # fmt: skip


def upgrade() -> None:
    op.create_table(
        "silence_draw",
        sa.Column("id", BIG, nullable=False),
        sa.Column("drawn_on", sa.Date(), nullable=False),
        sa.Column("drawn_at", Instant(), nullable=False),
        sa.Column("drawn_by_id", BIG, nullable=True),
        sa.Column("seed", sa.String(length=64), nullable=False),
        sa.Column("probability", sa.Float(), nullable=False),
        sa.Column("people", sa.Integer(), nullable=False),
        sa.Column("people_drawn", sa.Integer(), nullable=False),
        sa.CheckConstraint("probability > 0 AND probability <= 1", name=op.f("ck_silence_draw_probability")),
        sa.CheckConstraint("people_drawn <= people", name=op.f("ck_silence_draw_people_drawn")),
        sa.ForeignKeyConstraint(["drawn_by_id"], ["staff_account.id"], name=op.f("fk_silence_draw_drawn_by_id")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_silence_draw")),
        sqlite_strict=True,
    )
    op.drop_index("ix_timepoint_undone", table_name="timepoint")
    with op.batch_alter_table("timepoint", table_kwargs=STRICT) as timepoint:
        timepoint.add_column(sa.Column("lot_cast_on", sa.Date(), nullable=True))
        timepoint.add_column(sa.Column("draw_id", BIG, nullable=True))
        timepoint.create_foreign_key(op.f("fk_timepoint_draw_id"), "silence_draw", ["draw_id"], ["id"])
        both = "(lot_cast_on IS NULL) = (draw_id IS NULL)"
        timepoint.create_check_constraint(op.f("ck_timepoint_lot_cast"), both)
        by_lot = "drawn_on IS NULL OR lot_cast_on IS NOT NULL"
        timepoint.create_check_constraint(op.f("ck_timepoint_drawn_by_lot"), by_lot)
    op.create_index(
        "ix_timepoint_undone",
        "timepoint",
        list(UNDONE),
        unique=False,
        sqlite_where=sa.text("done_at IS NULL"),
        postgresql_where=sa.text("done_at IS NULL"),
    )
    op.create_index("ix_timepoint_draw_id", "timepoint", ["draw_id"], unique=False)


def downgrade() -> None:
    raise RuntimeError("Yearmark goes back by restoring a backup, not by undoing a migration")
