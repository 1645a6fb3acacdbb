// The machine in front of the trainee: stage, labels and eye, drawn when something changed.

import { lowest, under, type Aim, type CameraName } from "../camera";
import { Easel } from "../easel";
import type { Press } from "../moments";
import type { Link } from "./link";
import { SightLine, sighted, type Sight } from "./sight";
import { LiveScene } from "./scene";

/** The eye goes close when less than this is left between what is carried and what is below. */
const CLOSE_MM = 30;
const FAR_MM = 220;
/** Seen so widely, the machine belongs into the picture; closer it would be in the way. */
const WHOLE_HALF_MM = 380;
/** Thresholds are passed by this much before the eye changes its mind, so that it does not hunt. */
const STAY = 1.25;

export class Picture extends Easel {
  private chosen: CameraName = "whole";
  private sight: Sight | null = null;
  private readonly plumb = new SightLine();
  private side = {} as Press;
  private sideOf = "";
  private readonly live: LiveScene;

  constructor(private readonly link: Link, host: HTMLElement, private readonly tell: (believed: string) => void) {
    const live = new LiveScene(link);
    super(host, live, link.welcome!.look);
    this.live = live;
    this.belief.inFull = true;
    this.world.add(this.plumb.root);
  }

  /** How to look: one of the eye's own ways, or level along the table. */
  look(way: CameraName | Sight): void {
    this.sight = way === "front" || way === "side" ? way : null;
    this.setCamera(this.sight === null ? (way as CameraName) : "pad");
  }

  close(): void {
    this.renderer.dispose();
    this.renderer.forceContextLoss();
    this.host.replaceChildren();
  }

  draw(wall: number): void {
    const moved = this.live.follow(wall);
    if (!this.dirty && !moved) return;
    if (!this.link.scene || !this.link.state) return;
    this.stage.pose(0);
    const aim = this.choose();
    this.plumb.show(this.sight !== null, this.stage.solids);
    const turning = this.eye.approach(aim, wall, [0, 0]);
    this.stage.showMachine((this.eye.now?.half ?? 100) > WHOLE_HALF_MM);
    this.ground();
    this.cut(this.padInBore());
    const [wide, high] = this.size;
    this.belief.shown = this.link.state.outline && this.link.state.belief !== null;
    this.belief.pose(0, this.mmPerPixel);
    this.tell(this.belief.outlines.map((outline) => outline.label).join("\n"));
    this.renderer.render(this.world, this.eye.camera);
    this.labels.draw(this.stage.solids, this.link.welcome!.look.labels, [], this.belief.outlines, this.eye.camera, wide, high,
      { top: 44, bottom: 54, left: 0 });
    this.frames += 1;
    this.dirty = turning;
  }

  private choose(): Aim {
    const solids = this.stage.solids;
    if (this.eye.name === "free" && this.free) return this.free;
    const along = this.sight && sighted(this.sight, solids);
    if (along) return along;
    const carried = lowest(solids);
    const support = under(solids, carried);
    const gap = carried && support ? Math.max(carried.box.min.z - support.box.max.z, 0) : Infinity;
    let name = this.eye.name;
    if (name === "choose" || name === "free") {
      const [close, far] = [CLOSE_MM * (this.chosen === "pad" ? STAY : 1), FAR_MM / (this.chosen === "whole" ? STAY : 1)];
      name = gap < close ? "pad" : gap < far ? "follow" : "whole";
      this.chosen = name;
    }
    // The side to look from is chosen once a place, so that the picture does not jump.
    const place = `${name} ${carried?.body} ${support?.body} ${this.link.scene?.version}`;
    if (place !== this.sideOf) [this.side, this.sideOf] = [{} as Press, place];
    return this.eye.aim(name, solids, this.side, carried?.look === "lug" && (name === "nose" || name === "pad"));
  }
}
