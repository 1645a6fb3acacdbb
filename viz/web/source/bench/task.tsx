// Task: the goal, what is asked for, hints, answers, the end; and afterwards the debrief.

import { useEffect } from "preact/hooks";
import { Sign } from "../signs";
import { capital, clock, plainly, shownFeed, shownLength, type Act, type Desk } from "./desk";
import { shown } from "../units";
import { Area, Do, See, still } from "./parts";
import type { Debrief, Exercise, Seat, Welcome } from "./types";

export const Task = still(({ act, exercise, scenario, watches, again }: {
  act: Act; exercise: Exercise | null; scenario: string; watches: boolean; again: () => void;
}) => {
  if (!exercise) {
    return (
      <Area id="task" title="Task">
        <p>No exercise: try what you like. What you do can be saved as a scenario.</p>
        <p class="row"><a class="button" href={scenario} download>Save as scenario</a>{!watches && <button type="button" onClick={again}>Something else</button>}</p>
      </Area>
    );
  }
  const cost = exercise.hints_left[0];
  return (
    <Area id="task" title="Task">
      <p>{exercise.story.trim()}</p>
      <p class="goal">{exercise.goal.trim()}</p>
      {exercise.proofs.length > 0 && (
        <>
          <h3>Proofs that are looked for</h3>
          <ul>{exercise.proofs.map((proof) => <li key={proof.proof}>{proof.words}</li>)}</ul>
        </>
      )}
      {exercise.numbers.length > 0 && <p class="soft">Numbers that are compared with the truth: {exercise.numbers.join(", ")}.</p>}
      {exercise.questions.map((question) => (
        <fieldset key={question.question}>
          <legend>{question.ask}</legend>
          {question.choices.map((choice) => (
            <label key={choice} class="tick">
              <input type="radio" name={question.question} checked={question.answer === choice}
                onChange={() => void act({ do: "answer", question: question.question, choice })} /> {choice}
            </label>
          ))}
        </fieldset>
      ))}
      {exercise.hints_given.map((hint) => <p key={hint} class="hint"><b>Hint:</b> {hint}</p>)}
      <p class="row">
        <Do act={act} action={{ do: "hint" }} disabled={cost === undefined}>
          {cost === undefined ? "No more hints" : `Hint (costs ${cost} points)`}
        </Do>
        <Do act={act} action={{ do: "finish" }} strong>I am done: judge it</Do>
      </p>
      <details>
        <summary>How it is judged</summary>
        <p>100 points to begin with; usual time {clock(exercise.par_s)}. Taken off:</p>
        <ul>{exercise.rules.map((rule) => <li key={rule.key}>{rule.points} for {rule.words}{rule.most !== rule.points && ` (${rule.most} at most)`}</li>)}</ul>
      </details>
      {/* A trainee gets the file after the end: it holds whatever is to be found out. */}
      <p class="row">
        {watches ? <a class="button" href={scenario} download>Save as scenario</a> : <button type="button" onClick={again}>Another exercise</button>}
      </p>
    </Area>
  );
});

/** A number with its unit, or words where there is none; and where there is a time, a way to see it. */
function Risk({ words, value, from, replay }: { words: string; value: string; from: number | null | undefined; replay: string }) {
  return (
    <li>{words}: {value} {typeof from === "number" && <See href={`${replay}#at=${from.toFixed(3)}`} what={words.toLowerCase()} />}</li>
  );
}

/** What was just judged is what is read next. */
function Opens() {
  useEffect(() => {
    const place = document.getElementById("task");
    place?.scrollIntoView({ block: "start" });
    // The button that was pressed is gone: the keyboard goes on from here.
    if (document.activeElement === document.body) place?.focus({ preventScroll: true });
  }, []);
  return null;
}

