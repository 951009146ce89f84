"""What the server loads before its first page: no numerics, for these take seconds and the pages need none of them."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

LOADED = """
import sys
from pathlib import Path
from fastapi.testclient import TestClient
from aerobe import usecases
from aerobe.web import ServeSettings, create_app
from aerobe.web._app import system_clock
from aerobe.web._serve import serve
with usecases.notebook.open_notebook(Path(sys.argv[1]), at=system_clock()) as notebook:
    app = create_app(notebook, settings=ServeSettings(watching=False))
    answer = TestClient(app, base_url="http://localhost").get("/")
assert answer.status_code == 200, answer.text
print(*(name for name in ("scipy", "numba", "aerobe.inference", "aerobe.reports", "aerobe.charts") if name in sys.modules))
import aerobe.charts  # the first page with a brew draws its readings
print(*(name for name in ("scipy", "numba", "aerobe.inference", "aerobe.trials", "aerobe.assay") if name in sys.modules))
"""


def test_the_first_page_of_a_new_notebook_waits_for_no_numerics(tmp_path: Path) -> None:
    words = [sys.executable, "-W", "ignore", "-c", LOADED, str(tmp_path / "tea.notebook")]
    done = subprocess.run(words, capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr
    assert done.stdout.split() == []
