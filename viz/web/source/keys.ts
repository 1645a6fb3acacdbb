// Everything that the mouse can do, by key; the same list is shown on the page.

import { CAMERAS, type Desk } from "./desk";

export const KEY_LIST: [string, string][] = [
  ["Space", "play or pause"],
  ["← →", "previous or next event"],
  ["Shift + ← →", "a little back or on"],
  ["Home, End", "start, end"],
  ["[ ]", "slower, faster"],
  ["S", "slow down at contact, on or off"],
  ["F, Shift + F", "next or previous finding"],
  ["1 to 9", "answer a question"],
  ["Enter", "go on after an answer"],
  ["0 to 4", "camera"],
  [", .", "turn the view"],
  ["Page up, down", "raise or lower the view"],
  ["+ -", "nearer, farther"],
  ["X", "cut open to see inside"],
  ["B", "what the controller takes to be so"],
  ["L", "labels"],
  ["U", "mm or inch"],
  ["H", "this list"],
];

export function listenToKeys(desk: Desk): void {
  window.addEventListener("keydown", (event) => {
    if (event.ctrlKey || event.altKey || event.metaKey) return;
    const target = event.target as HTMLElement;
    const pressable = ["BUTTON", "SELECT", "SUMMARY"].includes(target.tagName);
    if (pressable && (event.key === " " || event.key === "Enter")) return;
    if (target.tagName === "SELECT" && event.key.startsWith("Arrow")) return;
    if (act(desk, event)) event.preventDefault();
  });
}

function act(desk: Desk, event: KeyboardEvent): boolean {
  const { player } = desk;
  const key = event.key;
  const nudge = Math.min(Math.max(player.rateAt(player.t) * 0.25, 1e-5), 0.25);
  const asked = player.asked;
  if (/^[0-9]$/.test(key)) {
    const number = Number(key);
    if (asked && asked.chosen < 0 && number >= 1 && number <= asked.choices.length) player.answer(number - 1);
    else if (number < CAMERAS.length) desk.setCamera(CAMERAS[number][0]);
    return true;
  }
  if (event.repeat && !key.startsWith("Arrow") && ![",", ".", "+", "-", "PageUp", "PageDown"].includes(key)) return false;
  if (key.startsWith("Arrow") || key === "Home" || key === "End" || key === " ") desk.picked = null;
  switch (key.length === 1 ? key.toLowerCase() : key) {
    case " ":
      if (asked && asked.chosen >= 0) player.goOn();
      else player.play();
      return true;
    case "Enter":
      if (asked && asked.chosen >= 0) player.goOn();
      return true;
    case "ArrowRight":
    case "ArrowLeft": {
      const way = key === "ArrowRight" ? 1 : -1;
      if (event.shiftKey) player.seek(player.t + way * nudge);
      else player.step(way);
      return true;
    }
    case "Home": player.seek(player.start); return true;
    case "End": player.seek(player.end); return true;
    case "[": player.faster(-1); return true;
    case "]": player.faster(1); return true;
    case "s": player.setSlows(!player.slows); return true;
    case "f": desk.jumpBy(event.shiftKey ? -1 : 1); return true;
    case ",": desk.grab(-6, 0, 1); return true;
    case ".": desk.grab(6, 0, 1); return true;
    case "PageUp": desk.grab(0, 5, 1); return true;
    case "PageDown": desk.grab(0, -5, 1); return true;
    case "+": case "=": desk.grab(0, 0, 0.85); return true;
    case "-": desk.grab(0, 0, 1 / 0.85); return true;
    case "x": desk.toggle("cut"); return true;
    case "b": desk.toggle("beliefs"); return true;
    case "l": desk.toggle("labels"); return true;
    case "u": desk.toggle("inch"); return true;
    case "h": case "?": desk.toggle("help"); return true;
    case "Escape": if (desk.help) desk.toggle("help"); return true;
    default: return false;
  }
}
