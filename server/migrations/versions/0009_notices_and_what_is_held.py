"""flags of what a patient said beside a form, and which form a held envelope is about"""

import sqlalchemy as sa
from alembic import op

import server.store.base  # noqa: F401  column types of STRICT tables

revision = "0009"
down_revision = "0008"
branch_labels = None
depends_on = None

KINDS = (
    "safety_answer", "contact_change", "operated_elsewhere", "lost_proposal", "clock_wrong", "erased", "said_wrong_side",
    "said_wrong_date", "said_wrong_person", "said_died", "asked_to_stop", "asked_for_call",
)  # fmt: skip
KIND = f"kind IN ({', '.join(repr(kind) for kind in KINDS)})"
BIG = sa.BigInteger().with_variant(sa.Integer(), "sqlite")


def upgrade() -> None:
    # SQLite changes no constraint of a table that exists; there the rows move into a new table.
    with op.batch_alter_table("flag", table_kwargs={"sqlite_strict": True}) as flag:
        flag.drop_constraint(op.f("ck_flag_kind"), type_="check")
        flag.create_check_constraint(op.f("ck_flag_kind"), KIND)
        flag.add_column(sa.Column("envelope_id", BIG, nullable=True))
        flag.add_column(sa.Column("true_side", sa.String(length=5), nullable=True))
        flag.create_check_constraint(op.f("ck_flag_true_side"), "true_side IN ('left', 'right')")
        flag.create_foreign_key(op.f("fk_flag_envelope_id"), "envelope", ["envelope_id"], ["id"])
        flag.create_unique_constraint(op.f("uq_flag_envelope_id"), ["envelope_id"])
    op.add_column("envelope", sa.Column("held_form_id", sa.String(length=36), nullable=True))


def downgrade() -> None:
    raise RuntimeError("Yearmark goes back by restoring a backup, not by undoing a migration")
