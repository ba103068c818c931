"""what mending a mistake needs: who consented, capacity, how far a withdrawal goes, hospital numbers, answers set aside, merges undone"""

import sqlalchemy as sa
from alembic import op

from server.store.base import Instant

revision = "0018"
down_revision = "0017"
branch_labels = None
depends_on = None

BIG = sa.BigInteger().with_variant(sa.Integer(), "sqlite")
STRICT = {
    "sqlite_strict": True
}  # SQLite adds no constraint to a table that exists; there the rows move into a new table
BY = "IN ('self', 'parent', 'representative')"
STANDING = sa.text("set_aside_at IS NULL")
KEPT = sa.text("removed_at IS NULL")


def upgrade() -> None:
    op.add_column("clinic", sa.Column("majority_age", sa.Integer(), nullable=True))
    _patient()
    _consent()
    _hospital_number()
    _merge()
    _response()
    with op.batch_alter_table("timepoint", table_kwargs=STRICT) as timepoint:
        timepoint.add_column(sa.Column("same_as_id", BIG, nullable=True))
        timepoint.create_foreign_key(op.f("fk_timepoint_same_as_id"), "timepoint", ["same_as_id"], ["id"])
    op.create_index(op.f("ix_timepoint_same_as_id"), "timepoint", ["same_as_id"])


def _patient() -> None:
    extent = "withdrawal_extent IN ('messages', 'contact', 'records', 'erasure')"
    then = "capacity_then IN ('stop', 'proxy')"
    for column in (
        sa.Column(
            "withdrawal_extent",
            sa.String(12),
            sa.CheckConstraint(extent, name=op.f("ck_patient_withdrawal_extent")),
            nullable=True,
        ),
        sa.Column("messages_stopped_on", sa.Date(), nullable=True),
        sa.Column("capacity_lost_on", sa.Date(), nullable=True),
        sa.Column("representative", sa.LargeBinary(), nullable=True),
        sa.Column(
            "capacity_then",
            sa.String(8),
            sa.CheckConstraint(then, name=op.f("ck_patient_capacity_then")),
            nullable=True,
        ),
    ):
        op.add_column("patient", column)
    # Until now a withdrawal was from all contact.
    op.execute("UPDATE patient SET withdrawal_extent = 'contact' WHERE withdrew_on IS NOT NULL")


def _consent() -> None:
    with op.batch_alter_table("consent", table_kwargs=STRICT) as consent:
        consent.drop_constraint(op.f("uq_consent_patient_id_kind_given_on"), type_="unique")
        consent.add_column(sa.Column("given_by", sa.String(14), nullable=True))
        consent.add_column(sa.Column("given_by_name", sa.LargeBinary(), nullable=True))
        consent.add_column(sa.Column("withdrawn_by", sa.String(14), nullable=True))
        consent.add_column(sa.Column("withdrawn_by_name", sa.LargeBinary(), nullable=True))
        consent.add_column(sa.Column("set_aside_at", Instant(), nullable=True))
        consent.create_check_constraint(op.f("ck_consent_given_by"), f"given_by {BY}")
        consent.create_check_constraint(op.f("ck_consent_withdrawn_by"), f"withdrawn_by {BY}")
    op.create_index(
        "uq_consent_standing",
        "consent",
        ["patient_id", "kind", "given_on"],
        unique=True,
        sqlite_where=STANDING,
        postgresql_where=STANDING,
    )


