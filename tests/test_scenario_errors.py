"""Every mistake in a scenario file: its file, line, key, message and fix, word for word."""

import pickle
from pathlib import Path

import pytest

from drytouch.sim.errors import InputError
from drytouch.sim.scenario.load import load_part, load_scenario, scenario_from_dict

# A sound scenario of 13 lines; each case adds lines below it, so its own begin at line 14.
BASE = """\
machine = "bed-mill"
setter = "bolted-nc"
tools = ["end-mill-6", "master-tool"]
stock = "aluminium-block"
blocks.b50 = {size_mm = 50}

[placements.setter]
x_mm = -100
y_mm = -175
[placements.stock]
x_mm = -350
y_mm = -175

"""


def refused(path: Path, text: str) -> InputError:
    path.write_text(text, encoding="utf-8")
    with pytest.raises(InputError) as caught:
        load_scenario(path)
    return caught.value


def test_the_base_of_the_cases_is_sound(tmp_path: Path) -> None:
    (tmp_path / "base.toml").write_text(BASE)
    scenario = load_scenario(tmp_path / "base.toml")
    assert scenario.name == "base"
    assert BASE.count("\n") == 13


CASES: dict[str, tuple[str, int, str, str, str | None]] = {
    "unknown key, near": (
        "[controler]",
        14,
        "controler",
        "unknown key 'controler'",
        "did you mean 'controller'?",
    ),
    "unknown key inside": (
        "[controller]\nunit = 'mm'",
        15,
        "controller.unit",
        "unknown key 'unit'",
        "did you mean 'units'?",
    ),
    "unknown key, nothing near": (
        "[expect]\nzzz = 1",
        15,
        "expect.zzz",
        "unknown key 'zzz'",
        "use one of: verdict, findings, also_allowed",
    ),
    "unknown step": (
        '[[steps]]\nnote = "x"\ndo = "jogg"',
        16,
        "steps#1.do",
        "unknown step 'jogg'",
        "did you mean 'jog'?",
    ),
    "step without do": (
        '[[steps]]\ndo = "home"\n[[steps]]\naxis = "z"',
        16,
        "steps#2",
        "'do' is missing",
        'say what the step does, as in do = "jog"',
    ),
    "missing key of a step": (
        '[[steps]]\ndo = "wait"',
        14,
        "steps#1.for_s",
        "'for_s' is missing",
        "add for_s",
    ),
    "not a choice": (
        'kind = "exercize"',
        14,
        "placements.stock.kind",
        "unknown key 'kind'",
        "use one of: on, x_mm, y_mm, turn_deg, lift_mm",
    ),
    "literal": (
        '[[steps]]\ndo = "jog"\naxis = "w"\nby_mm = 1',
        16,
        "steps#1.axis",
        'expected one of x, y, z, not "w"',
        "use one of: x, y, z",
    ),
    "text for a number": (
        '[[steps]]\ndo = "wait"\nfor_s = "long"',
        16,
        "steps#1.for_s",
        "'for_s' expects a number, not \"long\"",
        "correct this key",
    ),
    "true for a number": (
        '[[steps]]\ndo = "wait"\nfor_s = true',
        16,
        "steps#1.for_s",
        "'for_s' expects a number, not true",
        "correct this key",
    ),
    "not a number": (
        '[[steps]]\ndo = "wait"\nfor_s = nan',
        16,
        "steps#1.for_s",
        "expected a finite number, not nan",
        "write an ordinary number",
    ),
    "infinite, in another unit": (
        '[[steps]]\ndo = "wait"\nfor_ms = inf',
        16,
        "steps#1.for_s",
        "expected a finite number, not inf",
        "write an ordinary number",
    ),
    "zero time": (
        '[[steps]]\ndo = "wait"\nfor_ms = 0',
        16,
        "steps#1.for_s",
        "must be more than 0, not 0.0",
        "write for_s as the message says",
    ),
    "unit of another family": (
        '[[steps]]\ndo = "wait"\nfor_mm = 3',
        16,
        "steps#1.for_mm",
        "'for_mm' is in a unit of length; expected a time, as in 'for_s'",
        "correct this key",
    ),
    "speed given as a length": (
        '[[steps]]\ndo = "move"\nz_mm = 0\nfeed_mm = 200',
        17,
        "steps#1.feed_mm",
        "'feed_mm' is in a unit of length; expected a speed, as in 'feed_mm_per_min'",
        "correct this key",
    ),
    "the same quantity twice": (
        '[[steps]]\ndo = "wait"\nfor_s = 3\nfor_ms = 3000',
        17,
        "steps#1.for_ms",
        "'for_ms' and another key both give for_s: keep one of them",
        "correct this key",
    ),
    "jog without a way to end": (
        '[[steps]]\ndo = "jog"\naxis = "z"',
        14,
        "steps#1",
        "step 'jog' needs exactly one of by_mm, for_s",
        "change one of the values named",
    ),
    "step of nothing": (
        '[[steps]]\ndo = "step"\naxis = "z"\nby_mm = 0',
        17,
        "steps#1.by_mm",
        "'by_mm' is 0: nothing would move",
        "correct this key",
    ),
    "move of nothing": (
        '[[steps]]\ndo = "move"',
        14,
        "steps#1",
        "step 'move' does nothing: give at least one of x_mm, y_mm, z_mm",
        "change one of the values named",
    ),
    "typed nowhere": (
        '[[steps]]\ndo = "type-in"\nlength_in = 3',
        14,
        "steps#1",
        "'length_mm' needs row: say where it is typed",
        "change one of the values named",
    ),
    "typed nothing": (
        '[[steps]]\ndo = "type-in"\nsetter = "setter"',
        16,
        "steps#1.setter",
        "'setter' is given, but none of height_mm, clearance_z_mm, input, x_mm, y_mm, "
        "reference_z_mm, master_length_mm",
        "correct this key",
    ),
    "meanwhile at no time": (
        '[[meanwhile]]\nstep = {do = "e-stop"}',
        14,
        "meanwhile#1",
        "say when: exactly one of at_s and after",
        "change one of the values named",
    ),
    "a step beside, wrong": (
        '[[meanwhile]]\nat_s = 2\n[meanwhile.step]\ndo = "spin"\nrpm = 9000',
        18,
        "meanwhile#1.step.rpm",
        "the spindle can't turn at 9000 1/min",
        "at most 5000",
    ),
    "unknown setter in a step": (
        '[[steps]]\ndo = "press-pad"\nsetter = "seter"',
        16,
        "steps#1.setter",
        "there is no setter 'seter'",
        "did you mean 'setter'?",
    ),
    "unknown socket": (
        '[[steps]]\ndo = "plug-in"\nsetter = "setter"\nsocket = "A"',
        17,
        "steps#1.socket",
        "there is no socket 'A'",
        "use one of: setter, spare",
    ),
    "unknown item": (
        '[[steps]]\ndo = "take-away"\nitem = "b5"',
        16,
        "steps#1.item",
        "there is no setter, stock or block 'b5'",
        "did you mean 'b50'?",
    ),
    "unknown block": (
        '[[steps]]\ndo = "feel-block"\nblock = "b25"',
        16,
        "steps#1.block",
        "there is no block 'b25'",
        "did you mean 'b50'?",
    ),
    "unknown tool": (
        '[[steps]]\ndo = "load-tool"\ntool = "end-mill-5"',
        16,
        "steps#1.tool",
        "there is no tool in the crib 'end-mill-5'",
        "did you mean 'end-mill-6'?",
    ),
    "on itself, in a step": (
        '[[steps]]\ndo = "place"\nitem = "b50"\non = "b50"\nx_mm = -9\ny_mm = -9',
        17,
        "steps#1.on",
        "'b50' can't stand on itself",
        "name another item",
    ),
    "a row too high": (
        '[[steps]]\ndo = "load-tool"\nslot = 31',
        16,
        "steps#1.slot",
        "there is no row 31",
        "rows go from 1 to 30",
    ),
    "setter of a routine": (
        '[[steps]]\ndo = "routine"\nname = "measure-length"\n'
        '[steps.with]\nrow = 1\nsetter = "front"',
        19,
        "steps#1.with.setter",
        "there is no setter 'front'",
        "use one of: setter",
    ),
    "unknown routine": (
        '[[steps]]\ndo = "routine"\nname = "mesure-length"',
        16,
        "steps#1.name",
        "there is no routine 'mesure-length'",
        None,
    ),
    "argument that the routine lacks": (
        '[[steps]]\ndo = "routine"\nname = "measure-length"\n[steps.with]\nrow = 1\nroww = 2',
        19,
        "steps#1.with.roww",
        "routine 'measure-length' takes no argument 'roww'",
        None,
    ),
    "argument that is missing": (
        '[[steps]]\ndo = "routine"\nname = "measure-length"',
        14,
        "steps#1.with",
        "routine 'measure-length' needs an argument 'row'",
        None,
    ),
    "row of the table": (
        "[controller.rows.0]\nlength_mm = 3",
        14,
        "controller.rows.0",
        "there is no row 0",
        "rows go from 1 to 30",
    ),
    "row that is no number": (
        "[controller.rows.first]\nlength_mm = 3",
        14,
        "controller.rows.first",
        'expected a whole number, not "first"',
        "write first as the message says",
    ),
    "tool of a row": (
        '[controller.rows.3]\ntool = "end-mill-66"',
        15,
        "controller.rows.3.tool",
        "there is no tool in the crib 'end-mill-66'",
        "did you mean 'end-mill-6'?",
    ),
    "slot at the start": (
        "[controller]\nslot = 77",
        15,
        "controller.slot",
        "there is no row 77",
        "rows go from 1 to 30; 0 is none",
    ),
    "unknown work system": (
        "[controller.systems]\nG60 = [0, 0, 0]",
        15,
        "controller.systems.G60",
        'expected one of G54, G55, G56, G57, G58, G59, G59.1, G59.2, G59.3, not "G60"',
        "did you mean 'G56'?",
    ),
    "two numbers for three": (
        "[controller.systems]\nG54 = [0, 0]",
        15,
        "controller.systems.G54",
        "entry 3 of the list is missing",
        "write every entry",
    ),
    "four numbers for three": (
        "[controller.systems]\nG54 = [0, 0, 0, 0]",
        15,
        "controller.systems.G54",
        "takes at most 3 entries, not [0, 0, 0, 0]",
        "write G54 as the message says",
    ),
    "typed nothing at all": (
        '[[steps]]\ndo = "type-in"',
        14,
        "steps#1",
        "step 'type-in' does nothing: give row, system or setter",
        "change one of the values named",
    ),
    "plug of an unknown setter": (
        '[controller.plugs]\nseter = "spare"',
        15,
        "controller.plugs.seter",
        "there is no setter 'seter'",
        "did you mean 'setter'?",
    ),
    "plug into an unknown socket": (
        '[controller.plugs]\nsetter = "spar"',
        15,
        "controller.plugs.setter",
        "there is no socket 'spar'",
        "did you mean 'spare'?",
    ),
    "record of an unknown setter": (
        "[controller.records.front]\nx_mm = 0",
        14,
        "controller.records.front",
        "there is no setter 'front'",
        "use one of: setter",
    ),
    "record of an unknown input": (
        "[controller.records.setter]\ninput = 7",
        15,
        "controller.records.setter.input",
        "no socket leads to input 7",
        "use one of: 1, 2",
    ),
    "proved setter": (
        '[controller]\nproved = ["setter", "front"]',
        15,
        "controller.proved#2",
        "there is no setter 'front'",
        "use one of: setter",
    ),
    "selected setter": (
        '[controller]\nselected = "front"',
        15,
        "controller.selected",
        "there is no setter 'front'",
        "use one of: setter",
    ),
    "start outside the travel": (
        "[controller]\nposition_in = [0, 0, 4]",
        15,
        "controller.position_mm",
        "axis z can't be at 101.6 mm",
        "its travel is from -450 to 0 mm",
    ),
    "face inside the stock": (
        "[controller]\nposition_mm = [-350, -175, -440]",
        10,
        "placements.stock",
        "spindle and stock overlap at the start",
        "move one of them",
    ),
    "placed, but unknown": (
        "[placements.b60]\nx_mm = 0\ny_mm = 0",
        14,
        "placements.b60",
        "there is no setter, stock or block 'b60'",
        "did you mean 'b50'?",
    ),
    "on something unknown": (
        '[placements.b50]\non = "stok"\nx_mm = 0\ny_mm = 0',
        15,
        "placements.b50.on",
        "there is no item to stand on 'stok'",
        "did you mean 'stock'?",
    ),
    "on itself": (
        '[placements.b50]\non = "b50"\nx_mm = 0\ny_mm = 0',
        15,
        "placements.b50.on",
        "'b50' stands on itself, through b50",
        "end the circle",
    ),
    "off the table": (
        "[placements.b50]\nx_mm = 101\ny_mm = -175",
        15,
        "placements.b50.x_mm",
        "b50 stands off the table: x_mm = 101",
        "x_mm may be from -800 to 100, in machine coordinates",
    ),
    "inside something else": (
        "[placements.b50]\nx_mm = -300\ny_mm = -175",
        14,
        "placements.b50",
        "stock and b50 overlap at the start",
        "move one of them",
    ),
    "sunk by a negative lift": (
        "[placements.b50]\nx_mm = -500\ny_mm = -175\nlift_mm = -1",
        17,
        "placements.b50.lift_mm",
        "must be at least 0, not -1",
        "lift_mm: something under it: a chip, a shim",
    ),
    "too tall": (
        "[placements.b50]\nx_mm = -500\ny_mm = -175\nlift_mm = 500",
        14,
        "placements.b50",
        "b50 is too tall for the machine: its top is at machine Z 80 mm, "
        "where the face reaches no higher than 0",
        "use something lower, or check its size and unit",
    ),
    "unknown finding": (
        '[expect]\nfindings = ["crash", "lug-strik"]',
        15,
        "expect.findings#2",
        "there is no finding 'lug-strik'",
        "did you mean 'lug-strike'?",
    ),
    "answer that is not there": (
        '[[questions]]\nask = "?"\nchoices = ["a", "b"]\nanswer = 3\nbecause = "c"',
        14,
        "questions#1",
        "answer is 3, but there are 2 choices",
        "change one of the values named",
    ),
    "question at no time": (
        '[[questions]]\nbefore = "soon"\nask = "?"\nchoices = ["a", "b"]\nanswer = 1\n'
        'because = "c"',
        15,
        "questions#1.before",
        "'soon' is neither a finding nor a time",
        "write a finding's code, or a time such as '3.2 s'",
    ),
    "one choice": (
        '[[questions]]\nask = "?"\nchoices = ["a"]\nanswer = 1\nbecause = "c"',
        16,
        "questions#1.choices",
        "needs at least 2 entries, not ['a']",
        "write choices as the message says",
    ),
}


