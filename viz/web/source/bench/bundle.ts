// The entry of the bench's bundle: styles first, then the page.

import "./bench.css";
import "./main";
