"""What to install is said for the installation that is there."""

import subprocess
import sys
from pathlib import Path

import drytouch.sim.extras as extras


def test_a_checkout_is_told_to_install_itself_and_a_wheel_the_package(tmp_path, monkeypatch):
    root = Path(extras.__file__).parents[1]
    assert extras.install_hint("bench") == f"pip install -e '.[bench]' (in {root})"
    monkeypatch.setattr(extras, "_ROOT", tmp_path)
    assert extras.install_hint("bench") == "pip install 'drytouch[bench]'"


def test_the_command_says_it_when_a_package_is_missing(tmp_path):
    code = (
        "import sys; sys.modules['starlette'] = None\n"
        "from drytouch.sim.commands.main import main\n"
        "sys.argv = ['drytouch', 'bench', '--no-browser']\n"
        "sys.exit(main())\n"
    )
    ran = subprocess.run(
        [sys.executable, "-c", code], cwd=tmp_path, capture_output=True, text=True, timeout=120
    )
    assert ran.returncode == 2, ran.stderr
    assert "pip install -e '.[bench]'" in ran.stderr + ran.stdout
    assert "Traceback" not in ran.stderr
