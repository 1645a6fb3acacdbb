"""Every finding: how bad it is, and its three plain sentences.

``what`` is filled with the figures of the case; ``why`` and ``avoid`` speak to a person at a real
machine. ``verdict`` is the worst that this finding alone makes of a run.
"""

from __future__ import annotations

from typing import NamedTuple


class Entry(NamedTuple):
    """One row of the catalogue."""

    verdict: str
    what: str
    why: str
    avoid: str


# A pad that was pressed and not seen: no feed and no depth of search mends that.
PROVE_FIRST = (
    "Before the first touch, press the pad by hand with drives off and watch the very input "
    "that the touch will watch go off, on, off."
)

CATALOGUE: dict[str, Entry] = {
    "crash": Entry(
        "harm",
        "{mover} met {other} at {speed_mm_per_s:.1f} mm/s during a {kind}.",
        "{why}",
        "Know what stands under the path, raise Z before moving across, and make first moves at "
        "low rapid override with a hand on feed hold.",
    ),
    "runaway": Entry(
        "harm",
        "The axis fed on past the pad: the contact {contact}, but input {input} never came on.",
        "{why}",
        PROVE_FIRST,
    ),
    "lug-strike": Entry(
        "harm",
        "A drive lug met {other} at {speed_mm_per_s:.2f} mm/s.",
        "The lugs stand proud of the spindle face by {lug_mm:.2f} mm; at this spindle angle one "
        "was over {other}.",
        "Orient the spindle so that the pad lies between the lugs, lock it, and look before "
        "touching.",
    ),
    "setter-crushed": Entry(
        "harm",
        "The pad was pushed {travel_mm:.3f} mm down, {over_mm:.3f} mm past its trip; its budget "
        "is {budget_mm:.3f} mm.",
        "{why}",
        "Keep the touching feed below what stopping distance, filter and scan allow within the "
        "overtravel budget.",
    ),
    "tool-overloaded": Entry(
        "harm",
        "The tool was pressed with {force_N:.1f} N by {other}; it bears {limit_N:.1f} N.",
        "{why}",
        "For tiny tools use a soft pad and a slow feed; come down on stock in the smallest steps.",
    ),
    "spun-into-pad": Entry(
        "harm",
        "The tool turned at {rpm:.0f} rpm{direction} when it met the pad.",
        "{why}",
        "Stop the spindle for a touch; where the setter permits turning, turn slowly and against "
        "the cut only.",
    ),
    "hand-in-reach": Entry(
        "harm",
        "A hand was {where} while {what}.",
        "Drives that are on can move the axis at any moment: a fault, a key or a program is "
        "enough.",
        "Keep hands out unless the drives are off; never reach into an enabled machine.",
    ),
    "setter-moved": Entry(
        "risky",
        "The setter '{setter}' moved by {moved_mm:.3f} mm ({cause}).",
        "{why}",
        "Hold the setter down so that no move can shift it; locate and reference it again after "
        "anything touched it.",
    ),
    "near-miss": Entry(
        "risky",
        "A {kind} stopped {room_mm:.2f} mm before {other}; stopping took {needed_mm:.2f} mm.",
        "The move was closing on something with less room than the distance to stop.",
        "Slow down before closing in, and leave more room than the machine needs to stop.",
    ),
    "low-clearance": Entry(
        "risky",
        "The way across left {room_mm:.2f} mm above {under}; a margin of {margin_mm:.1f} mm is "
        "wanted.",
        "Clearance height minus the tool in the spindle is what counts, and nobody knew it to be "
        "enough.",
        "Set the clearance height for the longest tool, and go to the top of Z first when the "
        "tool's length is unknown.",
    ),
    "already-tripped": Entry(
        "stopped",
        "Input {input} was on before the touch began.",
        "{why}",
        "Look at the input before each touch; find out why it is on (stuck pad, chip, polarity, "
        "broken wire) before going on.",
    ),
    "no-contact": Entry(
        "stopped",
        "The touch ended without contact after {path_mm:.2f} mm.",
        "{why}",
        "Check that the tool is over the pad, that the expected length is right, and that the "
        "search goes deep enough.",
    ),
    "false-trigger": Entry(
        "risky",
        "The controller latched at Z {z_mm:.3f} with nothing touching the pad.",
        "{why}",
        "Use a shielded cable and a filter longer than the disturbance, and never trust one touch "
        "alone.",
    ),
    "bounce": Entry(
        "risky",
        "One touch was seen as two: the input came on again {after_ms:.2f} ms after the first.",
        "The contact bounced for longer than the filter holds ({filter_ms:.2f} ms).",
        "Set the filter longer than the contact's bounce, or renew a worn contact.",
    ),
    "missed-edge": Entry(
        "wrong",
        "The pad met the tool's {feature}, not a cutting edge.",
        "A cutter that is hollow in the middle has nothing over the pad's centre but its body or "
        "its bolt.",
        "Measure a wide or hollow cutter beside the pad's centre, with an edge over the pad.",
    ),
    "squeezed-block": Entry(
        "harm",
        "The gauge block was pressed with about {force_N:.0f} N ({interference_um:.1f} um too "
        "low); the limit is {limit_N:.0f} N.",
        "Stepping down onto a block squeezes it: the axis pushes with its stiffness times the "
        "interference.",
        "Start too low with the block out, and step up until it just goes in.",
    ),
    "stale-reference": Entry(
        "risky",
        "The reference of setter '{setter}' was used although {state}.",
        "{why}",
        "Take the reference again after an E-stop or power cycle on machines that forget, after "
        "a crash, and after the setter was moved.",
    ),
    "unproved-input": Entry(
        "risky",
        "A touch watched input {input} before it was seen to go off, on, off.",
        "A wrong socket, a broken wire or reversed polarity shows only when the pad is pressed.",
        "Press the pad by hand with drives off and watch the input, each time that plug, power or "
        "selection has changed.",
    ),
    "wrong-slot": Entry(
        "wrong",
        "Row {row} was written or used, but the tool in the spindle belongs to row {right}.",
        "A table knows rows, not tools: a right number in another row is used for another tool.",
        "Read the row back and compare it with the tool in the spindle before storing or moving.",
    ),
    "wrong-system": Entry(
        "wrong",
        "Work Z was stored in {system}, but {meant} was meant.",
        "The number may be right; the program will run from another origin.",
        "Say the work system aloud, and read it back after storing.",
    ),
    "mixed-lengths": Entry(
        "wrong",
        "Row {row} is off by {error_mm:+.3f} mm: close to {base_mm:+.3f} mm, which is what lies "
        "between two conventions for lengths.",
        "Lengths from the face, from a master tool and from the table can't be mixed in one table.",
        "Measure all lengths one way, and note which way in the shop's set-up sheet.",
    ),
    "wear-counted-twice": Entry(
        "wrong",
        "Row {row} was measured anew but still carries {wear_mm:+.3f} mm of old wear.",
        "A new measurement already contains the wear; keeping the old value counts it twice.",
        "Clear the wear whenever a geometry length is measured.",
    ),
    "leftover-shift": Entry(
        "risky",
        "A shift of {shift_mm:.3f} mm (G92) was still active when a number was stored or used.",
        "It moves every work system, and no table of origins shows it.",
        "Cancel the shift (G92.1) before setting work Z, and look for it when numbers are odd.",
    ),
    "wrong-number": Entry(
        "wrong",
        "{name} is {belief_mm:.4f} mm instead of {truth_mm:.4f} mm: off by "
        "{error_um:+.0f} um (tolerance {tolerance_um:.0f} um).",
        "{why}",
        "Cross-check every number a second way: a rule, a known tool, or jogging back to the "
        "surface.",
    ),
    "lost-steps": Entry(
        "wrong",
        "The axis stalled and lost {lost_mm:.3f} mm; its position is now silently false.",
        "An open-loop drive has nothing that tells it that the axis did not follow.",
        "After anything stopped an axis by force, home the machine and take every reference again.",
    ),
    "drive-fault": Entry(
        "stopped",
        "The drive gave up at a following error of {error_mm:.2f} mm, pushing with {thrust_N:.0f} "
        "N.",
        "Something blocked the axis while its command ran on.",
        "Find what was hit before switching on again; move away by hand or at the slowest jog.",
    ),
    "limit": Entry(
        "stopped",
        "Axis {axis} would have gone to {target_mm:.3f} mm, past its limit.",
        "{why}",
        "Check units, offsets and the sign of the move; home the machine if its position is in "
        "doubt.",
    ),
}
