// One picture of one recording: stage, beliefs, wiring, labels and the eye, drawn when something changed.

import { lowest, under, type Aim, type CameraName } from "./camera";
import { Easel } from "./easel";
import { Hand, placeOf } from "./hand";
import type { Player } from "./player";
import type { Solid } from "./stage";
import { length, showsInch } from "./units";
import { Wiring } from "./wiring";

/** Seconds of the run before a contact at which the eye goes close. */
const CLOSE_BEFORE_S = 1.1;
const CLOSE_AFTER_S = 0.9;
/** A quick move at least this long is shown from far. */
const FAR_MOVE_S = 0.7;
/** Half the height of a chosen following view: what is near the way is in the picture too. */
const FOLLOW_HALF_MM = 150;
/** Findings about where the setter stands, what is at it or what it gave: the pad tells, not the tool. */
const AT_THE_PAD = ["hand-in-reach", "setter-moved", "stale-reference", "wrong-number"];
/** A gap is worth saying below this: further away nothing is about to meet. */
const GAP_SAID_MM = 60;
const TOUCHING_MM = 0.005;
const SAID_ABOVE = ["pad", "block", "stock"];

/** How long nothing may move before the fine picture is drawn. */
const REST_MS = 250;

export class View extends Easel {
  cutOpen: boolean | null = null;
  room = { top: 56, bottom: 12, left: 0 };
  /** Where the middle of what matters stands, as shares of the picture off its own middle. */
  aside: [number, number] = [0, 0];
  private restsAt = 0;
  private readonly wiring: Wiring;
  private readonly hand: Hand;
  private readonly bar: HTMLDivElement;

  constructor(private readonly player: Player, private readonly index: number, host: HTMLElement) {
    super(host, player.replays[index], player.page.look);
    const replay = player.replays[index];
    this.wiring = new Wiring(replay);
    this.hand = new Hand(replay, player.page.look.materials.hand.colour);
    this.bar = document.createElement("div");
    this.bar.className = "scalebar";
    host.append(this.bar);
    this.world.add(this.wiring.root, this.hand.root);
  }

  /** Draw if anything changed since the last frame. */
  draw(wall: number): void {
    if (!this.dirty && !this.player.playing) {
      this.rest();
      return;
    }
    if (this.slow && this.renderer.getPixelRatio() !== 1) this.renderer.setPixelRatio(1);
    this.restsAt = performance.now() + REST_MS;
    const t = this.player.timeOf(this.index);
    this.stage.pose(t);
    this.wiring.pose(t, this.stage.solids);
    this.hand.pose(t, this.stage.solids);
    const { aim, name } = this.choose(t);
    const moving = this.eye.approach(aim, wall, this.aside);
    const whole = name === "whole" || (this.eye.now?.half ?? 0) > 380;
    this.stage.showMachine(whole);
    this.wiring.showSockets(whole);
    this.cut(this.cutOpen ?? this.hidden(t));
    const [wide, high] = this.size;
    const mmPerPixel = this.mmPerPixel;
    this.belief.pose(t, mmPerPixel);
    this.ground();
    this.renderer.render(this.world, this.eye.camera);
    const far = mmPerPixel > 0.7;
    const extra = [...this.hand.labels, ...(far ? this.wiring.labels : [])];
    this.labels.draw(this.stage.solids, this.names(t), extra, this.belief.outlines,
      this.eye.camera, wide, high, this.room);
    this.scale(mmPerPixel, wide);
    this.frames += 1;
    this.dirty = moving;
  }

  /** A slow renderer has time for a fine picture when nothing moves. */
  private rest(): void {
    if (!this.slow || this.restsAt === 0 || performance.now() < this.restsAt) return;
    this.restsAt = 0;
    this.renderer.setPixelRatio(2);
    this.renderer.render(this.world, this.eye.camera);
  }

