// Starts the bench: the line, the keys, and one drawing an animation frame.

import { render } from "preact";
import { useInch } from "../units";
import type { Desk } from "./desk";
import { Jog } from "./jog";
import { listenToKeys } from "./keys";
import { Link } from "./link";
import { Page } from "./page";

const link = new Link();
const desk: Desk = { link, jog: new Jog(link), picture: null, act: (action) => link.act(action), believed: "", redraw: () => (due = true) };
const host = document.getElementById("page")!;
let due = true;
let tick = 0;
let last = performance.now();

// The clock runs all the time; a picture is due only when something in it has changed.
let seen: unknown[] = [];
link.listen(() => {
  due = true;
  useInch(link.state?.display === "inch");
  const now = [link.scene, link.state?.poses, link.state?.belief, link.state?.outline];
  if (now.some((value, i) => value !== seen[i])) desk.picture?.touch();
  seen = now;
});
desk.jog.listen(() => (due = true));
listenToKeys(desk);

function frame(now: number): void {
  if (due) {
    due = false;
    render(<Page desk={desk} tick={++tick} />, host);
  }
  desk.picture?.draw(Math.max(now - last, 0) / 1000);
  last = now;
  requestAnimationFrame(frame);
}

requestAnimationFrame(frame);
link.open({ name: localStorage.getItem("bench-name") ?? "" });

/** For tests and for the curious. */
(window as any).bench = {
  state: () => link.state,
  events: () => link.events,
  frames: () => desk.picture?.frames ?? 0,
  outlines: () => desk.picture?.belief.outlines.map((outline) => outline.label) ?? [],
  drop: () => link.drop(),
  link,
};
