"""findings and events by their core sets, what other sources know of a person, the log, and forms that are taken at a visit"""

import re
from typing import Any

import sqlalchemy as sa
from alembic import op

import server.store.base  # noqa: F401  column types of STRICT tables

revision = "0019"
down_revision = "0018"
branch_labels = None
depends_on = None

BIG = sa.BigInteger().with_variant(sa.Integer(), "sqlite")
STRICT = {"sqlite_strict": True}

LEVELS = (
    "thigh", "buttock", "sacrum", "l5", "l4", "l3", "l2", "l1", "t12", "t11", "t10", "t9", "t8", "t7", "t6", "t5", "t4", "unknown",
)  # fmt: skip
SEEN = ("none", "mild", "moderate", "marked", "severe", "present", "other", "not_assessable", "unknown")
SIGN = ("absent", "present", "not_possible", "unknown")
LAGS = ("lag_external_rotation", "lag_hornblower", "lag_internal_rotation", "lag_belly_press")
NEW_RADIOGRAPHS = (
    "displacement",
    "bone_resorption",
    "bone_formation",
    "articular_wear",
    "fracture",
    "breakage",
    "glenoid_erosion",
)
KINDS = (
    "intraoperative_device", "intraoperative_fracture", "intraoperative_soft_tissue", "device", "loosening", "dissociation",
    "glenoid_erosion", "necrosis_progression", "notching", "osteochondral", "periprosthetic_fracture", "acromion_or_spine_fracture",
    "tuberosity", "injury", "instability", "stiffness", "pain", "infection", "unexpected_positive_culture", "nerve", "vascular",
    "superficial_soft_tissue", "cuff_failure", "subscapularis_failure", "deltoid_failure", "deep_soft_tissue", "crps",
    "thromboembolism", "cardiac", "readmission", "death", "operated_again", "revision_advised", "other",
)  # fmt: skip
FLAG_KINDS = (
    "safety_answer", "contact_change", "operated_elsewhere", "event_reported", "lost_proposal", "clock_wrong", "erased",
    "said_wrong_side", "said_wrong_date", "said_wrong_person", "said_died", "asked_to_stop", "asked_for_call",
)  # fmt: skip
MODES = ("own_phone", "clinic_tablet", "telephone", "paper", "clinic", "imported")
NOT_ENROLLED = ("declined", "not_asked", "language", "no_capacity", "abroad", "emergency", "died", "other", "unknown")

# Old codes and typed texts to new codes. What is not named here becomes `other`, with the old text beside it.
OLD_EVENT_KINDS = {"fracture": "periprosthetic_fracture"}  # every other old kind has kept its code
OLD_REASONS = {
    "declined": "declined",
    "speaks none of the clinic's languages": "language",
    "lives abroad": "abroad",
    "missed at the desk": "not_asked",
    "cognitive impairment": "no_capacity",
}
# Columns in which a degree was typed, each with the column that it is now, and what it was called.
OLD_RADIOGRAPHS = {
    "glenoid_wear": ("glenoid_erosion", "Glenoid wear"),
    "loosening": ("loosening", "Loosening"),
    "migration": ("migration", "Migration"),
    "necrosis": ("necrosis", "Necrosis"),
}


def upgrade() -> None:
    _known_status()
    _findings()
    _events()
    _log()
    _responses()
    with op.batch_alter_table("flag", table_kwargs=STRICT) as flag:
        flag.drop_constraint(op.f("ck_flag_kind"), type_="check")
        flag.create_check_constraint(op.f("ck_flag_kind"), _one_of("kind", FLAG_KINDS))
    op.add_column("contact_attempt", sa.Column("to_second_contact", sa.Boolean(), nullable=True))


def _one_of(column: str, words: tuple[str, ...]) -> str:
    return f"{column} IN ({', '.join(repr(word) for word in words)})"


def _word(table: str, column: str, length: int, words: tuple[str, ...]) -> sa.Column[str]:
    check = sa.CheckConstraint(_one_of(column, words), name=op.f(f"ck_{table}_{column}"))
    return sa.Column(column, sa.String(length=length), check, nullable=True)


