"""Truth: belief against what is so; findings, numbers, verdict."""