@pytest.mark.parametrize("case", CASES)
def test_a_mistake_is_told_with_place_and_fix(case: str, tmp_path: Path) -> None:
    text, line, key, message, fix = CASES[case]
    path = tmp_path / "wrong.toml"
    error = refused(path, BASE + text + "\n")
    if fix is None:  # another room's words, which its own tests pin
        fix = error.fix
        assert fix
    assert error.args == (message, str(path), key, line, fix)
    assert str(error) == f"{path}:{line}: {key}: {message}\n  fix: {fix}"


HEADS = {
    "unknown machine": (
        'machine = "bed-mil"',
        ("the library has no machine 'bed-mil'", "machine", 1, "did you mean 'bed-mill'?"),
    ),
    "no machine": (
        'title = "x"',
        (
            "'machine' is missing",
            "machine",
            1,
            'add machine (by name, as machine = "bed-mill", or as a table)',
        ),
    ),
    "machine is a number": (
        "machine = 3",
        (
            "expected a table, not 3",
            "machine",
            1,
            'machine: by name, as machine = "bed-mill", or as a table',
        ),
    ),
    "use is no name": (
        "[machine]\nuse = 3",
        ("expected the name of a machine, not 3", "machine.use", 2, ""),
    ),
    "unknown setter": (
        'machine = "bed-mill"\n[setter.front]\nuse = "bolted"',
        ("the library has no setter 'bolted'", "setter.front.use", 3, "did you mean 'bolted-nc'?"),
    ),
    "unknown tool in a list": (
        'machine = "bed-mill"\ntools = [\n  "end-mill-6",\n  "end-mill-7",\n]',
        ("the library has no tool 'end-mill-7'", "tools#2", 4, "did you mean 'end-mill-6'?"),
    ),
    "a tool twice": (
        'machine = "bed-mill"\ntools = ["drill-8", "drill-8"]',
        ("'drill-8' is listed twice", "tools#2", 2, "give one another name"),
    ),
    "a tool without a name": (
        'machine = "bed-mill"\ntools = ["drill-8", {worn_mm = 1}]',
        ("expected the name of a tool, or a table with a name", "tools#2", 2, ""),
    ),
    "tools is a number": (
        'machine = "bed-mill"\ntools = 8',
        ("expected a name, a list of names or a table, not 8", "tools", 2, ""),
    ),
    "missing file": (
        'machine = "./mine.toml"',
        (
            "there is no machine file {folder}/mine.toml",
            "machine",
            1,
            "check the path: it starts from the folder of the file that names it",
        ),
    ),
    "overridden value": (
        '[machine]\nuse = "bed-mill"\n[machine.servo]\nposition_gain_per_s = -40',
        (
            "must be more than 0, not -40",
            "machine.servo.position_gain_per_s",
            4,
            "position_gain_per_s: Kv; 20-50 1/s is usual",
        ),
    ),
    "overridden key": (
        '[machine]\nuse = "bed-mill"\naxes.x.max = 5',
        ("unknown key 'max'", "machine.axes.x.max", 3, "did you mean 'max_mm'?"),
    ),
    "overridden key that spoils the whole": (
        'machine = "bed-mill"\n[setter]\nuse = "bolted-nc"\novertravel_in = 1',
        (
            "pre_travel_mm and overtravel_mm together exceed the 10 mm that the pad stands above "
            "its base",
            "setter.overtravel_in",
            4,
            "change one of the values named",
        ),
    ),
    "one name for two items": (
        'machine = "bed-mill"\nstock = "vise"\n[blocks]\nstock = {size_mm = 5}',
        (
            "'stock' is also the name of an entry of stock",
            "blocks.stock",
            4,
            "give every setter, stock and block a name of its own",
        ),
    ),
    "a name of the machine's": (
        'machine = "bed-mill"\n[blocks]\ncolumn = {size_mm = 5}',
        ("'column' names a part of the machine", "blocks.column", 3, "use another name"),
    ),
    "a name that can't be": (
        'machine = "bed-mill"\n[blocks]\n"b 50" = {size_mm = 5}',
        ("'b 50' can't be a name", "blocks.b 50", 3, "use letters, digits, '-' and '_' only"),
    ),
    "negative size": (
        'machine = "bed-mill"\n[[stock.lump.parts]]\nsize_mm = [1, -1, 1]',
        (
            "size_mm must be positive, not [1.0, -1.0, 1.0]",
            "stock.lump.parts#1",
            2,
            "change one of the values named",
        ),
    ),
    "a ring of two": (
        'machine = "bed-mill"\nblocks.a = "block-10"\nblocks.b = "block-25"\n'
        '[placements]\na = {on = "b", x_mm = 0, y_mm = 0}\nb = {on = "a", x_mm = 0, y_mm = 0}',
        ("'a' stands on itself, through b", "placements.a.on", 5, "end the circle"),
    ),
    "on what stands nowhere": (
        'machine = "bed-mill"\nblocks.a = "block-10"\nblocks.b = "block-25"\n'
        '[placements]\na = {on = "b", x_mm = 0, y_mm = 0}',
        ("'b' stands nowhere", "placements.a.on", 5, "add [placements.b]"),
    ),
    "two plugs, one socket": (
        'machine = "bed-mill"\nsetter.a = "bolted-nc"\nsetter.b = "bolted-nc"\n'
        '[controller.plugs]\na = "spare"\nb = "spare"',
        (
            "socket 'spare' already holds the plug of 'a'",
            "controller.plugs.b",
            6,
            "use another socket",
        ),
    ),
    "a setter half off the table": (
        'machine = "bed-mill"\nsetter = "bolted-nc"\n[placements]\n'
        "setter = {x_mm = -350, y_mm = -60}",
        (
            "setter stands off the table: y_mm = -60",
            "placements.setter.y_mm",
            4,
            "y_mm may be from -262.5 to -87.5, in machine coordinates",
        ),
    ),
    "unknown tool in the spindle": (
        'machine = "bed-mill"\nspindle_tool = "drill-8"',
        (
            "there is no tool in the crib 'drill-8'",
            "spindle_tool",
            2,
            "there are none to choose from",
        ),
    ),
    "missing program": (
        'machine = "bed-mill"\n[[steps]]\ndo = "program"\nfile = "part.ngc"',
        (
            "there is no file {folder}/part.ngc",
            "steps#1.file",
            4,
            "check the path: it starts from the folder of the file that names it",
        ),
    ),
    "missing mesh": (
        'machine = "bed-mill"\n[stock.lump]\n'
        'parts = [{shape = "mesh", file = "lump.stl", file_unit = "mm"}]',
        (
            "there is no file {folder}/lump.stl",
            "stock.lump.parts#1.file",
            3,
            "check the path: it starts from the folder of the file that names it",
        ),
    ),
}


