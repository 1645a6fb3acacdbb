"""``drytouch``: the commands and their options. Each loads what it needs only when it is called."""

from __future__ import annotations

import contextlib
import sys
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Annotated

import typer

from drytouch.sim.errors import DrytouchError

EXIT_AS_EXPECTED, EXIT_DIFFERS, EXIT_BAD_INPUT = 0, 1, 2
EXIT_INTERRUPTED = 130
"""128 + 2, the number of the signal that Ctrl-C sends: what shells expect."""

app = typer.Typer(
    name="drytouch",
    help="Practise and test tool-setter touch-off on a twin of a mill.",
    epilog="A rehearsal proves nothing about your machine. Follow its builder's manual.",
    add_completion=False,
    no_args_is_help=True,
    pretty_exceptions_enable=False,
)

Json = Annotated[bool, typer.Option("--json", help="Print one JSON object and nothing else.")]
Picture = Annotated[bool, typer.Option(help="Draw a labelled picture of the decisive moment.")]


@app.command()
def demo(
    out: Annotated[Path, typer.Option(help="Folder for the results.")] = Path("out/demo"),
    picture: Picture = True,
    json: Json = False,
) -> None:
    """Run every demonstration and compare what is seen with what each promises."""
    from drytouch.sim.commands import demo as room

    _guarded(lambda: room.demo(out, picture, json))


@app.command("list")
def list_library(json: Json = False) -> None:
    """List what the library holds: machines, setters, tools, stock, demonstrations ..."""
    from drytouch.sim.commands import contents as room

    _guarded(lambda: room.list_library(json))


@app.command()
def check(
    file: Annotated[str, typer.Argument(metavar="FILE", help="Scenario, part or program.")],
    json: Json = False,
) -> None:
    """Check a scenario, a part of one, or a program, without running it."""
    from drytouch.sim.commands import check as room

    _guarded(lambda: room.check(file, json))


@app.command()
def run(
    scenario: Annotated[
        str,
        typer.Argument(
            metavar="FILE|NAME",
            help="Scenario: its file, or its name in the library. Or a program, with --on.",
        ),
    ],
    seed: Annotated[
        int | None, typer.Option(min=0, help="Number that all chance comes from.")
    ] = None,
    out: Annotated[Path, typer.Option(help="Folder for the results.")] = Path("out"),
    picture: Picture = True,
    json: Json = False,
    on: Annotated[
        str | None, typer.Option(help="Scenario that sets up the machine a program runs on.")
    ] = None,
    block_delete: Annotated[
        bool, typer.Option("--block-delete", help="Program: skip lines that begin with /.")
    ] = False,
    optional_stop: Annotated[
        bool, typer.Option("--optional-stop", help="Program: stop at M1.")
    ] = False,
    single_block: Annotated[
        bool, typer.Option("--single-block", help="Program: pause after each line.")
    ] = False,
    from_line: Annotated[
        int, typer.Option(min=0, help="Program: start at this line, with the state rebuilt.")
    ] = 0,
    follow: Annotated[
        bool, typer.Option("--follow", help="Program: print each line as it runs.")
    ] = False,
    tables: Annotated[
        Path | None,
        typer.Option(help="Program: folder to load tool table and parameters from and save to."),
    ] = None,
) -> None:
    """Run a scenario, or a program on one: verdict, findings, numbers."""
    from drytouch.sim.commands import run as room

    switches = (block_delete, optional_stop, single_block, from_line, follow, tables)
    _guarded(lambda: room.run(scenario, seed, out, picture, json, on, switches))


@app.command()
def matrix(
    routine: Annotated[
        str,
        typer.Argument(
            help="Built-in routine, file.py:function, program file, or 'steps' for the "
            "scenario's own steps."
        ),
    ],
    on: Annotated[str, typer.Option(help="Scenario: its file, or its name in the library.")],
    given: Annotated[
        list[str] | None,
        typer.Option("--with", metavar="NAME=VALUE", help="An argument of the routine."),
    ] = None,
    after_step: Annotated[
        int | None,
        typer.Option(help="Do this many of the scenario's steps first; else those before it."),
    ] = None,
    beside: Annotated[
        str | None, typer.Option(help="A second routine, to be compared with the first.")
    ] = None,
    pairs: Annotated[bool, typer.Option("--pairs", help="Two faults at once as well.")] = False,
    only: Annotated[
        list[str] | None, typer.Option(metavar="FAULT", help="Only this fault; may be repeated.")
    ] = None,
    require: Annotated[
        list[str] | None,
        typer.Option(metavar="LIMIT", help="As in harm=0 or score>=60; exit 1 when broken."),
    ] = None,
    seed: Annotated[
        int | None, typer.Option(min=0, help="Number that all chance comes from.")
    ] = None,
    out: Annotated[Path, typer.Option(help="Folder for the results.")] = Path("out/matrix"),
    picture: Picture = True,
    json: Json = False,
) -> None:
    """Run a routine against every fault: what it catches, what it misses, where it does harm."""
    from drytouch.sim.commands import matrix as room

    _guarded(
        lambda: room.matrix(
            routine, on, given or [], after_step, beside, pairs, only or [], require or [], seed,
            out, picture, json,
        )
    )  # fmt: skip


