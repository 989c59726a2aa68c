"""Sizes and places of elements, by which they are known again; the units of a bill."""

import sqlalchemy as sa
from alembic import op

revision = "0002"
down_revision = "0001"

FIGURES = [
    f"{name}_{axis}" + ("_m" if name in ("low", "high") else "")
    for name in ("low", "high", "offset", "lean")
    for axis in "xyz"
]


def upgrade() -> None:
    """Add columns, empty for what was measured before, and the table of places."""
    for name in ("length_m", "width_m", "height_m"):
        op.add_column("elements", sa.Column(name, sa.Double(), nullable=True))
    op.add_column("versions", sa.Column("units", sa.Text(), nullable=True))
    op.create_table(
        "places",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("version_id", sa.Integer(), nullable=False),
        sa.Column("position", sa.Integer(), nullable=False),
        sa.Column("model", sa.Text(), nullable=True),
        sa.Column("global_id", sa.Text(), nullable=True),
        *(sa.Column(name, sa.Double(), nullable=True) for name in FIGURES),
        sa.ForeignKeyConstraint(
            ["version_id"], ["versions.id"], name="fk_places_version_id", ondelete="CASCADE"
        ),
        sa.PrimaryKeyConstraint("id", name="pk_places"),
    )
    op.create_index("ix_places_version", "places", ["version_id"])