@pytest.mark.parametrize("case", HEADS)
def test_a_mistake_in_naming_parts(case: str, tmp_path: Path) -> None:
    text, (message, key, line, fix) = HEADS[case]
    path = tmp_path / "wrong.toml"
    error = refused(path, text + "\n")
    assert error.args == (message.format(folder=tmp_path), str(path), key, line, fix)


def test_several_mistakes_are_listed_below_the_first(tmp_path: Path) -> None:
    path = tmp_path / "wrong.toml"
    wrong = "".join(f'[[steps]]\ndo = "s{n}"\n' for n in range(8))
    error = refused(path, f'seed = -1\nmachine = "bed-mill"\n{wrong}')
    assert str(error).splitlines() == [
        f"{path}:1: seed: must be at least 0, not -1",
        *(f"  also {path}:{4 + 2 * n}: steps#{n + 1}.do: unknown step 's{n}'" for n in range(5)),
        "  and 3 more",
        "  fix: write seed as the message says",
    ]


def test_a_mistake_in_a_part_names_the_part_s_own_file(tmp_path: Path) -> None:
    part = tmp_path / "mine.toml"
    part.write_text('use = "bolted-nc"\n\npad_heigth_mm = 3\n')
    path = tmp_path / "main.toml"
    for text in (
        'machine = "bed-mill"\nsetter = "./mine.toml"\n',
        'machine = "bed-mill"\nsetter = {use = "./mine.toml", tilt_deg = 1}\n',
    ):
        error = refused(path, text)
        assert error.args == (
            "unknown key 'pad_heigth_mm'",
            str(part),
            "pad_heigth_mm",
            3,
            "did you mean 'pad_height_mm'?",
        )


