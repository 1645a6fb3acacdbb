"""The twin: motion, contact, signals, controller, routines and verdicts. No drawing in here."""
