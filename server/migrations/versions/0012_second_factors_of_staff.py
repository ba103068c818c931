"""second factors of staff"""

import sqlalchemy as sa
from alembic import op

import server.store.base  # noqa: F401  column types of STRICT tables

revision = "0012"
down_revision = "0011"
branch_labels = None
depends_on = None

BIG = sa.BigInteger().with_variant(sa.Integer(), "sqlite")
INSTANT = sa.DateTime(timezone=True)


def upgrade() -> None:
    _sessions_anew()
    _factor(
        "staff_passkey",
        sa.Column("name", sa.String(length=60), nullable=False),
        sa.Column("credential_id", sa.LargeBinary(), nullable=False),
        sa.Column("public_key", sa.LargeBinary(), nullable=False),
        sa.Column("sign_count", BIG, nullable=False),
        sa.Column("last_used_at", INSTANT, nullable=True),
        sa.UniqueConstraint("credential_id", name=op.f("uq_staff_passkey_credential_id")),
    )
    _factor(
        "staff_authenticator_app",
        sa.Column("name", sa.String(length=60), nullable=False),
        sa.Column("secret", sa.LargeBinary(), nullable=False),
        sa.Column("last_step", BIG, nullable=False),
        sa.Column("last_used_at", INSTANT, nullable=True),
    )
    _factor(
        "staff_recovery_code",
        sa.Column("code_hash", sa.LargeBinary(), nullable=False),
        sa.Column("used_at", INSTANT, nullable=True),
        sa.UniqueConstraint("code_hash", name=op.f("uq_staff_recovery_code_code_hash")),
    )


def _factor(table: str, *own: sa.schema.SchemaItem) -> None:
    op.create_table(
        table,
        sa.Column("id", BIG, nullable=False),
        sa.Column("account_id", BIG, nullable=False),
        sa.Column("made_at", INSTANT, nullable=False),
        *own,
        sa.ForeignKeyConstraint(["account_id"], ["staff_account.id"], name=op.f(f"fk_{table}_account_id")),
        sa.PrimaryKeyConstraint("id", name=op.f(f"pk_{table}")),
        sqlite_strict=True,
    )
    op.create_index(op.f(f"ix_{table}_account_id"), table, ["account_id"], unique=False)


def _sessions_anew() -> None:
    """Everybody signs in once more: no session of before has shown a second factor."""
    op.drop_table("staff_session")
    op.create_table(
        "staff_session",
        sa.Column("id", BIG, nullable=False),
        sa.Column("secret_hash", sa.LargeBinary(), nullable=False),
        sa.Column("account_id", BIG, nullable=False),
        sa.Column("form_secret", sa.String(length=64), nullable=False),
        sa.Column("stage", sa.String(length=12), nullable=False),
        sa.Column("challenge", sa.LargeBinary(), nullable=True),
        sa.Column("new_secret", sa.LargeBinary(), nullable=True),
        sa.Column("made_at", INSTANT, nullable=False),
        sa.Column("last_seen_at", INSTANT, nullable=False),
        sa.Column("expires_at", INSTANT, nullable=False),
        sa.Column("revoked_at", INSTANT, nullable=True),
        sa.CheckConstraint("stage IN ('second_step', 'set_up', 'in')", name=op.f("ck_staff_session_stage")),
        sa.ForeignKeyConstraint(["account_id"], ["staff_account.id"], name=op.f("fk_staff_session_account_id")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_staff_session")),
        sa.UniqueConstraint("secret_hash", name=op.f("uq_staff_session_secret_hash")),
        sqlite_strict=True,
    )
    op.create_index(op.f("ix_staff_session_account_id"), "staff_session", ["account_id"], unique=False)


def downgrade() -> None:
    raise RuntimeError("Yearmark goes back by restoring a backup, not by undoing a migration")
