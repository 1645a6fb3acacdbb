// Where a recorded line was at a time: the formula of docs/recording-format.md, and nothing else.

import type { Line, Piece, Vector } from "./data";

const PLANES = { xy: [0, 1, 2], zx: [2, 0, 1], yz: [1, 2, 0] } as const;

/** The last index whose key is at or before t; -1 when none is. */
export function lastAtOrBefore(count: number, key: (index: number) => number, t: number): number {
  let low = 0;
  let high = count;
  while (low < high) {
    const middle = (low + high) >> 1;
    if (key(middle) <= t) low = middle + 1;
    else high = middle;
  }
  return low - 1;
}

function pieceAt(line: Line, t: number): Piece | null {
  if (line.pieces.length === 0) return null;
  const index = lastAtOrBefore(line.pieces.length, (i) => line.pieces[i][0], t);
  return line.pieces[Math.max(index, 0)];
}

function position(piece: Piece, t: number): number {
  const [t0, t1, s0, v0, a0, jerk, s1] = piece;
  if (t >= t1) return s1;
  if (t <= t0) return s0;
  const d = t - t0;
  const s = s0 + d * (v0 + d * (0.5 * a0 + (d * jerk) / 6));
  // Rounding may put the cubic a last bit outside its ends; a move never passes its target.
  return Math.min(Math.max(s, Math.min(s0, s1)), Math.max(s0, s1));
}

function speed(piece: Piece, t: number): number {
  const d = Math.max(t - piece[0], 0);
  return piece[3] + d * (piece[4] + (d * piece[5]) / 2);
}

export function commandPath(line: Line, t: number): number {
  const piece = pieceAt(line, t);
  return piece === null ? 0 : position(piece, t);
}

export function physicalPath(line: Line, t: number): number {
  const s = Math.max(commandPath(line, t - line.delay_s) - line.dead_mm, 0);
  return line.block_mm === null ? s : Math.min(s, line.block_mm);
}

export function physicalSpeed(line: Line, t: number): number {
  const late = t - line.delay_s;
  const piece = pieceAt(line, late);
  if (piece === null || late < piece[0] || late > piece[1]) return 0;
  const s = position(piece, late) - line.dead_mm;
  if (s < 0 || (line.block_mm !== null && s > line.block_mm)) return 0;
  return Math.abs(speed(piece, late));
}

export function pointOn(line: Line, start: Vector, s: number): Vector {
  const [x, y, z] = start;
  if (line.arc === null) {
    const [u, v, w] = line.direction;
    return [x + u * s, y + v * s, z + w * s];
  }
  const [, radius, angle, sweep, plane] = line.arc;
  const [first, second, normal] = PLANES[plane];
  const rise = Math.min(Math.max(line.direction[normal], -1), 1);
  const turned = angle + ((sweep < 0 ? -1 : 1) * s * Math.sqrt(1 - rise * rise)) / radius;
  const moved: Vector = [x, y, z];
  moved[first] += radius * (Math.cos(turned) - Math.cos(angle));
  moved[second] += radius * (Math.sin(turned) - Math.sin(angle));
  moved[normal] += rise * s;
  return moved;
}
