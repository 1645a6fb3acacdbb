"""Fixtures for tests of touch-off routines. Registered with pytest where drytouch is installed.

A suite that uses none of them pays for reading this file and no more: everything that simulates is
loaded by the first fixture that is asked for.

``rehearse``         runs a routine, a program or a scenario's steps, gives back a ``Rehearsal``
``touch_off_twin``   makes a twin from a scenario's name, file, data or object
``drytouch_faults``  a mark: the test runs once under each fault, which it takes as ``fault``
"""

from __future__ import annotations

import sys
from typing import TYPE_CHECKING, Any

import pytest

if TYPE_CHECKING:
    from collections.abc import Callable, Generator
    from pathlib import Path

    from drytouch.sim.study.rehearsal import Rehearsal, Rehearse
    from drytouch.sim.twin.twin import Twin

MARK = "drytouch_faults"
OPTION = "--drytouch-recordings"
_REHEARSE = pytest.StashKey["Rehearse"]()
_KEEPER = "drytouch recordings of failures"


def pytest_addoption(parser: pytest.Parser) -> None:
    """The one option."""
    parser.getgroup("drytouch").addoption(
        OPTION,
        metavar="DIR",
        default=None,
        help="keep a recording of every rehearsal of a failed test in this folder",
    )


def pytest_configure(config: pytest.Config) -> None:
    """The one mark."""
    config.addinivalue_line(
        "markers",
        f"{MARK}(*names, group=None, but=()): run once under every fault of the catalogue, or "
        "under those named, of one group, or all but some; the test takes 'fault'",
    )


def pytest_generate_tests(metafunc: pytest.Metafunc) -> None:
    """One test a fault, where the mark asks for it."""
    mark = metafunc.definition.get_closest_marker(MARK)
    if mark is None:
        return
    if "fault" not in metafunc.fixturenames:
        raise pytest.UsageError(
            f"{metafunc.definition.nodeid}: a test marked {MARK} takes an argument 'fault'"
        )
    metafunc.parametrize("fault", _chosen(metafunc, *mark.args, **mark.kwargs))


def _chosen(
    metafunc: pytest.Metafunc, *names: str, group: str | None = None, but: Any = ()
) -> list[str]:
    from drytouch.sim.errors import StepError
    from drytouch.sim.faults import FAULTS, GROUPS, fault_named

    if group is not None and group not in GROUPS:
        raise pytest.UsageError(
            f"{metafunc.definition.nodeid}: there is no group '{group}' of faults; use one of: "
            f"{', '.join(GROUPS)}"
        )
    try:
        left_out = {fault_named(name).name for name in but}
        wanted = [fault_named(name) for name in names] or list(FAULTS.values())
    except StepError as error:
        raise pytest.UsageError(
            f"{metafunc.definition.nodeid}: {error.message}; {error.fix}"
        ) from None
    return [
        entry.name
        for entry in wanted
        if entry.name not in left_out and group in (None, entry.group)
    ]


@pytest.fixture
def rehearse(request: pytest.FixtureRequest) -> Generator[_Skipping, None, None]:
    """Run a routine on a scenario: ``rehearse("length-done-right", measure, row=1)``.

    A fault that can't happen in the scenario skips the test. In a ``unittest.TestCase``, ask for it
    with ``@pytest.mark.usefixtures("rehearse")`` and call ``self.rehearse``.
    """
    from drytouch.sim.study.rehearsal import Rehearse

    node = request.node
    folder = _folder(request)

    def keep(rehearsal: Rehearsal) -> Path | None:
        return _record(rehearsal, node, maker)

    maker = Rehearse(folder, keep)
    node.stash[_REHEARSE] = maker
    manager = request.config.pluginmanager
    if request.config.getoption(OPTION) and not manager.has_plugin(_KEEPER):
        # Registered with the first rehearsal, so that no other suite pays for the hook.
        manager.register(_Keeper(), _KEEPER)
    run = _Skipping(maker)
    if _in_test_case(request):
        request.instance.rehearse = run
    yield run
    maker.done.clear()


@pytest.fixture
def touch_off_twin(request: pytest.FixtureRequest) -> Callable[..., Twin]:
    """Make a twin: ``touch_off_twin("length-done-right", fault="tool-slipped")``.

    It takes a scenario's library name, its file, its data or the object, and ``fault`` and
    ``seed``; its ``hand`` drives the controller with calls that block.
    """
    from drytouch.sim.faults import NotHere
    from drytouch.sim.study.rehearsal import Rehearse

    maker = Rehearse(_folder(request))

    def make(scenario: Any, **more: Any) -> Twin:
        try:
            return maker.twin(scenario, **more)
        except NotHere as error:
            pytest.skip(f"can't happen here: {error.reason}")

    if _in_test_case(request):
        request.instance.touch_off_twin = make
    return make


def _in_test_case(request: pytest.FixtureRequest) -> bool:
    # Where there is a TestCase, its module is loaded; a suite without one need not load it.
    unittest = sys.modules.get("unittest")
    return unittest is not None and isinstance(request.instance, unittest.TestCase)


def _folder(request: pytest.FixtureRequest) -> Path:
    path: Path = request.path.parent
    return path


class _Skipping:
    """A maker of rehearsals that skips the test where its fault can't happen."""

    def __init__(self, maker: Rehearse) -> None:
        self._maker = maker
        self.under_faults = maker.under_faults
        self.twin = maker.twin

    def __repr__(self) -> str:
        return "<drytouch: rehearse(scenario, what, fault=..., seed=..., arguments)>"

    def __call__(self, *args: Any, **arguments: Any) -> Rehearsal:
        from drytouch.sim.faults import NotHere

        try:
            return self._maker(*args, **arguments)
        except NotHere as error:
            pytest.skip(f"can't happen here: {error.reason}")


class _Keeper:
    """Keeps what a failed test has rehearsed, and says where, whatever made it fail."""

    @pytest.hookimpl(wrapper=True)
    def pytest_runtest_makereport(
        self, item: pytest.Item, call: pytest.CallInfo[None]
    ) -> Generator[None, Any, Any]:
        report = yield
        maker = item.stash.get(_REHEARSE, None)
        if maker is not None and call.when == "call" and report.failed:
            kept = [_record(rehearsal, item, maker) for rehearsal in maker.done]
            report.sections.append(("drytouch recordings", "\n".join(map(str, kept))))
        return report


def _record(rehearsal: Rehearsal, node: pytest.Item, maker: Rehearse) -> Path | None:
    folder = node.config.getoption(OPTION)
    if not folder:
        return None
    place: Path = node.config.rootpath / folder
    place.mkdir(parents=True, exist_ok=True)
    return rehearsal.record(place, f"{node.nodeid}-{maker.done.index(rehearsal) + 1}")
