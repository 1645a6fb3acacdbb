"""``drytouch --help``, ``list``, ``check`` and ``demo``."""

import json
import subprocess
import sys
from pathlib import Path
from types import SimpleNamespace

import pytest
from command_cases import BASE, DOWN, HAND_IN, below, call, saved

from drytouch.sim.commands import contents, demo
from drytouch.sim.errors import InputError
from drytouch.sim.scenario import library

Capture = pytest.CaptureFixture[str]


@pytest.fixture(autouse=True)
def _here(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("COLUMNS", "120")


def test_help_loads_nothing_heavy() -> None:
    """Quick help is a matter of what is loaded: the clock would only say how busy it is."""
    code = (
        "import sys\nfrom drytouch.sim.commands.main import main\n"
        "code = main(['--help'])\n"
        "heavy = {'numpy', 'fcl', 'pydantic', 'simpy', 'ruckig', 'lark', 'pyvista', 'vtkmodules'}\n"
        "sys.exit(code or ', '.join(sorted(heavy & set(sys.modules))) or 0)"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=False)
    assert (done.returncode, done.stderr) == (0, "")
    for command in ("demo", "list", "check", "run"):
        assert f" {command} " in done.stdout


def test_no_command_shows_the_help(capsys: Capture) -> None:
    done = call(capsys)
    assert done.code == 2
    assert "Usage: drytouch" in done.out + done.err


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (["rum", "x"], "No such command 'rum'"),
        (["run"], "Missing argument"),
        (["run", "x", "--seed", "-1"], "--seed"),
        (["run", "x", "--sed", "1"], "No such option"),
    ],
)
def test_mistyped_commands_exit_2(capsys: Capture, arguments: list[str], said: str) -> None:
    done = call(capsys, *arguments)
    assert (done.code, done.out) == (2, "")
    assert said in done.err
    assert "Traceback" not in done.err


def test_the_list_names_every_part(capsys: Capture) -> None:
    done = call(capsys, "list")
    assert (done.code, done.err) == (0, "")
    listed = [line.split()[0] for line in done.out.splitlines() if line.startswith("  ")]
    for kind in ("machine", "setter", "tool", "stock", "block", "demonstration", "exercise"):
        assert set(library.names(kind)) <= set(listed)
    data = json.loads(call(capsys, "list", "--json").out)
    assert data["gauge blocks"]["block-1-inch"] == "1 in"
    assert data["setters"].keys() == set(library.names("setter"))
    assert all(all(entries.values()) for entries in data.values()), "something has no title"
    assert "measure-length" in data["routines"]


