// Signals beside the picture: four plots with one time axis, sampled from the exact formula.

import uPlot from "uplot";
import type { Desk } from "./desk";
import type { Player } from "./player";
import type { Replay } from "./replay";
import { showsInch } from "./units";

const SAMPLES = 220;
/** Wall-clock seconds that the plots' width stands for: slow time widens by itself. */
const WIDTH_S = 7;
/** Where "now" stands, as a share of the width. */
const NOW = 0.7;
const NAMES_PX = 142;
const SCALE_PX = 64;

interface Curve {
  title: string;
  unit: () => string;
  value: (replay: Replay, t: number) => number;
  places: number;
  /** The scale shows at least this much, so that rest looks like rest. */
  least?: number;
  more?: (replay: Replay, t: number) => string;
}

interface Lane {
  name: string;
  signal: string;
}

export class Plots {
  private readonly plots: uPlot[] = [];
  private readonly curves: Curve[];
  private readonly lanes: Lane[];
  private width = 1;
  private readonly shown: HTMLElement[] = [];

  constructor(private readonly desk: Desk, private readonly host: HTMLElement) {
    const scale = () => (showsInch() ? 25.4 : 1);
    const { player } = desk;
    this.curves = [
      { title: "Spindle face Z", unit: () => (showsInch() ? "in" : "mm"), value: (r, t) => r.positionAt(t)[2] / scale(), places: 3, least: 0.02 },
      { title: "Speed", unit: () => (showsInch() ? "in/min" : "mm/min"), value: (r, t) => (r.speedAt(t) * 60) / scale(), places: 0, least: 4 },
      { title: "Pad travel", unit: () => (showsInch() ? "in" : "mm"), value: (r, t) => Math.max(0, ...r.setters.map((s) => r.padDepthAt(s, t))) / scale(), places: 3, least: 0.02, more: force },
    ];
    this.lanes = lanesOf(player);
    this.build();
    new ResizeObserver(() => this.resize()).observe(host);
  }

  private build(): void {
    const colours = ["#0b62a4", "#a86200"];
    const count = this.desk.player.replays.length;
    const series = (stepped: boolean): uPlot.Series[] =>
      Array.from({ length: count }, (_, i) => ({
        stroke: colours[i], width: 2.5, dash: i ? [7, 5] : undefined, points: { show: false },
        paths: stepped ? uPlot.paths.stepped!({ align: 1 }) : undefined,
      }));
    this.curves.forEach((curve) => this.add(curve.title, [{}, ...series(false)], null, curve.least ?? 0));
    const lanes = this.lanes.flatMap(() => series(true));
    if (this.lanes.length) this.add("Signals", [{}, ...lanes], this.lanes);
    this.resize();
  }

  private add(title: string, series: uPlot.Series[], lanes: Lane[] | null, least = 0): void {
    const row = document.createElement("div");
    row.className = "plot";
    const head = document.createElement("div");
    head.className = "plot-head";
    row.append(head);
    this.host.append(row);
    this.shown.push(head);
    head.textContent = lanes ? "" : title;
    const last = lanes !== null;
    const grid = { stroke: "#dde3e9", width: 1 };
    const font = "13px system-ui, sans-serif";
    const plot = new uPlot({
      width: 300, height: 60, legend: { show: false }, padding: lanes ? [4, SCALE_PX, 0, 0] : [6, 0, 4, NAMES_PX],
      cursor: { sync: { key: "time" }, y: false, drag: { x: false, y: false }, points: { show: false } },
      scales: {
        x: { time: false, range: () => [-NOW * this.width, (1 - NOW) * this.width] },
        y: lanes ? { range: [-0.2, lanes.length * 1.5] } : { range: (_, low, high) => padded(low, high, least) },
      },
      axes: [
        { size: last ? 24 : 0, show: last, font, gap: 2, stroke: "#4a5765", grid, ticks: { ...grid, size: 4 }, values: (_, ticks) => ticks.map((v) => this.when(v)) },
        lanes
          ? { size: NAMES_PX, font, stroke: "#16202b", grid: { show: false }, ticks: { show: false },
              splits: () => lanes.map((_, i) => (lanes.length - 1 - i) * 1.5 + 0.5), values: () => lanes.map((lane) => lane.name) }
          : { side: 1, size: SCALE_PX, font, stroke: "#4a5765", grid, ticks: grid, space: 24, values: (_, ticks) => ticks.map((v) => String(Number(v.toPrecision(7)))) },
      ],
      series,
      hooks: { draw: [(u) => this.drawNow(u)] },
    }, [[0]], row);
    plot.over.addEventListener("click", (event) => {
      const x = plot.posToVal(event.offsetX, "x");
      this.desk.picked = null;
      this.desk.player.seek(this.desk.player.t + x);
    });
    this.plots.push(plot);
  }

  private when(v: number): string {
    if (Math.abs(v) < this.width * 1e-6) return "now";
    const sign = v > 0 ? "+" : "−";
    const size = Math.abs(v);
    return this.width < 1.5 ? `${sign}${Number((size * 1000).toPrecision(4))} ms` : `${sign}${Number(size.toPrecision(3))} s`;
  }

