"""The caution that goes with every result."""

CAUTION = (
    "A rehearsal proves nothing about your machine. Follow the machine builder's manual, your "
    "shop's rules and local codes, and have a licensed or qualified person sign off. Make first "
    "moves on a real machine at low rapid override with a hand on feed hold. Keep hands out "
    "unless the drives are off; never reach into an enabled machine."
)
