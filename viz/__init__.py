"""Pictures from a recording or a live twin."""
