// Keys, buttons and wheel that move the axes. A key that nobody holds any more is up at once.

import type { Link } from "./link";
import type { Axis, Towards } from "./types";

export const STEPS_MM = [0.001, 0.01, 0.1, 1];
export const STEPS_IN = [0.0001, 0.001, 0.01, 0.1];
export const SPEEDS_MM_PER_MIN = [30, 120, 500, 2000, 6000];
export const SPEEDS_IN_PER_MIN = [1, 5, 20, 80, 240];

const KEYS: Record<string, [Axis, Towards]> = {
  ArrowLeft: ["x", "-"], ArrowRight: ["x", "+"], ArrowDown: ["y", "-"], ArrowUp: ["y", "+"],
  PageDown: ["z", "-"], PageUp: ["z", "+"],
};

export function jogKey(code: string): [Axis, Towards] | null {
  return KEYS[code] ?? null;
}

export class Jog {
  /** null: an axis moves as long as the key is held. Else mm of one step. */
  step: number | null = null;
  speed = 500;
  wheelAxis: Axis = "z";
  down: string | null = null;
  private turned = 0;
  private due = 0;
  private listeners: (() => void)[] = [];

  constructor(private readonly link: Link) {
    link.onLost = () => this.releaseAll();
    window.addEventListener("blur", () => this.releaseAll());
    window.addEventListener("pagehide", () => this.releaseAll());
    document.addEventListener("visibilitychange", () => document.hidden && this.releaseAll());
  }

  listen(listener: () => void): void {
    this.listeners.push(listener);
  }

  private changed(): void {
    for (const listener of this.listeners) listener();
  }

  get steps(): number[] {
    return this.link.state?.display === "inch" ? STEPS_IN.map((step) => step * 25.4) : STEPS_MM;
  }

  /** Speeds of a held key to choose from, mm/min; the one in use is among them. */
  get speeds(): number[] {
    const all = this.link.state?.display === "inch" ? SPEEDS_IN_PER_MIN.map((s) => s * 25.4) : SPEEDS_MM_PER_MIN;
    return all.some((s) => Math.abs(s - this.speed) < 1e-9) ? all : [...all, this.speed].sort((a, b) => a - b);
  }

  /** A key or a button goes down; `source` tells which. A step key steps once. */
  press(source: string, axis: Axis, towards: Towards, once = false): void {
    if (this.step !== null || once) {
      this.turn(axis, (this.step ?? this.steps[1]) * (towards === "+" ? 1 : -1), 1);
      return;
    }
    this.down = source;
    this.link.holding = true;
    void this.link.act({ do: "jog-press", axis, towards, speed_mm_per_min: this.speed });
    this.changed();
  }

  release(source: string): void {
    if (this.down !== source) return;
    this.releaseAll();
  }

  releaseAll(): void {
    if (this.down === null) return;
    this.down = null;
    this.link.holding = false;
    void this.link.act({ do: "jog-release" });
    this.changed();
  }

  /** The wheel: detents are gathered for a moment, then sent together. */
  wheel(detents: number): void {
    this.turned += detents;
    if (this.due) return;
    this.due = window.setTimeout(() => {
      this.due = 0;
      const [many, step] = [this.turned, this.step ?? this.steps[1]];
      this.turned = 0;
      if (many !== 0) this.turn(this.wheelAxis, Math.sign(many) * step, Math.min(Math.abs(many), 100));
    }, 30);
  }

  private turn(axis: Axis, by_mm: number, detents: number): void {
    void this.link.act({ do: "wheel", axis, by_mm, detents });
  }

  /** The next finer or coarser step; past the coarsest, the key moves while it is held. */
  change(by: number): void {
    const all: (number | null)[] = [...this.steps, null];
    const index = this.step === null ? all.length - 1 : Math.max(this.steps.findIndex((s) => Math.abs(s - this.step!) < 1e-9), 0);
    this.set(all[Math.min(Math.max(index + by, 0), all.length - 1)]);
  }

  set(step: number | null): void {
    this.releaseAll();
    this.step = step;
    this.changed();
  }

  setSpeed(speed: number): void {
    this.speed = speed;
    this.changed();
  }

  setWheelAxis(axis: Axis): void {
    this.wheelAxis = axis;
    this.changed();
  }
}
