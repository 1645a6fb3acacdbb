// What the page shows besides the time: camera, chosen finding, unit, open lists. One change, one draw.

import type { Finding } from "./data";
import { useInch } from "./units";
import type { CameraName } from "./camera";
import type { Player } from "./player";
import type { Plots } from "./plots";
import type { View } from "./view";

export interface Told extends Finding {
  entry: number;
  /** In the shared time. */
  at: number;
  number: number;
}

export const CAMERAS: [CameraName, string, string][] = [
  ["choose", "Chosen for you", "0"],
  ["whole", "Whole machine", "1"],
  ["nose", "At the nose", "2"],
  ["pad", "Along the pad", "3"],
  ["follow", "Follow the tip", "4"],
];

/** An address that names a finding opens this much before it is to be seen, s. */
const LEAD_S = 3;

export class Desk {
  readonly told: Told[];
  views: View[] = [];
  plots: Plots | null = null;
  picked: Told | "story" | "result" | null = null;
  inch: boolean;
  help = false;
  beliefs = true;
  labels = true;
  cut: boolean | null = null;
  camera: CameraName = "choose";

  constructor(readonly player: Player) {
    this.inch = player.page.display === "inch";
    useInch(this.inch);
    this.told = player.page.entries
      .flatMap((entry, index) => entry.findings.map((f) => ({ ...f, entry: index, at: f.t - player.shift(index), number: 0 })))
      .sort((a, b) => a.at - b.at);
    this.told.forEach((finding, index) => (finding.number = index + 1));
  }

  /** The finding to read: the one picked, else the worst of the last that time has passed. */
  get reading(): Told | "story" | "result" {
    if (this.picked) return this.picked;
    const { player } = this;
    const passed = this.told.filter((f) => f.at <= player.t + 1e-9 && !this.hidden(f));
    if (player.t >= player.end - 1e-9 && !player.playing && player.start < player.end) return "result";
    if (passed.length === 0) return "story";
    const latest = passed[passed.length - 1].at;
    const worst = ["harm", "wrong", "risky", "stopped", "right"];
    // Findings of one blow come within milliseconds; the worst of them is the one to read.
    return passed.filter((f) => f.at > latest - 0.02)
      .reduce((a, b) => (worst.indexOf(b.severity) < worst.indexOf(a.severity) ? b : a));
  }

  hidden(finding: Told): boolean {
    const { player } = this;
    // What an open question is about must not be told, even when it was found early on the way.
    if (player.questions.some((q) => q.chosen < 0 && q.hides.includes(finding.code) && q.t >= finding.at && player.t <= q.t)) return true;
    return finding.at > player.hiddenFrom && finding.at > player.t;
  }

  jump(finding: Told): void {
    if (this.hidden(finding)) return;
    this.player.playing = false;
    this.player.seek(finding.seen_t - this.player.shift(finding.entry));
    this.picked = finding;
    this.player.changed();
  }

  /** Where an address asks to open: "#finding=2" a little before it, "#at=12.5" at that second. It waits there. */
  open(address: string): void {
    const asked = new URLSearchParams(address.replace(/^#/, ""));
    const finding = this.told.find((f) => String(f.number) === asked.get("finding"));
    const at = Number.parseFloat(asked.get("at") ?? "");
    const { player } = this;
    if (finding && !this.hidden(finding)) {
      this.jump(finding);
      player.seek(player.t - LEAD_S);
    } else if (!finding && Number.isFinite(at)) {
      this.picked = null;
      player.playing = false;
      player.seek(at);
    }
  }

  jumpBy(way: 1 | -1): void {
    const t = this.player.t;
    const able = this.told.filter((f) => !this.hidden(f));
    const current = this.picked && typeof this.picked === "object" ? able.indexOf(this.picked) : -1;
    const next = current >= 0 ? able[current + way]
      : way > 0 ? able.find((f) => f.at > t + 1e-9) : [...able].reverse().find((f) => f.at < t - 1e-9);
    if (next) this.jump(next);
  }

  pick(what: "story" | "result"): void {
    this.picked = what;
    this.player.changed();
  }

  setCamera(name: CameraName): void {
    this.camera = name;
    for (const view of this.views) view.setCamera(name);
    this.player.changed();
  }

  grab(turn: number, rise: number, zoom: number): void {
    for (const view of this.views) view.grab(turn, rise, zoom);
  }

  toggle(what: "beliefs" | "labels" | "cut" | "inch" | "help"): void {
    if (what === "cut") this.cut = this.cut ? null : true;
    else this[what] = !this[what];
    useInch(this.inch);
    for (const view of this.views) {
      view.belief.shown = this.beliefs;
      view.labels.shown = this.labels;
      view.cutOpen = this.cut;
      view.touch();
    }
    this.player.changed();
  }
}