def _hospital_number() -> None:
    op.create_table(
        "hospital_number",
        sa.Column("id", BIG, nullable=False),
        sa.Column("patient_id", BIG, nullable=False),
        sa.Column("issuer", sa.LargeBinary(), nullable=False),
        sa.Column("number", sa.LargeBinary(), nullable=False),
        sa.Column("number_digest", sa.LargeBinary(), nullable=False),
        sa.Column("issued_digest", sa.LargeBinary(), nullable=False),
        sa.Column("made_at", Instant(), nullable=False),
        sa.Column("made_by_id", BIG, nullable=True),
        sa.Column("removed_at", Instant(), nullable=True),
        sa.ForeignKeyConstraint(["made_by_id"], ["staff_account.id"], name=op.f("fk_hospital_number_made_by_id")),
        sa.ForeignKeyConstraint(["patient_id"], ["patient.id"], name=op.f("fk_hospital_number_patient_id")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_hospital_number")),
        sqlite_strict=True,
    )
    op.create_index(op.f("ix_hospital_number_patient_id"), "hospital_number", ["patient_id"])
    for name, columns, unique in (
        ("ix_hospital_number_search", ["number_digest", "removed_at"], False),
        ("uq_hospital_number_issued", ["issued_digest"], True),
    ):
        op.create_index(name, "hospital_number", columns, unique=unique, sqlite_where=KEPT, postgresql_where=KEPT)


def _merge() -> None:
    with op.batch_alter_table("patient_merge", table_kwargs=STRICT) as merge:
        merge.add_column(sa.Column("why", sa.LargeBinary(), nullable=True))
        merge.add_column(sa.Column("other_birth_year", sa.Boolean(), nullable=True))
        merge.add_column(sa.Column("undone_by_id", BIG, nullable=True))
        merge.add_column(sa.Column("undone_why", sa.LargeBinary(), nullable=True))
        merge.create_foreign_key(op.f("fk_patient_merge_undone_by_id"), "staff_account", ["undone_by_id"], ["id"])


def _response() -> None:
    with op.batch_alter_table("response", table_kwargs=STRICT) as response:
        response.add_column(sa.Column("asked_side", sa.String(5), nullable=True))
        response.add_column(sa.Column("set_aside_at", Instant(), nullable=True))
        response.add_column(sa.Column("moved_from_id", BIG, nullable=True))
        response.create_check_constraint(op.f("ck_response_asked_side"), "asked_side IN ('left', 'right')")
        response.create_foreign_key(op.f("fk_response_moved_from_id"), "response", ["moved_from_id"], ["id"])
    op.create_index(op.f("ix_response_moved_from_id"), "response", ["moved_from_id"])
    words = {
        "what": "'set_aside', 'moved', 'taken_back', 'kept'",
        "reason": "'wrong_side', 'wrong_person', 'not_usable'",
        "ground": "'screen', 'patient'",
        "confirmed_how": "'telephone', 'in_person', 'letter', 'email'",
    }
    op.create_table(
        "response_mend",
        sa.Column("id", BIG, nullable=False),
        sa.Column("response_id", BIG, nullable=False),
        sa.Column("moved_to_id", BIG, nullable=True),
        sa.Column("what", sa.String(12), nullable=False),
        sa.Column("reason", sa.String(14), nullable=False),
        sa.Column("ground", sa.String(8), nullable=True),
        sa.Column("flag_id", BIG, nullable=True),
        sa.Column("confirmed_on", sa.Date(), nullable=True),
        sa.Column("confirmed_how", sa.String(10), nullable=True),
        sa.Column("confirmed_by", sa.LargeBinary(), nullable=True),
        sa.Column("why", sa.LargeBinary(), nullable=True),
        sa.Column("at", Instant(), nullable=False),
        sa.Column("by_id", BIG, nullable=True),
        *(
            sa.CheckConstraint(f"{name} IN ({listed})", name=op.f(f"ck_response_mend_{name}"))
            for name, listed in words.items()
        ),
        sa.ForeignKeyConstraint(["by_id"], ["staff_account.id"], name=op.f("fk_response_mend_by_id")),
        sa.ForeignKeyConstraint(["flag_id"], ["flag.id"], name=op.f("fk_response_mend_flag_id")),
        sa.ForeignKeyConstraint(["moved_to_id"], ["response.id"], name=op.f("fk_response_mend_moved_to_id")),
        sa.ForeignKeyConstraint(["response_id"], ["response.id"], name=op.f("fk_response_mend_response_id")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_response_mend")),
        sqlite_strict=True,
    )
    op.create_index(op.f("ix_response_mend_response_id"), "response_mend", ["response_id"])


def downgrade() -> None:
    raise RuntimeError("Yearmark goes back by restoring a backup, not by undoing a migration")
