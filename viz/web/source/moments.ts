// What happens when: one list of moments to step through, and the presses that time slows down for.

import type { Replay } from "./replay";
import { written } from "./units";

export interface Moment {
  t: number;
  text: string;
  kind: string;
}

/** One press of a pad, from the touch until the pad is free again or the axis has gone on. */
export interface Press {
  setter: string;
  contact: number;
  /** When the axis has come to rest on the pad, or what ends the press. */
  rest: number;
  end: number;
  marks: Mark[];
  preTravel: number | null;
  limit: number | null;
}

export interface Mark {
  name: string;
  t: number;
  depth: number;
  /** What should have come and never did. */
  never?: boolean;
}

const WORDS: Record<string, (data: any) => string> = {
  contact: (d) => `something touches the pad of ${d}`,
  close: () => "the contact in the setter acts",
  open: () => "the contact in the setter goes back",
  leave: () => "the pad is free again",
  graze: () => "something is grazed",
  blocked: () => "a body blocks the axis",
  stall: () => "the drive loses steps",
  "drive-fault": () => "the drive gives up",
  "e-stop": () => "emergency stop",
  latch: () => "the controller notes the position",
  hold: (d) => (d ? "feed hold" : "feed hold ends"),
  plug: (d) => (d?.[1] ? `plug of ${d[0]} goes into socket ${d[1]}` : `plug of ${d?.[0]} is pulled`),
  alarm: (d) => `alarm: ${d?.[1] ?? ""}`,
  power: (d) => (d ? "power on" : "power off"),
  reset: () => "the alarm is cleared",
  hand: (d) => (d ? `a hand is in: ${d}` : "the hand is out"),
  feel: (d) => `gauge block felt: ${d?.[1]}`,
  rule: () => "checked with a rule",
  "jog-back": () => "jogged back to the surface to read it again",
  "input-seen": (d) => `a person sees input ${d?.[0]} go: ${d?.[1]}`,
  meanwhile: (d) => `meanwhile: ${d}`,
  skipped: (d) => `skipped: step ${d?.[0] + 1}`,
};

export function momentsOf(replay: Replay): Moment[] {
  const found: Moment[] = [];
  for (const [t, kind, data] of replay.data.events) {
    if (kind === "finding") continue;
    if (kind === "step") {
      const note = data?.[2] ? `: ${data[2]}` : "";
      found.push({ t, kind, text: `step ${data[0] + 1}, ${String(data[1]).replace(/[-_]/g, " ")}${note}` });
    } else if (WORDS[kind]) {
      found.push({ t, kind, text: WORDS[kind](typeof data === "string" ? data.replace(/[-_]/g, " ") : data) });
    }
  }
  for (const [t, signal, level] of replay.data.edges) {
    if (signal.endsWith(".seen")) {
      const name = signal.slice(0, -5);
      found.push({ t, kind: "seen", text: `the controller sees ${name} go ${level ? "on" : "off"}` });
    }
  }
  for (const finding of replay.entry.findings) {
    found.push({ t: finding.t, kind: "finding", text: finding.title });
  }
  found.sort((a, b) => a.t - b.t);
  return found;
}

export function pressesOf(replay: Replay): Press[] {
  const contacts = replay.data.events.filter((row) => row[1] === "contact");
  return contacts.map(([t, , setter], index) => {
    const later = (kind: string) =>
      replay.data.events.find((row) => row[0] > t && row[1] === kind && row[2] === setter)?.[0];
    const next = contacts.slice(index + 1).find((row) => row[2] === setter)?.[0] ?? replay.duration;
    const end = Math.min(later("leave") ?? replay.duration, next);
    const line = replay.lineAt(t);
    const lineEnd = line ? line.t[1] : end;
    const blocked = replay.data.events.find((row) => row[0] >= t && row[1] === "blocked")?.[0];
    const rest = Math.min(end, blocked ?? Infinity, Math.max(settled(replay, t, lineEnd), t));
    const marks = marksOf(replay, setter, t, Math.min(Math.max(rest, lineEnd), end));
    const stuck = blocked !== undefined && blocked <= rest + 1e-9;
    marks.push({ name: stuck ? "blocked" : "stands still", t: rest, depth: replay.padDepthAt(setter, rest) });
    const seen = marks.some((mark) => mark.name === "seen at scan");
    if (stuck && !seen && line?.kind === "touch") marks.push({ name: "seen at scan", t: rest, depth: 0, never: true });
    const close = marks.find((mark) => mark.name === "contact acts");
    const facts = replay.entry.facts.setters[setter];
    return {
      setter, contact: t, rest, end, marks,
      preTravel: close ? close.depth : (facts?.pre_travel_mm ?? null),
      limit: replay.padLimitOf(setter),
    };
  });
}

