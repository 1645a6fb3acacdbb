// The whole run on one line: steps, presses, findings, questions, and the controls of time.

import { useLayoutEffect, useRef, useState } from "preact/hooks";
import type { Desk, Told } from "./desk";
import { RATES } from "./player";
import { Sign } from "./signs";
import { time } from "./units";

const SIDE_PX = 14;
const CHIP_PX = 46;

export function Transport({ desk }: { desk: Desk }) {
  const { player } = desk;
  const rate = player.rateAt(player.t);
  const asking = player.asked !== null && player.asked.chosen < 0;
  return (
    <section class="transport" aria-label="Time">
      <div class="controls">
        <button class="big" disabled={asking} onClick={() => { desk.picked = null; player.play(); }}>
          {player.playing ? "❚❚ Pause" : "▶ Play"}
        </button>
        <button onClick={() => { desk.picked = null; player.step(-1); }} aria-label="Previous event">◂ Event</button>
        <button onClick={() => { desk.picked = null; player.step(1); }} aria-label="Next event">Event ▸</button>
        <button onClick={() => desk.jumpBy(-1)} aria-label="Previous finding" disabled={desk.told.length === 0}>◂ Finding</button>
        <button onClick={() => desk.jumpBy(1)} aria-label="Next finding" disabled={desk.told.length === 0}>Finding ▸</button>
        <label>Speed <select value={String(player.rate)} onChange={(event) => player.setRate(Number(event.currentTarget.value))}>
          {RATES.map((r) => <option key={r} value={String(r)}>{fraction(r)}</option>)}
        </select></label>
        <label><input type="checkbox" checked={player.slows} onChange={(event) => player.setSlows(event.currentTarget.checked)} /> slow at contact</label>
        <output class="clock">{clock(desk)}</output>
        <span class="pace">{player.playing ? `now ${fraction(rate)}` : player.asked ? "asking" : "paused"}</span>
      </div>
      <Line desk={desk} />
    </section>
  );
}

function clock(desk: Desk): string {
  const { player } = desk;
  if (player.replays.length === 1) return `${time(player.t)} of ${time(player.end)}`;
  const from = player.t - player.page.zero_s[0];
  return `${from < 0 ? "−" : "+"}${Math.abs(from).toFixed(3)} s from ${player.page.zero_label}`;
}

function fraction(rate: number): string {
  if (rate >= 0.95) return "real time";
  return `1/${Math.round(1 / rate)}`;
}

function Line({ desk }: { desk: Desk }) {
  const { player } = desk;
  const host = useRef<HTMLDivElement>(null);
  const [wide, setWide] = useState(1200);
  useLayoutEffect(() => {
    const measure = () => setWide(host.current?.clientWidth ?? 1200);
    const watcher = new ResizeObserver(measure);
    if (host.current) watcher.observe(host.current);
    measure();
    return () => watcher.disconnect();
  }, []);
  const span = Math.max(player.end - player.start, 1e-9);
  const x = (t: number) => SIDE_PX + ((t - player.start) / span) * (wide - 2 * SIDE_PX);
  const chips = spread(desk.told, x, wide);
  const steps = player.moments.filter((m) => m.kind === "step" && !m.text.startsWith("B"));
  return (
    <div class="line" ref={host}>
      <svg width={wide} height="62" aria-hidden="true">
        {chips.map(({ finding, left }) => (
          <path key={finding.number} class="leader" d={`M${left + CHIP_PX / 2} 28L${x(finding.at)} 44`} />
        ))}
        <rect x={x(player.start)} y="44" width={x(player.end) - x(player.start)} height="8" rx="4" class="whole" />
        <rect x={x(player.start)} y="44" width={Math.max(x(player.t) - x(player.start), 0)} height="8" rx="4" class="done" />
        {player.presses.flatMap((presses, index) => presses.map((press) => (
          <rect key={`${index} ${press.contact}`} class="press" y="42" height="12" x={x(press.contact - player.shift(index)) - 1}
            width={Math.max(x(press.end - player.shift(index)) - x(press.contact - player.shift(index)), 3)} />
        )))}
        {steps.map((m) => <line key={m.t} class="step" x1={x(m.t)} x2={x(m.t)} y1="52" y2="60" />)}
        {player.questions.map((q) => (
          <g key={q.t} class="ask-mark"><circle cx={x(q.t)} cy="48" r="9" /><text x={x(q.t)} y="53">?</text></g>
        ))}
        <path class="cursor" d={`M${x(player.t)} 38V60M${x(player.t) - 7} 34H${x(player.t) + 7}L${x(player.t)} 43Z`} />
      </svg>
      <input class="scrub" type="range" min={player.start} max={player.end} step="any" value={player.t} aria-label="Time"
        aria-valuetext={clock(desk)} onInput={(event) => { desk.picked = null; player.playing = false; player.seek(Number(event.currentTarget.value)); }} />
      {chips.map(({ finding, left }) => {
        const hidden = desk.hidden(finding);
        const look = player.page.look.verdicts[finding.severity] ?? player.page.look.verdicts[""];
        return (
          <button key={finding.number} class="marker" style={{ left: `${left}px`, width: `${CHIP_PX}px`, borderColor: hidden ? "#8794a1" : look.colour }}
            disabled={hidden} onClick={() => desk.jump(finding)} title={hidden ? "not yet" : finding.title}
            aria-label={hidden ? "a finding, not yet shown" : `Finding ${finding.number}: ${finding.title}, at ${time(finding.t)}`}>
            {hidden ? "?" : <Sign look={look} size={16} />} {finding.number}
          </button>
        );
      })}
    </div>
  );
}

/** Markers side by side where they would cover each other; a leader shows the true place. */
function spread(told: Told[], x: (t: number) => number, wide: number): { finding: Told; left: number }[] {
  const placed = told.map((finding) => ({ finding, left: x(finding.at) - CHIP_PX / 2 }));
  let next = 2;
  for (const chip of placed) {
    chip.left = Math.max(chip.left, next);
    next = chip.left + CHIP_PX + 4;
  }
  let limit = wide - 2;
  for (const chip of [...placed].reverse()) {
    chip.left = Math.min(chip.left, limit - CHIP_PX);
    limit = chip.left - 4;
  }
  return placed;
}
