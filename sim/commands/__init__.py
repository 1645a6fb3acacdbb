"""The command line: it calls the other rooms and owns none of their rules."""
