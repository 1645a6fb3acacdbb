// Names beside the picture, each with a line to its point; columns left and right, no crossing.

import { Box3, PerspectiveCamera, Vector3 } from "three";
import type { Outline } from "./belief";
import type { Solid } from "./stage";

const NAMED = ["face", "lug", "tip", "edge", "cutting", "holder", "pad", "bolt", "block", "stock", "setter", "fixture"];
const MOST = 7;
const EDGE_PX = 12;

interface Label {
  text: string;
  x: number;
  y: number;
  belief: boolean;
}

export class Labels {
  private readonly chips: HTMLDivElement[] = [];
  private readonly svg = document.createElementNS("http://www.w3.org/2000/svg", "svg");
  shown = true;
  private drawn = "";

  constructor(private readonly host: HTMLElement) {
    this.svg.setAttribute("class", "leaders");
    host.append(this.svg);
  }

  draw(solids: Solid[], words: Record<string, string>, extra: Outline[], beliefs: Outline[], camera: PerspectiveCamera,
    wide: number, high: number, free: { top: number; bottom: number; left: number }): void {
    const found: Label[] = [];
    const add = (text: string, point: Vector3, belief: boolean): boolean => {
      const p = point.clone().project(camera);
      const [x, y] = [((p.x + 1) / 2) * wide, ((1 - p.y) / 2) * high];
      if (p.z < 1 && x > 8 && x < wide - 8 && y > 30 && y < high - 12 && found.length < MOST &&
        !(x < free.left && y > high - free.bottom)) {
        found.push({ text, x, y, belief });
        return true;
      }
      return false;
    };
    if (this.shown) {
      for (const outline of beliefs) add(outline.label, outline.point, true);
      for (const outline of extra) add(outline.label, outline.point, false);
      for (const key of NAMED) {
        const able = solids.filter((s) => s.look === key);
        if (able.length === 0) continue;
        const eye = camera.position;
        // The nearest of its kind that is in the picture.
        for (const solid of able.sort((a, b) => far(a.box, eye) - far(b.box, eye))) {
          const size = solid.box.getSize(new Vector3()).length();
          // From far away, names of small things would only cover them.
          if (size / far(solid.box, eye) < 0.012) continue;
          if (add(words[key], pointOf(solid, eye), false)) break;
        }
      }
    }
    this.lay(found, wide, high, free);
  }

  private lay(found: Label[], wide: number, high: number, free: { top: number; bottom: number; left: number }): void {
    const byX = [...found].sort((a, b) => a.x - b.x);
    const half = Math.ceil(byX.length / 2);
    const lines: string[] = [];
    let used = 0;
    [byX.slice(0, half), byX.slice(half)].forEach((column, side) => {
      column.sort((a, b) => a.y - b.y);
      const boxes = column.map((label) => {
        const chip = this.chip(used++);
        if (chip.textContent !== label.text) chip.textContent = label.text;
        chip.className = label.belief ? "chip belief" : "chip";
        return { label, chip, w: chip.offsetWidth, h: chip.offsetHeight, top: 0 };
      });
      let next = free.top;
      for (const box of boxes) {
        box.top = Math.max(box.label.y - box.h / 2, next);
        next = box.top + box.h + 8;
      }
      const widest = Math.max(0, ...boxes.map((box) => box.w));
      const clear = side === 1 && wide - widest - EDGE_PX > free.left;
      let limit = high - (clear ? 44 : free.bottom);
      for (const box of [...boxes].reverse()) {
        box.top = Math.min(box.top, limit - box.h);
        limit = box.top - 8;
        const left = side === 0 ? EDGE_PX : wide - EDGE_PX - box.w;
        box.chip.style.transform = `translate(${Math.round(left)}px, ${Math.round(box.top)}px)`;
        const x = side === 0 ? left + box.w : left;
        const y = box.top + box.h / 2;
        const kind = box.label.belief ? "belief" : "plain";
        const d = `M${x.toFixed(1)} ${y.toFixed(1)}L${box.label.x.toFixed(1)} ${box.label.y.toFixed(1)}`;
        lines.push(`<path class="under" d="${d}"/><path class="${kind}" d="${d}"/>` +
          `<circle class="${kind}" cx="${box.label.x.toFixed(1)}" cy="${box.label.y.toFixed(1)}" r="4.5"/>`);
      }
    });
    for (let i = used; i < this.chips.length; i += 1) this.chips[i].className = "chip none";
    const drawn = lines.join("");
    if (drawn !== this.drawn) this.svg.innerHTML = this.drawn = drawn;
  }

  private chip(index: number): HTMLDivElement {
    while (this.chips.length <= index) {
      const chip = document.createElement("div");
      this.host.append(chip);
      this.chips.push(chip);
    }
    return this.chips[index];
  }
}

function far(box: Box3, eye: Vector3): number {
  return box.getCenter(new Vector3()).distanceTo(eye);
}

/** A point of the part that looks at the eye: low on what is carried, high on what stands. */
function pointOf(solid: Solid, eye: Vector3): Vector3 {
  const b = solid.box;
  const middle = b.getCenter(new Vector3());
  const way = new Vector3(eye.x - middle.x, eye.y - middle.y, 0).normalize();
  const tall = b.max.z - b.min.z;
  const carried = solid.kind === "spindle" || solid.kind === "tool";
  const z = carried ? b.min.z + Math.min(0.25 * tall, 12) : b.max.z - Math.min(0.4 * tall, 12);
  return new Vector3(middle.x + way.x * (b.max.x - b.min.x) * 0.46, middle.y + way.y * (b.max.y - b.min.y) * 0.46, z);
}
