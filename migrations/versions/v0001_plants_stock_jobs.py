"""Plants with their lines, stock, tooling and jobs; users, keys and the audit."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

from migrations.column_types import DOCUMENT, EXACT, LENGTH, MOMENT, PRIMARY_KEY, SQLITE, key_text

revision = "0001"
down_revision = None
branch_labels = None
depends_on = None


def upgrade() -> None:
    _plants()
    _lines()
    _substrates()
    _stocked_widths()
    _rolls()
    _deliveries()
    _dies()
    _cylinders()
    _consumables()
    _jobs()
    _job_versions()
    _users()
    _keys()
    _audit()
    _append_only_audit()


def _plants() -> None:
    op.create_table(
        "plants",
        sa.Column("pk", PRIMARY_KEY, nullable=False),
        sa.Column("name", key_text(80), nullable=False),
        sa.Column("site_name", sa.Text(), nullable=False),
        sa.Column("zone", sa.Text(), nullable=False),
        sa.Column("plan_from", MOMENT, nullable=True),
        sa.Column("note", sa.Text(), nullable=False),
        sa.Column("late_eur", EXACT, nullable=False),
        sa.Column("late_eur_per_h", EXACT, nullable=False),
        sa.Column("after_press_min", EXACT, nullable=False),
        sa.Column("overs_pct", EXACT, nullable=False),
        sa.Column("core_wall_um", LENGTH, nullable=False),
        sa.Column("moved_run_eur", EXACT, nullable=False),
        sa.Column("calendar", DOCUMENT, nullable=False),
        sa.Column("station_kinds", DOCUMENT, nullable=False),
        sa.Column("wash_ups", DOCUMENT, nullable=False),
        sa.Column("stock_rules", DOCUMENT, nullable=False),
        sa.Column("setup_version", sa.Integer(), nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.Column("created_at", MOMENT, nullable=False),
        sa.Column("updated_at", MOMENT, nullable=False),
        sa.PrimaryKeyConstraint("pk", name=op.f("pk_plants")),
        sa.UniqueConstraint("name", name=op.f("uq_plants_name")),
    )


def _lines() -> None:
    op.create_table(
        "lines",
        sa.Column("pk", PRIMARY_KEY, nullable=False),
        sa.Column("plant_pk", PRIMARY_KEY, nullable=False),
        sa.Column("id", key_text(80), nullable=False),
        sa.Column("position", sa.Integer(), nullable=False),
        sa.Column("setup", DOCUMENT, nullable=False),
        sa.Column("present", DOCUMENT, nullable=False),
        sa.Column("present_version", sa.Integer(), nullable=False),
        sa.Column("present_updated_at", MOMENT, nullable=False),
        sa.Column("revision", sa.BigInteger(), nullable=True),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.Column("digest", sa.String(length=32), nullable=False),
        sa.Column("created_at", MOMENT, nullable=False),
        sa.Column("updated_at", MOMENT, nullable=False),
        sa.ForeignKeyConstraint(
            ["plant_pk"], ["plants.pk"], name=op.f("fk_lines_plant_pk_plants"), ondelete="CASCADE"
        ),
        sa.PrimaryKeyConstraint("pk", name=op.f("pk_lines")),
        sa.UniqueConstraint("plant_pk", "id", name=op.f("uq_lines_plant_pk_id")),
    )


def _substrates() -> None:
    op.create_table(
        "substrates",
        sa.Column("pk", PRIMARY_KEY, nullable=False),
        sa.Column("plant_pk", PRIMARY_KEY, nullable=False),
        sa.Column("code", key_text(80), nullable=False),
        sa.Column("code_folded", key_text(400), nullable=False),
        sa.Column("name", sa.Text(), nullable=False),
        sa.Column("eur_per_m2", EXACT, nullable=False),
        sa.Column("material_class", sa.Text(), nullable=False),
        sa.Column("thickness_um", sa.Integer(), nullable=True),
        sa.Column("liner_thickness_um", sa.Integer(), nullable=True),
        sa.Column("print_settings", sa.Text(), nullable=False),
        sa.Column("usual_roll_um", LENGTH, nullable=True),
        sa.Column("revision", sa.BigInteger(), nullable=True),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.Column("digest", sa.String(length=32), nullable=False),
        sa.Column("created_at", MOMENT, nullable=False),
        sa.Column("updated_at", MOMENT, nullable=False),
        sa.ForeignKeyConstraint(
            ["plant_pk"], ["plants.pk"], name=op.f("fk_substrates_plant_pk_plants"), ondelete="CASCADE"
        ),
        sa.PrimaryKeyConstraint("pk", name=op.f("pk_substrates")),
        sa.UniqueConstraint("plant_pk", "code", name=op.f("uq_substrates_plant_pk_code")),
    )
    op.create_index(
        op.f("ix_substrates_plant_pk_code_folded_code"),
        "substrates",
        ["plant_pk", "code_folded", "code"],
        unique=False,
    )
    op.create_index(
        op.f("ix_substrates_plant_pk_updated_at_code"),
        "substrates",
        ["plant_pk", "updated_at", "code"],
        unique=False,
    )


def _stocked_widths() -> None:
    op.create_table(
        "stocked_widths",
        sa.Column("substrate_pk", PRIMARY_KEY, nullable=False),
        sa.Column("position", sa.Integer(), nullable=False),
        sa.Column("width_um", LENGTH, nullable=False),
        sa.Column("on_hand_um", LENGTH, nullable=True),
        sa.ForeignKeyConstraint(
            ["substrate_pk"],
            ["substrates.pk"],
            name=op.f("fk_stocked_widths_substrate_pk_substrates"),
            ondelete="CASCADE",
        ),
        sa.PrimaryKeyConstraint("substrate_pk", "position", name=op.f("pk_stocked_widths")),
    )


def _rolls() -> None:
    op.create_table(
        "rolls",
        sa.Column("pk", PRIMARY_KEY, nullable=False),
        sa.Column("plant_pk", PRIMARY_KEY, nullable=False),
        sa.Column("id", key_text(80), nullable=False),
        sa.Column("id_folded", key_text(400), nullable=False),
        sa.Column("substrate", key_text(80), nullable=False),
        sa.Column("width_um", LENGTH, nullable=False),
        sa.Column("length_um", LENGTH, nullable=False),
        sa.Column("received", MOMENT, nullable=True),
        sa.Column("best_before", MOMENT, nullable=True),
        sa.Column("location", sa.Text(), nullable=False),
        sa.Column("flaws", DOCUMENT, nullable=False),
        sa.Column("reserved_for", key_text(80), nullable=True),
        sa.Column("on_unwind", key_text(80), nullable=True),
        sa.Column("arrives", MOMENT, nullable=True),
        sa.Column("revision", sa.BigInteger(), nullable=True),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.Column("digest", sa.String(length=32), nullable=False),
        sa.Column("created_at", MOMENT, nullable=False),
        sa.Column("updated_at", MOMENT, nullable=False),
        sa.ForeignKeyConstraint(
            ["plant_pk"], ["plants.pk"], name=op.f("fk_rolls_plant_pk_plants"), ondelete="CASCADE"
        ),
        sa.PrimaryKeyConstraint("pk", name=op.f("pk_rolls")),
        sa.UniqueConstraint("plant_pk", "id", name=op.f("uq_rolls_plant_pk_id")),
    )
    op.create_index(
        op.f("ix_rolls_plant_pk_id_folded_id"), "rolls", ["plant_pk", "id_folded", "id"], unique=False
    )
    op.create_index(
        op.f("ix_rolls_plant_pk_substrate_id"), "rolls", ["plant_pk", "substrate", "id"], unique=False
    )
    op.create_index(
        op.f("ix_rolls_plant_pk_updated_at_id"), "rolls", ["plant_pk", "updated_at", "id"], unique=False
    )


def _deliveries() -> None:
    op.create_table(
        "deliveries",
        sa.Column("pk", PRIMARY_KEY, nullable=False),
        sa.Column("plant_pk", PRIMARY_KEY, nullable=False),
        sa.Column("id", key_text(80), nullable=False),
        sa.Column("id_folded", key_text(400), nullable=False),
        sa.Column("substrate", key_text(80), nullable=False),
        sa.Column("width_um", LENGTH, nullable=False),
        sa.Column("at", MOMENT, nullable=False),
        sa.Column("length_um", LENGTH, nullable=False),
        sa.Column("revision", sa.BigInteger(), nullable=True),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.Column("digest", sa.String(length=32), nullable=False),
        sa.Column("created_at", MOMENT, nullable=False),
        sa.Column("updated_at", MOMENT, nullable=False),
        sa.ForeignKeyConstraint(
            ["plant_pk"], ["plants.pk"], name=op.f("fk_deliveries_plant_pk_plants"), ondelete="CASCADE"
        ),
        sa.PrimaryKeyConstraint("pk", name=op.f("pk_deliveries")),
        sa.UniqueConstraint("plant_pk", "id", name=op.f("uq_deliveries_plant_pk_id")),
    )
    op.create_index(
        op.f("ix_deliveries_plant_pk_at_id"), "deliveries", ["plant_pk", "at", "id"], unique=False
    )
    op.create_index(
        op.f("ix_deliveries_plant_pk_id_folded_id"),
        "deliveries",
        ["plant_pk", "id_folded", "id"],
        unique=False,
    )
    op.create_index(
        op.f("ix_deliveries_plant_pk_substrate_id"),
        "deliveries",
        ["plant_pk", "substrate", "id"],
        unique=False,
    )
    op.create_index(
        op.f("ix_deliveries_plant_pk_updated_at_id"),
        "deliveries",
        ["plant_pk", "updated_at", "id"],
        unique=False,
    )


def _dies() -> None:
    op.create_table(
        "dies",
        sa.Column("pk", PRIMARY_KEY, nullable=False),
        sa.Column("plant_pk", PRIMARY_KEY, nullable=False),
        sa.Column("id", key_text(80), nullable=False),
        sa.Column("id_folded", key_text(400), nullable=False),
        sa.Column("repeat_um", LENGTH, nullable=True),
        sa.Column("teeth", sa.Integer(), nullable=True),
        sa.Column("pitch", sa.Text(), nullable=True),
        sa.Column("across", sa.Integer(), nullable=False),
        sa.Column("around", sa.Integer(), nullable=False),
        sa.Column("label_width_um", LENGTH, nullable=False),
        sa.Column("gap_across_um", LENGTH, nullable=False),
        sa.Column("cylinder", key_text(80), nullable=True),
        sa.Column("print_cylinder", key_text(80), nullable=True),
        sa.Column("copies", sa.Integer(), nullable=True),
        sa.Column("min_liner_um", sa.Integer(), nullable=True),
        sa.Column("max_liner_um", sa.Integer(), nullable=True),
        sa.Column("revision", sa.BigInteger(), nullable=True),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.Column("digest", sa.String(length=32), nullable=False),
        sa.Column("created_at", MOMENT, nullable=False),
        sa.Column("updated_at", MOMENT, nullable=False),
        sa.ForeignKeyConstraint(
            ["plant_pk"], ["plants.pk"], name=op.f("fk_dies_plant_pk_plants"), ondelete="CASCADE"
        ),
        sa.PrimaryKeyConstraint("pk", name=op.f("pk_dies")),
        sa.UniqueConstraint("plant_pk", "id", name=op.f("uq_dies_plant_pk_id")),
    )
    op.create_index(
        op.f("ix_dies_plant_pk_id_folded_id"), "dies", ["plant_pk", "id_folded", "id"], unique=False
    )
    op.create_index(
        op.f("ix_dies_plant_pk_updated_at_id"), "dies", ["plant_pk", "updated_at", "id"], unique=False
    )


def _cylinders() -> None:
    op.create_table(
        "cylinders",
        sa.Column("pk", PRIMARY_KEY, nullable=False),
        sa.Column("plant_pk", PRIMARY_KEY, nullable=False),
        sa.Column("id", key_text(80), nullable=False),
        sa.Column("id_folded", key_text(400), nullable=False),
        sa.Column("repeat_um", LENGTH, nullable=True),
        sa.Column("teeth", sa.Integer(), nullable=True),
        sa.Column("pitch", sa.Text(), nullable=True),
        sa.Column("copies", sa.Integer(), nullable=True),
        sa.Column("revision", sa.BigInteger(), nullable=True),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.Column("digest", sa.String(length=32), nullable=False),
        sa.Column("created_at", MOMENT, nullable=False),
        sa.Column("updated_at", MOMENT, nullable=False),
        sa.ForeignKeyConstraint(
            ["plant_pk"], ["plants.pk"], name=op.f("fk_cylinders_plant_pk_plants"), ondelete="CASCADE"
        ),
        sa.PrimaryKeyConstraint("pk", name=op.f("pk_cylinders")),
        sa.UniqueConstraint("plant_pk", "id", name=op.f("uq_cylinders_plant_pk_id")),
    )
    op.create_index(
        op.f("ix_cylinders_plant_pk_id_folded_id"), "cylinders", ["plant_pk", "id_folded", "id"], unique=False
    )
    op.create_index(
        op.f("ix_cylinders_plant_pk_updated_at_id"),
        "cylinders",
        ["plant_pk", "updated_at", "id"],
        unique=False,
    )


def _consumables() -> None:
    op.create_table(
        "consumables",
        sa.Column("pk", PRIMARY_KEY, nullable=False),
        sa.Column("plant_pk", PRIMARY_KEY, nullable=False),
        sa.Column("id", key_text(80), nullable=False),
        sa.Column("id_folded", key_text(400), nullable=False),
        sa.Column("darkness", EXACT, nullable=False),
        sa.Column("plate", sa.Boolean(), nullable=False),
        sa.Column("anilox", key_text(80), nullable=True),
        sa.Column("max_speed_m_min", EXACT, nullable=True),
        sa.Column("reel_um", LENGTH, nullable=True),
        sa.Column("revision", sa.BigInteger(), nullable=True),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.Column("digest", sa.String(length=32), nullable=False),
        sa.Column("created_at", MOMENT, nullable=False),
        sa.Column("updated_at", MOMENT, nullable=False),
        sa.ForeignKeyConstraint(
            ["plant_pk"], ["plants.pk"], name=op.f("fk_consumables_plant_pk_plants"), ondelete="CASCADE"
        ),
        sa.PrimaryKeyConstraint("pk", name=op.f("pk_consumables")),
        sa.UniqueConstraint("plant_pk", "id", name=op.f("uq_consumables_plant_pk_id")),
    )
    op.create_index(
        op.f("ix_consumables_plant_pk_id_folded_id"),
        "consumables",
        ["plant_pk", "id_folded", "id"],
        unique=False,
    )
    op.create_index(
        op.f("ix_consumables_plant_pk_updated_at_id"),
        "consumables",
        ["plant_pk", "updated_at", "id"],
        unique=False,
    )


def _jobs() -> None:
    op.create_table(
        "jobs",
        sa.Column("pk", PRIMARY_KEY, nullable=False),
        sa.Column("plant_pk", PRIMARY_KEY, nullable=False),
        sa.Column("job", key_text(80), nullable=False),
        sa.Column("job_folded", key_text(400), nullable=False),
        sa.Column("status", key_text(40), nullable=False),
        sa.Column("cancel_reason", sa.Text(), nullable=False),
        sa.Column("customer", sa.Text(), nullable=False),
        sa.Column("customer_folded", key_text(400), nullable=False),
        sa.Column("substrate", key_text(80), nullable=False),
        sa.Column("die", key_text(80), nullable=False),
        sa.Column("colours", DOCUMENT, nullable=False),
        sa.Column("finishes", DOCUMENT, nullable=False),
        sa.Column("due", MOMENT, nullable=True),
        sa.Column("ready", MOMENT, nullable=True),
        sa.Column("full_reels", sa.Boolean(), nullable=False),
        sa.Column("labels_per_reel", sa.Integer(), nullable=True),
        sa.Column("core_um", LENGTH, nullable=True),
        sa.Column("roll_width_um", LENGTH, nullable=True),
        sa.Column("late_eur", EXACT, nullable=True),
        sa.Column("late_eur_per_h", EXACT, nullable=True),
        sa.Column("least_lot", sa.Integer(), nullable=True),
        sa.Column("may_join", sa.Boolean(), nullable=False),
        sa.Column("splice_rule", key_text(40), nullable=False),
        sa.Column("most_splices_a_reel", sa.Integer(), nullable=True),
        sa.Column("largest_reel_um", LENGTH, nullable=True),
        sa.Column("winding", DOCUMENT, nullable=True),
        sa.Column("revision", sa.BigInteger(), nullable=True),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.Column("digest", sa.String(length=32), nullable=False),
        sa.Column("created_at", MOMENT, nullable=False),
        sa.Column("updated_at", MOMENT, nullable=False),
        sa.CheckConstraint(
            "status IN ('open', 'cancelled', 'finished')", name=op.f("ck_jobs_status_is_known")
        ),
        sa.ForeignKeyConstraint(
            ["plant_pk"], ["plants.pk"], name=op.f("fk_jobs_plant_pk_plants"), ondelete="CASCADE"
        ),
        sa.PrimaryKeyConstraint("pk", name=op.f("pk_jobs")),
        sa.UniqueConstraint("plant_pk", "job", name=op.f("uq_jobs_plant_pk_job")),
    )
    op.create_index(
        op.f("ix_jobs_plant_pk_customer_folded_job"),
        "jobs",
        ["plant_pk", "customer_folded", "job"],
        unique=False,
    )
    op.create_index(op.f("ix_jobs_plant_pk_die_job"), "jobs", ["plant_pk", "die", "job"], unique=False)
    op.create_index(op.f("ix_jobs_plant_pk_due_job"), "jobs", ["plant_pk", "due", "job"], unique=False)
    op.create_index(
        op.f("ix_jobs_plant_pk_job_folded_job"), "jobs", ["plant_pk", "job_folded", "job"], unique=False
    )
    op.create_index(op.f("ix_jobs_plant_pk_status_job"), "jobs", ["plant_pk", "status", "job"], unique=False)
    op.create_index(
        op.f("ix_jobs_plant_pk_status_due_job"), "jobs", ["plant_pk", "status", "due", "job"], unique=False
    )
    op.create_index(
        op.f("ix_jobs_plant_pk_substrate_job"), "jobs", ["plant_pk", "substrate", "job"], unique=False
    )
    op.create_index(
        op.f("ix_jobs_plant_pk_updated_at_job"), "jobs", ["plant_pk", "updated_at", "job"], unique=False
    )


def _job_versions() -> None:
    op.create_table(
        "job_versions",
        sa.Column("job_pk", PRIMARY_KEY, nullable=False),
        sa.Column("position", sa.Integer(), nullable=False),
        sa.Column("version", key_text(80), nullable=False),
        sa.Column("quantity", sa.Integer(), nullable=False),
        sa.Column("overs_pct", EXACT, nullable=True),
        sa.Column("max_quantity", sa.Integer(), nullable=True),
        sa.ForeignKeyConstraint(
            ["job_pk"], ["jobs.pk"], name=op.f("fk_job_versions_job_pk_jobs"), ondelete="CASCADE"
        ),
        sa.PrimaryKeyConstraint("job_pk", "position", name=op.f("pk_job_versions")),
    )


def _users() -> None:
    op.create_table(
        "users",
        sa.Column("pk", PRIMARY_KEY, nullable=False),
        sa.Column("plant_pk", PRIMARY_KEY, nullable=False),
        sa.Column("name", key_text(80), nullable=False),
        sa.Column("full_name", sa.Text(), nullable=False),
        sa.Column("role", key_text(40), nullable=False),
        sa.Column("line", key_text(80), nullable=True),
        sa.Column("active", sa.Boolean(), nullable=False),
        sa.Column("revision", sa.BigInteger(), nullable=True),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.Column("digest", sa.String(length=32), nullable=False),
        sa.Column("created_at", MOMENT, nullable=False),
        sa.Column("updated_at", MOMENT, nullable=False),
        sa.CheckConstraint(
            "role IN ('integration', 'scheduler', 'supervisor', 'admin', 'press')",
            name=op.f("ck_users_role_is_known"),
        ),
        sa.ForeignKeyConstraint(
            ["plant_pk"], ["plants.pk"], name=op.f("fk_users_plant_pk_plants"), ondelete="CASCADE"
        ),
        sa.PrimaryKeyConstraint("pk", name=op.f("pk_users")),
        sa.UniqueConstraint("plant_pk", "name", name=op.f("uq_users_plant_pk_name")),
    )


def _keys() -> None:
    op.create_table(
        "keys",
        sa.Column("pk", PRIMARY_KEY, nullable=False),
        sa.Column("plant_pk", PRIMARY_KEY, nullable=False),
        sa.Column("id", key_text(80), nullable=False),
        sa.Column("hash", sa.Text(), nullable=False),
        sa.Column("name", sa.Text(), nullable=False),
        sa.Column("role", key_text(40), nullable=False),
        sa.Column("line", key_text(80), nullable=True),
        sa.Column("user_pk", PRIMARY_KEY, nullable=True),
        sa.Column("created_at", MOMENT, nullable=False),
        sa.Column("expires_at", MOMENT, nullable=True),
        sa.Column("revoked_at", MOMENT, nullable=True),
        sa.Column("last_used_on", sa.Date(), nullable=True),
        sa.CheckConstraint(
            "role IN ('integration', 'scheduler', 'supervisor', 'admin', 'press')",
            name=op.f("ck_keys_role_is_known"),
        ),
        sa.ForeignKeyConstraint(
            ["plant_pk"], ["plants.pk"], name=op.f("fk_keys_plant_pk_plants"), ondelete="CASCADE"
        ),
        sa.ForeignKeyConstraint(
            ["user_pk"], ["users.pk"], name=op.f("fk_keys_user_pk_users"), ondelete="CASCADE"
        ),
        sa.PrimaryKeyConstraint("pk", name=op.f("pk_keys")),
        sa.UniqueConstraint("id", name=op.f("uq_keys_id")),
    )
    op.create_index(op.f("ix_keys_user_pk"), "keys", ["user_pk"], unique=False)


def _audit() -> None:
    op.create_table(
        "audit",
        sa.Column("pk", PRIMARY_KEY, nullable=False),
        sa.Column("plant_pk", PRIMARY_KEY, nullable=True),
        sa.Column("at", MOMENT, nullable=False),
        sa.Column("actor", sa.Text(), nullable=False),
        sa.Column("action", key_text(20), nullable=False),
        sa.Column("resource", key_text(40), nullable=False),
        sa.Column("key", key_text(80), nullable=False),
        sa.Column("before", DOCUMENT, nullable=True),
        sa.Column("after", DOCUMENT, nullable=True),
        sa.Column("request_id", sa.Text(), nullable=True),
        sa.ForeignKeyConstraint(["plant_pk"], ["plants.pk"], name=op.f("fk_audit_plant_pk_plants")),
        sa.PrimaryKeyConstraint("pk", name=op.f("pk_audit")),
    )
    op.create_index(op.f("ix_audit_plant_pk_pk"), "audit", ["plant_pk", "pk"], unique=False)
    op.create_index(
        op.f("ix_audit_plant_pk_resource_key_pk"),
        "audit",
        ["plant_pk", "resource", "key", "pk"],
        unique=False,
    )


APPEND_ONLY = "the audit is append-only"


def _append_only_audit() -> None:
    """Nobody changes or removes what the audit says. On SQLite a table that is made anew loses its triggers:
    a migration that does so with `audit` calls for them again.
    """
    if op.get_bind().dialect.name == SQLITE:
        for event in ("UPDATE", "DELETE"):
            op.execute(
                f"CREATE TRIGGER audit_no_{event.lower()} BEFORE {event} ON audit "
                f"BEGIN SELECT RAISE(ABORT, '{APPEND_ONLY}'); END"
            )
        return
    op.execute(
        "CREATE FUNCTION audit_is_append_only() RETURNS trigger LANGUAGE plpgsql AS "
        f"$$ BEGIN RAISE EXCEPTION '{APPEND_ONLY}'; END $$"
    )
    op.execute(
        "CREATE TRIGGER audit_no_change BEFORE UPDATE OR DELETE ON audit "
        "FOR EACH ROW EXECUTE FUNCTION audit_is_append_only()"
    )
    op.execute(
        "CREATE TRIGGER audit_no_truncate BEFORE TRUNCATE ON audit "
        "FOR EACH STATEMENT EXECUTE FUNCTION audit_is_append_only()"
    )