def test_a_missing_key_of_a_used_part_is_told_in_that_part(tmp_path: Path) -> None:
    part = tmp_path / "mine.toml"
    part.write_text("size_m = 3\n")
    error = refused(
        tmp_path / "main.toml",
        'machine = "bed-mill"\nblocks.a = {use = "./mine.toml", error_um = 1}\n',
    )
    assert error.message == (f"'size_mm' is missing\n  also {part}:1: size_m: unknown key 'size_m'")
    assert (error.file, error.line) == (str(part), 1)


def test_parts_that_use_each_other_are_refused(tmp_path: Path) -> None:
    (tmp_path / "a.toml").write_text('use = "./b.toml"\n')
    (tmp_path / "b.toml").write_text('# round\nuse = "./a.toml"\n')
    with pytest.raises(InputError) as caught:
        load_part("setter", tmp_path / "a.toml")
    assert caught.value.message == "'./b.toml' uses itself"
    assert caught.value.fix == "end the circle"


BROKEN = {
    "no value": ("seed =\n", 1, "not TOML: invalid value (column 7)"),
    "twice": ('machine = "m"\nmachine = "n"\n', 2, "not TOML: cannot overwrite a value"),
    "unclosed": ('a = 1\nb = "x', 2, "not TOML: unterminated string"),
}


