"""The report as a mail, by SMTP."""

import smtplib
import ssl
from datetime import UTC, datetime
from email.message import EmailMessage
from email.utils import format_datetime, make_msgid

from takeoff.findings import InputError
from takeoff.nightly.job import Mail
from takeoff.nightly.names import shown
from takeoff.nightly.report import Report
from takeoff.nightly.secrets import MAIL_PASSWORD

SECONDS = 30


def make_mail(report: Report, mail: Mail) -> EmailMessage:
    """The message: the one-line summary as subject, the report as text and as HTML."""
    message = EmailMessage()
    message["Subject"] = shown(report.summary)
    message["From"] = mail.sender
    message["To"] = ", ".join(mail.to)
    message["Date"] = format_datetime(datetime.now(UTC))
    message["Message-ID"] = make_msgid(domain=mail.sender.rpartition("@")[2].strip("> ") or "localhost")
    message["Auto-Submitted"] = "auto-generated"  # RFC 3834: no automatic answers
    message.set_content(report.text)
    if report.mail:
        message.add_alternative(report.mail, subtype="html")
    return message


def send_mail(report: Report, mail: Mail, password: str) -> None:
    """Send the report. Raises InputError saying what went wrong, never the password."""
    if mail.user and not password:
        raise InputError(f"mail: user {mail.user} needs a password in {MAIL_PASSWORD}")
    if mail.user and mail.security == "none":
        raise InputError("mail: no password is sent without encryption; set security to starttls or tls")
    message = make_mail(report, mail)
    context = ssl.create_default_context()
    try:
        if mail.security == "tls":
            server: smtplib.SMTP = smtplib.SMTP_SSL(mail.host, mail.port, timeout=SECONDS, context=context)
        else:
            server = smtplib.SMTP(mail.host, mail.port, timeout=SECONDS)
        with server:
            if mail.security == "starttls":
                server.starttls(context=context)
            if mail.user:
                server.login(mail.user, password)
            refused = server.send_message(message)
    except (OSError, smtplib.SMTPException) as fault:
        raise InputError(f"mail: {mail.host}:{mail.port} did not take it ({_words(fault)})") from fault
    if refused:
        raise InputError(f"mail: {mail.host} refused {', '.join(refused)}")


def _words(fault: Exception) -> str:
    if isinstance(fault, smtplib.SMTPAuthenticationError):
        return "user or password not accepted"
    return shown(str(fault))