@app.command()
def replay(
    recording: Annotated[
        Path, typer.Argument(metavar="RECORDING", help="A .recording.json file of a run.")
    ],
    still: Annotated[Path | None, typer.Option(help="Write a picture, FILE.png.")] = None,
    movie: Annotated[
        Path | None, typer.Option(help="Write a movie, FILE.mp4 or .gif, and captions beside it.")
    ] = None,
    page: Annotated[
        Path | None, typer.Option(help="Write a page to replay in a browser, FILE.html.")
    ] = None,
    model: Annotated[
        Path | None, typer.Option(help="Write an animated 3D model, FILE.glb.")
    ] = None,
    at: Annotated[
        str | None, typer.Option(metavar="TIME|FINDING", help="Still, window: when; s or a code.")
    ] = None,
    beside: Annotated[
        Path | None, typer.Option(help="Movie, page: another recording beside this one.")
    ] = None,
    line_up: Annotated[
        str, typer.Option(metavar="EVENT", help="Line both up here; first contact if not given.")
    ] = "",
    questions: Annotated[
        bool, typer.Option("--questions", help="Movie: stop for the scenario's questions.")
    ] = False,
    scenario: Annotated[
        str | None, typer.Option(metavar="FILE|NAME", help="The scenario that was run.")
    ] = None,
) -> None:
    """Replay a recording in a window, or write it as a picture, movie, page or 3D model."""
    from drytouch.sim.commands import replay as room

    wanted = room.Wanted(still, movie, page, model, at, beside, line_up, questions, scenario)
    _guarded(lambda: room.replay(recording, wanted))


@app.command()
def gallery(
    out: Annotated[Path, typer.Option(help="Folder for the gallery.")] = Path("out/gallery"),
    scenarios: Annotated[
        list[str] | None,
        typer.Argument(metavar="[FILE|NAME]...", help="Scenarios to show; all demonstrations."),
    ] = None,
    processes: Annotated[
        int, typer.Option(min=0, help="How many to work at once; 0: as many as there are cores.")
    ] = 0,
) -> None:
    """Make a folder to teach from: an index, replay pages, pictures and handouts to print."""
    from drytouch.sim.commands import gallery as room

    _guarded(lambda: room.gallery(out, tuple(scenarios or ()), processes))


@app.command()
def new(
    kind: Annotated[
        str,
        typer.Argument(
            metavar="KIND",
            help="demonstration, scenario, exercise, machine, setter, tool, stock or block.",
        ),
    ],
    name: Annotated[str, typer.Argument(metavar="NAME", help="Name of the file, without .toml.")],
    folder: Annotated[Path, typer.Option(help="Folder to write it to.")] = Path("."),
    like: Annotated[
        str | None, typer.Option(help="Part of the library that a new part begins as.")
    ] = None,
) -> None:
    """Write a commented file to start from, which works as it is."""
    from drytouch.sim.commands import new as room

    _guarded(lambda: room.new(kind, name, folder, like))


@app.command()
def schema(
    kind: Annotated[
        str,
        typer.Argument(metavar="[KIND]", help="scenario, machine, setter, tool, stock or block."),
    ] = "scenario",
) -> None:
    """Print the JSON Schema of a kind of file, for editors that complete and check."""
    from drytouch.sim.commands import schema as room

    _guarded(lambda: room.schema(kind))


@app.command()
def trials(
    scenario: Annotated[
        str,
        typer.Argument(metavar="FILE|NAME", help="Scenario: its file, or its name in the library."),
    ],
    count: Annotated[int, typer.Option(min=1, help="How many trials.")] = 1000,
    vary: Annotated[
        list[str] | None,
        typer.Option(
            metavar="KEY=DISTRIBUTION",
            help="As in setter.setter.pre_travel_um=normal:100,2. Also uniform:low,high; "
            "choice:a,b; list:a,b in turn; grid:low,high,count. May be repeated.",
        ),
    ] = None,
    seed: Annotated[
        int | None, typer.Option(min=0, help="Seed of the first trial; the next has one more.")
    ] = None,
    workers: Annotated[
        int | None, typer.Option(min=1, help="Processes; all cores by default.")
    ] = None,
    cluster: Annotated[
        str | None, typer.Option(metavar="ADDRESS", help="A Dask scheduler to send trials to.")
    ] = None,
    resume: Annotated[
        bool, typer.Option("--resume", help="Go on with trials that were stopped.")
    ] = False,
    table_format: Annotated[
        str, typer.Option("--format", help="Table of all trials: csv or parquet.")
    ] = "csv",
    out: Annotated[Path, typer.Option(help="Folder for the results.")] = Path("out"),
    json: Json = False,
) -> None:
    """Run a scenario many times with chance at work: rates, spreads, plots."""
    from drytouch.sim.commands import trials as room

    _guarded(
        lambda: room.trials(
            scenario, count, vary or [], seed, workers, cluster, resume, table_format, out, json
        )
    )


