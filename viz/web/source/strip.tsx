// The touch under the microscope: the pad's travel against everything that has to happen in it.

import type { Press } from "./moments";
import type { Replay } from "./replay";
import { small, written } from "./units";

const WIDE = 205;
const HIGH = 140;
const SAMPLES = 120;

export function Strip({ replay, press, t, known }: { replay: Replay; press: Press; t: number; known: number }) {
  // What comes after an open question would answer it.
  const marks = press.marks.filter((mark) => mark.t <= Math.max(known, t) && !(mark.never && mark.t > t));
  const span = Math.max(press.rest - press.contact, 1e-6);
  const from = press.contact - 0.12 * span;
  const to = press.rest + 0.15 * span;
  const deepest = Math.max(...press.marks.map((m) => m.depth), replay.padDepthAt(press.setter, press.rest), 1e-4) * 1.15;
  const x = (time: number) => 6 + ((time - from) / (to - from)) * (WIDE - 12);
  const y = (depth: number) => 16 + (depth / deepest) * (HIGH - 36);
  const depth = replay.padDepthAt(press.setter, t);
  const upTo = Math.min(Math.max(t, from), to);
  const curve = (end: number) =>
    Array.from({ length: SAMPLES + 1 }, (_, i) => from + ((end - from) * i) / SAMPLES)
      .map((time, i) => `${i ? "L" : "M"}${x(time).toFixed(1)} ${y(replay.padDepthAt(press.setter, time)).toFixed(1)}`)
      .join("");
  const budget = press.limit !== null && press.preTravel !== null ? press.limit - press.preTravel : null;
  const over = press.preTravel !== null ? Math.max(depth - press.preTravel, 0) : 0;
  const left = budget === null ? null : Math.max(budget - over, 0);
  const facts = replay.entry.facts.setters[press.setter];
  const force = facts?.rate_N_per_mm !== undefined && depth > 0 ? (facts.preload_N ?? 0) + facts.rate_N_per_mm * depth : null;
  const inWords = span < 0.5 ? `${written((t - press.contact) * 1000, 1)} ms` : `${written(t - press.contact, 2)} s`;
  return (
    <section class="strip" aria-label="The touch, enlarged">
      <div class="strip-head">
        <b>Pad travel {small(depth)}</b>
        <span>{t < press.contact ? "not yet touched" : `${inWords} after the touch`}</span>
        {force !== null && <span>{written(force, 1)} N</span>}
      </div>
      <div class="strip-body">
        <svg viewBox={`0 0 ${WIDE} ${HIGH}`} width={WIDE} height={HIGH} aria-hidden="true">
          <line x1="6" x2={WIDE - 6} y1={y(0)} y2={y(0)} class="zero" />
          <text x="8" y={y(0) - 4} class="tiny">pad free</text>
          {press.preTravel !== null && press.preTravel < deepest && (
            <g>
              <line x1="6" x2={WIDE - 6} y1={y(press.preTravel)} y2={y(press.preTravel)} class="trip" />
              <text x={WIDE - 8} y={y(press.preTravel) - 4} class="tiny end">trip, {small(press.preTravel)}</text>
            </g>
          )}
          {press.limit !== null && press.limit < deepest && (
            <g>
              <line x1="6" x2={WIDE - 6} y1={y(press.limit)} y2={y(press.limit)} class="solid" />
              <text x="8" y={y(press.limit) + 13} class="tiny">pad is solid</text>
            </g>
          )}
          <path d={curve(upTo)} class="travel" />
          {marks.filter((mark) => !mark.never).map((mark) => (
            <g class={mark.t <= t + 1e-12 ? "mark past" : "mark"} key={mark.name}>
              <line x1={x(mark.t)} x2={x(mark.t)} y1={y(0)} y2={HIGH - 6} />
              {mark.t <= t + 1e-12 && <circle cx={x(mark.t)} cy={y(mark.depth)} r="4" />}
            </g>
          ))}
          <circle cx={x(upTo)} cy={y(depth)} r="6" class="now" />
        </svg>
        <ol class="marks">
          {marks.map((mark) => (
            <li class={mark.t <= t + 1e-12 ? "past" : ""} key={mark.name}>
              <span>{mark.never ? "✗" : mark.t <= t + 1e-12 ? "●" : "○"} {mark.name}</span>
              <span class="figure">{mark.never ? "never" : mark.t <= t + 1e-12 ? small(mark.depth) : ""}</span>
            </li>
          ))}
        </ol>
      </div>
      {left !== null && budget !== null && (
        <div class="budget" role="img" aria-label={`Overtravel budget left: ${small(left)}`}>
          <span>Overtravel left</span>
          <span class="tank"><span class="fill" style={{ width: `${(100 * left) / budget}%` }} /></span>
          <b>{left <= 1e-6 ? "none" : small(left)}</b>
        </div>
      )}
    </section>
  );
}
