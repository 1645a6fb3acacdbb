// Reads the data that stand in the page, and runs it.


import { render } from "preact";
import { App } from "./app";
import type { PageData } from "./data";
import { Desk } from "./desk";
import { listenToKeys } from "./keys";
import { Player } from "./player";

/** Plots are read, not watched: drawn less often than the picture, which costs the most. */
const PLOTS_EVERY_S = 0.05;

function start(): void {
  const data = JSON.parse(document.getElementById("data")!.textContent!) as PageData;
  const player = new Player(data);
  const desk = new Desk(player);
  const host = document.getElementById("page")!;
  desk.open(location.hash);
  try {
    render(<App desk={desk} />, host);
  } catch (error) {
    host.innerHTML = "";
    host.append(
      `This page needs WebGL to draw, and this browser gives none (${String(error)}). ` +
        "Switch on graphics acceleration, or open the page in another browser.",
    );
    return;
  }
  listenToKeys(desk);
  window.addEventListener("hashchange", () => desk.open(location.hash));
  let last = performance.now();
  let plotted = last;
  let plotsDue = true;
  player.listen(() => {
    plotsDue = true;
    if (!player.playing) for (const view of desk.views) view.touch();
  });
  const frame = (now: number) => {
    const wall = Math.max(now - last, 0) / 1000;
    last = now;
    player.tick(wall);
    for (const view of desk.views) view.draw(wall);
    const since = (now - plotted) / 1000;
    if (plotsDue && (!player.playing || since > PLOTS_EVERY_S)) {
      desk.plots?.draw(since);
      plotted = now;
      plotsDue = false;
    }
    requestAnimationFrame(frame);
  };
  for (const view of desk.views) view.draw(0);
  hook(desk);
  requestAnimationFrame(frame);
}

/** For tests and for the curious: exact answers at any time, and what is shown now. */
function hook(desk: Desk): void {
  const { player } = desk;
  (window as any).drytouch = {
    readyMs: performance.now(),
    positionAt: (t: number, index = 0) => player.replays[index].positionAt(t),
    commandAt: (t: number, index = 0) => player.replays[index].commandAt(t),
    speedAt: (t: number, index = 0) => player.replays[index].speedAt(t),
    padDepthAt: (setter: string, t: number, index = 0) => player.replays[index].padDepthAt(setter, t),
    signalAt: (signal: string, t: number, index = 0) => player.replays[index].signalAt(signal, t),
    seek: (t: number) => player.seek(t),
    setCamera: (name: any) => desk.setCamera(name),
    state: () => ({
      t: player.t, start: player.start, end: player.end, playing: player.playing, rate: player.rate,
      running: player.rateAt(player.t), asked: player.asked?.ask ?? null,
      times: player.replays.map((_, index) => player.timeOf(index)),
      frames: desk.views.map((view) => view.frames), camera: desk.views[0].eye.name,
      outlines: desk.views.map((view) => view.belief.outlines.map((outline) => outline.label)),
    }),
  };
}

start();
