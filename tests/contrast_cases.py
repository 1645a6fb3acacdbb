"""Contrast of all text that a page shows, computed in the browser as WCAG 2.2 (1.4.3) has it."""

from __future__ import annotations

from typing import Any

LARGE_PX, LARGE_BOLD_PX = 24.0, 18.66
"""18 pt, or 14 pt in bold: large text may have less contrast."""
LEAST, LEAST_LARGE = 4.5, 3.0
MOVABLE = "button, a, select, input, summary, [role=spinbutton]"

_WALK = """
(limits) => {
  const parse = (text) => {
    const n = text.match(/[\\d.]+/g).map(Number);
    return [n[0], n[1], n[2], n.length > 3 ? n[3] : 1];
  };
  const over = (top, under) => [0, 1, 2].map((i) => top[i] * top[3] + under[i] * (1 - top[3]));
  const light = (rgb) => {
    const part = (v) => (v <= 0.04045 ? v / 12.92 : ((v + 0.055) / 1.055) ** 2.4);
    const [r, g, b] = rgb.map((v) => part(v / 255));
    return 0.2126 * r + 0.7152 * g + 0.0722 * b;
  };
  const ratio = (a, b) => {
    const [x, y] = [light(a), light(b)].sort((p, q) => q - p);
    return (x + 0.05) / (y + 0.05);
  };
  // What lies behind an element; over the drawn picture nobody knows, so the worst is taken.
  const behind = (element) => {
    const layers = [];
    let picture = false;
    for (let e = element; e; e = e.parentElement) {
      const style = getComputedStyle(e);
      const colour = parse(style.backgroundColor);
      if (colour[3] > 0) layers.push(colour);
      if (colour[3] === 1) break;
      if (e.matches(".view, .picture, .canvas")) { picture = true; break; }
    }
    const opaque = layers.length && layers[layers.length - 1][3] === 1;
    const unknown = picture ? [[0, 0, 0], [255, 255, 255]] : [[255, 255, 255]];
    const bases = opaque ? [layers.pop().slice(0, 3)] : unknown;
    layers.reverse();
    return bases.map((base) => layers.reduce((under, top) => over(top, under), base));
  };
  const faint = (element) => {
    let share = 1;
    for (let e = element; e; e = e.parentElement) share *= Number(getComputedStyle(e).opacity);
    return share;
  };
  const found = [];
  const judge = (element, text, style, colour) => {
    if (element.closest(".visually-hidden")) return;
    if (!element.checkVisibility({ visibilityProperty: true })) return;
    const size = parseFloat(style.fontSize);
    const large = size >= limits.large || (size >= limits.bold && Number(style.fontWeight) >= 700);
    const ink = parse(colour);
    ink[3] *= faint(element);
    const least = Math.min(...behind(element).map((ground) => ratio(over(ink, ground), ground)));
    const where = `${element.tagName} ${element.className}`;
    found.push([text.trim().slice(0, 40), Math.round(least * 100) / 100, large, where]);
  };
  const walker = document.createTreeWalker(document.body, NodeFilter.SHOW_TEXT);
  while (walker.nextNode()) {
    const element = walker.currentNode.parentElement;
    const text = walker.currentNode.data;
    if (!text.trim() || element.matches("script, style, noscript, option")) continue;
    const style = getComputedStyle(element);
    judge(element, text, style, element.closest("svg") ? style.fill : style.color);
  }
  for (const field of document.querySelectorAll("input, select")) {
    if (field.matches("[type=range], [type=checkbox], [type=radio], [type=hidden]")) continue;
    const style = getComputedStyle(field);
    const hint = getComputedStyle(field, "::placeholder").color;
    if (field.value) judge(field, field.value, style, style.color);
    else if (field.placeholder) judge(field, field.placeholder, style, hint);
  }
  return found;
}
"""


def texts(page: Any, pointed: bool = False) -> list[tuple[str, float, bool, str]]:
    """Each text that is there: its first words, its contrast, whether it is large, and where.

    ``pointed``: as it looks while a pointer is on whatever can be pressed, all of it at once.
    """
    line = page.context.new_cdp_session(page)
    if pointed:
        line.send("DOM.enable")
        line.send("CSS.enable")
        root = line.send("DOM.getDocument")["root"]["nodeId"]
        nodes = line.send("DOM.querySelectorAll", {"nodeId": root, "selector": MOVABLE})["nodeIds"]
        for node in nodes:
            forced = {"nodeId": node, "forcedPseudoClasses": ["hover"]}
            line.send("CSS.forcePseudoState", forced)
    try:
        found = page.evaluate(_WALK, {"large": LARGE_PX, "bold": LARGE_BOLD_PX})
    finally:
        line.detach()
    return [tuple(entry) for entry in found]


def weak(page: Any, least_texts: int) -> list[tuple[str, float, bool, str]]:
    """Texts without enough contrast, with and without a pointer on them."""
    found = [*texts(page), *texts(page, pointed=True)]
    # A walk that finds next to nothing would prove nothing.
    assert len(found) >= 2 * least_texts, found
    return [entry for entry in found if entry[1] < (LEAST_LARGE if entry[2] else LEAST)]
