// Where the eye stands: presets, the choice of the decisive view, and a hand that takes over.

import { Box3, PerspectiveCamera, Vector3 } from "three";
import type { Press } from "./moments";
import { CARRIED, type Solid } from "./stage";

export type CameraName = "choose" | "whole" | "nose" | "pad" | "follow" | "free";

export interface Aim {
  focus: Vector3;
  half: number;
  azimuth: number;
  elevation: number;
}

const SUPPORTS = ["pad", "block", "stock", "fixture", "setter", "table"];
const NEVER_IN_THE_WAY = ["head", "machine", "table"];
const LEAST_HALF_MM = 30;
/** A view is tried at these azimuths (degrees from the front), the first that nothing hides wins. */
const AZIMUTHS = [32, -32, 4, 78, -78];
/** Wall-clock time in which the eye has come 63 % of its way. */
const EASE_S = 0.28;

export class Eye {
  readonly camera: PerspectiveCamera;
  name: CameraName = "choose";
  now: Aim | null = null;
  private readonly aside: [number, number] = [0, 0];
  private readonly chosen = new Map<Press, number>();

  constructor(private readonly angleDeg: number) {
    this.camera = new PerspectiveCamera(angleDeg, 1, 10, 60000);
    this.camera.up.set(0, 0, 1);
  }

  /** Move towards the aim; gives back whether the eye still moves. */
  approach(aim: Aim, wall: number, aside: [number, number]): boolean {
    if (!this.now) this.now = { ...aim, focus: aim.focus.clone() };
    const now = this.now;
    const share = wall <= 0 ? 1 : 1 - Math.exp(-wall / EASE_S);
    const away = now.focus.distanceTo(aim.focus) / aim.half + Math.abs(Math.log(aim.half / now.half)) +
      Math.abs(aim.azimuth - now.azimuth) + Math.abs(aim.elevation - now.elevation);
    now.focus.lerp(aim.focus, share);
    now.half *= (aim.half / now.half) ** share;
    now.azimuth += (aim.azimuth - now.azimuth) * share;
    now.elevation += (aim.elevation - now.elevation) * share;
    const apart = Math.abs(aside[0] - this.aside[0]) + Math.abs(aside[1] - this.aside[1]);
    this.aside[0] += (aside[0] - this.aside[0]) * share;
    this.aside[1] += (aside[1] - this.aside[1]) * share;
    this.put(now);
    return away + apart > 1e-4;
  }

  put(aim: Aim): void {
    const aspect = this.camera.aspect;
    // A narrow picture must still show the same width.
    const half = aim.half * Math.max(1, 1.15 / aspect);
    const distance = half / Math.tan((this.angleDeg * Math.PI) / 360);
    const [turn, rise] = [(aim.azimuth * Math.PI) / 180, (aim.elevation * Math.PI) / 180];
    const way = new Vector3(Math.sin(turn) * Math.cos(rise), -Math.cos(turn) * Math.cos(rise), Math.sin(rise));
    this.camera.position.copy(aim.focus).addScaledVector(way, distance);
    this.camera.near = distance * 0.1;
    this.camera.far = distance * 6 + 8000;
    this.camera.lookAt(aim.focus);
    const [right, up] = this.aside;
    this.camera.setViewOffset(aspect, 1, -right * aspect, up, aspect, 1);
    this.camera.updateProjectionMatrix();
    this.camera.updateMatrixWorld();
  }

  aim(name: CameraName, solids: Solid[], press: Press | null, lug: boolean): Aim {
    if (name === "whole") return whole(solids);
    const carried = lowest(solids);
    const support = under(solids, carried);
    if (!carried) return whole(solids);
    const c = carried.box;
    const [x, y] = [(c.min.x + c.max.x) / 2, (c.min.y + c.max.y) / 2];
    const axis = axisOf(solids);
    if (name === "nose") {
      const nose = solids.find((s) => s.look === "face") ?? carried;
      const wide = nose.box.max.x - nose.box.min.x;
      const focus = new Vector3(axis.x, axis.y, nose.box.min.z);
      return { focus, half: Math.max(0.8 * wide, LEAST_HALF_MM), azimuth: this.free(focus, solids, press, AZIMUTHS, lug), elevation: -6 };
    }
    const gap = support ? Math.max(c.min.z - support.box.max.z, 0) : 0;
    if (name === "follow" || !support || gap > 160) {
      const half = Math.min(Math.max(0.62 * gap + 60, 90), 320);
      const focus = new Vector3(axis.x, axis.y, c.min.z - Math.min(gap, 400) * 0.42);
      return { focus, half, azimuth: 30, elevation: 14 };
    }
    const s = support.box;
    const near = new Vector3(Math.min(Math.max(x, s.min.x), s.max.x), Math.min(Math.max(y, s.min.y), s.max.y), 0);
    // Of a wide stock or a table only what is near matters.
    const wide = Math.max(c.max.x - c.min.x, c.max.y - c.min.y, Math.min(s.max.x - s.min.x, 70), 12);
    const half = Math.max(0.75 * wide, LEAST_HALF_MM) + 0.5 * gap + 0.4 * Math.hypot(near.x - x, near.y - y);
    const focus = new Vector3((x + near.x) / 2, (y + near.y) / 2, (c.min.z + Math.min(s.max.z, c.min.z)) / 2);
    if (carried.look === "lug") focus.set((focus.x + axis.x) / 2, (focus.y + axis.y) / 2, focus.z);
    const elevation = lug ? -4 : 9;
    return { focus, half: lug ? half * 1.25 : half, azimuth: this.free(focus, solids, press, AZIMUTHS, lug), elevation };
  }

