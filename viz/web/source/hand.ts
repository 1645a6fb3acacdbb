// A person's hand, where the recording says that it is: a plain finger, and words.

import { CapsuleGeometry, Group, Mesh, MeshPhongMaterial, Vector3 } from "three";
import type { Outline } from "./belief";
import type { Replay } from "./replay";
import type { Solid } from "./stage";

/** A forefinger, mm (Garrett 1971: about 75 long, 16 wide). */
const FINGER = { radius: 8, length: 60 };

export class Hand {
  readonly root = new Group();
  labels: Outline[] = [];

  constructor(private readonly replay: Replay, colour: string) {
    const finger = new Mesh(new CapsuleGeometry(FINGER.radius, FINGER.length, 8, 24), new MeshPhongMaterial({ color: colour }));
    // Its tip is at the root's origin, and it comes from the upper right, off what hangs above.
    finger.rotation.x = Math.PI / 2;
    finger.position.z = FINGER.radius + FINGER.length / 2;
    this.root.add(finger);
    this.root.rotation.set(0, 0.95, 0);
    this.root.visible = false;
  }

  /** Where the hand is at t, in words; empty when it is out of reach. */
  whereAt(t: number): string {
    let where = "";
    for (const [time, kind, data] of this.replay.data.events) {
      if (time > t) break;
      if (kind === "hand") where = typeof data === "string" ? data : "";
    }
    return where;
  }

  pose(t: number, solids: Solid[]): void {
    const where = this.whereAt(t);
    const on = where ? placeOf(where, solids) : null;
    this.root.visible = on !== null;
    this.labels = [];
    if (!on) return;
    const middle = on.box.getCenter(new Vector3());
    this.root.position.set(middle.x, middle.y, on.box.max.z);
    this.labels.push({ label: `a hand, ${where}`, point: new Vector3(middle.x + 30, middle.y, on.box.max.z + 22) });
  }
}

/** The part that the words name, else the pad: hands on a machine are mostly there. */
export function placeOf(where: string, solids: Solid[]): Solid | null {
  const words: [string, string][] = [["pad", "pad"], ["setter", "pad"], ["block", "block"], ["stock", "stock"], ["vise", "fixture"]];
  const kind = words.find(([word]) => where.includes(word))?.[1];
  return solids.find((s) => s.kind === kind) ?? solids.find((s) => s.kind === "pad") ?? null;
}
