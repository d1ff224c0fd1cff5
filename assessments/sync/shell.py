"""What a device keeps of the site itself: the page that fills itself, its scripts and its style sheets."""

import hashlib
import json
from pathlib import Path

from django.contrib.staticfiles import finders
from django.template.loader import render_to_string
from django.templatetags.static import static
from django.urls import reverse

WORKER = "assessments/bench-worker.js"
STORE = "assessments/bench-store.js"
FILES = (
    "academy/favicon.svg",
    "academy/tokens.css",
    "academy/site.css",
    "assessments/bench.css",
    STORE,
    "assessments/bench-photos.js",
    "assessments/bench.js",
    "assessments/bench-offline.js",
)


def worker() -> str:
    """The service worker's script, with what it keeps, and a version that changes when any of that does."""
    page = render_to_string("assessments/bench-offline.html")
    digest = hashlib.sha256(page.encode())
    for name in (*FILES, WORKER):
        digest.update(_content(name))
    kept = {
        "version": digest.hexdigest()[:16],
        "page": reverse("bench-offline"),
        "files": [static(name) for name in FILES],
        "store": static(STORE),
        "signOut": reverse("sign-out"),
    }
    return f"const KEPT = {json.dumps(kept)};\n{_content(WORKER).decode()}"


def _content(name: str) -> bytes:
    found = finders.find(name)
    if not isinstance(found, str):
        raise FileNotFoundError(name)
    return Path(found).read_bytes()
