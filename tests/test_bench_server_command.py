"""``drytouch bench``: what it says, what it refuses, how it ends."""

import os
import queue
import re
import signal
import subprocess
import sys
import threading
import urllib.request

import pytest
from bench_page_cases import LONGEST_S

from drytouch.sim.commands.main import main

START = "import sys; from drytouch.sim.commands.main import main; sys.exit(main())"


def started(tmp_path, *options):
    """The running command, and a function that gives the first match in what it says."""
    process = subprocess.Popen(
        [sys.executable, "-u", "-c", START, "bench", "--no-browser", *options],
        stdout=subprocess.PIPE,
        stderr=subprocess.STDOUT,
        text=True,
        env={**os.environ, "DRYTOUCH_DATA": str(tmp_path), "COLUMNS": "200"},
    )
    lines = queue.Queue()
    threading.Thread(target=lambda: [lines.put(s) for s in process.stdout], daemon=True).start()

    def says(pattern):
        while not (found := re.search(pattern, lines.get(timeout=LONGEST_S))):
            pass
        return found

    return process, says


def ended(process):
    process.send_signal(signal.SIGINT)
    code = process.wait(LONGEST_S)
    process.stdout.close()
    return code


def test_it_serves_until_interrupted(tmp_path):
    process, says = started(tmp_path, "prove-the-input")
    where = says(r"bench is at (\S+)").group(1)
    assert where.startswith("http://127.0.0.1:")
    with urllib.request.urlopen(where, timeout=LONGEST_S) as page:
        assert b"/bench.js" in page.read()
    says("Caution")
    assert ended(process) == 130
    assert (tmp_path / "attempts.sqlite3").exists()


def test_a_class_beyond_this_machine_says_what_that_means(tmp_path):
    process, says = started(tmp_path, "--class", "--host", "0.0.0.0", "--no-keep")
    token = says(r"bench is at \S+#token=(\S+)").group(1)
    assert len(says(r"Join code for trainees: (\S+)").group(1)) == 6
    assert f"token={token}&role=instructor&key=" in says(r"Instructor's page: (\S+)").group(1)
    says("Nothing is encrypted")
    ended(process)
    assert not (tmp_path / "attempts.sqlite3").exists()


@pytest.mark.parametrize(
    ("arguments", "named"),
    [
        (["no-such-exercise"], "no-such-exercise"),
        (["prove-the-input", "--machine", "no-such-machine"], "no-such-machine"),
        (["prove-the-input", "--host", "203.0.113.9", "--no-keep"], "--port"),
    ],
)
def test_what_cannot_be_served_is_refused(arguments, named, capsys):
    assert main(["bench", "--no-browser", *arguments]) == 2
    assert named in capsys.readouterr().err


@pytest.mark.parametrize("room", [[], ["--class"], ["--host", "0.0.0.0"]])
def test_what_it_says(room, capsys, monkeypatch, tmp_path):
    monkeypatch.setenv("DRYTOUCH_DATA", str(tmp_path))
    opened = []

    def serve(room, gate, port, told, open_browser):
        opened.append((gate.host, bool(gate.token), port, open_browser))
        told("http://x/" + ("#token=t" if gate.token else ""))

    monkeypatch.setattr("drytouch.viz.bench.serve", serve)
    assert main(["bench", "prove-the-input", "--machine", "bed-mill", "--port", "7", *room]) == 0
    beyond = "--host" in room
    assert opened == [("0.0.0.0" if beyond else "127.0.0.1", beyond, 7, True)]
    said = capsys.readouterr().out
    assert "http://x/" in said
    assert ("Join code" in said) == ("--class" in room)
    assert ("Nothing is encrypted" in said) == beyond
    assert "Caution" in said


def test_a_missing_library_is_named(monkeypatch, capsys):
    monkeypatch.setitem(sys.modules, "drytouch.viz.bench", None)
    assert main(["bench", "--no-keep"]) == 2
    assert "[bench]" in capsys.readouterr().err
