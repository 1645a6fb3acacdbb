"""The bench's styles ask nothing of the net; that they are built from source, page_build tells."""

import re
from pathlib import Path

BUILT = Path(__file__).parent.parent / "viz" / "web" / "built"


def test_the_styles_load_nothing():
    assert not re.search(r"@import|url\(", (BUILT / "bench.css").read_text("utf-8"))
