// What happened: in words, newest first; alarms and bangs are also called out.

import { clock, plainly, shownLength } from "./desk";
import { Area, still } from "./parts";
import type { Happening } from "./types";

const OWN = ["jog-press", "wheel", "override", "beat"];
/** What is done by typing has no name of its own. */
const CALLED: Record<string, string> = { mdi: "typed line", select: "choice", "select-setter": "choice of what a touch watches", "type-in": "a number typed over" };
/** These are told by what was felt or read, in the digits that it has. */
const TOLD_BY_READING = ["rule", "jog-back", "feel-block", "step-until-feel"];
const FEELS: Record<string, string> = { slides: "slides", drags: "drags", "wont-go": "won't go" };
const RULED: Record<string, string> = {
  "tool-length": "tool length", "tip-to-stock": "tip to stock", "tip-to-table": "tip to table", "setter-height": "setter height",
};

function result(value: any, inch: boolean): string {
  if (value === null || value === undefined) return "";
  if (typeof value === "number") return `: ${shownLength(value, inch)} ${inch ? "in" : "mm"}`;
  if (typeof value === "object" && typeof value.z === "number") return `: Z ${shownLength(value.z, inch)} ${inch ? "in" : "mm"}`;
  return "";
}

/** An event as a sentence; empty where it says nothing new. */
export function sentence(event: Happening, inch: boolean): string {
  const unit = inch ? "in" : "mm";
  const name = CALLED[event.do] ?? plainly(event.name ?? event.do ?? "");
  switch (event.kind) {
    case "done":
      if (event.alarm || OWN.includes(event.do)) return "";
      return `Done, ${name}${TOLD_BY_READING.includes(event.do) ? "" : result(event.result, inch)}`;
    case "refused": return `Not done, ${name}: ${event.why}${event.fix ? ` (${event.fix})` : ""}`;
    case "alarm": return `Alarm, ${plainly(event.code)}: ${event.message}`;
    case "bang": return event.what.charAt(0).toUpperCase() + event.what.slice(1);
    case "felt": return `The ${plainly(event.block)} ${FEELS[event.feel] ?? event.feel}`;
    case "read-rule": return `The rule reads ${shownLength(event.reading_mm, inch, inch ? 2 : 1)} ${unit}: ${RULED[event.what] ?? event.what}`;
    case "jogged-back": return `Tip on the surface: ${event.system} reads ${shownLength(event.reading_mm, inch)} ${unit}`;
    case "input": return `Input ${event.number} went ${event.on ? "on" : "off"}`;
    case "line": return `${event.file} ${event.line}: ${event.text}`;
    case "key-lost": return "The key counts as let go: nothing was heard from this page";
    case "page-lost": return event.stopped_by === "nothing" ? "" : "The page was away: what moved was stopped";
    case "hint": return `Hint: ${event.text}`;
    case "message": case "pause": return event.text || "Waiting to go on";
    case "bad-message": return `A message was not understood: ${event.why}`;
    case "instructor": return event.do === "freeze" ? (event.on ? "The instructor has stopped everybody" : "The instructor lets everybody go on") : "";
    case "judged": return `Judged: ${event.verdict}, ${event.score} points`;
    case "broken": return event.why;
    default: return "";
  }
}

const LINES_TOLD = 12;
export const LOUD = ["alarm", "bang", "refused", "broken"];

export const Story = still(({ events, inch }: { events: Happening[]; inch: boolean }) => {
  // A program's lines come by the hundred: older ones must not push a bang out of sight.
  let lines = 0;
  const told = events.map((event) => [event, sentence(event, inch)] as const).filter(([, text]) => text).reverse()
    .filter(([event]) => event.kind !== "line" || ++lines <= LINES_TOLD).slice(0, 40);
  return (
    <Area id="story" title="Story" note="what happened, newest first">
      <ol class="story">
        {told.map(([event, text]) => (
          <li key={event.n} class={LOUD.includes(event.kind) ? "loud" : ""}><time>{clock(event.time_s)}</time> {text}</li>
        ))}
        {told.length === 0 && <li>Nothing yet.</li>}
      </ol>
    </Area>
  );
});
