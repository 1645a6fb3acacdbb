// The deck under the picture, always there: where it is, what moves it, what stops it.

import { capital, plainly, shownFeed, type Act, type Desk } from "./desk";
import type { Jog } from "./jog";
import { still } from "./parts";
import type { Axis, Input, Modes, State, Towards } from "./types";

export function Deck({ desk, act, state }: { desk: Desk; act: Act; state: State }) {
  const { jog } = desk;
  const inch = state.display === "inch";
  return (
    <div class="deck">
      <Where position={state.position} display={state.display} modes={state.modes} inputs={state.inputs}
        moving={state.moving} speed={state.speed_mm_per_min} />
      <Move jog={jog} inch={inch} step={jog.step} speed={jog.speed} axis={jog.wheelAxis} down={jog.down} steps={jog.steps.join()} />
      <Stopping act={act} modes={state.modes} alarm={state.alarm} busy={state.running !== null || state.moving !== null} />
    </div>
  );
}

const Where = still(({ position, display, modes, inputs, moving, speed }: {
  position: State["position"]; display: "mm" | "inch"; modes: Modes; inputs: Input[]; moving: string | null; speed: number;
}) => {
  const inch = display === "inch";
  const text = (value: number) => value.toFixed(position.decimals);
  return (
    <section class="where" id="eyes" aria-labelledby="where-title" tabIndex={-1}>
      <h2 id="where-title" class="visually-hidden">Where it is</h2>
      <table class="readout">
        <thead><tr><th scope="col">{inch ? "in" : "mm"}</th><th scope="col">Machine</th><th scope="col">Work {modes.system}</th></tr></thead>
        <tbody>
          {["X", "Y", "Z"].map((axis, i) => (
            <tr key={axis}><th scope="row">{axis}</th><td>{text(position.machine[i])}</td><td>{text(position.work[i])}</td></tr>
          ))}
        </tbody>
      </table>
      <p class="modes">
        {moving ? <b>{capital(moving)}, {shownFeed(speed, inch)}</b> : <b>At rest</b>}
        {" · "}{modes.drives ? "drives on" : "drives off"}{" · "}{modes.homed ? "homed" : <b>not homed</b>}
        {" · "}{modes.length_row ? `length of row ${modes.length_row}` : "no length"}{" · "}{modes.slot ? `row ${modes.slot} in spindle` : "no row in spindle"}
      </p>
      <ul class="inputs" aria-label="Inputs as the controller sees them">
        {inputs.map((input) => (
          <li key={input.number} class={input.on ? "on" : ""}>
            <svg width="16" height="16" viewBox="0 0 16 16" aria-hidden="true">
              <circle cx="8" cy="8" r="6.2" fill={input.on ? "#16202b" : "#fff"} stroke="#16202b" stroke-width="2" />
            </svg>
            <span><b>Input {input.number} {input.on ? "on" : "off"}</b> {plainly(input.socket)}
              {input.plug ? `, ${plainly(input.plug)} plugged in` : ", nothing plugged in"}
              {input.watched && <em> watched by touch</em>}{input.proved && <em> seen off, on, off</em>}</span>
          </li>
        ))}
      </ul>
    </section>
  );
});

const BUTTONS: [Axis, Towards, string, string, string][] = [
  ["y", "+", "Y+", "ArrowUp", "y-up"], ["x", "-", "X−", "ArrowLeft", "x-down"], ["x", "+", "X+", "ArrowRight", "x-up"],
  ["y", "-", "Y−", "ArrowDown", "y-down"], ["z", "+", "Z+", "PageUp", "z-up"], ["z", "-", "Z−", "PageDown", "z-down"],
];
const ARROWS: Record<string, string> = {
  ArrowUp: "↑", ArrowDown: "↓", ArrowLeft: "←", ArrowRight: "→", PageUp: "Pg↑", PageDown: "Pg↓",
};

const Move = still(({ jog, inch, step, speed, axis, down }: {
  jog: Jog; inch: boolean; step: number | null; speed: number; axis: Axis; down: string | null; steps: string;
}) => (
  <section class="move" id="axes" aria-labelledby="move-title" tabIndex={-1}>
    <h2 id="move-title" class="visually-hidden">Move the axes</h2>
    <div class="pad">
      {BUTTONS.map(([a, towards, label, key, place]) => (
        <button key={label} type="button" class={`jog ${place}`} aria-pressed={down === label || down === key} aria-label={`Move ${label}`}
          onPointerDown={(event) => { event.currentTarget.setPointerCapture(event.pointerId); jog.press(label, a, towards); }}
          onPointerUp={() => jog.release(label)} onPointerCancel={() => jog.release(label)} onLostPointerCapture={() => jog.release(label)}
          onContextMenu={(event) => event.preventDefault()}
          onKeyDown={(event) => {
            if ((event.key === "Enter" || event.key === " ") && !event.repeat) { event.preventDefault(); jog.press(label, a, towards); }
          }}
          onKeyUp={(event) => {
            if (event.key === "Enter" || event.key === " ") { event.preventDefault(); jog.release(label); }
          }}>
          {label}<kbd aria-hidden="true">{ARROWS[key]}</kbd>
        </button>
      ))}
    </div>
    <div class="how">
      <label class="field">
        <span>Key moves</span>
        <select value={step === null ? "held" : String(jog.steps.findIndex((s) => Math.abs(s - step) < 1e-9))}
          onChange={(event) => jog.set(event.currentTarget.value === "held" ? null : jog.steps[Number(event.currentTarget.value)])}>
          <option value="held">while held</option>
          {jog.steps.map((s, i) => <option key={i} value={String(i)}>{inch ? `${+(s / 25.4).toFixed(4)} in` : `${s} mm`} a press</option>)}
        </select>
      </label>
      <label class="field">
        <span>Held, at</span>
        <select value={String(speed)} onChange={(event) => jog.setSpeed(Number(event.currentTarget.value))}>
          {jog.speeds.map((s) => <option key={s} value={String(s)}>{shownFeed(s, inch)}</option>)}
        </select>
      </label>
      <Wheel jog={jog} axis={axis} step={step} />
    </div>
  </section>
));

