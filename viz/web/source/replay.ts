// One recording that answers questions about any time, as sim/recording/recording.py does.

import type { Entry, Facts, Geometry, Line, Pose, RecordingData, Vector } from "./data";
import { commandPath, lastAtOrBefore, physicalPath, physicalSpeed, pointOn } from "./track";

export interface BodyAt {
  id: string;
  geometry: number;
  position: Vector;
  offset: Vector;
  turn_deg: number;
  link: string;
}

/** What a stage is set up from: a recording at any time, or the bench as it is now. */
export interface Scenery {
  positionAt(t: number): Vector;
  bodiesAt(t: number, q: Vector): Map<string, BodyAt>;
  geometryOf(body: BodyAt): Geometry;
  spindleAt(t: number): [number, number];
  padDepthAt(setter: string, t: number): number;
}

/** What the outlines of the controller's beliefs are drawn from. */
export interface Believing extends Scenery {
  readonly links: Record<string, Vector>;
  readonly facts: Pick<Facts, "setters" | "length_convention">;
  beliefsAt(t: number): Record<string, any>;
  /** How far off the axes are taken to be, mm; what only lags while they move is no mistake. */
  offAt(t: number): Vector;
}

export class Replay implements Believing {
  readonly data: RecordingData;
  readonly setters: string[];
  private readonly byId: Map<number, Line>;
  private readonly edgesBySignal = new Map<string, [number, number][]>();

  constructor(readonly entry: Entry) {
    this.data = entry.recording;
    this.byId = new Map(this.data.lines.map((line) => [line.id, line]));
    this.setters = [...new Set(this.data.pads.map((row) => row[0]))].sort();
    for (const [t, signal, level] of this.data.edges) {
      const known = this.edgesBySignal.get(signal);
      if (known) known.push([t, level]);
      else this.edgesBySignal.set(signal, [[t, level]]);
    }
  }

  get duration(): number {
    return this.data.duration_s;
  }

  get signals(): string[] {
    return [...this.edgesBySignal.keys()];
  }

  lineAt(t: number): Line | null {
    const lines = this.data.lines;
    const index = lastAtOrBefore(lines.length, (i) => lines[i].t[0], t);
    return index < 0 ? null : lines[index];
  }

  positionAt(t: number): Vector {
    const line = this.lineAt(t);
    if (line) return pointOn(line, line.start, physicalPath(line, Math.min(t, line.t[1])));
    return this.data.lines.length ? this.data.lines[0].start : this.data.start;
  }

  commandAt(t: number): Vector {
    const line = this.lineAt(t);
    if (line) return pointOn(line, line.command_start, commandPath(line, Math.min(t, line.t[1])));
    return this.data.lines.length ? this.data.lines[0].command_start : this.data.start;
  }

  get links(): Record<string, Vector> {
    return this.data.links;
  }

  get facts(): Facts {
    return this.entry.facts;
  }

  offAt(t: number): Vector {
    const line = this.lineAt(t);
    if (line && this.speedAt(t) !== 0) return less(line.command_start, line.start);
    return less(this.commandAt(t), this.positionAt(t));
  }

  speedAt(t: number): number {
    const line = this.lineAt(t);
    return line && t <= line.t[1] ? physicalSpeed(line, t) : 0;
  }

  padDepthAt(setter: string, t: number): number {
    const pads = this.data.pads;
    let index = lastAtOrBefore(pads.length, (i) => pads[i][1], t);
    while (index >= 0 && pads[index][0] !== setter) index -= 1;
    if (index < 0) return 0;
    const [, , id, from, depth0, rate, cap] = pads[index];
    const line = this.byId.get(id);
    let depth = depth0;
    if (line) depth += rate * (physicalPath(line, Math.min(t, line.t[1])) - from);
    return Math.min(Math.max(depth, 0), cap ?? Infinity);
  }

  padLimitOf(setter: string): number | null {
    const rows = this.data.pads.filter((row) => row[0] === setter);
    return rows.length ? rows[rows.length - 1][6] : null;
  }

  /** Everything that is there at t, on links at position q. */
  bodiesAt(t: number, q: Vector): Map<string, BodyAt> {
    const there = new Map<string, BodyAt>();
    for (const [time, , id, pose] of this.data.scene) {
      if (time > t) break;
      if (pose === null) there.delete(id);
      else there.set(id, { id, ...this.placed(pose, q) });
    }
    return there;
  }

  private placed(pose: Pose, q: Vector): Omit<BodyAt, "id"> {
    const f = this.data.links[pose.link];
    const o = pose.offset;
    const position: Vector = [o[0] + f[0] * q[0], o[1] + f[1] * q[1], o[2] + f[2] * q[2]];
    return { geometry: pose.geometry, position, offset: o, turn_deg: pose.turn_deg, link: pose.link };
  }

  geometryOf(body: BodyAt): Geometry {
    return this.data.geometry[body.geometry];
  }

  /** How far the turning spindle has come since it last stood, rad, and its speed, rev/min. */
  spindleAt(t: number): [number, number] {
    const rows = this.data.spindle;
    const index = lastAtOrBefore(rows.length, (i) => rows[i][0], t);
    if (index < 0) return [0, 0];
    const [start, , rpm] = rows[index];
    return [((rpm * 2 * Math.PI) / 60) * (t - start), rpm];
  }

  signalAt(signal: string, t: number): number | null {
    const rows = this.edgesBySignal.get(signal) ?? [];
    const index = lastAtOrBefore(rows.length, (i) => rows[i][0], t);
    return index < 0 ? null : rows[index][1];
  }

  edgesOf(signal: string): [number, number][] {
    return this.edgesBySignal.get(signal) ?? [];
  }

  /** What the controller's tables say at t, by the keys of the recording format. */
  beliefsAt(t: number): Record<string, any> {
    const found: Record<string, any> = { ...this.entry.facts.start };
    for (const [time, key, value] of this.data.beliefs) {
      if (time > t) break;
      found[key] = value;
    }
    return found;
  }

  plugsAt(t: number): Record<string, string | null> {
    const found: Record<string, string | null> = { ...this.entry.facts.plugs };
    for (const [time, kind, data] of this.data.events) {
      if (time > t) break;
      if (kind === "plug" && Array.isArray(data)) found[data[0]] = data[1];
    }
    return found;
  }
}

function less(a: Vector, b: Vector): Vector {
  return [a[0] - b[0], a[1] - b[1], a[2] - b[2]];
}
