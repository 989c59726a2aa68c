"""Telling: the report's forms, mail, webhook, logs and exit codes; hostile names harm none of them."""

import email
import json
import os
import re
import socketserver
import subprocess
import sys
import threading
from collections.abc import Iterator
from email.message import Message
from email.policy import default
from html.parser import HTMLParser
from http.server import BaseHTTPRequestHandler, HTTPServer
from pathlib import Path

import pytest
from click.testing import CliRunner
from nightly_kills import CODE
from nightly_nights import Nights, write_wall

from takeoff.cli import main
from takeoff.findings import InputError
from takeoff.nightly.job import Mail, NightlyJob, Webhook
from takeoff.nightly.log import Log
from takeoff.nightly.mail import make_mail, send_mail
from takeoff.nightly.report import Report
from takeoff.nightly.telling import tell
from takeoff.nightly.webhook import call_webhook

HOSTILE = "<script>alert(1)</script> =cmd|' 'A0 \u202e\r\nBcc: x@y {{7*7}}"
REPORT = Report("takeoff nightly: 1 alert", {"summary": "s"}, "<p>report</p>", "the report\n", True)


@pytest.fixture(scope="module")
def hostile(tmp_path_factory: pytest.TempPathFactory) -> tuple[Nights, Report]:
    """Two nights of a model whose every name is hostile."""
    nights = Nights(tmp_path_factory.mktemp("hostile"))
    path = nights.folder / (HOSTILE.replace("/", "_") + ".ifc")
    write_wall(path, 5.0, name=HOSTILE)
    nights.night(0)
    write_wall(path, 6.0, name=HOSTILE)
    _, report = nights.night(1)
    assert report is not None
    return nights, report


class Tags(HTMLParser):
    def __init__(self) -> None:
        super().__init__()
        self.found: list[str] = []
        self.text = ""

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.found.append(tag)
        assert not [name for name, _ in attrs if name.startswith("on")]

    def handle_data(self, data: str) -> None:
        self.text += data


def test_hostile_names_are_only_text_in_the_report(hostile: tuple[Nights, Report]) -> None:
    nights, report = hostile
    page = (nights.out / "report.html").read_text()
    tags = Tags()
    tags.feed(page)
    assert "script" not in tags.found
    assert "svg" in tags.found, "two runs make a picture"
    assert "<script>alert(1)<_script> =cmd|' 'A0 \\u202e\\x0d\\x0aBcc: x@y {{7*7}}.ifc" in tags.text
    assert "49" not in re.findall(r"x@y (\S+)", tags.text)
    assert "\u202e" not in page
    assert "http" not in page.replace("http-equiv", ""), "the page loads nothing"
    assert report.loud


def test_hostile_names_are_no_formulas_and_no_paths(hostile: tuple[Nights, Report]) -> None:
    nights, _ = hostile
    (folder,) = (nights.out / "models").iterdir()
    assert re.fullmatch(r"[A-Za-z0-9._-]+", folder.name)
    write_wall(nights.folder / "formula.ifc", 1.0, name="=1+1")
    write_wall(nights.folder / "formula.ifc", 1.0, name="=1+1")
    nights.night(2)
    write_wall(nights.folder / "formula.ifc", 2.0, name="=1+1")
    nights.night(3)
    lines = next(nights.out.glob("models/formula*/0002*/changed-elements.csv")).read_text()
    assert ",'=1+1," in lines


def test_a_hostile_name_adds_no_header_to_the_mail(hostile: tuple[Nights, Report]) -> None:
    _, report = hostile
    mail = Mail(host="h", sender="a@b.example", to=["c@d.example"])
    message = email.message_from_bytes(make_mail(report, mail).as_bytes(), policy=default)
    assert message["Bcc"] is None
    assert message["Subject"].strip() == report.summary, "but for the fold of a long line"
    assert message.get_body(("plain",)) is not None
    assert (
        "6.00" in message.get_body(("html",)).get_content()
        or "3.60" in message.get_body(("html",)).get_content()
    )