@pytest.mark.parametrize("case", BROKEN)
def test_malformed_toml_names_the_line(case: str, tmp_path: Path) -> None:
    text, line, message = BROKEN[case]
    error = refused(tmp_path / "wrong.toml", text)
    assert error.line == line
    assert error.message.startswith(message)
    assert error.fix == "write key = value, text in double quotation marks, tables as [name]"


def test_endless_nesting_is_refused(tmp_path: Path) -> None:
    error = refused(tmp_path / "deep.toml", "a = " + "[" * 50_000)
    assert "deep" in error.message or "TOML" in error.message
    assert error.fix


def test_not_utf8_names_the_byte_and_its_line(tmp_path: Path) -> None:
    path = tmp_path / "latin.toml"
    path.write_bytes(b'seed = 1\ntitle = "caf\xe9"\n')
    with pytest.raises(InputError) as caught:
        load_scenario(path)
    assert caught.value.args == (
        "byte 21 is not UTF-8 text",
        str(path),
        "",
        2,
        "save it as plain text in UTF-8",
    )


def test_a_byte_order_mark_is_no_mistake(tmp_path: Path) -> None:
    path = tmp_path / "marked.toml"
    path.write_bytes(b'\xef\xbb\xbfmachine = "bed-mill"\n')
    assert load_scenario(path).machine.name == "bed-mill"