/** When the axis has really come to rest: the end of its last moving piece. */
function settled(replay: Replay, t: number, lineEnd: number): number {
  const line = replay.lineAt(t);
  if (!line || line.pieces.length === 0) return lineEnd;
  const last = line.pieces[line.pieces.length - 1];
  return Math.min(last[1] + line.delay_s, lineEnd);
}

function marksOf(replay: Replay, setter: string, from: number, to: number): Mark[] {
  const at = (name: string, t: number): Mark => ({ name, t, depth: replay.padDepthAt(setter, t) });
  const marks = [at("pad touched", from)];
  const close = replay.data.events.find((row) => row[0] >= from && row[0] <= to && row[1] === "close");
  if (close) marks.push(at("contact acts", close[0]));
  const input = inputOf(replay, from, to);
  if (input) {
    const watched = replay.beliefsAt(from)[`setter ${setter} input`];
    const where = watched !== undefined && `input ${watched}` !== input ? `, ${input}` : "";
    const within = (name: string) =>
      replay.edgesOf(`${input}.${name}`).filter(([t]) => t >= from && t <= to + 1e-9);
    const raw = within("raw");
    const ons = raw.filter(([, level]) => level === 1);
    if (raw.length > 2) {
      const last = raw[raw.length - 1];
      marks.push(at(`bounce over (${Math.floor((raw.length - 1) / 2)} more)`, last[0]));
    } else if (!close && ons.length) marks.push(at("first edge", ons[0][0]));
    const filtered = within("filtered").filter(([, level]) => level === 1);
    if (filtered.length) marks.push(at(`filter passed${where}`, filtered[0][0]));
    const seen = within("seen").filter(([, level]) => level === 1);
    if (seen.length) marks.push(at(`seen at scan${where}`, seen[0][0]));
  }
  const latch = replay.data.events.find((row) => row[0] >= from && row[0] <= to && row[1] === "latch");
  if (latch) marks.push(at("latched position", Array.isArray(latch[2]) ? latch[2][0] : latch[0]));
  return marks.sort((a, b) => a.t - b.t);
}

function inputOf(replay: Replay, from: number, to: number): string | null {
  const row = replay.data.edges.find(([t, name]) => t >= from && t <= to && name.endsWith(".raw"));
  return row ? row[1].slice(0, -4) : null;
}

/** "Step 3, touch, at 200 mm/min", or the program's line. */
export function doing(replay: Replay, t: number): { head: string; code: string; note: string } {
  const line = replay.lineAt(t);
  const running = line !== null && t <= line.t[1] + 1e-9;
  let [step, note, code, hands] = ["", "", "", ""];
  for (const [time, kind, data] of replay.data.events) {
    if (time > t) break;
    if (kind === "step") {
      note = data[2] ?? "";
      code = "";
      step = `Step ${data[0] + 1}: ${String(data[1]).replace(/[-_]/g, " ")}`;
    } else if (kind === "meanwhile" && typeof data === "string") {
      hands = data.replace(/[-_]/g, " ");
    } else if (kind === "program-line" && Array.isArray(data)) {
      code = data[0] === "typed" ? `typed: ${data[2]}` : `${data[0]}, line ${data[1]}: ${data[2]}`;
    }
  }
  if (running && line) {
    const call = line.source[3];
    // On the bench the scenario only waits: what runs is what a person has begun beside it.
    if (!step && call) step = (call === "wait" && hands) || call.replace(/[-_]/g, " ");
    const v = replay.speedAt(t) * 60;
    const pace = v > 0.05 ? `${written(v, v < 10 ? 1 : 0)} mm/min` : "at rest";
    const kind = ` ${step}`.endsWith(` ${line.kind}`) ? pace : `${line.kind}, ${pace}`;
    const head = step ? step.charAt(0).toUpperCase() + step.slice(1) : "Running";
    return { head: `${head} · ${kind}`, code, note };
  }
  return { head: `${step || "Ready"} · at rest`, code, note };
}
