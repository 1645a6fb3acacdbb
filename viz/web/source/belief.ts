// Where the controller takes tip, setter, pad and stock top to be: dashed outlines beside the truth.

import { Group, Vector3 } from "three";
import { LineMaterial } from "three/addons/lines/LineMaterial.js";
import { LineSegments2 } from "three/addons/lines/LineSegments2.js";
import { LineSegmentsGeometry } from "three/addons/lines/LineSegmentsGeometry.js";
import type { Geometry, Vector } from "./data";
import type { Believing, BodyAt } from "./replay";
import { ghostOf, surfaceOf } from "./shapes";
import { placePart } from "./stage";
import { length } from "./units";

/** An outline nearer to the true one than this can't be told from it. */
const SHOWS_PIXELS = 2.5;
/** Below the last digit of a length nothing is off. */
const SAID_MM = 0.0005;
/** Half the width of the cross at a work zero. */
const CROSS_MM = 14;

export interface Outline {
  label: string;
  point: Vector3;
}

type Told = Record<string, any>;

export class Belief {
  readonly root = new Group();
  readonly pen: LineMaterial;
  outlines: Outline[] = [];
  shown = true;
  /** Somebody has asked: draw also what is where it is taken to be, and say by how much it is off. */
  inFull = false;
  private readonly ghosts = new Map<string, Group>();
  private least = 0;

  constructor(private readonly source: Believing, colour: string) {
    this.pen = new LineMaterial({ color: colour, linewidth: 2.4, dashed: true, depthTest: false, transparent: true });
  }

  /** Put the outlines where they belong at t; `mmPerPixel` decides which of them can be seen. */
  pose(t: number, mmPerPixel: number): void {
    for (const ghost of this.ghosts.values()) ghost.visible = false;
    this.outlines = [];
    if (!this.shown) return;
    this.pen.dashSize = 7 * mmPerPixel;
    this.pen.gapSize = 4 * mmPerPixel;
    this.least = this.inFull ? -1 : SHOWS_PIXELS * mmPerPixel;
    const told = this.source.beliefsAt(t);
    const q = this.source.positionAt(t);
    const there = this.source.bodiesAt(t, q);
    const base = this.base(told);
    this.tip(this.source.offAt(t), there, told, base);
    for (const body of there.values()) {
      const geometry = this.source.geometryOf(body);
      if (geometry.kind === "pad") this.pad(t, body, geometry, there, told);
    }
    this.workZero(there, told, q, base);
  }

  /** What the machine's convention adds to a length from the face; null while it isn't known. */
  private base(told: Told): number | null {
    const convention = this.source.facts.length_convention;
    if (convention === "face") return 0;
    const setter = told["selected setter"] ?? Object.keys(this.source.facts.setters)[0];
    const of = (key: string) => told[`setter ${setter} ${key}`];
    if (convention === "difference") return isNumber(of("master_length_mm")) ? -of("master_length_mm") : null;
    const [reference, height] = [of("reference_z_mm"), of("height_mm")];
    return isNumber(reference) && isNumber(height) ? reference - height : null;
  }

  private tip(off: Vector, there: Map<string, BodyAt>, told: Told, base: number | null): void {
    const body = this.first(there, "tool");
    if (!body || base === null) return;
    const geometry = this.source.geometryOf(body);
    const row = told["active length row"] || told["loaded slot"];
    const stored = row ? told[`row ${row} length`] : undefined;
    const taken = isNumber(stored) ? stored + (told[`row ${row} wear`] ?? 0) - base : null;
    const real = -bottomOf(geometry);
    const f = this.source.links[body.link];
    const by: Vector = [f[0] * off[0], f[1] * off[1], f[2] * off[2]];
    if (taken !== null) by[2] += real - taken;
    if (Math.hypot(...by) < (taken === null ? Math.max(this.least, SAID_MM) : this.least)) return;
    const words = taken === null ? "the tool should be here" : `tip taken to be here${this.apart(by)}`;
    this.show(`tool ${body.geometry}`, geometry, moved(body.position, by), 0, words, -real);
  }

  private pad(t: number, body: BodyAt, geometry: Geometry, there: Map<string, BodyAt>, told: Told): void {
    const setter = body.id.replace(/\.pad$/, "");
    const of = (key: string) => told[`setter ${setter} ${key}`];
    const before = this.source.facts.setters[setter]?.pre_travel_mm;
    const foot = there.get(setter);
    const by: Vector = [0, 0, 0];
    const located = isNumber(of("x_mm")) && isNumber(of("y_mm"));
    if (located) {
      const at = this.onTable([of("x_mm"), of("y_mm"), 0], body, there);
      [by[0], by[1]] = [at[0] - body.offset[0], at[1] - body.offset[1]];
    }
    const top = topOf(geometry);
    const trip = isNumber(before) ? body.offset[2] + top - before : null;
    const referenced = isNumber(of("reference_z_mm")) && trip !== null;
    if (referenced) by[2] = this.onTable([0, 0, of("reference_z_mm")], body, there)[2] - trip;
    if (foot && trip !== null && isNumber(of("height_mm"))) {
      const own = this.source.geometryOf(foot);
      const high = of("height_mm") - (trip - (foot.offset[2] + bottomOf(own)));
      this.foot(foot, own, [by[0], by[1], high]);
    }
    if (Math.hypot(...by) < this.least || (this.inFull && !located && !referenced)) return;
    // The records speak of a pad that nothing presses.
    const pad = this.inFull && this.source.padDepthAt(setter, t) > SAID_MM ? "free pad taken" : "pad taken";
    const words = `${pad} to be here${this.inFull ? this.apart(by) : ""}`;
    this.show(`${body.id} ${body.geometry}`, geometry, moved(body.position, by), body.turn_deg, words, top);
  }

