"""one history of changes, and settings of the clinic by language"""

import json

import sqlalchemy as sa
from alembic import op

import server.store.base  # noqa: F401  column types of STRICT tables

revision = "0008"
down_revision = "0007"
branch_labels = None
depends_on = None


def upgrade() -> None:
    big = sa.BigInteger().with_variant(sa.Integer(), "sqlite")
    op.create_table(
        "field_change",
        sa.Column("id", big, nullable=False),
        sa.Column("table_name", sa.String(length=30), nullable=False),
        sa.Column("row_id", big, nullable=False),
        sa.Column("field", sa.String(length=40), nullable=False),
        sa.Column("old", sa.LargeBinary(), nullable=True),
        sa.Column("new", sa.LargeBinary(), nullable=True),
        sa.Column("why", sa.LargeBinary(), nullable=True),
        sa.Column("at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("by_id", big, nullable=True),
        sa.ForeignKeyConstraint(["by_id"], ["staff_account.id"], name=op.f("fk_field_change_by_id")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_field_change")),
        sqlite_strict=True,
    )
    op.create_index("ix_field_change_row", "field_change", ["table_name", "row_id"], unique=False)
    op.add_column("clinic", sa.Column("mail_from", sa.String(length=200), nullable=True))
    op.add_column("clinic", sa.Column("surgeons", sa.String(length=2000), nullable=True))
    if op.get_bind().dialect.name == "postgresql":  # in SQLite both are TEXT
        op.alter_column("clinic", "phone_hours", type_=sa.Text())
    _hours_by_language()


def _hours_by_language() -> None:
    """The hours that were kept so far are those of the clinic's first language."""
    clinic = sa.table("clinic", sa.column("id"), sa.column("languages"), sa.column("phone_hours"))
    connection = op.get_bind()
    for row in connection.execute(sa.select(clinic)).all():
        hours = {row.languages.split(",")[0].strip(): row.phone_hours} if row.phone_hours else {}
        kept = json.dumps(hours, ensure_ascii=False)
        connection.execute(sa.update(clinic).where(clinic.c.id == row.id).values(phone_hours=kept))


def downgrade() -> None:
    raise RuntimeError("Yearmark goes back by restoring a backup, not by undoing a migration")