def _known_status() -> None:
    sources = ("patient", "other_department", "gp_letter", "other_hospital", "register", "death_register", "relative")
    op.create_table(
        "known_status",
        sa.Column("id", BIG, nullable=False),
        sa.Column("patient_id", BIG, nullable=False),
        sa.Column("known_on", sa.Date(), nullable=False),
        sa.Column("source", sa.String(length=20), nullable=False),
        sa.Column("source_text", sa.String(length=120), nullable=True),
        sa.Column("alive", sa.String(length=10), nullable=True),
        sa.Column("side", sa.String(length=5), nullable=True),
        sa.Column("implant", sa.String(length=10), nullable=True),
        sa.Column("taken_back_at", sa.DateTime(timezone=True), nullable=True),
        sa.Column("made_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("made_by_id", BIG, nullable=True),
        sa.CheckConstraint(_one_of("source", sources), name=op.f("ck_known_status_source")),
        sa.CheckConstraint("alive IN ('alive', 'dead')", name=op.f("ck_known_status_alive")),
        sa.CheckConstraint("side IN ('left', 'right')", name=op.f("ck_known_status_side")),
        sa.CheckConstraint("implant IN ('in_place', 'operated')", name=op.f("ck_known_status_implant")),
        sa.ForeignKeyConstraint(["patient_id"], ["patient.id"], name=op.f("fk_known_status_patient_id")),
        sa.ForeignKeyConstraint(["made_by_id"], ["staff_account.id"], name=op.f("fk_known_status_made_by_id")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_known_status")),
        sqlite_strict=True,
    )
    op.create_index(op.f("ix_known_status_patient_id"), "known_status", ["patient_id"], unique=False)


def _findings() -> None:
    for column in _new_finding_columns():
        op.add_column("clinic_finding", column)
    _map_findings()
    with op.batch_alter_table("clinic_finding", table_kwargs=STRICT) as finding:
        finding.alter_column("internal_rotation", type_=sa.String(length=10), existing_type=sa.String(length=40))
        finding.create_check_constraint(
            op.f("ck_clinic_finding_internal_rotation"), _one_of("internal_rotation", LEVELS)
        )
        for column in ("loosening", "migration", "necrosis"):
            finding.alter_column(column, type_=sa.String(length=20), existing_type=sa.String(length=80))
            finding.create_check_constraint(op.f(f"ck_clinic_finding_{column}"), _one_of(column, SEEN))
        finding.drop_column("glenoid_wear")
        finding.drop_column("strength_newtons")


def _new_finding_columns() -> list[Any]:
    def word(column: str, length: int, words: tuple[str, ...]) -> sa.Column[str]:
        return _word("clinic_finding", column, length, words)

    motions = ("flexion_degrees", "abduction_degrees", "external_rotation_degrees", "external_rotation_90_degrees")
    degrees = ["external_rotation_90_degrees", *(f"{side}_{each}" for side in ("passive", "other") for each in motions)]
    positions = ("abduction_90_scapular", "abduction_90", "flexion_90", "side", "other", "unknown")
    return [
        *(sa.Column(each, sa.Boolean(), nullable=True) for each in ("examiner_is_surgeon", "pain_free", "cannot_reach_90", "reader_is_surgeon")),
        word("measured_by", 20, ("goniometer", "inclinometer", "camera", "eye", "unknown")),
        *(sa.Column(each, sa.Integer(), nullable=True) for each in degrees),
        *(word(f"{side}_internal_rotation", 10, LEVELS) for side in ("passive", "other")),
        sa.Column("strength", sa.Double(), nullable=True),
        sa.Column("other_strength", sa.Double(), nullable=True),
        word("strength_unit", 2, ("n", "kg", "lb")),
        word("strength_device", 20, ("spring_balance", "isometric", "hand_held", "other", "unknown")),
        word("strength_position", 30, positions),
        sa.Column("strength_device_other", sa.String(length=80), nullable=True),
        sa.Column("strength_position_other", sa.String(length=80), nullable=True),
        *(word(each, 20, SIGN) for each in LAGS),
        sa.Column("radiograph_on", sa.Date(), nullable=True),
        sa.Column("radiograph_views", sa.String(length=60), nullable=True),
        sa.Column("radiograph_reader", sa.String(length=80), nullable=True),
        *(word(each, 20, SEEN) for each in NEW_RADIOGRAPHS),
        sa.Column("radiograph_other", sa.String(length=400), nullable=True),
        sa.Column("note", sa.String(length=400), nullable=True),
        sa.Column("taken_back_at", sa.DateTime(timezone=True), nullable=True),
    ]  # fmt: skip


def _map_findings() -> None:
    names = ("id", *OLD_RADIOGRAPHS, "glenoid_erosion", "internal_rotation", "strength_newtons", "strength", "strength_unit",
        "radiograph_other", "note")  # fmt: skip
    finding = sa.table("clinic_finding", *(sa.column(name) for name in names))
    connection = op.get_bind()
    for row in connection.execute(sa.select(finding)).mappings().all():
        values, others = {}, []
        for old, (new, called) in OLD_RADIOGRAPHS.items():
            values[new] = _code(row[old], SEEN)
            if row[old] and values[new] == "other":
                others.append(f"{called}: {row[old]}")
        values["radiograph_other"] = "; ".join(others) or None
        level = _code(re.sub(r"\s", "", row["internal_rotation"] or ""), LEVELS)  # "T 12" is T12
        values["internal_rotation"] = "unknown" if level == "other" else level
        values["note"] = f"Internal rotation: {row['internal_rotation']}" if level == "other" else None
        values["strength"] = row["strength_newtons"]
        values["strength_unit"] = None if row["strength_newtons"] is None else "n"
        connection.execute(sa.update(finding).where(finding.c.id == row["id"]).values(values))


def _code(typed: str | None, words: tuple[str, ...]) -> str | None:
    """The word that was typed, whatever its capitals and spaces, or `other`."""
    if typed is None or not typed.strip():
        return None
    word = re.sub(r"[\s_-]+", "_", typed.strip().lower())
    return word if word in words else "other"


def _events() -> None:
    for column in _new_event_columns():
        op.add_column("clinic_event", column)
    with op.batch_alter_table("clinic_event", table_kwargs=STRICT) as event:
        event.drop_constraint(op.f("ck_clinic_event_kind"), type_="check")
        event.alter_column(
            "kind", type_=sa.String(length=40), existing_type=sa.String(length=30), existing_nullable=False
        )
        event.alter_column("source", nullable=True, existing_type=sa.String(length=120))
        event.create_foreign_key(op.f("fk_clinic_event_response_id"), "response", ["response_id"], ["id"])
        event.create_unique_constraint(op.f("uq_clinic_event_response_id_item"), ["response_id", "item"])
    _map_events()
    with op.batch_alter_table("clinic_event", table_kwargs=STRICT) as event:
        event.create_check_constraint(op.f("ck_clinic_event_kind"), _one_of("kind", KINDS))
        event.alter_column("certainty", nullable=False, existing_type=sa.String(length=12))
        event.alter_column("source_kind", nullable=False, existing_type=sa.String(length=20))
        event.drop_column("adjudicator")


def _new_event_columns() -> list[Any]:
    def word(column: str, length: int, *words: str) -> sa.Column[str]:
        return _word("clinic_event", column, length, words)

    return [
        sa.Column("response_id", BIG, nullable=True),
        sa.Column("item", sa.String(length=40), nullable=True),
        sa.Column("kind_other", sa.String(length=200), nullable=True),
        word("revision_decision", 10, "advised", "declined", "unfit"),
        word("certainty", 12, "reported", "confirmed", "adjudicated"),
        word("source_kind", 20, "patient", "relative", "examination", "record", "other_department", "other_hospital", "gp",
            "register", "other"),
        sa.Column("judged_by", sa.String(length=80), nullable=True),
        sa.Column("judged_on", sa.Date(), nullable=True),
        word("treatment", 20, "none", "observation", "therapy", "medicine", "procedure", "admission", "reoperation", "revision",
            "intensive_care", "other", "unknown"),
        word("lasting_harm", 10, "none", "some", "limiting", "death", "unknown"),
        word("infection_definition", 10, "icm_2018", "clinic", "other", "unknown"),
        sa.Column("infection_definition_other", sa.String(length=120), nullable=True),
        word("infection_certainty", 10, "definite", "probable", "possible", "unlikely", "unknown"),
        sa.Column("cultures_taken", sa.Integer(), nullable=True),
        sa.Column("cultures_positive", sa.Integer(), nullable=True),
        word("organism", 20, "cutibacterium", "coagulase_negative", "staph_aureus", "streptococcus", "enterococcus", "gram_negative",
            "fungus", "several", "none_grown", "other", "unknown"),
        sa.Column("organism_other", sa.String(length=120), nullable=True),
        sa.Column("taken_back_at", sa.DateTime(timezone=True), nullable=True),
    ]  # fmt: skip


def _map_events() -> None:
    """An event was entered by staff with a source, so it counts as confirmed; one that names who judged it, as adjudicated."""
    names = ("id", "kind", "kind_other", "certainty", "source_kind", "judged_by", "judged_on", "adjudicator", "made_at")
    event = sa.table(
        "clinic_event", *(sa.column(name) for name in names[:-1]), sa.column("made_at", sa.DateTime(timezone=True))
    )
    event.c.judged_on.type = sa.Date()
    connection = op.get_bind()
    for row in connection.execute(sa.select(event)).mappings().all():
        values = {
            "kind": OLD_EVENT_KINDS.get(row["kind"], row["kind"]),
            "kind_other": "what it was is not recorded" if row["kind"] == "other" else None,
            "certainty": "adjudicated" if row["adjudicator"] else "confirmed",
            "source_kind": "other",
            "judged_by": row["adjudicator"],
            "judged_on": row["made_at"].date(),
        }
        connection.execute(sa.update(event).where(event.c.id == row["id"]).values(values))


def _log() -> None:
    for column in (
        sa.Column("surgeon", sa.String(length=80), nullable=True),
        sa.Column("birth_year", sa.Integer(), nullable=True),
        sa.Column("implant_other", sa.String(length=120), nullable=True),
        sa.Column("not_enrolled_text", sa.String(length=200), nullable=True),
        sa.Column("taken_back_at", sa.DateTime(timezone=True), nullable=True),
        sa.Column("made_by_id", BIG, nullable=True),
    ):
        op.add_column("operation_log", column)
    names = ("id", "not_enrolled_reason", "not_enrolled_text")
    log = sa.table("operation_log", *(sa.column(name) for name in names))
    connection = op.get_bind()
    for row in connection.execute(sa.select(log).where(log.c.not_enrolled_reason.is_not(None))).all():
        reason = OLD_REASONS.get(row.not_enrolled_reason, "other")
        text = row.not_enrolled_reason if reason == "other" else None
        values = {"not_enrolled_reason": reason, "not_enrolled_text": text}
        connection.execute(sa.update(log).where(log.c.id == row.id).values(values))
    # A done operation is a line by itself from now on; what stood here of it said nothing else.
    op.execute("DELETE FROM operation_log WHERE operation_id IS NOT NULL AND not_enrolled_reason IS NULL")
    with op.batch_alter_table("operation_log", table_kwargs=STRICT) as line:
        line.alter_column("not_enrolled_reason", type_=sa.String(length=20), existing_type=sa.String(length=200))
        reasons = _one_of("not_enrolled_reason", NOT_ENROLLED)
        line.create_check_constraint(op.f("ck_operation_log_not_enrolled_reason"), reasons)
        line.create_foreign_key(op.f("fk_operation_log_made_by_id"), "staff_account", ["made_by_id"], ["id"])


def _responses() -> None:
    with op.batch_alter_table("response", table_kwargs=STRICT) as response:
        response.drop_constraint(op.f("ck_response_mode"), type_="check")
        response.create_check_constraint(op.f("ck_response_mode"), _one_of("mode", MODES))
        response.alter_column("timepoint_id", nullable=True, existing_type=BIG)
        response.add_column(sa.Column("finding_id", BIG, nullable=True))
        response.add_column(sa.Column("operated_again", sa.Boolean(), nullable=True))
        response.create_foreign_key(op.f("fk_response_finding_id"), "clinic_finding", ["finding_id"], ["id"])
        response.create_check_constraint(
            op.f("ck_response_timepoint_or_finding"), "(timepoint_id IS NULL) <> (finding_id IS NULL)"
        )
    op.create_index(op.f("ix_response_finding_id"), "response", ["finding_id"], unique=False)
    # That a patient was operated again was a flag so far. A no was kept in the sealed answers alone, which no migration can open.
    op.execute(
        sa.text(
            "UPDATE response SET operated_again = :yes WHERE id IN"
            " (SELECT response_id FROM flag WHERE kind = 'operated_elsewhere' AND response_id IS NOT NULL)"
        ).bindparams(sa.bindparam("yes", True, sa.Boolean()))
    )


def downgrade() -> None:
    raise RuntimeError("Yearmark goes back by restoring a backup, not by undoing a migration")
