"""The project's own files: what is packaged, and what no file may hold."""

import tomllib
from pathlib import Path

ROOT = Path(__file__).parent.parent
ROOMS = ("sim", "viz", "scenarios")
# In two parts each, so that this file doesn't hold them.
HOSTS = tuple(
    ".".join(parts)
    for parts in (
        ("pypi", "org"),
        ("files", "pythonhosted"),
        ("pypi", "python"),
        ("registry", "npmjs"),
        ("registry", "yarnpkg"),
        ("npmmirror", "com"),
        ("crates", "io"),
        ("proxy", "golang"),
        ("deb", "debian"),
        ("archive", "ubuntu"),
        ("conda", "anaconda"),
    )
)
TEXT = {".py", ".toml", ".md", ".json", ".ngc", ".ts", ".js", ".cfg", ".txt", ".lark", ".yml", ""}
LEFT_OUT = {".git", ".venv", "node_modules", "out", "build", "dist", "__pycache__", ".hypothesis"}


def test_every_folder_of_code_is_packaged() -> None:
    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))
    folders = {
        ".".join(("drytouch", *file.parent.relative_to(ROOT).parts))
        for room in ROOMS
        for file in (ROOT / room).rglob("__init__.py")
    }
    packages = project["tool"]["setuptools"]["packages"]
    assert len(packages) == len(set(packages))
    assert set(packages) == folders


def _texts() -> list[Path]:
    found = []
    for path in ROOT.rglob("*"):
        parts = path.relative_to(ROOT).parts
        kept = not any(
            part in LEFT_OUT or part.endswith((".egg-info", "_cache")) or part.startswith(".venv")
            for part in parts
        )
        if kept and path.is_file() and path.suffix in TEXT and not parts[0].startswith(".coverage"):
            found.append(path)
    return found


def test_no_file_holds_the_name_of_a_registry() -> None:
    texts = _texts()
    assert ROOT / "pyproject.toml" in texts
    assert ROOT / ".ci" / "run" in texts
    found = [
        f"{path.relative_to(ROOT)}: {host}"
        for path in texts
        for host in HOSTS
        if host in path.read_text(encoding="utf-8", errors="replace").lower()
    ]
    assert found == []


def test_the_command_is_where_the_project_says() -> None:
    from importlib.metadata import entry_points

    from drytouch.sim.commands.main import main

    (entry,) = entry_points(group="console_scripts", name="drytouch")
    assert entry.load() is main