def test_a_programs_title_is_its_first_comment(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    (tmp_path / "a.ngc").write_text("%\n(Touch off twice.)\nM2\n")
    (tmp_path / "b.ngc").write_text("M2\n")
    monkeypatch.setattr(library, "path", lambda kind, name: tmp_path / f"{name}.ngc")
    assert contents._title("program", "a") == "Touch off twice."
    assert contents._title("program", "b") == ""


def test_check_passes_what_can_be_used(tmp_path: Path, capsys: Capture) -> None:
    saved(tmp_path, DOWN)
    assert call(capsys, "check", "case.toml") == (0, "case.toml: this scenario can be used\n", "")
    assert json.loads(call(capsys, "check", "case.toml", "--json").out) == {
        "file": "case.toml",
        "kind": "scenario",
        "errors": [],
        "warnings": [],
    }
    assert below(tmp_path) == ["case.toml"]


@pytest.mark.parametrize("kind", ["machine", "setter", "tool", "stock", "block"])
def test_check_knows_every_part_of_the_library(capsys: Capture, kind: str) -> None:
    for name in library.names(kind):
        path = str(library.path(kind, name))
        assert call(capsys, "check", path) == (0, f"{path}: this {kind} can be used\n", "")


def test_check_knows_a_part_by_what_it_uses(tmp_path: Path, capsys: Capture) -> None:
    (tmp_path / "mine.toml").write_text('use = "bolted-nc"\novertravel_mm = 3\n')
    assert call(capsys, "check", "mine.toml").out == "mine.toml: this setter can be used\n"
    (tmp_path / "ours.toml").write_text('use = "./mine.toml"\ntitle = "Ours"\n')
    assert call(capsys, "check", "ours.toml").out == "ours.toml: this setter can be used\n"
    (tmp_path / "mine.toml").write_text('use = "./ours.toml"\n')
    assert call(capsys, "check", "ours.toml").code == 2


def test_check_tells_what_is_wrong(tmp_path: Path, capsys: Capture) -> None:
    saved(tmp_path, '[[steps]]\ndo = "jogg"\n[expect]\nverdict = "good"\n')
    done = call(capsys, "check", "case.toml")
    assert (done.code, done.out) == (2, "")
    assert "case.toml:16: steps#1.do: unknown step 'jogg'" in done.err
    assert "case.toml:18: expect.verdict: " in done.err
    done = call(capsys, "check", "case.toml", "--json")
    assert (done.code, done.err) == (2, "")
    (error,) = json.loads(done.out)["errors"]
    assert (error["file"], error["line"], error["key"]) == ("case.toml", 16, "steps#1.do")
    assert error["fix"] == "did you mean 'jog'?"


def test_check_tells_every_error_of_a_program(tmp_path: Path, capsys: Capture) -> None:
    (tmp_path / "bad.ngc").write_text("G21 G90\nG1 X1\nG0 X[1\nM2\n")
    done = call(capsys, "check", "bad.ngc")
    assert done.code == 2
    assert "bad.ngc:2:" in done.err
    assert "bad.ngc:3:" in done.err
    data = json.loads(call(capsys, "check", "bad.ngc", "--json").out)
    assert [error["line"] for error in data["errors"]] == [2, 3]
    assert all(error["code"].startswith("E-") for error in data["errors"])


def test_check_warns_and_still_passes(tmp_path: Path, capsys: Capture) -> None:
    (tmp_path / "odd.ngc").write_text("G0 X1\nM2\n")
    done = call(capsys, "check", "odd.ngc")
    assert done.code == 0
    assert "look again: odd.ngc:1: units-unset: " in done.out
    assert done.out.endswith("odd.ngc: this program can be used\n")


def test_check_looks_into_the_programs_of_a_scenario(tmp_path: Path, capsys: Capture) -> None:
    (tmp_path / "bad.ngc").write_text("G21\nG1 X1\nM2\n")
    saved(tmp_path, '[[steps]]\ndo = "program"\nfile = "bad.ngc"\n')
    done = call(capsys, "check", "case.toml")
    assert done.code == 2
    assert f"{tmp_path / 'bad.ngc'}:2:" in done.err


# Name -> its file; in the order in which they are run.
SHOWS = {
    "a-right": DOWN + '[expect]\nverdict = "right"\n',
    "b-harm": HAND_IN + '[expect]\nverdict = "harm"\nfindings = ["hand-in-reach"]\n',
}
ODD = HAND_IN + '[expect]\nverdict = "wrong"\nfindings = ["crash"]\n'


@pytest.fixture
def shows(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A folder that stands for the library's demonstrations."""
    folder = tmp_path / "shows"
    folder.mkdir()
    for name, text in SHOWS.items():
        (folder / f"{name}.toml").write_text('kind = "demonstration"\n' + BASE + text)
    held = SimpleNamespace(
        names=lambda kind: tuple(sorted(path.stem for path in folder.glob("*.toml"))),
        path=lambda kind, name: folder / f"{name}.toml",
    )
    monkeypatch.setattr(demo, "library", held)
    return folder


def test_demonstrations_as_expected_exit_0(shows: Path, tmp_path: Path, capsys: Capture) -> None:
    done = call(capsys, "demo", "--no-picture")
    assert (done.code, done.err) == (0, "")
    rows = [[cell.strip() for cell in line.split("│")] for line in done.out.splitlines()]
    assert ["a-right", "right", "right", "yes"] in rows
    at = rows.index(["b-harm", "harm", "harm", "yes"])
    assert rows[at + 1] == ["", "- hand-in-reach", "- hand-in-reach", ""]
    assert "2 of 2 demonstrations as expected\n" in done.out
    assert "outcomes, recordings: out/demo/\n" in done.out
    assert "never reach into an enabled machine" in " ".join(done.out.split())
    assert below(tmp_path / "out/demo") == [
        f"{name}.{what}.json" for name in SHOWS for what in ("outcome", "recording")
    ]


def test_a_demonstration_that_differs_exits_1(shows: Path, capsys: Capture) -> None:
    (shows / "c-odd.toml").write_text('kind = "demonstration"\n' + BASE + ODD)
    (shows / "d-broken.toml").write_text("machine = 3\n")
    done = call(capsys, "demo", "--no-picture")
    assert done.code == 1
    assert "2 of 4 demonstrations as expected\n" in done.out
    assert (
        "c-odd: expected the verdict 'wrong', saw 'harm'; missing: crash; "
        "not expected: hand-in-reach\n"
    ) in done.out
    data = json.loads(call(capsys, "demo", "--no-picture", "--json", "--out", "x").out)
    assert data["as_expected"] is False
    assert data["finished"] is True
    odd, broken = data["demonstrations"][2:]
    assert (odd["expected_findings"], odd["seen_findings"]) == (["crash"], ["hand-in-reach"])
    assert (odd["as_expected"], odd["outcome_file"]) == (False, str(Path("x/c-odd.outcome.json")))
    assert broken["as_expected"] is False
    assert "d-broken.toml:1: machine: " in broken["problem"]


def test_ctrl_c_leaves_finished_demonstrations(
    shows: Path, tmp_path: Path, capsys: Capture, monkeypatch: pytest.MonkeyPatch
) -> None:
    perform = demo.perform

    def perform_one(scenario: object, path: Path, seed: int | None) -> object:
        if path.stem != "a-right":
            raise KeyboardInterrupt
        return perform(scenario, path, seed)  # type: ignore[arg-type]

    monkeypatch.setattr(demo, "perform", perform_one)
    done = call(capsys, "demo", "--no-picture")
    assert done.code == 130
    assert done.err == "stopped after 1 of 2; finished work is in out/demo\n"
    assert "1 of 1 demonstrations as expected\n" in done.out
    assert below(tmp_path / "out/demo") == ["a-right.outcome.json", "a-right.recording.json"]


def test_a_library_without_demonstrations_is_an_error(
    capsys: Capture, monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    monkeypatch.setattr(demo, "library", SimpleNamespace(names=lambda kind: ()))
    done = call(capsys, "demo")
    assert done.code == 2
    assert done.err.startswith("the library holds no demonstrations\n  fix: ")
    assert below(tmp_path) == []


def test_pictures_of_demonstrations_are_counted(
    shows: Path, capsys: Capture, monkeypatch: pytest.MonkeyPatch
) -> None:
    from drytouch.sim.commands import pictures

    def refuse() -> None:
        raise InputError("nothing to draw with", fix="install it")

    monkeypatch.setattr(pictures, "_new_artist", refuse)
    done = call(capsys, "demo")
    assert done.code == 0
    assert done.out.count("no picture: nothing to draw with\n  fix: install it\n") == 1


def test_the_list_names_programs_as_they_are_run(capsys: Capture) -> None:
    listed = json.loads(call(capsys, "list", "--json").out)["programs"]
    assert "measure-length.ngc" in listed
    assert all(name.endswith(".ngc") for name in listed)


@pytest.mark.parametrize("command", ["run", "check"])
def test_a_folder_is_no_scenario(tmp_path: Path, capsys: Capture, command: str) -> None:
    (tmp_path / "shop").mkdir()
    done = call(capsys, command, "shop")
    assert (done.code, done.out) == (2, "")
    assert done.err == "shop: is a folder\n  fix: name a scenario's file, which ends in .toml\n"
