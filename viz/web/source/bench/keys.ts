// The keyboard: moving, stopping, going from place to place. Fields keep their own keys.

import type { Desk } from "./desk";
import { jogKey } from "./jog";
import { goTo } from "./page";

const PLACES = ["axes", "task", "hands", "telling", "notes", "story"];

function types(target: EventTarget | null): boolean {
  return target instanceof Element && /^(INPUT|SELECT|TEXTAREA)$/.test(target.tagName);
}

function ownKeys(target: EventTarget | null): boolean {
  return target instanceof Element && target.closest("[data-own-keys]") !== null;
}

export function listenToKeys(desk: Desk): void {
  window.addEventListener("keydown", (event) => down(desk, event));
  window.addEventListener("keyup", (event) => {
    if (jogKey(event.code)) desk.jog.release(event.code);
  });
}

function down(desk: Desk, event: KeyboardEvent): void {
  if (event.ctrlKey || event.altKey || event.metaKey) return;
  // The emergency stop works wherever one types; a dialog or a field does not keep it.
  if (event.key === "Escape") {
    if (!event.repeat) void desk.link.act({ do: "e-stop" });
    return;
  }
  if (types(event.target) || ownKeys(event.target)) return;
  const move = jogKey(event.code);
  if (move) {
    event.preventDefault();
    // The keyboard repeats; a machine's key does not.
    if (!event.repeat) desk.jog.press(event.code, move[0], move[1], event.shiftKey);
    return;
  }
  if (event.repeat) return;
  other(desk, event);
}

function other(desk: Desk, event: KeyboardEvent): void {
  const place = PLACES[Number(event.key)];
  if (/^[0-5]$/.test(event.key) && place) goTo(place);
  else if (event.key === ",") desk.jog.change(-1);
  else if (event.key === ".") desk.jog.change(1);
  else if (event.key === "h" || event.key === "H") void desk.link.act({ do: "feed-hold", on: !desk.link.state?.modes.hold });
  else if (event.key === "w" || event.key === "W") document.querySelector<HTMLElement>(".dial")?.focus();
  else return;
  event.preventDefault();
}
