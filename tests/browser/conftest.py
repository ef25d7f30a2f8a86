"""The report in a real browser. Collected only where a Chromium is found; `CHROMIUM` may name it.

Every test opens a page from disk in headless mode, without any network, and reads what became of it.
"""

import os
import re
import shutil
import subprocess
import sys
from html import unescape
from pathlib import Path

import pytest

NAMES = ("chromium", "chromium-browser", "google-chrome", "google-chrome-stable", "chrome")
CHROMIUM = os.environ.get("CHROMIUM") or next((found for name in NAMES if (found := shutil.which(name))), None)
collect_ignore_glob = [] if CHROMIUM else ["test_*.py"]

# the invented series are those of the tests of the report
sys.path.insert(0, str(Path(__file__).parents[1] / "unit" / "report"))

# Stands first in the page, so that nothing escapes it; the page's own policy is loosened by its fingerprint alone.
WATCH = """
window.seen = [];
addEventListener("error", (event) => window.seen.push(`error: ${event.message}`));
addEventListener("securitypolicyviolation", (event) => window.seen.push(`blocked: ${event.violatedDirective}`));
for (const name of ["alert", "confirm", "prompt", "open"]) window[name] = () => window.seen.push(`ran: ${name}`);
for (const name of ["error", "warn"]) console[name] = (...said) => window.seen.push(`${name}: ${said.join(" ")}`);
"""
REPORT = """
setTimeout(async () => {
  let found;
  try { found = await (async () => { %s })(); } catch (error) { found = String(error); }
  const loaded = performance.getEntriesByType("resource").map((one) => one.name);
  const out = document.createElement("pre");
  out.id = "found";
  out.textContent = JSON.stringify({ found, loaded, seen: window.seen });
  document.body.replaceChildren(out);
}, 0);
"""


def _fingerprint(script):
    import base64
    import hashlib

    return f"'sha256-{base64.b64encode(hashlib.sha256(script.encode()).digest()).decode()}'"


@pytest.fixture
def in_browser(tmp_path):
    """Opens a page at a width, runs the body of an asynchronous function in it, and gives what it returned.

    The answer holds `found` (what was returned), `loaded` (addresses that the page asked for) and `seen` (errors,
    warnings, dialogues and what the page's policy blocked).
    """
    import json

    def opened(page, script, width=1280, height=900):
        last = REPORT % script
        page = page.replace("script-src", f"script-src {_fingerprint(WATCH)} {_fingerprint(last)}", 1)
        page = page.replace("<title>", f"<script>{WATCH}</script><title>", 1)
        page = page.replace("</body>", f"<script>{last}</script></body>", 1)
        file = tmp_path / "page.html"
        file.write_text(page, encoding="utf-8")
        command = [
            CHROMIUM, "--headless", "--no-sandbox", "--disable-gpu", "--disable-background-networking",
            f"--user-data-dir={tmp_path / 'profile'}", f"--window-size={width},{height}", "--virtual-time-budget=8000",
            "--dump-dom", file.as_uri(),
        ]  # fmt: skip
        run = subprocess.run(command, capture_output=True, text=True, timeout=120, check=False)
        answer = re.search(r'<pre id="found">(.*?)</pre>', run.stdout, re.DOTALL)
        assert answer, run.stderr[-2000:]
        return json.loads(unescape(answer.group(1)))

    return opened
