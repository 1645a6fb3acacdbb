"""The bench's bundle: built from the committed source, and asking nothing of the net."""

import re
import shutil
import subprocess
from pathlib import Path

import pytest

WEB = Path(__file__).parent.parent / "viz" / "web"


def test_the_committed_bundle_is_what_its_source_builds(tmp_path):
    esbuild = WEB / "node_modules" / ".bin" / "esbuild"
    if not esbuild.exists() or shutil.which("node") is None:
        pytest.skip("esbuild is missing: npm ci in viz/web")
    command = re.search(r'"build:bench": "esbuild (.*?)"', (WEB / "package.json").read_text())
    out = tmp_path / "bench.js"
    words = re.sub(r"--outfile=\S+", f"--outfile={out}", command.group(1)).split()
    subprocess.run([str(esbuild), *words], cwd=WEB, check=True, capture_output=True, timeout=60)
    for name in ("bench.js", "bench.css"):
        assert (tmp_path / name).read_bytes() == (WEB / "built" / name).read_bytes()


def test_the_styles_load_nothing():
    style = (WEB / "built" / "bench.css").read_text("utf-8")
    assert not re.search(r"@import|url\(", style)
