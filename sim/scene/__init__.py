"""The scene: bodies, what is fixed to what, and first contact along a move. mm, z up.

The world's origin is where the middle of the spindle face is at machine (0, 0, 0), on a machine
whose head carries all three axes.
"""

from drytouch.sim.scene.bodies import Body
from drytouch.sim.scene.chain import Chain
from drytouch.sim.scene.contact import ContactCache, Hit, first_contacts
from drytouch.sim.scene.scene import Scene
from drytouch.sim.scene.shapes import Box, Cone, Cylinder, Mesh, Placed, Ring, Shape, Sphere, Vector

__all__ = [
    "Body",
    "Box",
    "Chain",
    "Cone",
    "ContactCache",
    "Cylinder",
    "Hit",
    "Mesh",
    "Placed",
    "Ring",
    "Scene",
    "Shape",
    "Sphere",
    "Vector",
    "first_contacts",
]
