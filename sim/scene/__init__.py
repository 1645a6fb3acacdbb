"""The scene: bodies, what is fixed to what, and first contact along a move. mm, z up.

The world's origin is where the middle of the spindle face is at machine (0, 0, 0), on a machine
whose head carries all three axes.
"""

from drytouch.sim.scene.arcs import first_contacts_arc
from drytouch.sim.scene.bodies import Body
from drytouch.sim.scene.chain import Chain
from drytouch.sim.scene.contact import ContactCache, Hit, first_contacts
from drytouch.sim.scene.distance import Nearest, distance, height_under, nearest, overlaps
from drytouch.sim.scene.extents import bounds
from drytouch.sim.scene.mesh import read_stl
from drytouch.sim.scene.pieces import TOUCH_MM
from drytouch.sim.scene.scene import Scene
from drytouch.sim.scene.shapes import Box, Cone, Cylinder, Mesh, Placed, Ring, Shape, Sphere, Vector
from drytouch.sim.scene.surfaces import surface

__all__ = [
    "TOUCH_MM",
    "Body",
    "Box",
    "Chain",
    "Cone",
    "ContactCache",
    "Cylinder",
    "Hit",
    "Mesh",
    "Nearest",
    "Placed",
    "Ring",
    "Scene",
    "Shape",
    "Sphere",
    "Vector",
    "bounds",
    "distance",
    "first_contacts",
    "first_contacts_arc",
    "height_under",
    "nearest",
    "overlaps",
    "read_stl",
    "surface",
]
