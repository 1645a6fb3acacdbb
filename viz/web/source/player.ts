// The flow of time: play, scrub, slow down around contacts, stop at questions.

import type { PageData, Question } from "./data";
import { momentsOf, pressesOf, type Moment, type Press } from "./moments";
import { Replay } from "./replay";

/** Wall-clock seconds that a press is stretched to: long enough to point at each mark. */
const PRESS_SHOWN_S = 6;
const LATER_PRESS_SHOWN_S = 1.5;
const MANY_PRESSES = 3;
/** How fast time slows on the way to a contact: the rate falls by this per second of run. */
const EASE_PER_S = 2.5;
const SLOWEST = 1 / 1000;
export const RATES = [1, 1 / 2, 1 / 5, 1 / 10, 1 / 20, 1 / 50, 1 / 100, 1 / 200, 1 / 500, 1 / 1000];

interface Slow {
  from: number;
  to: number;
  rate: number;
}

export interface Asked extends Question {
  chosen: number;
}

export class Player {
  readonly replays: Replay[];
  readonly presses: Press[][];
  readonly moments: Moment[];
  readonly start: number;
  readonly end: number;
  readonly questions: Asked[];
  t: number;
  playing = false;
  rate = 1;
  slows = true;
  asked: Asked | null = null;
  private readonly zones: Slow[] = [];
  private readonly listeners = new Set<() => void>();

  constructor(readonly page: PageData) {
    this.replays = page.entries.map((entry) => new Replay(entry));
    this.presses = this.replays.map(pressesOf);
    const shifts = this.replays.map((_, index) => this.shift(index));
    this.start = Math.min(...shifts.map((shift) => -shift));
    this.end = Math.max(...this.replays.map((replay, index) => replay.duration - shifts[index]));
    this.t = this.start;
    this.questions = page.questions.map((question) => ({ ...question, chosen: -1 }));
    this.questions.sort((a, b) => a.t - b.t);
    const mark = (index: number) => (this.replays.length > 1 ? `${"AB"[index]}: ` : "");
    this.moments = this.replays
      .flatMap((replay, index) =>
        momentsOf(replay).map((m) => ({ ...m, t: m.t - shifts[index], text: mark(index) + m.text })),
      )
      .sort((a, b) => a.t - b.t);
    this.replays.forEach((replay, index) => this.addZones(replay, index));
  }

  /** What to add to the shared time for the time of one recording. */
  shift(index: number): number {
    return this.page.zero_s[index] - this.page.zero_s[0];
  }

  /** The time of one recording, kept within it. */
  timeOf(index: number): number {
    return Math.min(Math.max(this.t + this.shift(index), 0), this.replays[index].duration);
  }

  private addZones(replay: Replay, index: number): void {
    const shift = this.shift(index);
    const told = replay.entry.findings.map((finding) => finding.t);
    this.presses[index].forEach((press, number) => {
      const tells = number < 2 || told.some((t) => t >= press.contact && t <= press.end);
      const many = this.presses[index].length > MANY_PRESSES;
      const shown = tells && !(many && number > 1 && told.length > 6) ? PRESS_SHOWN_S : LATER_PRESS_SHOWN_S;
      const rate = Math.min(Math.max((press.rest - press.contact) / shown, SLOWEST), 1);
      this.zones.push({ from: press.contact - shift, to: press.rest - shift, rate });
    });
    for (const t of told) {
      const covered = this.zones.some((zone) => t - shift >= zone.from && t - shift <= zone.to);
      if (!covered && replay.speedAt(t) > 0.5) {
        this.zones.push({ from: t - shift - 0.03, to: t - shift + 0.03, rate: 0.03 });
      }
    }
  }

  /** Run seconds per wall second at the shared time t. */
  rateAt(t: number): number {
    let rate = this.rate;
    if (this.slows) {
      for (const zone of this.zones) {
        const away = Math.max(zone.from - t, t - zone.to, 0);
        rate = Math.min(rate, zone.rate + EASE_PER_S * away);
      }
    }
    return rate;
  }

  /** Wall-clock time passes; gives back whether anything moved. */
  tick(wall: number): boolean {
    if (!this.playing) return false;
    let left = Math.min(wall, 0.1);
    while (left > 0) {
      // Small steps, so that a slow frame can't jump over the slow stretch.
      const step = Math.min(left, 0.01);
      const next = this.t + this.rateAt(this.t) * step;
      const stop = this.questions.find((q) => q.chosen < 0 && q.t > this.t - 1e-12 && q.t <= next);
      if (stop) {
        this.t = stop.t;
        this.asked = stop;
        this.playing = false;
        break;
      }
      this.t = next;
      left -= step;
    }
    if (this.t >= this.end) {
      this.t = this.end;
      this.playing = false;
    }
    this.changed();
    return true;
  }

  play(on = !this.playing): void {
    if (this.asked && this.asked.chosen < 0) return;
    if (on && this.t >= this.end) this.t = this.start;
    this.asked = null;
    this.playing = on;
    this.changed();
  }

  seek(t: number): void {
    this.t = Math.min(Math.max(t, this.start), this.end);
    this.asked = null;
    this.changed();
  }

  answer(choice: number): void {
    if (!this.asked || this.asked.chosen >= 0) return;
    this.asked.chosen = choice;
    this.changed();
  }

  /** Leave the question: the answer plays out. */
  goOn(): void {
    if (this.asked && this.asked.chosen < 0) this.asked.chosen = this.asked.choices.length;
    this.asked = null;
    this.play(true);
  }

  /** The next (1) or previous (-1) moment; null at the ends. */
  neighbour(way: 1 | -1): Moment | null {
    const eps = 1e-9;
    if (way > 0) return this.moments.find((m) => m.t > this.t + eps) ?? null;
    const before = this.moments.filter((m) => m.t < this.t - eps);
    return before.length ? before[before.length - 1] : null;
  }

  step(way: 1 | -1): void {
    this.playing = false;
    const moment = this.neighbour(way);
    this.seek(moment ? moment.t : way > 0 ? this.end : this.start);
  }

  faster(way: 1 | -1): void {
    const index = RATES.indexOf(this.rate) - way;
    this.setRate(RATES[Math.min(Math.max(index, 0), RATES.length - 1)]);
  }

  setRate(rate: number): void {
    this.rate = rate;
    this.changed();
  }

  setSlows(on: boolean): void {
    this.slows = on;
    this.changed();
  }

  /** What lies beyond an open question would give its answer away. */
  get hiddenFrom(): number {
    const open = this.questions.find((question) => question.chosen < 0);
    return open ? open.t : Infinity;
  }

  /** The press that is going on or about to, of one recording. */
  pressNow(index: number): Press | null {
    const t = this.timeOf(index);
    const near = this.presses[index].filter((p) => t > p.contact - 0.4 && t < p.end + 0.3);
    return near.length ? near.reduce((a, b) => (Math.abs(b.contact - t) < Math.abs(a.contact - t) ? b : a)) : null;
  }

  listen(listener: () => void): () => void {
    this.listeners.add(listener);
    return () => this.listeners.delete(listener);
  }

  changed(): void {
    for (const listener of this.listeners) listener();
  }
}
