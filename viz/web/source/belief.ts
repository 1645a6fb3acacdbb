// Where the controller takes tip, pad and stock top to be: dashed outlines beside the truth.

import { Group, Vector3 } from "three";
import { LineMaterial } from "three/addons/lines/LineMaterial.js";
import { LineSegments2 } from "three/addons/lines/LineSegments2.js";
import { LineSegmentsGeometry } from "three/addons/lines/LineSegmentsGeometry.js";
import type { Geometry, Vector } from "./data";
import type { BodyAt, Replay } from "./replay";
import { ghostOf, surfaceOf } from "./shapes";
import { placePart } from "./stage";
import { length } from "./units";

/** An outline nearer to the true one than this can't be told from it. */
const SHOWS_PIXELS = 2.5;

export interface Outline {
  label: string;
  point: Vector3;
}

export class Belief {
  readonly root = new Group();
  readonly pen: LineMaterial;
  outlines: Outline[] = [];
  shown = true;
  private readonly ghosts = new Map<string, Group>();

  constructor(private readonly replay: Replay, colour: string) {
    this.pen = new LineMaterial({ color: colour, linewidth: 2.4, dashed: true, depthTest: false, transparent: true });
  }

  /** Put the outlines where they belong at t; `mmPerPixel` decides which of them can be seen. */
  pose(t: number, mmPerPixel: number): void {
    for (const ghost of this.ghosts.values()) ghost.visible = false;
    this.outlines = [];
    if (!this.shown) return;
    this.pen.dashSize = 7 * mmPerPixel;
    this.pen.gapSize = 4 * mmPerPixel;
    const beliefs = this.replay.beliefsAt(t);
    const [q, command] = [this.replay.positionAt(t), this.replay.commandAt(t)];
    const there = this.replay.bodiesAt(t, q);
    const least = SHOWS_PIXELS * mmPerPixel;
    this.tip(t, there, beliefs, q, command, least);
    for (const body of there.values()) {
      const geometry = this.replay.geometryOf(body);
      if (geometry.kind === "pad") this.pad(body, geometry, beliefs, least);
    }
    this.stockTop(there, beliefs, least);
  }

  private tip(t: number, there: Map<string, BodyAt>, beliefs: Record<string, any>, q: Vector, command: Vector, least: number): void {
    const body = [...there.values()].find((b) => this.replay.geometryOf(b).kind === "tool");
    if (!body || this.replay.entry.facts.length_convention !== "face") return;
    const geometry = this.replay.geometryOf(body);
    const row = beliefs["active length row"] || beliefs["loaded slot"];
    const stored = row ? beliefs[`row ${row} length`] : undefined;
    const taken = typeof stored === "number" ? stored + (beliefs[`row ${row} wear`] ?? 0) : null;
    const real = -bottomOf(geometry);
    const f = this.replay.data.links[body.link];
    // A moving axis always lags a little; only what stays when it rests or is blocked is a mistake.
    const line = this.replay.lineAt(t);
    const stands = this.replay.speedAt(t) === 0;
    const by = [0, 1, 2].map((i) => f[i] * (stands || !line ? command[i] - q[i] : line.command_start[i] - line.start[i]));
    if (taken !== null) by[2] += real - taken;
    if (Math.hypot(...by) < least) return;
    const at: Vector = [body.position[0] + by[0], body.position[1] + by[1], body.position[2] + by[2]];
    const off = taken !== null ? `tip taken to be here, ${length(Math.abs(by[2]))} ${by[2] > 0 ? "higher" : "lower"}` : "the tool should be here";
    this.show(`tool ${body.geometry}`, geometry, at, 0, off, -real);
  }

  private pad(body: BodyAt, geometry: Geometry, beliefs: Record<string, any>, least: number): void {
    const setter = body.id.replace(/\.pad$/, "");
    const pose = body.offset;
    const [x, y] = [beliefs[`setter ${setter} x_mm`], beliefs[`setter ${setter} y_mm`]];
    const by: Vector = [0, 0, 0];
    if (typeof x === "number" && typeof y === "number") [by[0], by[1]] = [x - pose[0], y - pose[1]];
    const reference = beliefs[`setter ${setter} reference_z_mm`];
    const before = this.replay.entry.facts.setters[setter]?.pre_travel_mm;
    if (typeof reference === "number" && typeof before === "number") {
      by[2] = reference - (pose[2] + topOf(geometry) - before);
    }
    if (Math.hypot(...by) < least) return;
    const at: Vector = [body.position[0] + by[0], body.position[1] + by[1], body.position[2] + by[2]];
    this.show(`${body.id} ${body.geometry}`, geometry, at, body.turn_deg, "pad taken to be here", topOf(geometry));
  }

  private stockTop(there: Map<string, BodyAt>, beliefs: Record<string, any>, least: number): void {
    const system = beliefs["active system"] ?? "G54";
    const z = beliefs[`${system} z`];
    if (typeof z !== "number" || z === 0 || this.replay.entry.facts.length_convention !== "face") return;
    const body = [...there.values()].find((b) => this.replay.geometryOf(b).kind === "stock");
    if (!body) return;
    const geometry = this.replay.geometryOf(body);
    const off = z - (body.position[2] + topOf(geometry));
    if (Math.abs(off) < least) return;
    const at: Vector = [body.position[0], body.position[1], body.position[2] + off];
    this.show(`${body.id} ${body.geometry}`, geometry, at, body.turn_deg, `${system} takes the top to be here`, topOf(geometry));
  }

  private show(key: string, geometry: Geometry, at: Vector, turn: number, label: string, z: number): void {
    let ghost = this.ghosts.get(key);
    if (!ghost) {
      ghost = new Group();
      for (const part of geometry.parts) {
        const lines = new LineSegmentsGeometry();
        lines.setPositions(ghostOf(part, surfaceOf(part)));
        const object = new LineSegments2(lines, this.pen);
        object.computeLineDistances();
        object.renderOrder = 20;
        placePart(object, part);
        ghost.add(object);
      }
      this.ghosts.set(key, ghost);
      this.root.add(ghost);
    }
    ghost.visible = true;
    ghost.position.set(...at);
    ghost.rotation.set(0, 0, (turn * Math.PI) / 180);
    this.outlines.push({ label, point: new Vector3(at[0], at[1], at[2] + z) });
  }
}

function extent(geometry: Geometry): [number, number] {
  let [low, high] = [Infinity, -Infinity];
  for (const part of geometry.parts) {
    const surface = surfaceOf(part);
    const holder = new Group();
    placePart(holder, part);
    holder.updateMatrix();
    surface.applyMatrix4(holder.matrix).computeBoundingBox();
    low = Math.min(low, surface.boundingBox!.min.z);
    high = Math.max(high, surface.boundingBox!.max.z);
  }
  return [low, high];
}

const extents = new WeakMap<Geometry, [number, number]>();

function known(geometry: Geometry): [number, number] {
  let found = extents.get(geometry);
  if (!found) extents.set(geometry, (found = extent(geometry)));
  return found;
}

function bottomOf(geometry: Geometry): number {
  return known(geometry)[0];
}

function topOf(geometry: Geometry): number {
  return known(geometry)[1];
}
