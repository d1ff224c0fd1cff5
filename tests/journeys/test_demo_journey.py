"""One assessment from signing in to the portfolio, as `manage.py demo --journey` walks it."""

import io
import os
import subprocess
import sys
import threading
from contextlib import contextmanager
from http.server import BaseHTTPRequestHandler, HTTPServer
from pathlib import Path

import pytest
from django.conf import settings
from django.core.management import CommandError, call_command
from pypdf import PdfReader

from assessments.demo.own_site import OWN_SETTINGS
from assessments.management.commands import demo


@pytest.fixture(scope="module")
def walked(tmp_path_factory, pango) -> "subprocess.CompletedProcess[str]":
    kept = {name: value for name, value in os.environ.items() if not name.startswith(OWN_SETTINGS)}
    return subprocess.run(
        [sys.executable, "manage.py", "demo", "--journey"],
        cwd=settings.ROOT,
        env=kept | {"MAKEPOINT_VAR": str(tmp_path_factory.mktemp("journey"))},
        capture_output=True,
        text=True,
        check=False,
    )


def test_the_journey_arrives_and_tells_each_step_in_a_line(walked) -> None:
    assert walked.returncode == 0, walked.stdout + walked.stderr
    for seen in (
        "C-22 signs in",
        "MN-05 is refused, without a number",
        "Photograph wires and tubes: ",
        "A correction without a reason is sent back",
        "Handed in",
        "Signed off as competent",
        "C-22 reads the result and the feedback",
        "M-1 sees Bramble-26 on one page",
    ):
        assert seen in walked.stdout
    assert not walked.stderr


def test_the_journey_ends_with_the_candidate_s_portfolio(walked) -> None:
    path = Path(walked.stdout.rsplit("The portfolio: ", maxsplit=1)[-1].strip())
    text = "".join(page.extract_text() for page in PdfReader(path).pages)
    assert "C-22" in text
    assert "Two-terminal air pressure switch test" in text


@contextmanager
def broken_site(*, status: int, body: bytes):
    class Handler(BaseHTTPRequestHandler):
        def do_GET(self) -> None:
            self.send_response(status)
            self.send_header("Content-Type", "text/html")
            self.end_headers()
            self.wfile.write(body)

        do_POST = do_GET  # noqa: N815 (as http.server calls it)

        def log_message(self, *_args: object) -> None:
            pass

    server = HTTPServer(("127.0.0.1", 0), Handler)
    thread = threading.Thread(target=server.serve_forever)
    thread.start()
    try:
        yield f"http://127.0.0.1:{server.server_port}/"
    finally:
        server.shutdown()
        thread.join()
        server.server_close()


SIGN_IN = b"""
<h1>Sign in</h1>
<form method="post"><input name="username"><input name="password"><button>Sign in</button></form>
"""


@pytest.mark.parametrize(
    ("status", "body", "said"),
    [
        (200, b"<h1>Something else</h1>", r"^Step 1: no button “Sign in” on “Something else”\.$"),
        (500, SIGN_IN, r"^Step 1: http://127\.0\.0\.1:\d+/ answers 500\.$"),
        (200, SIGN_IN, r"^Step 1: “C-22” isn't on “Sign in”"),
    ],
    ids=["another page", "an error", "not signed in"],
)
def test_the_journey_stops_at_the_first_thing_wrong(status, body, said, monkeypatch) -> None:
    with broken_site(status=status, body=body) as address:

        @contextmanager
        def there(**_given: object):
            yield address

        monkeypatch.setattr(demo, "own_site", there)
        with pytest.raises(CommandError, match=said):
            call_command("demo", "--journey", stdout=io.StringIO())
