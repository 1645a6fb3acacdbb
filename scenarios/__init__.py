"""The library: machines, setters, tools, programs and demonstrations, as data files."""
