"""components have rows of their own, and operations are told in closed lists of words"""

import sqlalchemy as sa
from alembic import op

import server.store.base  # noqa: F401  column types of STRICT tables

revision = "0017"
down_revision = "0016"
branch_labels = None
depends_on = None

BIG = sa.BigInteger().with_variant(sa.Integer(), "sqlite")

# What was typed as a procedure so far, in small letters, to the word it is now. Any other text is kept beside `other`. Kinds,
# diagnoses and implant types keep every word that they had.
PROCEDURE_WORDS = {
    "shoulder replacement": "arthroplasty",
    "shoulder arthroplasty": "arthroplasty",
    "replacement": "arthroplasty",
    "resurfacing": "resurfacing",
    "humeral resurfacing": "resurfacing",
    "surface replacement": "resurfacing",
    "hemi": "hemiarthroplasty",
    "hemiarthroplasty": "hemiarthroplasty",
    "total shoulder arthroplasty": "anatomic_total",
    "anatomic total": "anatomic_total",
    "anatomic total arthroplasty": "anatomic_total",
    "reverse": "reverse",
    "reverse arthroplasty": "reverse",
    "reverse shoulder arthroplasty": "reverse",
    "resection": "resection",
    "resection arthroplasty": "resection",
    "spacer": "spacer",
    "arthrodesis": "arthrodesis",
    "washout": "washout",
    "debridement": "washout",
    "cuff repair": "cuff_repair",
    "rotator cuff repair": "cuff_repair",
    "superior capsular reconstruction": "capsular_reconstruction",
    "bone block": "bone_block",
    "latarjet": "bone_block",
    "biceps tenodesis": "biceps",
    "biceps tenotomy": "biceps",
    "subacromial decompression": "decompression",
    "acromioplasty": "decompression",
    "core decompression": "core_decompression",
    "arthrolysis": "release",
    "capsular release": "release",
    "manipulation under anaesthesia": "release",
    "unknown": "unknown",
}
PRECISIONS = ("day", "month", "year")
CERTAINTIES = ("reported", "confirmed", "adjudicated")
KINDS = ("index", "revision", "second_stage", "conversion", "other", "earlier")
STAGES = ("one", "first_of_two")
PLACES = ("here", "elsewhere")
PROCEDURES = (
    "arthroplasty", "resurfacing", "hemiarthroplasty", "anatomic_total", "reverse", "composite", "component_exchange",
    "modular_exchange", "component_added", "component_removed", "spacer", "permanent_spacer", "resection",
    "arthrodesis", "washout", "cuff_repair", "capsular_reconstruction", "tendon_transfer", "bone_block",
    "stabilisation", "biceps", "decompression", "core_decompression", "acromioclavicular", "release",
    "fracture_fixation", "hardware_removal", "biopsy", "nerve", "other", "unknown",
)  # fmt: skip
IMPLANT_TYPES = (
    "resurfacing_hemi", "resurfacing_with_glenoid", "inlay_hemi", "inlay_with_glenoid", "stemmed_hemi",
    "short_stem_hemi", "convertible_hemi", "stemless_hemi", "anatomic_total", "short_stem_total", "convertible_total",
    "stemless_total", "reverse", "short_stem_reverse", "convertible_reverse", "stemless_reverse", "spacer", "none",
    "other", "unknown",
)  # fmt: skip
DIAGNOSES = (
    "osteoarthritis", "rheumatoid_arthritis", "osteonecrosis", "cuff_tear_arthropathy", "massive_cuff_tear",
    "cuff_tear", "acute_fracture", "fracture_sequelae", "instability", "instability_arthropathy", "locked_dislocation",
    "dysplasia", "septic_arthropathy", "neuropathic_arthropathy", "haemophilic_arthropathy", "crystal_arthropathy",
    "tumour", "stiffness", "biceps_disorder", "subacromial_pain", "acromioclavicular_disorder", "other", "unknown",
)  # fmt: skip
REASONS = (
    "infection", "instability", "dissociation", "humeral_loosening", "glenoid_loosening", "glenoid_erosion",
    "polyethylene_wear", "component_breakage", "malposition", "osteolysis", "cuff_failure", "subscapularis_failure",
    "tuberosity_failure", "deltoid_failure", "periprosthetic_fracture", "acromial_fracture", "notching",
    "necrosis_progression", "stiffness", "pain", "nerve", "haematoma", "wound", "tumour_recurrence",
    "arthritis_progression", "planned_second_stage", "other", "unknown",
)  # fmt: skip
KNOWN_BY = (
    "own_record", "operation_report", "letter", "implant_card", "register", "radiograph", "patient", "relative",
    "other",
)  # fmt: skip
ROLES = (
    "stem", "head", "tray", "liner", "glenosphere", "baseplate", "glenoid", "screws", "spacer", "cement", "graft",
    "not_said", "other",
)  # fmt: skip
FIXATIONS = (
    "cemented", "uncemented", "screwed", "coupled", "unknown",
)  # fmt: skip
MATERIALS = (
    "cobalt_chrome", "titanium", "steel", "tantalum", "polyethylene", "crosslinked_polyethylene",
    "vitamin_e_polyethylene", "ceramic", "pyrocarbon", "carbon_fibre", "bone_cement", "antibiotic_cement", "own_bone",
    "donor_bone", "other", "unknown",
)  # fmt: skip


