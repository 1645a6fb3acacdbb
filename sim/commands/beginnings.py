"""The texts that ``drytouch new`` writes: scenarios that run as they are, with comments."""

from __future__ import annotations

HEAD = """\
# {what}
# Try it:     drytouch run {name}.toml
# Look at it: drytouch replay out/{name}.recording.json --page {name}.html
# Teach it:   drytouch gallery {name}.toml
# Check it:   drytouch check {name}.toml       See what there is: drytouch list

title = "{title}"
kind = "{kind}"
"""

STORY = '''
# One paragraph for the reader: who, what machine, what goes on.
story = """
A fresh 10 mm end mill is in the spindle. The setter is bolted down, wired and proved. \\
Its length goes into row 1."""
# One sentence: what to keep an eye on.
watch_for = "The axis goes right up before it moves across."
'''

BODY = """
# Units on screens and handouts: "mm" or "inch". Keys say their own unit: x_mm, or x_in for inch.
display = "mm"
# Number that all chance comes from: the same number gives the same run.
seed = 1

# Parts by name from the library, or a path to a file of your own.
machine = "machining-centre"
setter.setter = "bolted-nc"
tools = ["end-mill-10", "end-mill-6"]
stock = ["aluminium-block"]
# What is REALLY in the spindle; what the controller thinks is in [controller].
spindle_tool = "end-mill-10"

# Where things stand: machine X and Y.
[placements]
setter = { x_mm = -600.0, y_mm = -200.0 }
aluminium-block = { x_mm = -300.0, y_mm = -200.0 }

# What the controller believes at the start. Make it differ from the truth to show what follows.
[controller]
slot = 1
proved = ["setter"]           # its input was seen off-on-off; take it out to skip that proof
plugs = { setter = "setter" } # plug -> socket

[controller.rows.1]
tool = "end-mill-10"

[controller.rows.2]
tool = "end-mill-6"
"""

RECORD = """
[controller.records.setter]
x_mm = -600.0
y_mm = -200.0
clearance_z_mm = -440.0
height_mm = 59.9
reference_z_mm = -480.1
reference_valid = true
"""

STEPS = """
# What is done, in order. Single steps: "move", "touch", "jog", "load-tool" ... or a routine.
[[steps]]
do = "routine"
name = "measure-length"
with = { row = 1, expected_length_mm = 120.0 }
note = "a fast touch, then two slow ones that must agree"

# [[steps]]
# do = "move"
# z_mm = 0.0
"""

QUESTION = """
# The replay stops before this and asks; give a finding's code, or a time.
[[questions]]
before = "8 s"
ask = "The fast touch has found the pad. Why two more, slowly?"
choices = ["To warm the pad", "A slow touch repeats better, and two that agree are evidence"]
answer = 2
because = "At a quarter of the feed, the same delay is a quarter of the path."
"""

EXPECT = """
# What the run is meant to show: right, stopped, risky, wrong or harm; and exactly these findings.
[expect]
verdict = "right"
findings = []
"""

EXERCISE = '''\
# An exercise: something to practise on the bench, judged by what was really achieved.
# Practise it: drytouch bench {name}.toml      On another machine: --machine bed-mill
# Check it:    drytouch check {name}.toml      See what there is: drytouch list

title = "{title}"
kind = "exercise"
# What the trainee finds on coming to the machine.
story = """
A fresh end mill stands in its rack; row 1 belongs to it. The setter is bolted down and wired."""

# Number that all chance comes from, a drawn fault included.
seed = 1

# Parts by name from the library, or a path to a file of your own.
machine = "machining-centre"
setter.setter = "bolted-nc"
tools = ["end-mill-10"]
stock = ["aluminium-block"]

# Where things stand at the start: machine X and Y. On another machine they move with its table.
[placements]
setter = {{ x_mm = -600.0, y_mm = -200.0 }}
aluminium-block = {{ x_mm = -300.0, y_mm = -200.0 }}

# What the controller believes at the start. Make it differ from the truth to set a trap.
[controller]
plugs = {{ setter = "setter" }} # plug -> socket

[controller.rows.1]
tool = "end-mill-10"
{record}
[exercise]
# One or two sentences to the trainee.
goal = "Measure the end mill, store its length in row 1, and check it a second way."
# Told afterwards: what this was about.
teaches = "A number counts when its input was proved and a second look agrees with it."
# What is judged: numbers against the truth, states at the end, and the proofs that tell skill
# from luck. A true number without its proofs is judged risky.
numbers = ["row 1 length"]
states = ["no-alarm"]
proofs = ["input-proved", "touches-agree", "cross-checked"]
# Simulated time that a practised person needs.
par_s = 400.0
# Actions and routines that are withheld: not_allowed = ["program"], routines = ["prove-input"].
# To be found out by the trainee, drawn by seed:
# what_is_wrong = {{ faults = ["unplugged", "tool-worn"], ask = "What is wrong here?" }}

[[exercise.hints]]
text = "Drives off, press the pad by hand, and look at the inputs."
cost = 5

[[exercise.hints]]
text = "A rule held to the tool is right to half a millimetre: enough to catch a gross mistake."
cost = 5
'''

PART = """\
# A {kind} to start from: the library's {like}, to be changed into yours.
# Use it:   in a scenario, {use}
# Check it: drytouch check {name}.toml
#
"""