@app.command()
def budget(
    scenario: Annotated[
        str,
        typer.Argument(metavar="FILE|NAME", help="Scenario: its file, or its name in the library."),
    ],
    trials: Annotated[int, typer.Option(min=30, help="Trials to compare with.")] = 2000,
    vary: Annotated[
        list[str] | None,
        typer.Option(metavar="KEY=DISTRIBUTION", help="A further cause, as in drytouch trials."),
    ] = None,
    seed: Annotated[int | None, typer.Option(min=0, help="Seed of the first trial.")] = None,
    workers: Annotated[
        int | None, typer.Option(min=1, help="Processes; all cores by default.")
    ] = None,
    json: Json = False,
) -> None:
    """Say where the error of each length and height comes from, and check it by trials."""
    from drytouch.sim.commands import budget as room

    _guarded(lambda: room.budget(scenario, trials, vary or [], seed, workers, json))


@app.command()
def feeds(
    scenario: Annotated[
        str,
        typer.Argument(metavar="FILE|NAME", help="Scenario: its file, or its name in the library."),
    ],
    setter: Annotated[str | None, typer.Option(help="One setter; all of them by default.")] = None,
    tool: Annotated[
        str | None, typer.Option(help="Tool that touches; the one in the spindle by default.")
    ] = None,
    margin: Annotated[
        float, typer.Option(help="Share of the overtravel to keep free, 0 to below 1.")
    ] = 0.2,
    out: Annotated[Path, typer.Option(help="Folder for the results.")] = Path("out"),
    json: Json = False,
) -> None:
    """Say how fast a setter may be touched and the back-off that takes, and show it on the twin."""
    from drytouch.sim.commands import feeds as room

    _guarded(lambda: room.feeds(scenario, setter, tool, margin, out, json))


@app.command()
def bench(
    exercise: Annotated[
        str | None, typer.Argument(metavar="[EXERCISE]", help="Exercise or scenario; else choose.")
    ] = None,
    machine: Annotated[
        str | None, typer.Option(help="Another machine than the exercise's.")
    ] = None,
    seed: Annotated[
        int | None, typer.Option(min=0, help="Number that all chance comes from.")
    ] = None,
    as_class: Annotated[
        bool, typer.Option("--class", help="Serve a room: join code, trainees, instructor.")
    ] = False,
    host: Annotated[
        str,
        typer.Option(
            help="Address to listen on. Beyond this machine a token is asked for, and nothing is "
            "encrypted: only on a network that you trust."
        ),
    ] = "127.0.0.1",
    port: Annotated[int, typer.Option(min=0, max=65535, help="0 takes a free one.")] = 0,
    browser: Annotated[bool, typer.Option(help="Open the browser on the page.")] = True,
    keep: Annotated[bool, typer.Option(help="Keep attempts in the records.")] = True,
) -> None:
    """Practise setup on a live twin, in the browser."""
    from drytouch.sim.commands import bench as room

    wanted = room.Wanted(exercise, machine, seed, as_class, host, port, browser, keep)
    _guarded(lambda: room.bench(wanted))


def _guarded(work: Callable[[], int]) -> None:
    """Leave with the code that ``work`` returns; a user's mistake is a message, no traceback."""
    try:
        code = work()
    except DrytouchError as error:
        typer.echo(str(error), err=True)
        code = EXIT_BAD_INPUT
    except KeyboardInterrupt:
        typer.echo("stopped; finished work is on disk", err=True)
        code = EXIT_INTERRUPTED
    raise typer.Exit(code)


def main(arguments: Sequence[str] | None = None) -> int:
    """Run one command line (``sys.argv`` by default); gives back the exit code."""
    for stream in (sys.stdout, sys.stderr):
        # A console that lacks a character shows another; it must not end the run.
        with contextlib.suppress(AttributeError, ValueError):
            stream.reconfigure(errors="replace")  # type: ignore[union-attr]
    try:
        app(args=None if arguments is None else list(arguments), prog_name="drytouch")
    except SystemExit as leaving:
        return leaving.code if isinstance(leaving.code, int) else int(leaving.code is not None)
    return EXIT_AS_EXPECTED
