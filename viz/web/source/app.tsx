// The page: header, pictures, text and plots, time, caution.

import { useEffect, useLayoutEffect, useReducer, useRef } from "preact/hooks";
import { Card } from "./card";
import type { CameraName } from "./camera";
import { CAMERAS, type Desk } from "./desk";
import { KEY_LIST } from "./keys";
import { doing } from "./moments";
import { Plots } from "./plots";
import { Sign } from "./signs";
import { Strip } from "./strip";
import { Transport } from "./timeline";
import { shown } from "./units";
import { View } from "./view";

/** Text changes this often while time runs; the picture is drawn at every frame. */
const TEXT_EVERY_MS = 60;
/** An event stays as the caption for this share of the plots' width. */
const CAPTION_S = 2.2;

export function App({ desk }: { desk: Desk }) {
  const [, redraw] = useReducer((n: number) => n + 1, 0);
  useEffect(() => {
    let last = 0;
    let due = 0;
    const stop = desk.player.listen(() => {
      const now = performance.now();
      if (!desk.player.playing || now - last > TEXT_EVERY_MS) {
        last = now;
        clearTimeout(due);
        redraw(0);
      }
    });
    return () => { stop(); clearTimeout(due); };
  }, []);
  const { player } = desk;
  const two = player.replays.length > 1;
  return (
    <div class={two ? "page pair" : "page"}>
      <Header desk={desk} />
      <main class={two ? "work two" : "work"}>
        {player.replays.map((_, index) => <Picture key={index} desk={desk} index={index} />)}
        <div class="side">
          <Card desk={desk} />
          <Signals desk={desk} />
        </div>
      </main>
      <Transport desk={desk} />
      <footer role="note">{player.page.caution}</footer>
      <Spoken desk={desk} />
      {desk.help && <Help desk={desk} />}
    </div>
  );
}

function Header({ desk }: { desk: Desk }) {
  const { player } = desk;
  const over = player.hiddenFrom === Infinity && player.t >= Math.max(0, ...desk.told.map((f) => f.at)) && player.t > player.start;
  const ended = over && (player.t >= player.end || desk.told.length > 0);
  const title = player.page.entries.map((entry, i) => (player.page.entries.length > 1 ? `${"AB"[i]}: ` : "") + entry.title).join("  |  ");
  return (
    <header>
      <h1 title={title}>{title}</h1>
      {ended && player.page.entries.map((entry, i) => {
        const look = player.page.look.verdicts[entry.verdict] ?? player.page.look.verdicts[""];
        return <span class="verdict" key={i} style={{ color: look.colour }}>
          {player.page.entries.length > 1 ? `${"AB"[i]} ` : ""}<Sign look={look} size={26} /> {look.word}</span>;
      })}
      <label class="cameras">View <select value={desk.views[0]?.eye.name ?? "choose"}
        onChange={(event) => desk.setCamera(event.currentTarget.value as CameraName)}>
        {CAMERAS.map(([name, text, key]) => <option key={name} value={name}>{text} ({key})</option>)}
        <option value="free" disabled>by hand</option>
      </select></label>
      <button onClick={() => desk.toggle("inch")} aria-label={`Lengths are in ${desk.inch ? "inches" : "millimetres"}; change`}>{desk.inch ? "inch" : "mm"}</button>
      <button aria-expanded={desk.help} onClick={() => desk.toggle("help")}>Keys</button>
    </header>
  );
}

function Picture({ desk, index }: { desk: Desk; index: number }) {
  const host = useRef<HTMLDivElement>(null);
  const view = useRef<View | null>(null);
  useLayoutEffect(() => {
    view.current = new View(desk.player, index, host.current!);
    desk.views[index] = view.current;
  }, []);
  const { player } = desk;
  const replay = player.replays[index];
  const t = player.timeOf(index);
  const press = player.pressNow(index);
  const now = doing(replay, t);
  const speed = Math.max(player.rateAt(player.t), 1e-4);
  const recent = player.moments.filter((m) => m.t <= player.t + 1e-9 && m.t > player.t - CAPTION_S * speed && m.kind !== "step" &&
    (player.replays.length < 2 || m.text.startsWith("AB"[index])));
  const last = recent[recent.length - 1];
  const caption = last && last.kind !== "finding" && !(last.t > player.hiddenFrom) ? shown(last.text.replace(/^[AB]: /, "")) : "";
  useEffect(() => {
    if (!view.current) return;
    view.current.room = { top: 48, bottom: press ? 226 : 14, left: press ? 540 : 0 };
    // The enlarged touch stands at the lower left: what matters moves out from under it.
    view.current.aside = press ? (player.replays.length > 1 ? [0, 0.17] : [0.16, 0.1]) : [0, 0];
    view.current.touch();
  });
  return (
    <section class="picture" aria-label={player.replays.length > 1 ? `Picture ${"AB"[index]}` : "Picture"}>
      <div class="canvas" ref={host} />
      <div class="doing">
        <span class="head-line">{player.replays.length > 1 && <b>{"AB"[index]} </b>}{shown(now.head)}</span>
        {now.code && <code>{now.code}</code>}
        {(caption || now.note) && <span class="caption">{caption || shown(now.note)}</span>}
      </div>
      {press && <Strip replay={replay} press={press} t={t} known={player.hiddenFrom + player.shift(index)} />}
    </section>
  );
}

function Signals({ desk }: { desk: Desk }) {
  const host = useRef<HTMLDivElement>(null);
  useLayoutEffect(() => {
    desk.plots = new Plots(desk, host.current!);
    desk.plots.draw(0);
  }, []);
  return <section class="signals" aria-label="Signals" ref={host} />;
}

/** What a screen reader hears: each finding when it comes, each question, each answer. */
function Spoken({ desk }: { desk: Desk }) {
  const { asked } = desk.player;
  const reading = desk.reading;
  let text = "";
  if (asked && asked.chosen < 0) text = `Question: ${asked.ask}`;
  else if (asked) text = `${asked.chosen + 1 === asked.answer ? "Right." : "Not so."} ${asked.because}`;
  else if (typeof reading === "object" && !desk.hidden(reading)) text = `Finding: ${reading.title}. ${reading.sentences.map((s) => s[1]).join(" ")}`;
  return <div class="visually-hidden" aria-live="polite">{shown(text)}</div>;
}

function Help({ desk }: { desk: Desk }) {
  return (
    <div class="help" role="dialog" aria-label="Keys">
      <div>
        <h2>Keys</h2>
        <dl>{KEY_LIST.map(([key, what]) => <div key={key}><dt><kbd>{key}</kbd></dt><dd>{what}</dd></div>)}</dl>
        <p>Drag turns the picture, Shift and drag moves it, the wheel zooms. A click in a plot goes to that time.</p>
        <p>Solid: where things are. Dashed: where the controller takes them to be, drawn when that differs enough to see.</p>
        <button autofocus onClick={() => desk.toggle("help")}>Close</button>
      </div>
    </div>
  );
}
