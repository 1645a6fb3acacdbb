// Sighting: level from the front or from the side, with the spindle's axis drawn down to the pad.

import { BufferGeometry, Group, Line, LineBasicMaterial, Vector3 } from "three";
import { axisOf, lowest, type Aim } from "../camera";
import type { Solid } from "../stage";

export type Sight = "front" | "side";

/** Azimuths, degrees from the front: from there X lies across the picture, or Y. */
const AZIMUTH: Record<Sight, number> = { front: 0, side: 90 };
/** A pad of usual size fills half of the picture's height: a millimetre is then several pixels. */
const LEAST_HALF_MM = 34;
/** Enough to see the pad as a surface, too little to shift its middle. */
const ELEVATION = 3;

function padOf(solids: Solid[]): Solid | undefined {
  return solids.find((solid) => solid.kind === "pad");
}

/** Where to look from; null where there is no pad or nothing above it. */
export function sighted(sight: Sight, solids: Solid[]): Aim | null {
  const [pad, carried] = [padOf(solids), lowest(solids)];
  if (!pad || !carried) return null;
  const [axis, middle] = [axisOf(solids), pad.box.getCenter(new Vector3())];
  const gap = Math.max(carried.box.min.z - pad.box.max.z, 0);
  const across = sight === "front" ? Math.abs(axis.x - middle.x) : Math.abs(axis.y - middle.y);
  const focus = new Vector3((axis.x + middle.x) / 2, (axis.y + middle.y) / 2, pad.box.max.z + gap / 2);
  return { focus, half: Math.max(LEAST_HALF_MM, 0.6 * gap + 12, 0.45 * across), azimuth: AZIMUTH[sight], elevation: ELEVATION };
}

/** The spindle's axis, from what it carries down to the height of the pad. */
export class SightLine {
  readonly root = new Group();
  private readonly line = new Line(new BufferGeometry(), new LineBasicMaterial({ color: "#a3262a", depthTest: false, transparent: true }));

  constructor() {
    this.line.renderOrder = 20;
    this.line.frustumCulled = false;
    this.root.add(this.line);
    this.root.visible = false;
  }

  show(on: boolean, solids: Solid[]): void {
    const [pad, carried] = [padOf(solids), lowest(solids)];
    this.root.visible = on && pad !== undefined && carried !== null;
    if (!this.root.visible) return;
    const axis = axisOf(solids);
    this.line.geometry.setFromPoints([new Vector3(axis.x, axis.y, carried!.box.min.z), new Vector3(axis.x, axis.y, pad!.box.min.z)]);
  }
}