  private drawNow(u: uPlot): void {
    const x = u.valToPos(0, "x", true);
    u.ctx.save();
    u.ctx.strokeStyle = "#b0006d";
    u.ctx.lineWidth = 2 * devicePixelRatio;
    u.ctx.beginPath();
    u.ctx.moveTo(x, u.bbox.top);
    u.ctx.lineTo(x, u.bbox.top + u.bbox.height);
    u.ctx.stroke();
    u.ctx.restore();
  }

  resize(): void {
    const [wide, high] = [this.host.clientWidth, this.host.clientHeight];
    if (wide < 50 || high < 50) return;
    // The lanes need a line of text each; the curves share what is left.
    const lanes = this.lanes.length ? Math.max(60, this.lanes.length * 17 + 34) : 0;
    const each = (high - lanes) / this.curves.length;
    this.plots.forEach((plot, i) => plot.setSize({ width: wide, height: Math.floor(i < this.curves.length ? each : lanes) }));
  }

  draw(wall: number): void {
    const { player } = this.desk;
    const wish = Math.max(WIDTH_S * player.rateAt(player.t), 0.004);
    const share = wall <= 0 || !player.playing ? 1 : 1 - Math.exp(-wall / 0.35);
    this.width *= (wish / this.width) ** share;
    const known = player.hiddenFrom;
    const times = Array.from({ length: SAMPLES + 1 }, (_, i) => (i / SAMPLES - NOW) * this.width);
    this.curves.forEach((curve, c) => {
      const values = player.replays.map((replay, index) => times.map((x) => {
        const t = player.t + x + player.shift(index);
        return t < 0 || t > replay.duration || (player.t + x > known && x > 0) ? null : curve.value(replay, t);
      }));
      this.plots[c].setData([times, ...values] as uPlot.AlignedData);
      const texts = player.replays.map((replay, index) => {
        const t = player.timeOf(index);
        const now = curve.value(replay, t).toFixed(curve.places + (showsInch() && curve.places ? 1 : 0));
        // Two runs: which line is whose, and no room for more.
        if (player.replays.length > 1) return `${index ? "B ╌" : "A ━"} ${now} ${curve.unit()}`;
        return [`${now} ${curve.unit()}`, curve.more?.(replay, t)].filter(Boolean).join(", ");
      });
      this.tell(this.shown[c], curve.title, texts);
    });
    if (this.lanes.length) this.drawLanes(known);
  }

  private tell(host: HTMLElement, title: string, texts: string[]): void {
    const whole = texts.join("|");
    if (host.dataset.text === whole) return;
    host.dataset.text = whole;
    const values = texts.map((text) => {
      const value = document.createElement("b");
      value.textContent = text.replace(/ (?=[a-zN])/g, "\u00a0");
      return value;
    });
    host.replaceChildren(title, ...values);
  }

  private drawLanes(known: number): void {
    const { player } = this.desk;
    const edges = new Set<number>([-NOW * this.width, (1 - NOW) * this.width, 0]);
    this.lanes.forEach((lane) => player.replays.forEach((replay, index) => {
      for (const [t] of replay.edgesOf(lane.signal)) {
        const x = t - player.shift(index) - player.t;
        if (x > -NOW * this.width && x < (1 - NOW) * this.width) edges.add(x);
      }
    }));
    const times = [...edges].sort((a, b) => a - b);
    const rows = this.lanes.flatMap((lane, number) => player.replays.map((replay, index) =>
      times.map((x) => {
        if (player.t + x > known && x > 0) return null;
        const level = replay.signalAt(lane.signal, player.t + x + player.shift(index)) ?? 0;
        return (this.lanes.length - 1 - number) * 1.5 + level + index * 0.06;
      })));
    this.plots[this.plots.length - 1].setData([times, ...rows] as uPlot.AlignedData);
  }
}

/** The pad's spring force, where its figures are known. */
function force(replay: Replay, t: number): string {
  const forces = replay.setters.map((setter) => {
    const [depth, facts] = [replay.padDepthAt(setter, t), replay.entry.facts.setters[setter]];
    return depth > 0 && facts?.rate_N_per_mm ? (facts.preload_N ?? 0) + facts.rate_N_per_mm * depth : 0;
  });
  const most = Math.max(0, ...forces);
  return most > 0 ? `${most.toFixed(1)} N` : "";
}

function padded(low: number, high: number, least: number): [number, number] {
  if (low === null || high === null || !Number.isFinite(low)) return [0, 1];
  high = Math.max(high, low + least);
  const room = Math.max((high - low) * 0.12, Math.abs(high) * 1e-6, 1e-4);
  return [low - room, high + room];
}

/** Raw, filtered and seen of each input that changed or is watched. */
function lanesOf(player: Player): Lane[] {
  const inputs = new Set<string>();
  const watched = new Set<string>();
  for (const replay of player.replays) {
    for (const signal of replay.signals) inputs.add(signal.replace(/\.\w+$/, ""));
    for (const [key, value] of Object.entries(replay.entry.facts.start)) {
      if (/^setter .* input$/.test(key)) watched.add(`input ${value}`);
    }
  }
  const lanes: Lane[] = [];
  for (const input of [...new Set([...watched, ...inputs])].slice(0, 2)) {
    const eye = watched.size && !watched.has(input) ? " (unwatched)" : "";
    lanes.push({ name: `${input}${eye}`, signal: `${input}.raw` });
    if (!eye) lanes.push({ name: "filtered", signal: `${input}.filtered` }, { name: "controller sees", signal: `${input}.seen` });
  }
  return lanes;
}