  /** The preset asked for, or the decisive one. */
  private choose(t: number): { aim: Aim; name: CameraName } {
    const solids = this.stage.solids;
    const press = this.player.presses[this.index].find((p) => t > p.contact - CLOSE_BEFORE_S && t < Math.max(p.rest, p.end) + CLOSE_AFTER_S) ?? null;
    if (this.eye.name === "free" && this.free) return { aim: this.free, name: "free" };
    const lug = lowest(solids)?.look === "lug";
    let name = this.eye.name;
    if (name === "choose") {
      const told = this.player.replays[this.index].entry.findings.some((f) => Math.abs(f.t - t) < CLOSE_BEFORE_S && f.severity !== "risky");
      const carried = lowest(solids);
      const support = under(solids, carried);
      const gap = carried && support ? Math.abs(carried.box.min.z - support.box.max.z) : Infinity;
      const line = this.player.replays[this.index].lineAt(t);
      const quick = line && ["rapid", "return", "home"].includes(line.kind) && line.t[1] - line.t[0] > FAR_MOVE_S && t < line.t[1];
      const place = press || gap < GAP_SAID_MM ? null : this.placeToSee(t);
      if (place) return { aim: this.eye.place(place), name: "pad" };
      if (press || (told && gap < 60)) name = "pad";
      else if (t <= 1e-9 || (quick && gap > 60)) name = "whole";
      else if (gap < 40 && !quick) name = "pad";
      else name = "follow";
    }
    const aim = this.eye.aim(name, solids, press, lug && (press !== null || name === "nose"));
    if (name === "follow" && this.eye.name === "choose") aim.half = Math.max(aim.half, FOLLOW_HALF_MM);
    return { aim, name };
  }

  /** The part that a finding of now, or the open question, is about, when it isn't the tool. */
  private placeToSee(t: number): Solid | null {
    const { entry } = this.player.replays[this.index];
    const solids = this.stage.solids;
    const where = this.hand.whereAt(t);
    if (where) return placeOf(where, solids);
    const near = entry.findings.some((f) => AT_THE_PAD.includes(f.code) && Math.abs(f.t - t) < (f.t > 0 ? CLOSE_BEFORE_S : 1e-9));
    return near ? solids.find((s) => s.kind === "pad") ?? null : null;
  }

  /** The parts' names, with the room below what is lowest and what the table says of the pad. */
  private names(t: number): Record<string, string> {
    const solids = this.stage.solids;
    const names = { ...this.player.page.look.labels };
    const carried = lowest(solids);
    // Beside a lug the face says more: it is what one looks at.
    const part = (carried?.look === "lug" && solids.find((s) => s.look === "face")) || carried;
    const support = under(solids, part);
    if (part && support && SAID_ABOVE.includes(support.kind) && overlap(part, support)) {
      const gap = part.box.min.z - support.box.max.z;
      if (gap > TOUCHING_MM && gap < GAP_SAID_MM) names[part.look] += `\n${length(gap, 2)} above the ${support.kind}`;
    }
    const beliefs = this.player.replays[this.index].beliefsAt(t);
    const setters = new Set(solids.filter((s) => s.kind === "pad").map((s) => s.body.replace(/\.pad$/, "")));
    const moved = this.belief.outlines.some((outline) => outline.label.startsWith("pad"));
    for (const setter of setters) {
      const valid = beliefs[`setter ${setter} reference_valid`];
      if (setters.size > 1 || typeof beliefs[`setter ${setter} reference_z_mm`] !== "number") continue;
      if (valid === false) names.pad += "\nreference flagged invalid";
      else if (valid === true && moved) names.pad += "\nreference flagged valid";
    }
    return names;
  }

  /** Whether what meets does so inside a ring or a bore, where nobody could see it. */
  private hidden(t: number): boolean {
    const near = this.player.replays[this.index].entry.findings.some((f) => f.code === "missed-edge" && Math.abs(f.t - t) < 1.5);
    return near || this.padInBore();
  }

  private scale(mmPerPixel: number, wide: number): void {
    const unit = showsInch() ? 25.4 : 1;
    let best = unit;
    for (let e = -3; e < 4; e += 1) for (const n of [1, 2, 5]) if ((n * 10 ** e * unit) / mmPerPixel <= wide * 0.2) best = n * 10 ** e * unit;
    const places = Math.max(0, -Math.floor(Math.log10(best / unit) + 1e-9));
    this.bar.style.width = `${best / mmPerPixel}px`;
    const text = showsInch() ? `${(best / 25.4).toFixed(places)} in` : length(best, places);
    if (this.bar.textContent !== text) this.bar.textContent = text;
  }

  grab(turn: number, rise: number, zoom: number, right = 0, up = 0): void {
    super.grab(turn, rise, zoom, right, up);
    this.player.changed();
  }
}

/** Whether one part hangs over the other, seen from above. */
function overlap(a: Solid, b: Solid): boolean {
  return a.box.min.x < b.box.max.x && b.box.min.x < a.box.max.x && a.box.min.y < b.box.max.y && b.box.min.y < a.box.max.y;
}
