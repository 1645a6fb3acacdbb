// The entry of the bundle: styles first, then the page.

import "uplot/dist/uPlot.min.css";
import "./page.css";
import "./main";
