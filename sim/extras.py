"""What to type for a package that only some commands need, as this installation was made."""

from __future__ import annotations

from pathlib import Path

_ROOT = Path(__file__).parents[1]


def install_hint(extra: str) -> str:
    """The command that adds an extra of pyproject.toml: in a checkout, or for a wheel."""
    if (_ROOT / "pyproject.toml").exists():
        return f"pip install -e '.[{extra}]' (in {_ROOT})"
    return f"pip install 'drytouch[{extra}]'"