class _Smtp(socketserver.StreamRequestHandler):
    """As much of RFC 5321 as a client needs to leave a message."""

    def handle(self) -> None:
        self._say("220 here")
        while line := self.rfile.readline().decode().strip():
            verb = line.upper().split(" ")[0]
            if verb == "DATA":
                self._say("354 go on")
                lines = []
                while (text := self.rfile.readline()) != b".\r\n":
                    lines.append(text.removeprefix(b"."))
                self.server.mails.append(b"".join(lines))  # type: ignore[attr-defined]
                self._say("250 kept")
            elif verb == "QUIT":
                self._say("221 bye")
                return
            elif verb == "RCPT" and "nobody" in line:
                self._say("550 not here")
            else:
                self._say("250 fine")

    def _say(self, text: str) -> None:
        self.wfile.write(f"{text}\r\n".encode())


@pytest.fixture
def post_office() -> Iterator[socketserver.TCPServer]:
    server = socketserver.ThreadingTCPServer(("127.0.0.1", 0), _Smtp)
    server.mails = []  # type: ignore[attr-defined]
    threading.Thread(target=server.serve_forever, daemon=True).start()
    yield server
    server.shutdown()
    server.server_close()


def test_a_mail_arrives(post_office: socketserver.TCPServer) -> None:
    mail = Mail(
        host="127.0.0.1", port=post_office.server_address[1], security="none", sender="a@b.example",
        to=["c@d.example", "e@f.example"],
    )  # fmt: skip
    send_mail(REPORT, mail, "")
    (raw,) = post_office.mails  # type: ignore[attr-defined]
    message: Message = email.message_from_bytes(raw, policy=default)
    assert (message["Subject"], message["To"]) == (REPORT.summary, "c@d.example, e@f.example")


@pytest.mark.parametrize(
    ("more", "password", "said"),
    [
        ({"port": 1}, "", "127.0.0.1:1 did not take it"),
        ({"to": ["nobody@d.example"]}, "", "did not take it"),
        ({"user": "me"}, "", "user me needs a password in TAKEOFF_MAIL_PASSWORD"),
        ({"user": "me"}, "sesame", "no password is sent without encryption"),
        ({"security": "starttls"}, "", "did not take it"),
    ],
)
def test_a_mail_that_cannot_be_sent_says_why(post_office, more, password, said) -> None:
    stated = {"host": "127.0.0.1", "port": post_office.server_address[1], "security": "none",
              "sender": "a@b.example", "to": ["c@d.example"], **more}  # fmt: skip
    with pytest.raises(InputError, match=re.escape(said)) as fault:
        send_mail(REPORT, Mail(**stated), password)
    assert "sesame" not in str(fault.value)


class _Hook(BaseHTTPRequestHandler):
    def do_POST(self) -> None:
        body = self.rfile.read(int(self.headers["Content-Length"]))
        self.server.calls.append((self.path, dict(self.headers), body))  # type: ignore[attr-defined]
        code = int(self.path.rpartition("/")[2] or 200)
        self.send_response(code)
        if code == 302:
            self.send_header("Location", f"http://127.0.0.1:{self.server.server_address[1]}/200")
        self.end_headers()

    def log_message(self, *arguments: object) -> None:
        pass


@pytest.fixture
def hook() -> Iterator[HTTPServer]:
    server = HTTPServer(("127.0.0.1", 0), _Hook)
    server.calls = []  # type: ignore[attr-defined]
    threading.Thread(target=server.serve_forever, daemon=True).start()
    yield server
    server.shutdown()
    server.server_close()


def test_a_webhook_is_called_with_the_token_of_the_environment(hook, monkeypatch: pytest.MonkeyPatch) -> None:
    base = f"http://127.0.0.1:{hook.server_address[1]}"
    monkeypatch.setenv("TAKEOFF_WEBHOOK_TOKEN", "sesame")
    job = NightlyJob(webhook=Webhook(url=f"{base}/200"))
    assert tell(REPORT, job, Log(quiet=True))
    ((path, headers, body),) = hook.calls
    assert (path, headers["Authorization"], json.loads(body)) == ("/200", "Bearer sesame", {"summary": "s"})
    quiet = Report("nothing", {}, "", "", False)
    assert tell(quiet, job, Log(quiet=True))
    assert len(hook.calls) == 1, "nothing to see, nobody told"