def one_of(column: str, words: tuple[str, ...]) -> str:
    return f"{column} IN ({', '.join(repr(word) for word in words)})"


CHANGED_WORDS: tuple[tuple[str, tuple[str, ...]], ...] = (
    ("kind", KINDS),
    ("diagnosis", DIAGNOSES),
    ("implant_type", IMPLANT_TYPES),
    ("procedure", PROCEDURES),
)
NEW_COLUMNS: tuple[tuple[str, int, tuple[str, ...] | None], ...] = (
    ("stage", 20, STAGES),
    ("surgery_precision", 5, PRECISIONS),
    ("place", 20, PLACES),
    ("place_name", 120, None),
    ("known_by", 20, KNOWN_BY),
    ("known_by_other", 120, None),
    ("certainty", 20, CERTAINTIES),
    ("reason", 40, REASONS),
    ("reason_other", 120, None),
    ("further_reasons", 400, None),
    ("diagnosis_other", 120, None),
    ("procedure_other", 120, None),
    ("implant_other", 120, None),
)


def upgrade() -> None:
    _add_components()
    _move_labels()
    op.add_column("operation", sa.Column("procedure_other", sa.String(length=120), nullable=True))
    op.add_column("operation_log", sa.Column("procedure_other", sa.String(length=120), nullable=True))
    for table in ("operation", "operation_log"):
        _map_procedures(table)
    _change_operation()
    _change_log()
    operation = sa.table("operation", sa.column("surgery_on"), sa.column("surgery_precision"))
    known = sa.update(operation).where(operation.c.surgery_on.is_not(None))
    op.execute(known.values(surgery_precision="day"))


