// The page of the bench: picture and deck on the left, what hands, voice and pen do on the right.

import { useEffect, useRef, useState } from "preact/hooks";
import type { CameraName } from "../camera";
import { Deck } from "./deck";
import { capital, clock, plainly, shownLength, type Act, type Desk } from "./desk";
import { Hands } from "./hands";
import { ClassRoom, Watching } from "./instructor";
import { Notes } from "./notes";
import { Picture } from "./picture";
import type { Sight } from "./sight";
import { LOUD, sentence, Story } from "./story";
import { Choose, Task, Told } from "./task";
import { Telling } from "./telling";
import type { State } from "./types";

const PLACES: [string, string, string][] = [
  ["task", "Task", "1"], ["hands", "Hands", "2"], ["telling", "Controller", "3"], ["notes", "Notes", "4"], ["story", "Story", "5"],
];
const CAMERAS: [CameraName | Sight, string][] = [
  ["choose", "by itself"], ["whole", "whole machine"], ["follow", "along"], ["pad", "close"], ["nose", "spindle face"],
  ["front", "from the front"], ["side", "from the side"],
];
const PACES: [number, string][] = [[0, "paused"], [0.1, "1/10"], [1, "as it is"], [10, "10 times, waiting"]];

export function goTo(id: string): void {
  const place = document.getElementById(id);
  place?.scrollIntoView({ block: "start" });
  place?.focus({ preventScroll: true });
}

export function Page({ desk, tick }: { desk: Desk; tick: number }) {
  const { link } = desk;
  const [choosing, choose] = useState(false);
  const [helping, help] = useState(false);
  useEffect(() => {
    const onKey = (event: KeyboardEvent) => {
      if (event.key === "?" && !/INPUT|SELECT|TEXTAREA/.test((event.target as Element).tagName)) help((on) => !on);
    };
    window.addEventListener("keydown", onKey);
    return () => window.removeEventListener("keydown", onKey);
  }, []);
  void tick;
  const caution = link.welcome?.caution ?? "A rehearsal proves nothing about your machine.";
  let inside;
  if (link.sorry?.at === "door") inside = <Door desk={desk} />;
  else if (link.shutOut) inside = <ShutOut desk={desk} />;
  else if (!link.welcome) inside = <p class="wait">{link.connected ? "" : "Connecting ..."}</p>;
  else if (link.welcome.role === "instructor" && link.watching === null) {
    inside = link.classView ? <ClassRoom desk={desk} view={link.classView} /> : <p class="wait">Waiting for the class ...</p>;
  } else if (choosing || (!link.state && link.welcome.role === "trainee" && !waits(desk))) {
    inside = <Choose desk={desk} close={choosing ? () => choose(false) : null} />;
  } else if (!link.state || !link.scene) inside = <p class="wait">Setting the machine up ...</p>;
  else inside = <Bench desk={desk} state={link.state} again={() => choose(true)} help={() => help(true)} />;
  return (
    <div class="bench">
      {inside}
      <footer>Caution: {caution}</footer>
      {helping && <Help close={() => help(false)} />}
    </div>
  );
}

/** A page that was seated before, or whose exercise is clear, has not to choose. */
function waits(desk: Desk): boolean {
  const { link } = desk;
  return link.welcome!.offered !== null && link.sorry === null && !link.welcome!.as_class;
}

function Door({ desk }: { desk: Desk }) {
  const { link } = desk;
  const [code, type] = useState("");
  const [name, call] = useState(localStorage.getItem("bench-name") ?? "");
  return (
    <main class="door">
      <h1>Join the class</h1>
      <form onSubmit={(event) => { event.preventDefault(); localStorage.setItem("bench-name", name); link.open({ code, name }); }}>
        <label class="field"><span>Join code</span><input value={code} onInput={(e) => type(e.currentTarget.value)} autocomplete="off" autofocus /></label>
        <label class="field"><span>Your name, or nothing</span><input value={name} onInput={(e) => call(e.currentTarget.value)} maxLength={40} /></label>
        <button type="submit" class="strong">Join</button>
      </form>
      <p class="sorry" role="alert">{capital(link.sorry?.why ?? "")}</p>
    </main>
  );
}

function ShutOut({ desk }: { desk: Desk }) {
  return (
    <main class="door">
      <h1>The line was closed</h1>
      <p class="sorry" role="alert">{capital(desk.link.sorry?.why ?? "")}. Whatever it moved has stopped.</p>
      <button type="button" class="strong" onClick={() => desk.link.open()}>Come back</button>
    </main>
  );
}