def test_missing_file_folder_and_unreadable_file(tmp_path: Path) -> None:
    (tmp_path / "first.toml").write_text("")
    with pytest.raises(InputError) as caught:
        load_scenario(tmp_path / "firts.toml")
    assert caught.value.args == (
        "there is no such scenario",
        str(tmp_path / "firts.toml"),
        "",
        0,
        "did you mean 'first.toml'?",
    )
    with pytest.raises(InputError) as caught:
        load_scenario(tmp_path / "no" / "where.toml")
    assert caught.value.fix == f"the folder {tmp_path / 'no'} does not exist; check the path"
    with pytest.raises(InputError) as caught:
        load_scenario(tmp_path)
    assert caught.value.args == (
        "this is a folder, expected a scenario",
        str(tmp_path),
        "",
        0,
        "name a file in it",
    )


def test_a_file_without_permission(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path = tmp_path / "secret.toml"
    path.write_text("")

    def refuse(*_: object, **__: object) -> bytes:
        # As the system says it; a test that takes the permission away proves nothing as root.
        raise PermissionError(13, "Permission denied")

    monkeypatch.setattr(Path, "read_bytes", refuse)
    monkeypatch.setattr(Path, "read_text", refuse)
    with pytest.raises(InputError, match="can't be read: Permission denied"):
        load_scenario(path)


def test_unknown_library_names_and_kinds() -> None:
    with pytest.raises(InputError) as caught:
        load_part("tool", "end-mil-10")
    assert caught.value.args == (
        "the library has no tool 'end-mil-10'",
        "",
        "",
        0,
        "did you mean 'end-mill-10'?",
    )
    with pytest.raises(InputError, match="unknown kind of part 'wheel'"):
        load_part("wheel", "x")


def test_data_without_a_file_names_the_key() -> None:
    with pytest.raises(InputError) as caught:
        scenario_from_dict({"machine": "bed-mill", "seed": -1})
    assert str(caught.value).splitlines()[0] == "seed: must be at least 0, not -1"


def test_an_error_survives_pickling(tmp_path: Path) -> None:
    error = refused(tmp_path / "wrong.toml", "seed = -1\n")
    again = pickle.loads(pickle.dumps(error))
    assert (type(again), again.args, str(again)) == (InputError, error.args, str(error))
