"""Whom a report is told to: files in the output folder, mail, webhook. A teller that fails stops no other."""

import contextlib
import json
from pathlib import Path

from takeoff.findings import InputError
from takeoff.nightly.job import NightlyJob
from takeoff.nightly.log import Log
from takeoff.nightly.mail import send_mail
from takeoff.nightly.outputs import RUNS, Outputs
from takeoff.nightly.report import Report, json_text
from takeoff.nightly.secrets import MAIL_PASSWORD, WEBHOOK_TOKEN, WEBHOOK_URL, secret
from takeoff.nightly.webhook import call_webhook

REPORT = "report"
LAST = "last-report.html"
"""The last report, while that of a failed run stands in its place."""


def write_report(report: Report, outputs: Outputs, run: int) -> None:
    """The report as HTML and JSON: the last one in the output folder, its JSON also by the number of its run."""
    text = json_text(report).encode()
    (outputs.out / RUNS).mkdir(exist_ok=True)
    outputs.write(outputs.out / RUNS / f"{run:06d}.json", text)
    outputs.write(outputs.out / f"{REPORT}.html", report.html.encode())
    outputs.write(outputs.out / f"{REPORT}.json", text)


def write_failure(report: Report, out: Path) -> None:
    """The page of a run that failed in the place of the report; the last report goes beside it, once."""
    last, page = out / f"{REPORT}.json", out / f"{REPORT}.html"
    with contextlib.suppress(OSError, ValueError):
        outputs = Outputs(out)
        outputs.prepare()
        if page.is_file() and "error" not in json.loads(last.read_text(encoding="utf-8")):
            outputs.write(out / LAST, page.read_bytes())
        outputs.write(page, report.html.encode())
        outputs.write(last, json_text(report).encode())
        outputs.close()


def tell(report: Report, job: NightlyJob, log: Log) -> bool:
    """Send mail and webhook where the job asks for them; False when one could not be sent (the log says why)."""
    done = True
    if job.mail is not None and (report.loud or job.mail.when == "always"):
        try:
            send_mail(report, job.mail, secret(MAIL_PASSWORD))
            log("info", "mail", f"mail sent to {len(job.mail.to)} addresses")
        except InputError as fault:
            log("error", "mail", str(fault))
            done = False
    url = secret(WEBHOOK_URL) or (job.webhook.url if job.webhook else "")
    when = job.webhook.when if job.webhook else "alert"
    if url and (report.loud or when == "always"):
        try:
            call_webhook(report, url, secret(WEBHOOK_TOKEN))
            log("info", "webhook", "webhook called")
        except InputError as fault:
            log("error", "webhook", str(fault))
            done = False
    return done
