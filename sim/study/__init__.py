"""Studies: one routine against every fault."""
