"""``drytouch run``: exit codes, what is said, what is written."""

import json
import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest
from command_cases import BASE, DOWN, HAND_IN, below, call, saved

from drytouch.sim.commands import pictures, scenarios
from drytouch.sim.commands.caution import CAUTION
from drytouch.sim.errors import InputError
from drytouch.sim.recording import Recording
from drytouch.sim.twin.twin import Twin

Capture = pytest.CaptureFixture[str]
FILES = ["case.outcome.json", "case.recording.json"]


@pytest.fixture(autouse=True)
def _here(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("COLUMNS", "100")


def run(capsys: Capture, file: str, *more: str) -> Any:
    return call(capsys, "run", file, "--out", "results", "--no-picture", *more)


def test_a_right_run_says_so_and_exits_0(tmp_path: Path, capsys: Capture) -> None:
    done = run(capsys, saved(tmp_path, DOWN))
    assert done.code == 0
    assert done.err == ""
    assert done.out.startswith("One tool [6 mm] on a bolted setter  (seed 1)\n")
    assert "verdict: right - true numbers, nothing hit, nothing skipped\n" in done.out
    assert "as expected: yes\n" in done.out
    assert "written: results/case.outcome.json\nwritten: results/case.recording.json\n" in done.out
    assert " ".join(done.out.split()).endswith(f"Caution: {CAUTION}")
    assert below(tmp_path / "results") == FILES


def test_a_finding_is_told_with_its_place_and_three_sentences(
    tmp_path: Path, capsys: Capture
) -> None:
    done = run(capsys, saved(tmp_path, DOWN + HAND_IN + 'note = "feels for chips"\n'))
    assert done.code == 1
    assert "verdict: harm - something or someone was hit, or could have been\n" in done.out
    assert "as expected: NO - expected the verdict 'right', saw 'harm'\n" in done.out
    told = done.out[done.out.index("1. hand-in-reach (harm) at ") :]
    assert told.splitlines()[1] == "   step 2 (hand): feels for chips"
    assert told.splitlines()[2].startswith("   spindle face at X ")
    assert told.splitlines()[2].endswith(" mm")
    for head in ("what happened: A hand was at the pad", "why: ", "how to avoid it: Keep hands"):
        assert f"   {head}" in told


@pytest.mark.parametrize(
    ("expect", "code"),
    [
        ('verdict = "harm"', 0),
        ('verdict = "harm"\nfindings = ["hand-in-reach"]', 0),
        ('verdict = "harm"\nfindings = []\nalso_allowed = ["hand-in-reach"]', 0),
        ('verdict = "harm"\nfindings = []', 1),
        ('verdict = "harm"\nfindings = ["hand-in-reach", "crash"]', 1),
        ('verdict = "wrong"\nfindings = ["hand-in-reach"]', 1),
        ('verdict = "right"', 1),
    ],
)
def test_the_exit_code_follows_what_the_scenario_expects(
    tmp_path: Path, capsys: Capture, expect: str, code: int
) -> None:
    done = run(capsys, saved(tmp_path, f"{HAND_IN}[expect]\n{expect}\n"))
    assert done.code == code
    assert ("as expected: yes" in done.out) is (code == 0)


def test_a_demonstration_counts_findings_it_does_not_list(tmp_path: Path, capsys: Capture) -> None:
    text = f'kind = "demonstration"\n{BASE}{HAND_IN}[expect]\nverdict = "harm"\n'
    (tmp_path / "case.toml").write_text(text)
    done = run(capsys, "case.toml")
    assert done.code == 1
    assert "as expected: NO - not expected: hand-in-reach\n" in done.out


def test_json_is_one_object_and_the_file_holds_the_same(tmp_path: Path, capsys: Capture) -> None:
    done = run(capsys, saved(tmp_path, HAND_IN), "--json", "--seed", "7")
    assert (done.code, done.err) == (1, "")
    data = json.loads(done.out)
    assert (tmp_path / "results/case.outcome.json").read_text(encoding="utf-8") == done.out
    assert (data["scenario"], data["seed"], data["verdict"]) == ("case", 7, "harm")
    assert [finding["code"] for finding in data["findings"]] == ["hand-in-reach"]
    assert Recording.load(tmp_path / "results/case.recording.json").outcome == data


def test_two_runs_write_the_same_bytes(tmp_path: Path, capsys: Capture) -> None:
    file = saved(tmp_path, DOWN)
    written = []
    for _ in range(2):
        run(capsys, file)
        written.append([(tmp_path / "results" / name).read_bytes() for name in FILES])
    assert written[0] == written[1]


def test_numbers_are_shown_in_the_scenarios_unit(tmp_path: Path, capsys: Capture) -> None:
    typed = '[[steps]]\ndo = "type-in"\nrow = 1\nlength_mm = 95.5\n'
    done = run(capsys, saved(tmp_path, typed))
    assert done.code == 1
    row = next(line for line in done.out.splitlines() if line.strip().startswith("row 1 length"))
    cells = [cell.strip() for cell in row.split("│")]
    assert cells == ["row 1 length", "95.5000", "95.0000", "+0.5000", "0.0100", "off"]
    assert "numbers, mm" in done.out
    (tmp_path / "inch.toml").write_text('display = "inch"\n' + BASE + typed)
    row = next(line for line in run(capsys, "inch.toml").out.splitlines() if "row 1 length" in line)
    cells = [cell.strip() for cell in row.split("│")]
    assert cells == ["row 1 length", "3.75984", "3.74016", "+0.01969", "0.00039", "off"]


# File name -> (what it holds after BASE, the message as it is printed).
BAD = {
    "malformed TOML": (
        "[[steps]\n",
        "case.toml:15: not TOML: expected ']]' at the end of an array declaration (column 8)\n"
        "  fix: write key = value, text in double quotation marks, tables as [name]\n",
    ),
    "unknown key": (
        "[contrller]\nhomed = true\n",
        "case.toml:15: contrller: unknown key 'contrller'\n  fix: did you mean 'controller'?\n",
    ),
    "wrong unit": (
        '[[steps]]\ndo = "wait"\nfor_mm = 3\n',
        "case.toml:17: steps#1.for_mm: 'for_mm' is in a unit of length; expected a time, as in "
        "'for_s'\n  fix: correct this key\n",
    ),
    "not a number": (
        "[controller]\nposition_mm = [0, nan, 0]\n",
        "case.toml:16: controller.position_mm#2: expected a finite number, not nan\n"
        "  fix: write an ordinary number\n",
    ),
    "a tool that is not in the crib": (
        '[[steps]]\ndo = "load-tool"\ntool = "end-mil-6"\n',
        "case.toml:17: steps#1.tool: there is no tool in the crib 'end-mil-6'\n"
        "  fix: did you mean 'end-mill-6'?\n",
    ),
    "a step that can't be done now": (
        f'{DOWN}[[steps]]\ndo = "spin"\nrpm = 500\n[[steps]]\ndo = "turn-spindle"\nto_deg = 10\n',
        "case.toml:23: steps#3: step 3 (turn-spindle): the spindle turns under power\n"
        "  fix: stop it first\n",
    ),
}


@pytest.mark.parametrize("case", BAD)
def test_bad_input_is_one_message_and_nothing_is_written(
    tmp_path: Path, capsys: Capture, case: str
) -> None:
    added, message = BAD[case]
    saved(tmp_path, added)
    for more in ((), ("--json",)):
        assert run(capsys, "case.toml", *more) == (2, "", message)
    assert below(tmp_path) == ["case.toml"]


def test_a_negative_size(tmp_path: Path, capsys: Capture) -> None:
    (tmp_path / "case.toml").write_text(
        'machine = "bed-mill"\nstock.plate = {parts = [{shape = "box", size_mm = [10, -20, 5]}]}\n'
    )
    assert run(capsys, "case.toml") == (
        2,
        "",
        "case.toml:2: stock.plate.parts#1: size_mm must be positive, not [10.0, -20.0, 5.0]\n"
        "  fix: change one of the values named\n",
    )


def test_a_mesh_of_a_million_triangles(tmp_path: Path, capsys: Capture) -> None:
    count = 1_000_000
    with (tmp_path / "big.stl").open("wb") as file:
        file.write(b" " * 80 + count.to_bytes(4, "little"))
        file.truncate(84 + 50 * count)  # a hole in the file: nothing need be stored
    (tmp_path / "case.toml").write_text(
        'machine = "bed-mill"\n[[stock.casting.parts]]\nshape = "mesh"\nfile = "big.stl"\n'
        'file_unit = "mm"\n[placements.casting]\nx_mm = -350\ny_mm = -175\n'
    )
    done = run(capsys, "case.toml")
    assert (done.code, done.out) == (2, "")
    assert done.err.startswith("case.toml:2: stock.casting: ")
    assert "big.stl: 1000000 triangles; expected at most 200000\n  fix: export it coarser" in (
        done.err
    )
    assert below(tmp_path) == ["big.stl", "case.toml"]


def test_missing_files_and_unknown_names(tmp_path: Path, capsys: Capture) -> None:
    saved(tmp_path, DOWN)
    assert run(capsys, "cas.toml") == (
        2,
        "",
        "cas.toml: there is no such scenario\n  fix: did you mean 'case.toml'?\n",
    )
    done = run(capsys, "no-such-thing-at-all")
    assert (done.code, done.out) == (2, "")
    assert done.err.startswith("the library has no scenario 'no-such-thing-at-all'\n  fix: ")
    assert run(capsys, "gone.ngc").err == (
        "gone.ngc: there is no such program\n  fix: check the name and the folder\n"
    )
    (tmp_path / "here.ngc").write_text("M2\n")
    done = run(capsys, "here.ngc")
    assert done.code == 2
    assert done.err == (
        "here.ngc: a program runs as a step of a scenario, which says what machine it runs on\n"
        "  fix: name one with --on, such as --on length-done-right, or in a scenario add: "
        '[[steps]] do = "program", file = "here.ngc"\n'
    )


def test_a_step_beside_the_others_that_cannot_be_done(tmp_path: Path, capsys: Capture) -> None:
    beside = '[[meanwhile]]\nat_s = 0.1\nstep = { do = "turn-spindle", to_deg = 5 }\n'
    spinning = '[[steps]]\ndo = "spin"\nrpm = 500\n' + DOWN
    done = run(capsys, saved(tmp_path, spinning + beside))
    assert (done.code, done.out) == (2, "")
    assert "case.toml: meanwhile: meanwhile, turn-spindle: the spindle turns under" in done.err
    assert below(tmp_path) == ["case.toml"]


def test_results_go_to_a_folder_that_can_be_used(tmp_path: Path, capsys: Capture) -> None:
    (tmp_path / "results").write_text("a file, not a folder")
    done = run(capsys, saved(tmp_path, DOWN))
    assert done.code == 2
    assert done.err.startswith("results: results can't be written here: ")
    assert done.err.endswith("\n  fix: name another folder with --out\n")
    assert below(tmp_path) == ["case.toml", "results"]


def test_a_name_that_is_no_file_name(tmp_path: Path, capsys: Capture) -> None:
    (tmp_path / "case.toml").write_text('name = "../up: & away"\n' + BASE)
    assert run(capsys, "case.toml").code == 0
    assert below(tmp_path / "results") == ["up-away.outcome.json", "up-away.recording.json"]


class _Artist:
    """Draws nothing quickly: the drawing itself has its own tests."""

    def __init__(self, fails: Exception | None = None) -> None:
        self.fails, self.closed = fails, False

    def draw(self, recording: Recording, path: Path) -> None:
        path.write_bytes(b"half")
        if self.fails:
            raise self.fails
        path.write_bytes(b"a picture")

    def __exit__(self, *_: object) -> None:
        self.closed = True


def test_a_picture_is_drawn(
    tmp_path: Path, capsys: Capture, monkeypatch: pytest.MonkeyPatch
) -> None:
    artist = _Artist()
    monkeypatch.setattr(pictures, "_new_artist", lambda: artist)
    done = call(capsys, "run", saved(tmp_path, DOWN))
    assert done.code == 0
    assert "written: out/case.png\n" in done.out
    assert (tmp_path / "out/case.png").read_bytes() == b"a picture"
    assert below(tmp_path / "out") == [*FILES[:1], "case.png", *FILES[1:]]
    assert artist.closed


@pytest.mark.parametrize(
    ("failure", "reason"),
    [
        (InputError("no OpenGL here", fix="install it"), "no OpenGL here\n  fix: install it"),
        (RuntimeError("lost"), "drawing failed: RuntimeError: lost"),
    ],
)
@pytest.mark.parametrize("as_data", [False, True])
def test_without_a_picture_the_run_still_counts(
    tmp_path: Path,
    capsys: Capture,
    monkeypatch: pytest.MonkeyPatch,
    failure: Exception,
    reason: str,
    as_data: bool,
) -> None:
    monkeypatch.setattr(pictures, "_new_artist", lambda: _Artist(failure))
    done = call(capsys, "run", saved(tmp_path, DOWN), *(["--json"] if as_data else []))
    assert done.code == 0
    assert f"no picture: {reason}\n" in (done.err if as_data else done.out)
    assert below(tmp_path / "out") == FILES
    if as_data:
        assert json.loads(done.out)["verdict"] == "right"


def test_ctrl_c_before_the_end_writes_nothing(
    tmp_path: Path, capsys: Capture, monkeypatch: pytest.MonkeyPatch
) -> None:
    def interrupt(self: Twin) -> None:
        raise KeyboardInterrupt

    monkeypatch.setattr(Twin, "run_steps", interrupt)
    done = run(capsys, saved(tmp_path, DOWN))
    assert done == (130, "", "stopped; finished work is on disk\n")
    assert below(tmp_path) == ["case.toml"]


def test_a_library_scenario_by_name_or_a_file_of_that_name(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(scenarios.library, "path", lambda kind, name: Path("/library") / name)
    assert scenarios.scenario_path("known") == Path("/library/known")
    (tmp_path / "known").mkdir()  # a folder of that name is not meant
    assert scenarios.scenario_path("known") == Path("/library/known")
    (tmp_path / "mine").write_text("")
    assert scenarios.scenario_path("mine") == Path("mine")
    assert scenarios.scenario_path("some/where") == Path("some/where")


def test_the_installed_command(tmp_path: Path) -> None:
    saved(tmp_path, DOWN)
    code = "import sys; from drytouch.sim.commands.main import main; sys.exit(main())"
    done = subprocess.run(
        [sys.executable, "-c", code, "run", "case.toml", "--json", "--no-picture"],
        capture_output=True,
        cwd=tmp_path,
        check=False,
    )
    assert (done.returncode, done.stderr) == (0, b"")
    assert json.loads(done.stdout)["verdict"] == "right"
    assert below(tmp_path / "out") == FILES