def test_a_webhook_that_fails_says_why_without_the_secret(hook, capsys: pytest.CaptureFixture[str]) -> None:
    base = f"http://127.0.0.1:{hook.server_address[1]}"
    for code in (302, 500):
        with pytest.raises(InputError, match=f"webhook: it answered {code}"):
            call_webhook(REPORT, f"{base}/{code}", "sesame")
    assert len(hook.calls) == 2, "a redirect is not followed: it would carry the token elsewhere"
    for url in ("http://127.0.0.1:1/x", "http://[bad", "file:///etc/passwd"):
        with pytest.raises(InputError, match="webhook: ") as fault:
            call_webhook(REPORT, url, "sesame")
        assert "sesame" not in str(fault.value)
    assert not tell(REPORT, NightlyJob(webhook=Webhook(url="http://127.0.0.1:1/secret")), Log())
    assert "secret" not in capsys.readouterr().err


def run(root: Path, *more: str, **environment: str) -> subprocess.CompletedProcess[str]:
    command = [sys.executable, "-c", CODE, "nightly", str(root / "models"), "--out", str(root / "out"), *more]
    return subprocess.run(
        command, capture_output=True, text=True, check=False, env={**os.environ, **environment}
    )


def test_exit_codes_logs_and_questions_of_the_commands(tmp_path: Path) -> None:
    job = tmp_path / "job.toml"
    job.write_text("[nightly]\nsettle_seconds = 0\n[nightly.alerts]\nunpriced_items = false\n")
    write_wall(tmp_path / "models" / "a.ifc", 5.0)
    first = run(tmp_path, "--job", str(job), "--log-json", "--json")
    assert first.returncode == 0, first.stderr
    assert json.loads(first.stdout)["totals"]["concrete"] == pytest.approx(3.0)
    events = [json.loads(line) for line in first.stderr.splitlines()]
    assert [event["event"] for event in events] == ["measured", "report"]
    assert events[0]["model"] == "a.ifc"
    write_wall(tmp_path / "models" / "a.ifc", 6.0)
    second = run(tmp_path, "--job", str(job), "-q", TAKEOFF_MAIL_PASSWORD="sesame")
    assert second.returncode == 3
    assert second.stdout.startswith("takeoff nightly: ")
    assert len(second.stdout.splitlines()) == 1
    failed = run(tmp_path / "nowhere", "--job", str(job))
    assert failed.returncode == 1
    assert "there is no such folder" in failed.stderr
    assert "Traceback" not in failed.stderr
    page = (tmp_path / "nowhere" / "out" / "report.html").read_text()
    assert "The nightly run failed" in page
    assert "there is no such folder" in page
    assert not any(b"sesame" in path.read_bytes() for path in tmp_path.rglob("*") if path.is_file())

    def ask(*words: str) -> list[dict]:
        answer = CliRunner().invoke(main, ["history", *words, str(tmp_path / "out"), "--json"])
        assert answer.exit_code == 0, answer.output
        return json.loads(answer.output)

    assert [row["state"] for row in ask("runs")] == ["done", "done"]
    assert [row["value"] for row in ask("trend", "--of", "concrete")] == pytest.approx([3.0, 3.6])
    assert ask("failing") == []
    assert [row["event"] for row in ask("events")] == ["changed"]
    assert ask("models")[0]["net_volume_m3"] == pytest.approx(3.6)
    totals = {row["what"]: row["difference"] for row in ask("changes")}
    assert totals["concrete"] == pytest.approx(0.6)
    assert ask("changes", "--of", "elements")[0]["volume_after_m3"] == pytest.approx(3.6)
    assert ask("changes", "--since", "2999-01-01") == []
    table = tmp_path / "items.csv"
    CliRunner().invoke(
        main, ["history", "changes", "--of", "items", str(tmp_path / "out"), "--csv", str(table)]
    )
    assert table.read_text().splitlines()[0].startswith("model,change,key,description,unit,quantity_before")
    wrong = CliRunner().invoke(main, ["history", "trend", str(tmp_path / "models")])
    assert wrong.exit_code == 1
    assert "there is no history; run `takeoff nightly` first" in wrong.output