function Bench({ desk, state, again, help }: { desk: Desk; state: State; again: () => void; help: () => void }) {
  const { link } = desk;
  const act: Act = desk.act;
  const inch = state.display === "inch";
  const { welcome, kept } = link;
  const watches = welcome!.role === "instructor";
  return (
    <div class="work">
      <header>
        <h1>{state.exercise?.title ?? plainly(state.seat.exercise)}</h1>
        {!link.connected && <b class="lost" role="alert">No connection: the machine has stopped</b>}
        {state.frozen && <b class="lost">The instructor has stopped everybody</b>}
        {state.seat.taken_over && welcome!.role === "trainee" && <b class="lost">The instructor has the machine</b>}
        <span class="clock">{clock(state.time_s)}</span>
        <label class="field in-line"><span>Time runs</span>
          <select value={String(state.pace)} onChange={(e) => void act({ do: "pace", rate: Number(e.currentTarget.value) })}>
            {PACES.map(([rate, words]) => <option key={rate} value={String(rate)}>{words}</option>)}
          </select>
        </label>
        <label class="field in-line"><span>Show</span>
          <select value={state.display} onChange={(e) => void act({ do: "units", units: e.currentTarget.value })}>
            <option value="mm">mm</option><option value="inch">inch</option>
          </select>
        </label>
        <button type="button" onClick={help}>Keys <kbd>?</kbd></button>
      </header>
      <main class="left" aria-label="The machine">
        {watches && <Watching desk={desk} taken={state.seat.taken_over} />}
        <View desk={desk} state={state} />
        <Deck desk={desk} act={act} state={state} />
      </main>
      <aside class="right" aria-label="What you do">
        <nav aria-label="Places">
          {PLACES.map(([id, label, key]) => <button key={id} type="button" onClick={() => goTo(id)}>{id === "task" && link.debrief ? "Debrief" : label} <kbd>{key}</kbd></button>)}
        </nav>
        <div class="sheets">
          {link.debrief
            ? <Told act={act} debrief={link.debrief} inch={inch} look={welcome!.look} outline={state.outline} believed={desk.believed} replay={kept.replay} scenario={kept.scenario} watches={watches} again={again} seat={state.seat} />
            : <Task act={act} exercise={state.exercise} scenario={kept.scenario} watches={watches} again={again} />}
          <Hands act={act} inch={inch} modes={state.modes} items={state.items} inputs={state.inputs} crib={state.crib} sockets={state.sockets} tables={state.tables} />
          <Telling act={act} inch={inch} modes={state.modes} tables={state.tables} programs={state.programs} exercise={state.exercise} routines={welcome!.routines} items={state.items} running={null} />
          <Notes act={act} inch={inch} tables={state.tables} />
          <Story events={link.events} inch={inch} />
        </div>
      </aside>
    </div>
  );
}

function View({ desk, state }: { desk: Desk; state: State }) {
  const host = useRef<HTMLDivElement>(null);
  const [camera, aim] = useState<CameraName | Sight>("choose");
  const [broken, breaks] = useState("");
  const { link } = desk;
  useEffect(() => {
    try {
      desk.picture = new Picture(link, host.current!, (believed) => {
        if (believed === desk.believed) return;
        desk.believed = believed;
        desk.redraw();
      });
    } catch (error) {
      breaks(`No 3D picture: this browser gives no WebGL (${String(error)}). Everything else works.`);
    }
    return () => { desk.picture?.close(); desk.picture = null; };
  }, []);
  const inch = state.display === "inch";
  const last = [...link.events].reverse().find((event) => sentence(event, inch));
  const line = state.running?.line;
  // An alarm that stands is written above already.
  const told = !last || (state.alarm && last.kind === "alarm") ? "" : sentence(last, inch);
  return (
    <section class="view" aria-label="What you see">
      <div class="canvas" ref={host}>{broken}</div>
      <div class="over">
        <label class="field in-line"><span>Look</span>
          <select value={camera} onChange={(e) => { const name = e.currentTarget.value as CameraName | Sight; aim(name); desk.picture?.look(name); }}>
            {CAMERAS.map(([name, words]) => <option key={name} value={name}>{words}</option>)}
          </select>
        </label>
        {state.running && <span class="running">{plainly(state.running.name)}{line && <code>{line.line}: {line.text}</code>}</span>}
        {state.hands && <span class="running">hands: {plainly(state.hands.do)}</span>}
        {state.modes.hold && <b class="running">feed hold is on</b>}
        {state.pace === 0 && <b class="running">paused</b>}
      </div>
      {state.alarm && <p class="alarm" role="alert"><b>Alarm:</b> {state.alarm.message}</p>}
      {link.refusal && <p class="refusal" role="alert" key={link.refusal.n}>{link.refusal.why}{link.refusal.fix && `: ${link.refusal.fix}`}</p>}
      <p class={`ticker ${last && LOUD.includes(last.kind) ? "loud" : ""}`} aria-live="polite">{told}</p>
      <p class="visually-hidden" aria-live="off" id="position-words">
        {["X", "Y", "Z"].map((axis, i) => `${axis} ${shownLength(state.position.machine_mm[i], inch)}`).join(", ")}
      </p>
    </section>
  );
}

const HELP: [string, string][] = [
  ["← →", "X, left and right"], ["↓ ↑", "Y, towards you and away"], ["Page ↓ ↑", "Z, down and up"],
  ["Shift + these", "one step instead of moving"], [", and .", "finer or coarser: steps, then held"], ["W", "go to the wheel; arrows turn it"],
  ["Esc", "emergency stop"], ["H", "feed hold, go on"], ["1 to 5", "go to a place on the right"], ["0", "go to the axes"],
  ["Drag the picture", "turn the eye; the mouse's wheel: nearer, farther"], ["Tab, Enter", "from field to field, do it"], ["?", "this list"],
];

function Help({ close }: { close: () => void }) {
  const button = useRef<HTMLButtonElement>(null);
  useEffect(() => button.current?.focus(), []);
  return (
    <div class="help" role="dialog" aria-modal="true" aria-label="Keys">
      <div>
        <h2>Keys</h2>
        <dl>{HELP.map(([key, words]) => <div key={key}><dt><kbd>{key}</kbd></dt><dd>{words}</dd></div>)}</dl>
        <p>A held key moves an axis and stops it when it comes up, and when this page goes out of sight, loses the keys or the line.
          In a field, keys type: leave it with Tab. Esc stops the machine everywhere.</p>
        <button ref={button} type="button" class="strong" onClick={close}>Close</button>
      </div>
    </div>
  );
}
