"""ASA class and dominant side are words, so that they can be unknown: asked and not found out"""

import sqlalchemy as sa
from alembic import op

revision = "0031"
down_revision = "0030"
branch_labels = None
depends_on = None

STRICT = {"sqlite_strict": True}
WORD = sa.String(7)
# A yes or no becomes 1 or 0 in SQLite as it is made a text, and true or false in PostgreSQL.
YES_OR_NO = """
    UPDATE shoulder SET dominant = CASE WHEN dominant IN ('1', 'true') THEN 'yes' ELSE 'no' END WHERE dominant IS NOT NULL
"""


def upgrade() -> None:
    with op.batch_alter_table("operation", table_kwargs=STRICT) as operation:
        operation.alter_column(
            "asa", existing_type=sa.Integer(), type_=WORD, existing_nullable=True, postgresql_using="asa::varchar"
        )
        allowed = "asa IN ('1', '2', '3', '4', '5', 'unknown')"
        operation.create_check_constraint(op.f("ck_operation_asa"), allowed)
    with op.batch_alter_table("shoulder", table_kwargs=STRICT) as shoulder:
        shoulder.alter_column(
            "dominant",
            existing_type=sa.Boolean(),
            type_=WORD,
            existing_nullable=True,
            postgresql_using="dominant::varchar",
        )
    op.execute(YES_OR_NO)
    with op.batch_alter_table("shoulder", table_kwargs=STRICT) as shoulder:
        shoulder.create_check_constraint(op.f("ck_shoulder_dominant"), "dominant IN ('yes', 'no', 'unknown')")


def downgrade() -> None:
    raise RuntimeError("Yearmark goes back by restoring a backup, not by undoing a migration")
