// The live twin as stage and outlines ask for it: bodies, where they are now, and after the end beliefs.

import type { Facts, Geometry, Vector } from "../data";
import type { Believing, BodyAt } from "../replay";
import type { Link } from "./link";
import type { SceneData } from "./types";

/** Between two poses the picture runs behind by this share of a frame of the server, s. */
const FOLLOW_S = 0.03;

export class LiveScene implements Believing {
  private axes: Vector = [0, 0, 0];
  private readonly geometry: Geometry[] = [];
  private readonly known = new Map<string, number>();
  private indexed: SceneData | null = null;
  private indexes: number[] = [];

  constructor(private readonly link: Link) {}

  /** Come closer to where the axes are; gives back whether anything moved. */
  follow(wall: number): boolean {
    const state = this.link.state;
    if (!state) return false;
    const aim = state.poses.axes;
    const far = Math.max(...aim.map((value, i) => Math.abs(value - this.axes[i])));
    if (far === 0) return state.modes.spindle_rpm !== 0;
    const share = far > 500 || far < 0.0005 || wall <= 0 ? 1 : 1 - Math.exp(-wall / FOLLOW_S);
    this.axes = this.axes.map((value, i) => value + (aim[i] - value) * share) as Vector;
    return true;
  }

  positionAt(): Vector {
    return this.axes;
  }

  bodiesAt(): Map<string, BodyAt> {
    const there = new Map<string, BodyAt>();
    const scene = this.link.scene;
    if (!scene) return there;
    if (this.indexed !== scene) this.index(scene);
    scene.bodies.forEach((body, i) => {
      const f = scene.links[body.link];
      const position = body.offset.map((o, k) => o + f[k] * this.axes[k]) as Vector;
      there.set(body.id, { id: body.id, geometry: this.indexes[i], position, offset: body.offset, turn_deg: 0, link: body.link });
    });
    return there;
  }

  /** A geometry that was there before keeps its number, so that nothing is built twice. */
  private index(scene: SceneData): void {
    this.indexed = scene;
    this.indexes = scene.bodies.map((body) => {
      const key = JSON.stringify(body.geometry);
      let index = this.known.get(key);
      if (index === undefined) {
        index = this.geometry.push(body.geometry) - 1;
        this.known.set(key, index);
      }
      return index;
    });
  }

  geometryOf(body: BodyAt): Geometry {
    return this.geometry[body.geometry];
  }

  spindleAt(): [number, number] {
    const state = this.link.state;
    if (!state || state.modes.spindle_rpm === 0) return [0, 0];
    const turned = state.poses.spindle_deg - state.modes.spindle_deg;
    return [(turned * Math.PI) / 180, state.modes.spindle_rpm];
  }

  padDepthAt(setter: string): number {
    return this.link.state?.poses.pads[setter] ?? 0;
  }

  get links(): Record<string, Vector> {
    return this.link.scene?.links ?? {};
  }

  // What follows is told after the end of an exercise only: see sim/bench/state.py.

  get facts(): Pick<Facts, "setters" | "length_convention"> {
    return this.link.state?.belief ?? { setters: {}, length_convention: "face" };
  }

  beliefsAt(): Record<string, any> {
    return this.link.state?.belief?.told ?? {};
  }

  offAt(): Vector {
    const face = this.link.state?.belief?.face;
    return face ? (face.map((value, i) => value - this.axes[i]) as Vector) : [0, 0, 0];
  }
}
