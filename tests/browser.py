"""Chromium, run without a screen, as the browser that a page is read in.

A page is shown from a temporary copy with a script at its end, and what the script tells is read from the page that the
browser gives back. Where Chromium is missing, tests marked `with_chromium` are skipped on a developer's machine and
fail in CI.
"""

from __future__ import annotations

import html
import json
import os
import re
import shutil
import subprocess
import tempfile
from pathlib import Path
from typing import Any

import pytest

CHROMIUM = next(filter(None, map(shutil.which, ("chromium", "chromium-browser", "google-chrome"))), None)
with_chromium = pytest.mark.skipif(CHROMIUM is None and not os.environ.get("CI"), reason="Chromium is not installed")
NARROWEST_WINDOW = 500  # Chromium has none below; a narrower page is shown in a frame
TOLD = re.compile(r'<pre id="told">(.*?)</pre>', re.DOTALL)
ASK = """<script>{library}
(async () => {{ {script} }})().then(told => top.postMessage(JSON.stringify(told), "*"));</script>"""
WRITE_DOWN = """<script>addEventListener("message", message => {
  const place = document.createElement("pre");
  place.id = "told";
  place.textContent = message.data;
  document.body.append(place);
});</script>"""
FRAME = '<!DOCTYPE html><body>{write_down}<iframe src="page.html" width="{width}" height="{height}"></iframe>'


def asked_of(page: str, script: str, width: int, library: str = "", height: int = 900) -> Any:
    """What a script returns on a page in a window of that width, in pixels; `library` is loaded before it."""
    in_frame = width < NARROWEST_WINDOW
    script = ASK.format(library=library, script=script)
    with tempfile.TemporaryDirectory() as name:
        shown = Path(name, "page.html")
        shown.write_text(page.replace("</body>", f"{'' if in_frame else WRITE_DOWN}{script}</body>"), "utf-8")
        if in_frame:
            shown = Path(name, "frame.html")
            shown.write_text(FRAME.format(write_down=WRITE_DOWN, width=width, height=height), "utf-8")
        command = [CHROMIUM, "--headless", "--no-sandbox", "--disable-gpu", f"--user-data-dir={name}/profile"]
        command += ["--hide-scrollbars", f"--window-size={max(width, NARROWEST_WINDOW)},{height}"]
        command += ["--virtual-time-budget=60000", "--dump-dom", shown.as_uri()]
        done = subprocess.run(command, capture_output=True, encoding="utf-8", timeout=180, check=True)
    found = TOLD.search(done.stdout)
    assert found, done.stderr[-2000:]
    return json.loads(html.unescape(found[1]))
