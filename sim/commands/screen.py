"""The terminal: plain tables and text, the same whether a person or a file reads them."""

from __future__ import annotations

from rich.console import Console


def screen(to_errors: bool = False) -> Console:
    """A console that prints text as it is; square brackets in a title are no markup."""
    return Console(stderr=to_errors, markup=False, emoji=False, highlight=False)