  /** The setter's body, as high as its stored height makes it. */
  private foot(body: BodyAt, geometry: Geometry, by: Vector): void {
    if (!this.inFull && Math.abs(by[2]) < this.least) return;
    const words = `setter taken to be so high${this.apart([0, 0, by[2]])}`;
    this.show(`${body.id} ${body.geometry}`, geometry, moved(body.position, by), body.turn_deg, words, topOf(geometry) / 2);
  }

  private workZero(there: Map<string, BodyAt>, told: Told, q: Vector, base: number | null): void {
    const system = told["active system"] ?? "G54";
    const z = told[`${system} z`];
    if (!isNumber(z) || z === 0 || base === null) return;
    const level = z + (told["shift z"] ?? 0) + base;
    const stock = this.first(there, "stock");
    const on = stock ?? this.first(there, "table");
    if (!on) return;
    const [x, y] = [told[`${system} x`] ?? 0, told[`${system} y`] ?? 0];
    const zero = this.onTable([x, y, level], on, there);
    if (stock) {
      const geometry = this.source.geometryOf(stock);
      const off = zero[2] - (stock.offset[2] + topOf(geometry));
      if (Math.abs(off) >= this.least) {
        const words = `${system} takes the top to be here${this.inFull ? this.apart([0, 0, off]) : ""}`;
        this.show(`${stock.id} ${stock.geometry}`, geometry, moved(stock.position, [0, 0, off]), stock.turn_deg, words, topOf(geometry));
      }
    }
    // X and Y of a zero that was never set lie at home, where nothing is.
    if (!this.inFull || (x === 0 && y === 0)) return;
    const f = this.source.links[on.link];
    this.cross(moved(zero, [f[0] * q[0], f[1] * q[1], f[2] * q[2]]), `zero of ${system}`);
  }

  /** Machine coordinates as a place on what stands on the table, before its link moves it. */
  private onTable(machine: Vector, body: BodyAt, there: Map<string, BodyAt>): Vector {
    const spindle = this.first(there, "spindle");
    const h = spindle ? this.source.links[spindle.link] : [0, 0, 1];
    const p = this.source.links[body.link];
    // Where no spindle is drawn, a table that moves is passed under a head that stands.
    return machine.map((value, i) => (spindle ? h[i] - p[i] : 1) * value) as Vector;
  }

  private first(there: Map<string, BodyAt>, kind: string): BodyAt | undefined {
    return [...there.values()].find((body) => this.source.geometryOf(body).kind === kind);
  }

  /** By how much it is off; beside is said only where somebody has asked. */
  private apart(by: Vector): string {
    const side = Math.hypot(by[0], by[1]);
    const parts: string[] = [];
    if (this.inFull && side >= SAID_MM) parts.push(`${length(side)} beside`);
    if (Math.abs(by[2]) >= SAID_MM) parts.push(`${length(Math.abs(by[2]))} ${by[2] > 0 ? "higher" : "lower"}`);
    return parts.length > 0 ? `, ${parts.join(", ")}` : this.inFull ? ", and it is" : "";
  }

  private cross(at: Vector, label: string): void {
    const points = [-CROSS_MM, 0, 0, CROSS_MM, 0, 0, 0, -CROSS_MM, 0, 0, CROSS_MM, 0, 0, 0, -CROSS_MM, 0, 0, CROSS_MM];
    const ghost = this.ghostOf("zero", (group) => this.draw(group, new Float32Array(points)));
    ghost.position.set(...at);
    this.outlines.push({ label, point: new Vector3(...at) });
  }

  private show(key: string, geometry: Geometry, at: Vector, turn: number, label: string, z: number): void {
    const ghost = this.ghostOf(key, (group) => {
      for (const part of geometry.parts) placePart(this.draw(group, ghostOf(part, surfaceOf(part))), part);
    });
    ghost.position.set(...at);
    ghost.rotation.set(0, 0, (turn * Math.PI) / 180);
    this.outlines.push({ label, point: new Vector3(at[0], at[1], at[2] + z) });
  }

  private ghostOf(key: string, fill: (group: Group) => void): Group {
    let ghost = this.ghosts.get(key);
    if (!ghost) {
      ghost = new Group();
      fill(ghost);
      this.ghosts.set(key, ghost);
      this.root.add(ghost);
    }
    ghost.visible = true;
    return ghost;
  }

  private draw(group: Group, points: Float32Array): LineSegments2 {
    const lines = new LineSegmentsGeometry();
    lines.setPositions(points);
    const object = new LineSegments2(lines, this.pen);
    object.computeLineDistances();
    object.renderOrder = 20;
    group.add(object);
    return object;
  }
}

function isNumber(value: unknown): value is number {
  return typeof value === "number";
}

function moved(at: Vector, by: Vector): Vector {
  return [at[0] + by[0], at[1] + by[1], at[2] + by[2]];
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
