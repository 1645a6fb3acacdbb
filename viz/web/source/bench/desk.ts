// What every area of the page needs: the line, the jog, the picture, and small helpers.

import type { Jog } from "./jog";
import type { Link, Reply } from "./link";
import type { Picture } from "./picture";

export interface Desk {
  link: Link;
  jog: Jog;
  picture: Picture | null;
  act: Act;
  /** What the outlines say, a line each; empty while none is drawn. */
  believed: string;
  redraw: () => void;
}

export type Act = (action: Record<string, unknown>) => Promise<Reply>;

/** "spindle-probe" as a person writes it. */
export function plainly(name: string): string {
  return name.replace(/[-_]/g, " ");
}

export function capital(text: string): string {
  return text.charAt(0).toUpperCase() + text.slice(1);
}

/** A length in the display's unit, with the digits that its readout has. */
export function shownLength(mm: number | null | undefined, inch: boolean, digits = inch ? 4 : 3): string {
  if (mm === null || mm === undefined) return "";
  const text = (inch ? mm / 25.4 : mm).toFixed(digits);
  return Number(text) === 0 ? text.replace("-", "") : text;
}

export function shownFeed(mmPerMin: number, inch: boolean): string {
  return inch ? `${+(mmPerMin / 25.4).toFixed(2)} in/min` : `${+mmPerMin.toFixed(1)} mm/min`;
}

/** A field of an action in the unit that is shown: "z_mm" becomes "z_in". */
export function unitKey(key: string, inch: boolean): string {
  if (!inch) return key;
  return key.endsWith("_mm_per_min") ? key.replace(/_mm_per_min$/, "_in_per_min") : key.replace(/_mm$/, "_in");
}

export function unitOf(key: string, inch: boolean): string {
  if (key.endsWith("_mm_per_min")) return inch ? "in/min" : "mm/min";
  if (key.endsWith("_mm")) return inch ? "in" : "mm";
  if (key.endsWith("_deg")) return "degrees";
  if (key.endsWith("_rpm") || key === "rpm") return "1/min";
  if (key.endsWith("_s")) return "s";
  return "";
}

export function clock(seconds: number): string {
  const s = Math.floor(seconds);
  return `${Math.floor(s / 60)}:${String(s % 60).padStart(2, "0")}`;
}
