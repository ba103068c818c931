"""reminder ladders of the clinic"""

import sqlalchemy as sa
from alembic import op

import server.store.base  # noqa: F401  column types of STRICT tables

revision = "0007"
down_revision = "0006"
branch_labels = None
depends_on = None

WHOLE_NUMBER = sa.BigInteger().with_variant(sa.Integer(), "sqlite")


def upgrade() -> None:
    op.create_table(
        "installed_ladder",
        sa.Column("name", sa.String(length=40), nullable=False),
        sa.Column("content", sa.String(), nullable=False),
        sa.Column("sha256", sa.LargeBinary(), nullable=False),
        sa.Column("installed_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("installed_by_id", WHOLE_NUMBER, nullable=True),
        sa.ForeignKeyConstraint(
            ["installed_by_id"], ["staff_account.id"], name=op.f("fk_installed_ladder_installed_by_id")
        ),
        sa.PrimaryKeyConstraint("name", name=op.f("pk_installed_ladder")),
        sqlite_strict=True,
    )
    op.create_table(
        "ladder_choice",
        sa.Column("id", WHOLE_NUMBER, nullable=False),
        sa.Column("name", sa.String(length=40), nullable=False),
        sa.Column("chosen_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("chosen_by_id", WHOLE_NUMBER, nullable=True),
        sa.ForeignKeyConstraint(["chosen_by_id"], ["staff_account.id"], name=op.f("fk_ladder_choice_chosen_by_id")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_ladder_choice")),
        sqlite_strict=True,
    )
    op.add_column("message", sa.Column("ladder_version", sa.String(length=40), nullable=True))


def downgrade() -> None:
    raise RuntimeError("Yearmark goes back by restoring a backup, not by undoing a migration")