  /** One part by itself, from a little above: where it stands, and what is at it. */
  place(solid: Solid): Aim {
    const size = solid.box.getSize(new Vector3());
    const half = Math.max(1.5 * Math.max(size.x, size.y), LEAST_HALF_MM);
    const focus = solid.box.getCenter(new Vector3());
    return { focus: focus.setZ(solid.box.max.z), half, azimuth: 24, elevation: 18 };
  }

  /** The first azimuth with nothing in between; kept for the whole press, so that nothing jumps. */
  private free(focus: Vector3, solids: Solid[], press: Press | null, azimuths: number[], outwards: boolean): number {
    const known = press ? this.chosen.get(press) : undefined;
    if (known !== undefined) return known;
    const axis = axisOf(solids);
    const lug = outwards ? lowest(solids) : null;
    const cost = azimuths.map((azimuth) => {
      const turn = (azimuth * Math.PI) / 180;
      const eye = focus.clone().add(new Vector3(Math.sin(turn), -Math.cos(turn), 0.16).multiplyScalar(900));
      const hidden = solids.filter((s) => !NEVER_IN_THE_WAY.includes(s.look) && !CARRIED.includes(s.kind) &&
        !["pad", "setter"].includes(s.kind) && crosses(eye, focus, s.box)).length;
      if (!lug) return hidden;
      const out = lug.box.getCenter(new Vector3()).sub(axis);
      return hidden + (out.x * (eye.x - focus.x) + out.y * (eye.y - focus.y) < 0 ? 0.5 : 0);
    });
    const best = azimuths[cost.indexOf(Math.min(...cost))];
    if (press) this.chosen.set(press, best);
    return best;
  }
}

/** The lowest part that the spindle carries, apart from the head. */
export function lowest(solids: Solid[]): Solid | null {
  const able = solids.filter((s) => CARRIED.includes(s.kind) && s.look !== "head");
  return able.reduce<Solid | null>((best, s) => (best && best.box.min.z <= s.box.min.z ? best : s), null);
}

/** What that part would come down on. */
export function under(solids: Solid[], carried: Solid | null): Solid | null {
  if (!carried) return null;
  let best: Solid | null = null;
  let least = Infinity;
  for (const solid of solids) {
    if (!SUPPORTS.includes(solid.kind)) continue;
    const a = carried.box;
    const b = solid.box;
    const gap = Math.hypot(
      Math.max(a.min.x - b.max.x, b.min.x - a.max.x, 0),
      Math.max(a.min.y - b.max.y, b.min.y - a.max.y, 0),
      Math.max(a.min.z - b.max.z, b.min.z - a.max.z, 0),
    );
    // Half a millimetre of gap is worth less than showing the pad instead of its body.
    const key = Math.round(gap * 2) + SUPPORTS.indexOf(solid.kind) * 0.01;
    if (key < least) [best, least] = [solid, key];
  }
  return best;
}

export function axisOf(solids: Solid[]): Vector3 {
  const solid = solids.find((s) => s.look === "face" || s.look === "holder" || s.look === "nose");
  return solid ? solid.box.getCenter(new Vector3()) : new Vector3();
}

function whole(solids: Solid[]): Aim {
  const all = new Box3();
  for (const solid of solids) all.union(solid.box);
  if (all.isEmpty()) all.set(new Vector3(-400, -400, -400), new Vector3(400, 400, 400));
  const size = all.getSize(new Vector3());
  return { focus: all.getCenter(new Vector3()), half: 0.4 * size.length(), azimuth: 34, elevation: 20 };
}

function crosses(start: Vector3, end: Vector3, box: Box3): boolean {
  let [first, last] = [0, 1];
  for (const axis of ["x", "y", "z"] as const) {
    const d = end[axis] - start[axis];
    const [low, high] = [box.min[axis] - start[axis], box.max[axis] - start[axis]];
    if (Math.abs(d) < 1e-12) {
      if (low >= 0 || high <= 0) return false;
      continue;
    }
    const [one, two] = d > 0 ? [low / d, high / d] : [high / d, low / d];
    first = Math.max(first, one);
    last = Math.min(last, two);
  }
  return first < last;
}