function Wheel({ jog, axis, step }: { jog: Jog; axis: Axis; step: number | null }) {
  return (
    <div class="wheel">
      <div class="dial" role="spinbutton" tabIndex={0} data-own-keys aria-label={`Wheel, moves ${axis.toUpperCase()}`} aria-valuetext={`${step ?? jog.steps[1]} mm a detent`}
        onWheel={(event) => { event.preventDefault(); jog.wheel(event.deltaY < 0 ? 1 : -1); }}
        onPointerDown={(event) => {
          const box = event.currentTarget.getBoundingClientRect();
          jog.wheel(event.clientX > box.left + box.width / 2 ? 1 : -1);
        }}
        onKeyDown={(event) => {
          const by = { ArrowUp: 1, ArrowRight: 1, ArrowDown: -1, ArrowLeft: -1 }[event.key];
          if (by !== undefined) { event.preventDefault(); jog.wheel(by); }
        }}>
        <svg viewBox="0 0 60 60" aria-hidden="true">
          <circle cx="30" cy="30" r="27" fill="#f4f6f8" stroke="#16202b" stroke-width="2.5" />
          {Array.from({ length: 20 }, (_, i) => <line key={i} x1="30" y1="5" x2="30" y2="10" stroke="#4a5765" stroke-width="1.6" transform={`rotate(${i * 18} 30 30)`} />)}
          <text x="17" y="37" font-size="20" text-anchor="middle">−</text><text x="43" y="37" font-size="20" text-anchor="middle">+</text>
        </svg>
      </div>
      <label class="field"><span>Wheel moves</span>
        <select value={axis} onChange={(event) => jog.setWheelAxis(event.currentTarget.value as Axis)}>
          {["x", "y", "z"].map((a) => <option key={a} value={a}>{a.toUpperCase()}</option>)}
        </select>
      </label>
    </div>
  );
}

const Stopping = still(({ act, modes, alarm, busy }: { act: Act; modes: Modes; alarm: State["alarm"]; busy: boolean }) => (
  <section class="stopping" id="stop" aria-labelledby="stop-title" tabIndex={-1}>
    <h2 id="stop-title" class="visually-hidden">Stop and go</h2>
    <button type="button" class="emergency" onClick={() => void act({ do: "e-stop" })} aria-pressed={modes.e_stop}>
      <svg width="30" height="30" viewBox="0 0 30 30" aria-hidden="true"><path d="M9 2H21L28 9V21L21 28H9L2 21V9Z" fill="#fff" stroke="#fff" /><path d="M8 15H22" stroke="#a3262a" stroke-width="5" /></svg>
      {modes.e_stop ? "Stop is pressed in" : "Emergency stop"} <kbd>Esc</kbd>
    </button>
    <div class="grid">
      <button type="button" class="strong" aria-pressed={modes.hold} onClick={() => void act({ do: "feed-hold", on: !modes.hold })}>
        {modes.hold ? "Go on" : "Feed hold"} <kbd>H</kbd>
      </button>
      <button type="button" disabled={!busy} onClick={() => void act({ do: "stop" })}>Stop for good</button>
      <button type="button" disabled={!modes.e_stop && !alarm} onClick={() => void act({ do: "reset" })}>Reset</button>
      <button type="button" onClick={() => void act({ do: "drives", on: !modes.drives })}>Switch drives {modes.drives ? "off" : "on"}</button>
      <button type="button" onClick={() => void act({ do: "home" })}>Home</button>
      <button type="button" onClick={() => void act({ do: "power-cycle" })}>Power off, on</button>
    </div>
    <Override act={act} label="Rapid" value={modes.rapid_override} most={100} field="rapid" />
    <Override act={act} label="Feed" value={modes.feed_override} most={200} field="feed" />
  </section>
));

function Override({ act, label, value, most, field }: { act: Act; label: string; value: number; most: number; field: string }) {
  const percent = Math.round(value * 100);
  return (
    <label class="override">
      <span>{label} {percent} %</span>
      <input type="range" min={0} max={most} step={5} value={percent} data-own-keys aria-label={`${label} override, percent`}
        onInput={(event) => void act({ do: "override", [field]: Number(event.currentTarget.value) / 100 })} />
    </label>
  );
}
