"""The controller: what it believes, and the calls that a person, a program and a routine share."""
