// The instructor's side: the class at a glance, one seat live, and what can be done to it.

import { useState } from "preact/hooks";
import { clock, plainly, type Desk } from "./desk";
import { Pick } from "./parts";
import type { ClassView, Glance } from "./types";

export function ClassRoom({ desk, view }: { desk: Desk; view: ClassView }) {
  const { link } = desk;
  const key = encodeURIComponent(link.given.get("key") ?? "");
  return (
    <main class="class-room">
      <header class="class-head">
        <h1>The class</h1>
        <p class="code">Join code <b>{view.code}</b> at {location.host}</p>
        <button type="button" class="strong" aria-pressed={view.frozen} onClick={() => link.room("freeze", { on: !view.frozen })}>
          {view.frozen ? "Let everybody go on" : "Stop everybody"}
        </button>
      </header>
      {link.sorry && <p class="sorry" role="alert">{link.sorry.why}</p>}
      <section aria-labelledby="now-title">
        <h2 id="now-title">Now</h2>
        {view.seats.length === 0 ? <p>Nobody is here yet.</p> : (
          <table class="wide">
            <thead><tr><th scope="col">Seat</th><th scope="col">Who</th><th scope="col">Exercise</th><th scope="col">Time</th><th scope="col">Doing</th><th scope="col">Verdict</th><th scope="col">Look</th></tr></thead>
            <tbody>{view.seats.map((seat) => <Line key={seat.number} seat={seat} desk={desk} />)}</tbody>
          </table>
        )}
      </section>
      <div class="two-columns">
        <section aria-labelledby="done-title">
          <h2 id="done-title">Who has done what</h2>
          <table class="wide">
            <thead><tr><th scope="col">Who</th><th scope="col">Exercise</th><th scope="col">Tries</th><th scope="col">Best</th><th scope="col">Passed</th><th scope="col">Last try</th></tr></thead>
            <tbody>
              {view.done.map((row) => (
                <tr key={row.trainee + row.exercise}>
                  <td>{row.trainee || "anonymous"}</td><td>{plainly(row.exercise)}</td><td>{row.attempts}</td><td>{row.best_score}</td>
                  <td>{row.passed ? "yes" : "not yet"}</td>
                  <td><Last attempt={`/attempt/${row.last_attempt}?key=${key}`} findings={row.findings} /></td>
                </tr>
              ))}
            </tbody>
          </table>
          <p class="row"><a class="button" href={`/records.csv?key=${key}`} download>All attempts as CSV</a><a class="button" href={`/records.json?key=${key}`} download>as JSON</a></p>
        </section>
        <section aria-labelledby="fail-title">
          <h2 id="fail-title">Where people fail</h2>
          <table class="wide">
            <thead><tr><th scope="col">Exercise</th><th scope="col">What</th><th scope="col">Tries</th><th scope="col">People</th></tr></thead>
            <tbody>
              {view.failing.map((row) => (
                <tr key={row.exercise + row.kind + row.code}><td>{plainly(row.exercise)}</td><td>{row.kind}: {plainly(row.code)}</td><td>{row.attempts}</td><td>{row.trainees}</td></tr>
              ))}
            </tbody>
          </table>
        </section>
      </div>
    </main>
  );
}

/** Findings of one attempt that a line of the table has room for; the replay has all of them. */
const NAMED_FINDINGS = 4;

function Last({ attempt, findings }: { attempt: string; findings: ClassView["done"][number]["findings"] }) {
  return (
    <>
      <a href={attempt} target="_blank" rel="noopener">replay</a>
      {findings.slice(0, NAMED_FINDINGS).map((finding, i) => (
        <span key={i}>{i === 0 ? " at " : ", "}<a href={`${attempt}#finding=${i + 1}`} target="_blank" rel="noopener">{plainly(finding.code)}</a></span>
      ))}
      {findings.length > NAMED_FINDINGS && ` and ${findings.length - NAMED_FINDINGS} more`}
    </>
  );
}

function Line({ seat, desk }: { seat: Glance; desk: Desk }) {
  const state = seat.e_stop ? "emergency stop" : seat.alarm ? `alarm: ${plainly(seat.alarm)}` : seat.doing ? plainly(seat.doing) : "at rest";
  return (
    <tr>
      <td>{seat.number}</td><td>{seat.name || "anonymous"}{!seat.here && " (away)"}</td><td>{seat.title}</td><td>{clock(seat.time_s)}</td>
      <td>{state}</td><td>{seat.verdict ? `${seat.verdict}, ${seat.score}` : "running"}</td>
      <td><button type="button" onClick={() => desk.link.room("watch", { seat: seat.number })}>Watch {seat.name || `seat ${seat.number}`}</button></td>
    </tr>
  );
}

/** Above a watched seat: take over, let a fault begin, go back. */
export function Watching({ desk, taken }: { desk: Desk; taken: boolean }) {
  const { link } = desk;
  const { faults } = link.welcome!;
  const [fault, choose] = useState(faults[0]?.name ?? "");
  return (
    <div class="watching" role="region" aria-label="Instructor">
      <button type="button" onClick={() => link.room("look-away")}>Back to the class</button>
      <button type="button" class="strong" aria-pressed={taken} onClick={() => link.room("take-over", { on: !taken })}>
        {taken ? "Give the machine back" : "Take over"}
      </button>
      <Pick label="Fault" value={fault} onPick={choose} choices={faults.map((f) => [f.name, f.title])} />
      <button type="button" onClick={() => link.room("fault", { seat: link.watching, name: fault })}>Let it begin</button>
      <button type="button" onClick={() => link.room("freeze", { on: !link.classView?.frozen })}>{link.classView?.frozen ? "Let everybody go on" : "Stop everybody"}</button>
      {link.refusal && <span role="alert">{link.refusal.why}</span>}
    </div>
  );
}
