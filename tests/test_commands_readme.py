"""The worked example of README.md, run as it is printed there."""

import re
from pathlib import Path

import pytest
from command_cases import call

README = (Path(__file__).parent.parent / "README.md").read_text(encoding="utf-8")


@pytest.fixture
def example(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """The files of the example, and a bracket of 60 x 40 x 30 mm as STL."""
    trimesh = pytest.importorskip("trimesh")
    for name, text in re.findall(r"`([\w-]+\.toml)`[^`]*```toml\n(.*?)```", README, re.S):
        (tmp_path / name).write_text(text, encoding="utf-8")
    bracket = trimesh.creation.box((60.0, 40.0, 30.0))
    bracket.apply_translation((0.0, 0.0, 15.0))
    bracket.export(str(tmp_path / "bracket.stl"))
    monkeypatch.chdir(tmp_path)
    return tmp_path


def test_the_files_can_be_used_and_run(example: Path, capsys: pytest.CaptureFixture[str]) -> None:
    kinds = {"my-mill": "machine", "my-setter": "setter", "my-casting": "stock"}
    for name, kind in (*kinds.items(), ("first-shift", "scenario")):
        done = call(capsys, "check", f"{name}.toml")
        assert done == (0, f"{name}.toml: this {kind} can be used\n", "")
    assert call(capsys, "run", "first-shift.toml", "--no-picture").code == 0


def test_the_message_is_the_one_shown(example: Path, capsys: pytest.CaptureFixture[str]) -> None:
    file = example / "first-shift.toml"
    file.write_text(file.read_text().replace('"end-mill-10"]', '"end-mil-10"]', 1))
    done = call(capsys, "check", "first-shift.toml")
    shown = "".join(f"    {line}\n" for line in done.err.splitlines())
    assert shown in README


def test_the_routine_prints_what_is_said(example: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (code,) = re.findall(r"```python\n(.*?)```", README, re.S)
    exec(compile(code, "README.md", "exec"), {"__name__": "example"})
    assert f"It prints `{capsys.readouterr().out.strip()}`" in README.replace("\n", " ")
