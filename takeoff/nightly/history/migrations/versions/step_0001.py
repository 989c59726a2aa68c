"""The tables of the history."""

import sqlalchemy as sa
from alembic import op

revision = "0001"
down_revision = None


def upgrade() -> None:
    """Make all tables."""
    op.create_table(
        "jobs",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("name", sa.Text(), nullable=False),
        sa.PrimaryKeyConstraint("id", name="pk_jobs"),
        sa.UniqueConstraint("name", name="uq_jobs_name"),
    )
    op.create_table(
        "models",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("job_id", sa.Integer(), nullable=False),
        sa.Column("key", sa.String(length=64), nullable=False),
        sa.Column("name", sa.Text(), nullable=False),
        sa.Column("together", sa.Boolean(), nullable=False),
        sa.Column("folder", sa.Text(), nullable=False),
        sa.Column("first_seen", sa.DateTime(timezone=True), nullable=False),
        sa.Column("state", sa.String(length=16), nullable=False),
        sa.Column("reason", sa.Text(), nullable=False),
        sa.Column("since", sa.DateTime(timezone=True), nullable=True),
        sa.Column("content", sa.String(length=64), nullable=False),
        sa.Column("rules", sa.String(length=64), nullable=False),
        sa.Column("attempts", sa.Integer(), nullable=False),
        sa.Column("next_attempt", sa.DateTime(timezone=True), nullable=True),
        sa.Column("waiting", sa.Text(), nullable=False),
        sa.Column("waiting_since", sa.DateTime(timezone=True), nullable=True),
        sa.Column("removed", sa.DateTime(timezone=True), nullable=True),
        sa.Column("version_id", sa.Integer(), nullable=True),
        sa.ForeignKeyConstraint(["job_id"], ["jobs.id"], name="fk_models_job_id", ondelete="CASCADE"),
        sa.PrimaryKeyConstraint("id", name="pk_models"),
        sa.UniqueConstraint("job_id", "folder", name="uq_models_folder"),
        sa.UniqueConstraint("job_id", "key", name="uq_models_key"),
    )
    op.create_table(
        "runs",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("job_id", sa.Integer(), nullable=False),
        sa.Column("started", sa.DateTime(timezone=True), nullable=False),
        sa.Column("finished", sa.DateTime(timezone=True), nullable=True),
        sa.Column("state", sa.String(length=16), nullable=False),
        sa.Column("program", sa.Text(), nullable=False),
        sa.Column("host", sa.Text(), nullable=False),
        sa.Column("models", sa.Integer(), nullable=True),
        sa.Column("measured", sa.Integer(), nullable=True),
        sa.Column("unchanged", sa.Integer(), nullable=True),
        sa.Column("failed", sa.Integer(), nullable=True),
        sa.Column("waiting", sa.Integer(), nullable=True),
        sa.Column("removed", sa.Integer(), nullable=True),
        sa.Column("alerts", sa.Integer(), nullable=True),
        sa.Column("net_total", sa.Double(), nullable=True),
        sa.Column("net_volume_m3", sa.Double(), nullable=True),
        sa.Column("share_volume", sa.Double(), nullable=True),
        sa.Column("summary", sa.Text(), nullable=False),
        sa.ForeignKeyConstraint(["job_id"], ["jobs.id"], name="fk_runs_job_id", ondelete="CASCADE"),
        sa.PrimaryKeyConstraint("id", name="pk_runs"),
    )
    op.create_index("ix_runs_job", "runs", ["job_id", "id"])

    op.create_table(
        "files",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("model_id", sa.Integer(), nullable=False),
        sa.Column("key", sa.String(length=64), nullable=False),
        sa.Column("path", sa.Text(), nullable=False),
        sa.Column("size", sa.BigInteger(), nullable=False),
        sa.Column("mtime_ns", sa.BigInteger(), nullable=False),
        sa.Column("ctime_ns", sa.BigInteger(), nullable=False),
        sa.Column("inode", sa.String(length=24), nullable=False),
        sa.Column("sha256", sa.String(length=64), nullable=False),
        sa.ForeignKeyConstraint(["model_id"], ["models.id"], name="fk_files_model_id", ondelete="CASCADE"),
        sa.PrimaryKeyConstraint("id", name="pk_files"),
        sa.UniqueConstraint("model_id", "key", name="uq_files_key"),
    )
    op.create_table(
        "versions",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("model_id", sa.Integer(), nullable=False),
        sa.Column("run_id", sa.Integer(), nullable=False),
        sa.Column("number", sa.Integer(), nullable=False),
        sa.Column("content", sa.String(length=64), nullable=False),
        sa.Column("rules", sa.String(length=64), nullable=False),
        sa.Column("measured", sa.DateTime(timezone=True), nullable=False),
        sa.Column("because", sa.Text(), nullable=False),
        sa.Column("folder", sa.Text(), nullable=False),
        sa.Column("published", sa.Boolean(), nullable=False),
        sa.Column("detailed", sa.Boolean(), nullable=False),
        sa.Column("elements", sa.Integer(), nullable=True),
        sa.Column("parts", sa.Integer(), nullable=True),
        sa.Column("pieces", sa.Integer(), nullable=True),
        sa.Column("net_volume_m3", sa.Double(), nullable=True),
        sa.Column("gross_volume_m3", sa.Double(), nullable=True),
        sa.Column("formwork_m2", sa.Double(), nullable=True),
        sa.Column("reinforcement_kg", sa.Double(), nullable=True),
        sa.Column("weight_t", sa.Double(), nullable=True),
        sa.Column("net_total", sa.Double(), nullable=True),
        sa.Column("grand_total", sa.Double(), nullable=True),
        sa.Column("currency", sa.Text(), nullable=True),
        sa.Column("unpriced_items", sa.Integer(), nullable=True),
        sa.Column("errors", sa.Integer(), nullable=True),
        sa.Column("warnings", sa.Integer(), nullable=True),
        sa.Column("notes", sa.Integer(), nullable=True),
        sa.Column("share_volume", sa.Double(), nullable=True),
        sa.Column("share_value", sa.Double(), nullable=True),
        sa.Column("seconds", sa.Double(), nullable=True),
        sa.ForeignKeyConstraint(["model_id"], ["models.id"], name="fk_versions_model_id", ondelete="CASCADE"),
        sa.ForeignKeyConstraint(["run_id"], ["runs.id"], name="fk_versions_run_id", ondelete="CASCADE"),
        sa.PrimaryKeyConstraint("id", name="pk_versions"),
        sa.UniqueConstraint("model_id", "number", name="uq_versions_number"),
    )
    op.create_table(
        "alerts",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("run_id", sa.Integer(), nullable=False),
        sa.Column("model_id", sa.Integer(), nullable=False),
        sa.Column("version_id", sa.Integer(), nullable=True),
        sa.Column("kind", sa.String(length=24), nullable=False),
        sa.Column("message", sa.Text(), nullable=False),
        sa.Column("value", sa.Double(), nullable=True),
        sa.Column("threshold", sa.Double(), nullable=True),
        sa.Column("told_run_id", sa.Integer(), nullable=True),
        sa.ForeignKeyConstraint(["model_id"], ["models.id"], name="fk_alerts_model_id", ondelete="CASCADE"),
        sa.ForeignKeyConstraint(["run_id"], ["runs.id"], name="fk_alerts_run_id", ondelete="CASCADE"),
        sa.ForeignKeyConstraint(
            ["told_run_id"], ["runs.id"], name="fk_alerts_told_run_id", ondelete="CASCADE"
        ),
        sa.ForeignKeyConstraint(
            ["version_id"], ["versions.id"], name="fk_alerts_version_id", ondelete="CASCADE"
        ),
        sa.PrimaryKeyConstraint("id", name="pk_alerts"),
    )
    op.create_index("ix_alerts_run", "alerts", ["run_id"])

    op.create_table(
        "elements",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("version_id", sa.Integer(), nullable=False),
        sa.Column("position", sa.Integer(), nullable=False),
        sa.Column("model", sa.Text(), nullable=True),
        sa.Column("global_id", sa.Text(), nullable=True),
        sa.Column("part", sa.Integer(), nullable=True),
        sa.Column("lump", sa.Integer(), nullable=True),
        sa.Column("ifc_class", sa.Text(), nullable=True),
        sa.Column("name", sa.Text(), nullable=True),
        sa.Column("type_name", sa.Text(), nullable=True),
        sa.Column("mark", sa.Text(), nullable=True),
        sa.Column("storey", sa.Text(), nullable=True),
        sa.Column("role", sa.Text(), nullable=True),
        sa.Column("method", sa.Text(), nullable=True),
        sa.Column("material", sa.Text(), nullable=True),
        sa.Column("strength_class", sa.Text(), nullable=True),
        sa.Column("gross_volume_m3", sa.Double(), nullable=True),
        sa.Column("net_volume_m3", sa.Double(), nullable=True),
        sa.Column("formwork_m2", sa.Double(), nullable=True),
        sa.Column("reinforcement_kg", sa.Double(), nullable=True),
        sa.Column("weight_t", sa.Double(), nullable=True),
        sa.Column("condition", sa.Text(), nullable=True),
        sa.ForeignKeyConstraint(
            ["version_id"], ["versions.id"], name="fk_elements_version_id", ondelete="CASCADE"
        ),
        sa.PrimaryKeyConstraint("id", name="pk_elements"),
    )
    op.create_index("ix_elements_version", "elements", ["version_id"])

    op.create_table(
        "events",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("run_id", sa.Integer(), nullable=False),
        sa.Column("model_id", sa.Integer(), nullable=False),
        sa.Column("version_id", sa.Integer(), nullable=True),
        sa.Column("moment", sa.DateTime(timezone=True), nullable=False),
        sa.Column("kind", sa.String(length=16), nullable=False),
        sa.Column("detail", sa.Text(), nullable=False),
        sa.Column("told_run_id", sa.Integer(), nullable=True),
        sa.ForeignKeyConstraint(["model_id"], ["models.id"], name="fk_events_model_id", ondelete="CASCADE"),
        sa.ForeignKeyConstraint(["run_id"], ["runs.id"], name="fk_events_run_id", ondelete="CASCADE"),
        sa.ForeignKeyConstraint(
            ["told_run_id"], ["runs.id"], name="fk_events_told_run_id", ondelete="CASCADE"
        ),
        sa.ForeignKeyConstraint(
            ["version_id"], ["versions.id"], name="fk_events_version_id", ondelete="CASCADE"
        ),
        sa.PrimaryKeyConstraint("id", name="pk_events"),
    )
    op.create_index("ix_events_model", "events", ["model_id"])
    op.create_index("ix_events_run", "events", ["run_id"])

    op.create_table(
        "findings",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("version_id", sa.Integer(), nullable=False),
        sa.Column("position", sa.Integer(), nullable=False),
        sa.Column("severity", sa.Text(), nullable=True),
        sa.Column("kind", sa.Text(), nullable=True),
        sa.Column("model", sa.Text(), nullable=True),
        sa.Column("global_id", sa.Text(), nullable=True),
        sa.Column("message", sa.Text(), nullable=True),
        sa.Column("assumed", sa.Text(), nullable=True),
        sa.Column("worth", sa.Double(), nullable=True),
        sa.Column("worth_unit", sa.Text(), nullable=True),
        sa.ForeignKeyConstraint(
            ["version_id"], ["versions.id"], name="fk_findings_version_id", ondelete="CASCADE"
        ),
        sa.PrimaryKeyConstraint("id", name="pk_findings"),
    )
    op.create_index("ix_findings_version", "findings", ["version_id"])

    op.create_table(
        "inputs",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("version_id", sa.Integer(), nullable=False),
        sa.Column("kind", sa.String(length=8), nullable=False),
        sa.Column("name", sa.Text(), nullable=False),
        sa.Column("value", sa.Text(), nullable=False),
        sa.ForeignKeyConstraint(
            ["version_id"], ["versions.id"], name="fk_inputs_version_id", ondelete="CASCADE"
        ),
        sa.PrimaryKeyConstraint("id", name="pk_inputs"),
    )
    op.create_index("ix_inputs_version", "inputs", ["version_id"])

    op.create_table(
        "items",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("version_id", sa.Integer(), nullable=False),
        sa.Column("position", sa.Integer(), nullable=False),
        sa.Column("key", sa.Text(), nullable=True),
        sa.Column("number", sa.Text(), nullable=True),
        sa.Column("section", sa.Text(), nullable=True),
        sa.Column("description", sa.Text(), nullable=True),
        sa.Column("unit", sa.Text(), nullable=True),
        sa.Column("quantity", sa.Double(), nullable=True),
        sa.Column("rate", sa.Double(), nullable=True),
        sa.Column("amount", sa.Double(), nullable=True),
        sa.ForeignKeyConstraint(
            ["version_id"], ["versions.id"], name="fk_items_version_id", ondelete="CASCADE"
        ),
        sa.PrimaryKeyConstraint("id", name="pk_items"),
    )
    op.create_index("ix_items_version", "items", ["version_id"])

    op.create_table(
        "money",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("version_id", sa.Integer(), nullable=False),
        sa.Column("position", sa.Integer(), nullable=False),
        sa.Column("kind", sa.Text(), nullable=True),
        sa.Column("line", sa.Text(), nullable=True),
        sa.Column("amount", sa.Double(), nullable=True),
        sa.ForeignKeyConstraint(
            ["version_id"], ["versions.id"], name="fk_money_version_id", ondelete="CASCADE"
        ),
        sa.PrimaryKeyConstraint("id", name="pk_money"),
    )
    op.create_index("ix_money_version", "money", ["version_id"])

    op.create_table(
        "quantities",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("version_id", sa.Integer(), nullable=False),
        sa.Column("position", sa.Integer(), nullable=False),
        sa.Column("role", sa.Text(), nullable=True),
        sa.Column("method", sa.Text(), nullable=True),
        sa.Column("storey", sa.Text(), nullable=True),
        sa.Column("measure", sa.Text(), nullable=True),
        sa.Column("unit", sa.Text(), nullable=True),
        sa.Column("value", sa.Double(), nullable=True),
        sa.ForeignKeyConstraint(
            ["version_id"], ["versions.id"], name="fk_quantities_version_id", ondelete="CASCADE"
        ),
        sa.PrimaryKeyConstraint("id", name="pk_quantities"),
    )
    op.create_index("ix_quantities_version", "quantities", ["version_id"])

    op.create_table(
        "shares",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("version_id", sa.Integer(), nullable=False),
        sa.Column("position", sa.Integer(), nullable=False),
        sa.Column("grouped_by", sa.Text(), nullable=True),
        sa.Column("group_name", sa.Text(), nullable=True),
        sa.Column("measure", sa.Text(), nullable=True),
        sa.Column("unit", sa.Text(), nullable=True),
        sa.Column("prefabricated", sa.Double(), nullable=True),
        sa.Column("total", sa.Double(), nullable=True),
        sa.ForeignKeyConstraint(
            ["version_id"], ["versions.id"], name="fk_shares_version_id", ondelete="CASCADE"
        ),
        sa.PrimaryKeyConstraint("id", name="pk_shares"),
    )
    op.create_index("ix_shares_version", "shares", ["version_id"])
