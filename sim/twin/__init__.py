"""The running twin: event kernel, stage, chance, outcome."""