def _add_components() -> None:
    op.create_table(
        "component",
        sa.Column("id", BIG, nullable=False),
        sa.Column("put_in_id", BIG, nullable=False),
        sa.Column("taken_out_id", BIG, nullable=True),
        sa.Column("role", sa.String(length=20), nullable=False),
        sa.Column("role_other", sa.String(length=80), nullable=True),
        sa.Column("udi", sa.String(length=200), nullable=True),
        sa.Column("maker", sa.String(length=80), nullable=True),
        sa.Column("model", sa.String(length=80), nullable=True),
        sa.Column("catalogue_number", sa.String(length=60), nullable=True),
        sa.Column("size", sa.String(length=40), nullable=True),
        sa.Column("lot", sa.String(length=60), nullable=True),
        sa.Column("serial", sa.String(length=60), nullable=True),
        sa.Column("device_identifier", sa.String(length=14), nullable=True),
        sa.Column("expires_on", sa.Date(), nullable=True),
        sa.Column("fixation", sa.String(length=20), nullable=True),
        sa.Column("material", sa.String(length=40), nullable=True),
        sa.Column("material_other", sa.String(length=80), nullable=True),
        sa.Column("struck_at", sa.DateTime(timezone=True), nullable=True),
        sa.Column("made_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("made_by_id", BIG, nullable=True),
        sa.CheckConstraint(one_of("role", ROLES), name=op.f("ck_component_role")),
        sa.CheckConstraint(one_of("fixation", FIXATIONS), name=op.f("ck_component_fixation")),
        sa.CheckConstraint(one_of("material", MATERIALS), name=op.f("ck_component_material")),
        sa.ForeignKeyConstraint(["put_in_id"], ["operation.id"], name=op.f("fk_component_put_in_id")),
        sa.ForeignKeyConstraint(["taken_out_id"], ["operation.id"], name=op.f("fk_component_taken_out_id")),
        sa.ForeignKeyConstraint(["made_by_id"], ["staff_account.id"], name=op.f("fk_component_made_by_id")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_component")),
        sqlite_strict=True,
    )
    op.create_index("ix_component_lot", "component", ["lot"], unique=False)
    op.create_index(op.f("ix_component_put_in_id"), "component", ["put_in_id"], unique=False)
    op.create_index(op.f("ix_component_taken_out_id"), "component", ["taken_out_id"], unique=False)


def _move_labels() -> None:
    """Model, size and lot of an operation become its one component: the head of a resurfacing, else a part that was not said."""
    op.execute(
        sa.text(
            "INSERT INTO component (put_in_id, role, model, size, lot, made_at, made_by_id) "
            "SELECT id, CASE implant_type WHEN 'resurfacing_hemi' THEN 'head' ELSE 'not_said' END, "
            "implant_model, implant_size, implant_lot, made_at, made_by_id FROM operation "
            "WHERE implant_model IS NOT NULL OR implant_size IS NOT NULL OR implant_lot IS NOT NULL ORDER BY id"
        )
    )


def _map_procedures(table: str) -> None:
    rows = sa.table(table, sa.column("id"), sa.column("procedure"), sa.column("procedure_other"))
    connection = op.get_bind()
    for row in connection.execute(sa.select(rows.c.id, rows.c.procedure).where(rows.c.procedure.is_not(None))).all():
        plain = " ".join(row.procedure.split()).casefold()
        word = PROCEDURE_WORDS.get(plain) or (plain if plain in PROCEDURES else None)
        other = row.procedure if plain and word is None else None
        values = {"procedure": word or ("other" if plain else None), "procedure_other": other}
        connection.execute(sa.update(rows).where(rows.c.id == row.id).values(**values))


def _change_operation() -> None:
    # SQLite changes no constraint of a table that exists; there the rows move into a new table.
    with op.batch_alter_table("operation", table_kwargs={"sqlite_strict": True}) as table:
        for column in ("kind", "diagnosis", "implant_type"):
            table.drop_constraint(op.f(f"ck_operation_{column}"), type_="check")
        table.alter_column("kind", type_=sa.String(length=20), existing_nullable=False)
        table.alter_column("procedure", type_=sa.String(length=40), existing_nullable=True)
        for column, allowed in CHANGED_WORDS:
            table.create_check_constraint(op.f(f"ck_operation_{column}"), one_of(column, allowed))
        for column, length, _words in NEW_COLUMNS:
            if column != "procedure_other":
                table.add_column(sa.Column(column, sa.String(length=length), nullable=True))
        for column, _length, words in NEW_COLUMNS:
            if words is not None:
                table.create_check_constraint(op.f(f"ck_operation_{column}"), one_of(column, words))
        table.add_column(sa.Column("first_stage_id", BIG, nullable=True))
        table.create_foreign_key(op.f("fk_operation_first_stage_id"), "operation", ["first_stage_id"], ["id"])
        for column in ("implant_model", "implant_size", "implant_lot"):
            table.drop_column(column)


def _change_log() -> None:
    with op.batch_alter_table("operation_log", table_kwargs={"sqlite_strict": True}) as table:
        table.alter_column("procedure", type_=sa.String(length=40), existing_nullable=True)
        table.create_check_constraint(op.f("ck_operation_log_procedure"), one_of("procedure", PROCEDURES))
        table.create_check_constraint(op.f("ck_operation_log_implant_type"), one_of("implant_type", IMPLANT_TYPES))


def downgrade() -> None:
    raise RuntimeError("Yearmark goes back by restoring a backup, not by undoing a migration")
