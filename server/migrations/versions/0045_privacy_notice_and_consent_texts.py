"""privacy notice and consent texts of the clinic, and to which text each consent was given"""

import sqlalchemy as sa
from alembic import op

from server.store.base import Big, Instant

revision = "0045"
down_revision = "0044"
branch_labels = None
depends_on = None

KINDS = "kind IN ('privacy', 'contact', 'research', 'linkage', 'unfinished')"
IN_FORCE = sa.text("replaced_at IS NULL")


def upgrade() -> None:
    op.create_table(
        "clinic_notice",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("kind", sa.String(length=20), nullable=False),
        sa.Column("version", sa.String(length=20), nullable=False),
        sa.Column("language", sa.String(length=10), nullable=False),
        sa.Column("title", sa.String(length=120), nullable=False),
        sa.Column("content", sa.Text(), nullable=False),
        sa.Column("sha256", sa.LargeBinary(), nullable=False),
        sa.Column("made_at", Instant(), nullable=False),
        sa.Column("made_by_id", Big, nullable=True),
        sa.Column("replaced_at", Instant(), nullable=True),
        sa.Column("replaced_by_id", Big, nullable=True),
        sa.Column("ended_why", sa.String(length=400), nullable=True),
        sa.CheckConstraint(KINDS, name=op.f("ck_clinic_notice_kind")),
        sa.ForeignKeyConstraint(["made_by_id"], ["staff_account.id"], name=op.f("fk_clinic_notice_made_by_id")),
        sa.ForeignKeyConstraint(["replaced_by_id"], ["staff_account.id"], name=op.f("fk_clinic_notice_replaced_by_id")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_clinic_notice")),
        sa.UniqueConstraint("kind", "version", "language", name=op.f("uq_clinic_notice_kind_version_language")),
        sqlite_strict=True,
    )
    op.create_index(
        "uq_clinic_notice_in_force",
        "clinic_notice",
        ["kind", "language"],
        unique=True,
        sqlite_where=IN_FORCE,
        postgresql_where=IN_FORCE,
    )
    with op.batch_alter_table("consent", table_kwargs={"sqlite_strict": True}) as consent:
        consent.add_column(sa.Column("notice_id", sa.Integer(), nullable=True))
        consent.create_foreign_key(op.f("fk_consent_notice_id"), "clinic_notice", ["notice_id"], ["id"])
    op.create_index("ix_consent_notice_id", "consent", ["notice_id"], unique=False)


def downgrade() -> None:
    raise RuntimeError("Yearmark goes back by restoring a backup, not by undoing a migration")