export const Told = still(({ act, debrief, inch, look, outline, believed, replay, scenario, watches, again, seat }: {
  act: Act; debrief: Debrief; inch: boolean; look: Welcome["look"]; outline: boolean; believed: string; replay: string; scenario: string;
  watches: boolean; again: () => void; seat: Seat;
}) => {
  const verdict = look.verdicts[debrief.verdict] ?? { word: debrief.verdict.toUpperCase(), meaning: "the goal was not reached", sign: "ring", colour: "#55606c" };
  const risk = debrief.risk;
  return (
    <Area id="task" title="Debrief">
      <Opens />
      <p class="verdict" style={{ color: verdict.colour }}><Sign look={verdict} size={34} /> {verdict.word} <span>{debrief.score} of 100</span></p>
      <p class="soft">{capital(verdict.meaning)}. {debrief.passed ? "Passed." : "Not passed."} Time {clock(debrief.time_s)}, usual {clock(debrief.par_s)}; hints: {debrief.hints.used}.{seat.attempt !== null && ` Kept as attempt ${seat.attempt}.`}</p>
      <p class="better"><b>The one thing to do better:</b> {shown(debrief.do_better)}</p>
      <p class="row">
        <a class="button strong" href={replay} target="_blank" rel="noopener">Replay it</a>
        <Do act={act} action={{ do: "outline", on: !outline }} pressed={outline}>Show what was believed</Do>
        <a class="button" href={scenario} download>Save as scenario</a>
        {!watches && <button type="button" onClick={again}>Another exercise</button>}
      </p>
      {believed && <ul aria-label="What was believed">{believed.split("\n").map((text) => <li key={text}>{capital(text.replace(/ here, (?!and)/, " "))}</li>)}</ul>}
      {debrief.numbers.length > 0 && (
        <table>
          <caption>Numbers, {inch ? "in" : "mm"}</caption>
          <thead><tr><th scope="col">Number</th><th scope="col">Yours</th><th scope="col">True</th><th scope="col">Error</th><th scope="col">Limit</th></tr></thead>
          <tbody>
            {debrief.numbers.map((n) => (
              <tr key={n.name} class={n.within === false ? "off" : ""}>
                <th scope="row">{n.name}</th>
                {n.yours === null ? <td colSpan={4}>not there</td> : (
                  <>
                    <td>{shownLength(n.yours, inch)}</td><td>{shownLength(n.true, inch)}</td>
                    <td>{shownLength(n.error, inch)}{n.within === false && " !"}</td><td>{shownLength(n.limit, inch)}</td>
                  </>
                )}
              </tr>
            ))}
          </tbody>
        </table>
      )}
      {debrief.skipped.length > 0 && <h3>Skipped</h3>}
      <ul>{debrief.skipped.map((entry) => <li key={entry.proof + entry.of}><b>{entry.words}</b>: not for {entry.of}. {entry.why}</li>)}</ul>
      {debrief.missing.length > 0 && <p><b>Still missing:</b> {debrief.missing.map(plainly).join(", ")}.</p>}
      {debrief.findings.length > 0 && <h3>Findings</h3>}
      {debrief.findings.map((finding, i) => (
        <div key={i} class="finding">
          <p><b>{capital(plainly(finding.code))}</b>, {clock(finding.time_s)}: {shown(`${finding.what} ${finding.why} ${finding.avoid}`)}</p>
          <See href={`${replay}#finding=${finding.number}`} what={`${plainly(finding.code)}, ${clock(finding.time_s)}`} />
        </div>
      ))}
      {debrief.answers.map((answer) => (
        <p key={answer.ask}><b>{answer.ask}</b> {answer.right ? "Right" : `You said: ${answer.yours ?? "nothing"}; it is`}: {answer.right_answer}. {answer.because}</p>
      ))}
      <h3>Risk taken</h3>
      <ul>
        <Risk words="Nearest miss" value={typeof risk.nearest_miss_mm === "number" ? `${shownLength(risk.nearest_miss_mm, inch)} ${inch ? "in" : "mm"}` : "none"}
          from={risk.nearest_miss_from_s} replay={replay} />
        <Risk words="Fastest approach" value={risk.fastest_approach_mm_per_min ? shownFeed(risk.fastest_approach_mm_per_min, inch) : "none"}
          from={risk.fastest_approach_from_s} replay={replay} />
        <Risk words="Highest rapid override" value={`${Math.round((risk.highest_rapid_override ?? 1) * 100)} %`} from={null} replay={replay} />
      </ul>
      {debrief.score_lines.length > 0 && (
        <>
          <h3>Points</h3>
          <ul>{debrief.score_lines.map((line) => <li key={line.words}>−{line.cost}: {line.words}{line.times > 1 && `, ${line.times} times`}</li>)}</ul>
        </>
      )}
      <p class="soft">{debrief.teaches}</p>
    </Area>
  );
});

export function Choose({ desk, close }: { desk: Desk; close: (() => void) | null }) {
  const { link } = desk;
  const { exercises, machines, offered, as_class } = link.welcome!;
  const open = (exercise: string) => {
    const form = new FormData(document.getElementById("choose") as HTMLFormElement);
    const name = String(form.get("name") ?? "");
    localStorage.setItem("bench-name", name);
    link.room("open", { exercise, machine: form.get("machine") || null, name });
    close?.();
  };
  const done = (name: string) => {
    const row = link.progress.find((entry) => entry.exercise === name);
    return row ? ` · ${row.passed ? "passed" : "not passed yet"}, best ${row.best_score} in ${row.attempts}` : "";
  };
  return (
    <main class="choose">
      <form id="choose" class="line-form" onSubmit={(event) => event.preventDefault()}>
        <h1>What do you want to practise?</h1>
        {!as_class && <label class="field"><span>Your name, or nothing</span><input name="name" defaultValue={localStorage.getItem("bench-name") ?? ""} maxLength={40} /></label>}
        {as_class && <input type="hidden" name="name" value={localStorage.getItem("bench-name") ?? ""} />}
        <label class="field">
          <span>Machine</span>
          <select name="machine"><option value="">the exercise's own</option>{machines.map((m) => <option key={m.name} value={m.name}>{m.title || plainly(m.name)}</option>)}</select>
        </label>
        {close && <button type="button" onClick={close}>Back</button>}
      </form>
      {link.sorry && <p class="sorry" role="alert">{link.sorry.why}</p>}
      <ul class="exercises">
        {offered && !exercises.some((e) => e.name === offered) && <li><button type="button" onClick={() => open(offered)}><b>{plainly(offered)}</b></button></li>}
        {exercises.map((exercise) => (
          <li key={exercise.name}>
            <button type="button" onClick={() => open(exercise.name)}>
              <b>{exercise.title}</b>
              <span>{exercise.goal}</span>
              <small>{plainly(exercise.machine)}, about {Math.max(Math.round(exercise.par_s / 60), 1)} min{done(exercise.name)}</small>
            </button>
          </li>
        ))}
      </ul>
    </main>
  );
}
