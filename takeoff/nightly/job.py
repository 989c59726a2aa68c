"""The `[nightly]` table of a job file: what to find, within what limits, and whom to tell."""

import os
from pathlib import Path
from typing import Annotated, Any, Literal

import psutil
from pydantic import BaseModel, ConfigDict, Field, field_validator

from takeoff.data_files import checked_table, read_toml
from takeoff.findings import InputError

Number = Annotated[float, Field(ge=0, allow_inf_nan=False)]
Threshold = Number | Literal[False]
"""A number from which on something is worth an alert, or `false`: never."""


class _Table(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True, strict=True)


class Group(_Table):
    """Files that are measured together: those that fit one of the patterns `models`."""

    name: str = Field(min_length=1, max_length=200)
    models: list[str] = Field(min_length=1)


class Alerts(_Table):
    """When a change or a state raises an alert. Percentages are of the previous version."""

    value_percent: Threshold = 2.0
    value_amount: Threshold = False
    concrete_percent: Threshold = 2.0
    formwork_percent: Threshold = 5.0
    reinforcement_percent: Threshold = 5.0
    prefabrication_points: Threshold = 2.0
    new_errors: Threshold = 1.0
    unpriced_items: Threshold = 1.0
    waiting_days: Threshold = 3.0
    failed: bool = True
    removed: bool = True


class Mail(_Table):
    """A mail about the run. The password comes from the environment only (TAKEOFF_MAIL_PASSWORD)."""

    host: str = Field(min_length=1)
    port: int = Field(default=587, ge=1, le=65535)
    security: Literal["starttls", "tls", "none"] = "starttls"
    user: str = ""
    sender: str = Field(min_length=3)
    to: list[str] = Field(min_length=1)
    when: Literal["always", "alert"] = "alert"

    @field_validator("sender", "to", "user")
    @classmethod
    def _one_line(cls, value: Any) -> Any:
        for text in [value] if isinstance(value, str) else value:
            if not text.isprintable():
                raise ValueError("must be one line")
        return value


class Webhook(_Table):
    """An HTTP request about the run. A bearer token comes from the environment only (TAKEOFF_WEBHOOK_TOKEN)."""

    url: str = Field(pattern=r"^https?://[^@/\s]+(/\S*)?$")
    when: Literal["always", "alert"] = "alert"


class NightlyJob(_Table):
    """All of the `[nightly]` table; the defaults are those of the shipped nightly-job.toml."""

    name: str = ""
    include: list[str] = ["*.ifc", "*.ifczip", "*.ifcxml"]
    exclude: list[str] = [".*", "~*"]
    subfolders: bool = True
    together: Literal["apart", "by-folder"] = "apart"
    group: list[Group] = []
    settle_seconds: Number = 20.0
    trust_times: bool = True
    models_at_once: int = Field(default_factory=lambda: max(1, min(8, os.cpu_count() or 1)), ge=1, le=64)
    limit_minutes: float = Field(default=60.0, gt=0, allow_inf_nan=False)
    memory_gb: float = Field(default=0.0, ge=0, allow_inf_nan=False)
    largest_mb: float = Field(default=2000.0, gt=0, allow_inf_nan=False)
    retry_hours: Number = 20.0
    retry_longest_days: Number = 14.0
    keep_versions: int = Field(default=30, ge=1)
    keep_removed_days: Number = 365.0
    keep_reports: int = Field(default=400, ge=1)
    report_link: str = Field(default="", pattern=r"^((https?|file)://[^\s]+)?$")
    watch_minutes: float = Field(default=5.0, gt=0, allow_inf_nan=False)
    history: str = ""
    alerts: Alerts = Alerts()
    mail: Mail | None = None
    webhook: Webhook | None = None

    @field_validator("group")
    @classmethod
    def _distinct(cls, value: list[Group]) -> list[Group]:
        names = [group.name for group in value]
        twice = next((name for name in names if names.count(name) > 1), None)
        if twice is not None:
            raise ValueError(f"two groups are called {twice!r}")
        return value

    def memory_bytes(self) -> int:
        """Most memory that one model may take: as stated, else an equal share of 80 % of the machine's."""
        if self.memory_gb:
            return int(self.memory_gb * 2**30)
        return max(1 << 30, int(psutil.virtual_memory().total * 0.8 / self.models_at_once))


def load_job(path: Path | None) -> tuple[NightlyJob, bool]:
    """The `[nightly]` table of a job file (defaults without one), and whether the file states `processes`.

    Raises InputError for a file that cannot be read, an unknown key or a wrong value.
    """
    if path is None:
        return NightlyJob(), False
    data = read_toml(path)
    table = data.get("nightly", {})
    if not isinstance(table, dict):
        raise InputError(f"{path}: 'nightly' must be a table: [nightly]")
    return checked_table(path, table, NightlyJob, ("nightly",), "see nightly-job.toml"), "processes" in data
