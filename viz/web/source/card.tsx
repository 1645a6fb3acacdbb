// The column's text: the story, a question, a finding with its three sentences, or the result.

import type { Desk, Told } from "./desk";
import type { Asked } from "./player";
import { Sign } from "./signs";
import { shown, time } from "./units";

export function Card({ desk }: { desk: Desk }) {
  const { player } = desk;
  if (player.asked) return <QuestionCard desk={desk} asked={player.asked} />;
  const reading = desk.reading;
  return (
    <section class="card" aria-label="What happened">
      <Chips desk={desk} />
      <div class="card-text">
        {reading === "story" && <Story desk={desk} />}
        {reading === "result" && <Result desk={desk} />}
        {typeof reading === "object" && (desk.hidden(reading) ? <Story desk={desk} /> : <FindingText desk={desk} finding={reading} />)}
      </div>
    </section>
  );
}

function Chips({ desk }: { desk: Desk }) {
  const reading = desk.reading;
  const look = desk.player.page.look.verdicts;
  return (
    <nav class="chips" aria-label="Findings">
      <button aria-pressed={reading === "story"} onClick={() => desk.pick("story")}>Story</button>
      {desk.told.map((finding) => {
        const hidden = desk.hidden(finding);
        return (
          <button key={finding.number} disabled={hidden} aria-pressed={reading === finding} onClick={() => desk.jump(finding)}
            title={hidden ? "answer the question first" : finding.title}>
            {hidden ? "?" : <Sign look={look[finding.severity] ?? look[""]} size={16} />}
            <span class="visually-hidden">{hidden ? "hidden finding" : finding.title}</span> {finding.number}
          </button>
        );
      })}
      <button aria-pressed={reading === "result"} disabled={desk.player.hiddenFrom < Infinity} onClick={() => desk.pick("result")}>Result</button>
    </nav>
  );
}

function Story({ desk }: { desk: Desk }) {
  return (
    <>
      {desk.player.page.entries.map((entry, index) => (
        <div key={index}>
          {desk.player.page.entries.length > 1 && <h2>{"AB"[index]}: {entry.title}</h2>}
          {entry.story && <p>{shown(entry.story)}</p>}
          {entry.watch_for && <p><b class="head">Watch for</b>{shown(entry.watch_for)}</p>}
          {!entry.story && !entry.watch_for && <p>Press Play. Time slows by itself at each contact.</p>}
        </div>
      ))}
    </>
  );
}

function FindingText({ desk, finding }: { desk: Desk; finding: Told }) {
  const look = desk.player.page.look.verdicts[finding.severity] ?? desk.player.page.look.verdicts[""];
  const two = desk.player.replays.length > 1;
  return (
    <>
      <h2 style={{ color: look.colour }}>
        <Sign look={look} size={24} /> {two ? `${"AB"[finding.entry]}: ` : ""}{finding.title}
        <small> {look.word.toLowerCase()}, at {time(finding.t)}</small>
      </h2>
      {finding.sentences.map(([head, text]) => (
        <p key={head}><b class="head">{head}</b>{shown(text)}</p>
      ))}
      {finding.figures.length > 0 && (
        <p class="figures">{finding.figures.map(([name, value]) => <span key={name}>{name} <b>{shown(value)}</b></span>)}</p>
      )}
    </>
  );
}

function Result({ desk }: { desk: Desk }) {
  return (
    <>
      {desk.player.page.entries.map((entry, index) => {
        const look = desk.player.page.look.verdicts[entry.verdict] ?? desk.player.page.look.verdicts[""];
        return (
          <div key={index}>
            <h2 style={{ color: look.colour }}>
              <Sign look={look} size={24} /> {desk.player.page.entries.length > 1 ? `${"AB"[index]}: ` : ""}{look.word}
            </h2>
            <p>{look.meaning[0].toUpperCase() + look.meaning.slice(1)}.</p>
            {entry.numbers.length > 0 && (
              <table>
                <thead><tr><th>Number</th><th>stored</th><th>true</th><th>off by</th></tr></thead>
                <tbody>
                  {entry.numbers.map((row) => (
                    <tr key={row.name}><th>{row.name}</th><td>{shown(row.belief)}</td><td>{shown(row.truth)}</td>
                      <td>{shown(row.error)} {row.off ? <b>✗ too much</b> : "✓"}</td></tr>
                  ))}
                </tbody>
              </table>
            )}
            {entry.alarms.map((text) => <p key={text}><b class="head">Alarm</b>{shown(text)}</p>)}
          </div>
        );
      })}
    </>
  );
}

function QuestionCard({ desk, asked }: { desk: Desk; asked: Asked }) {
  const done = asked.chosen >= 0;
  const right = asked.chosen + 1 === asked.answer;
  return (
    <section class="card question" aria-label="Question">
      <h2><span class="query" aria-hidden="true">?</span> What happens next?</h2>
      <div class="card-text">
        <p class="ask">{shown(asked.ask)}</p>
        <ol class="choices">
          {asked.choices.map((choice, index) => {
            const is = index + 1 === asked.answer;
            const sign = !done ? "" : is ? "✓ " : index === asked.chosen ? "✗ " : "";
            return (
              <li key={choice}>
                <button disabled={done} class={done && is ? "is-right" : done && index === asked.chosen ? "is-wrong" : ""}
                  onClick={() => desk.player.answer(index)}>
                  <kbd>{index + 1}</kbd> {sign}{shown(choice)}
                </button>
              </li>
            );
          })}
        </ol>
        {done && (
          <>
            <p class="because"><b>{right ? "Right." : "Not so."}</b> {shown(asked.because)}</p>
            <button class="go-on" autofocus onClick={() => desk.player.goOn()}>Watch it happen ▶</button>
          </>
        )}
        {!done && <button class="skip" onClick={() => desk.player.goOn()}>Don't ask, play on</button>}
      </div>
    </section>
  );
}
