// What the controller is told: a line, a touch, a move, a routine, a program, what it shall watch.

import { useState } from "preact/hooks";
import { plainly, unitKey, unitOf, type Act } from "./desk";
import { Area, Field, figures, Form, named, Numbers, Pick, still, useTyped } from "./parts";
import type { Argument, Exercise, Item, Modes, Running, Tables, Welcome } from "./types";

interface Props {
  act: Act;
  inch: boolean;
  modes: Modes;
  tables: Tables;
  programs: string[];
  exercise: Exercise | null;
  routines: Welcome["routines"];
  items: Item[];
  running: Running | null;
}

const AXES: [string, string][] = [["x_mm", "X"], ["y_mm", "Y"], ["z_mm", "Z"]];
const FRAMES: [string, string][] = [["machine", "machine"], ["work", "work"]];

export const Telling = still(({ act, inch, modes, tables, programs, exercise, routines, items }: Props) => {
  const barred = new Set(exercise?.not_allowed ?? []);
  const able = routines.filter((r) => !exercise?.routines || exercise.routines.includes(r.name));
  return (
    <Area id="telling" title="Controller">
      <Chosen act={act} modes={modes} tables={tables} />
      {!barred.has("mdi") && <Typed act={act} units={modes.units} />}
      {!barred.has("touch") && <Touch act={act} inch={inch} tables={tables} />}
      {!barred.has("move") && <Move act={act} inch={inch} />}
      {!barred.has("spin") && <Spin act={act} rpm={modes.spindle_rpm} />}
      {!barred.has("jog-back") && <JogBack act={act} tables={tables} />}
      {!barred.has("routine") && able.length > 0 && <Routines act={act} inch={inch} routines={able} tables={tables} items={items} />}
      {!barred.has("program") && <Programs act={act} programs={programs} />}
    </Area>
  );
});

function Chosen({ act, modes, tables }: { act: Act; modes: Modes; tables: Tables }) {
  const rows: [string, string][] = [["0", "none"], ...tables.rows.map((r) => [String(r.row), `row ${r.row}`] as [string, string])];
  return (
    <div class="line-form">
      <Pick label="Work system" value={modes.system} choices={Object.keys(tables.systems).map((s) => [s, s])}
        onPick={(system) => void act({ do: "select", system })} />
      <Pick label="Length in use" value={String(modes.length_row)} choices={rows}
        onPick={(row) => void act({ do: "select", length_row: Number(row) })} />
      <Pick label="Touch watches" value={modes.selected ?? ""} choices={[...(modes.selected ? [] : [["", "none"] as [string, string]]), ...named(Object.keys(tables.records))]}
        onPick={(setter) => setter && void act({ do: "select-setter", setter })} />
    </div>
  );
}

function Typed({ act, units }: { act: Act; units: string }) {
  const [line, type] = useState("");
  return (
    <Form label="Type one line" send="Do this line" onSend={() => line.trim() && void act({ do: "mdi", line })}>
      <Field label={`One line, in ${units === "inch" ? "inches" : "mm"}`} value={line} onInput={type} kind="text" wide />
    </Form>
  );
}

const STORES: [string, string][] = [["", "nothing"], ["length", "row's length"], ["reference", "setter's reference"], ["work-z", "work Z"]];

function Touch({ act, inch, tables }: { act: Act; inch: boolean; tables: Tables }) {
  const [typed, set] = useTyped({ z_mm: "", feed_mm_per_min: inch ? "1" : "25" });
  const [frame, choose] = useState("machine");
  const [store, keep] = useState("");
  const [row, take] = useState(String(tables.rows[0]?.row ?? 1));
  const [system, into] = useState("G54");
  const send = () => void act({
    do: "touch", frame, ...figures(typed, inch), ...(store ? { store } : {}),
    ...(store === "length" || store === "work-z" ? { row: Number(row) } : {}), ...(store === "work-z" ? { system } : {}),
  });
  return (
    <fieldset>
      <legend>Touch: feed down until the input comes on</legend>
      <Form label="Touch" send="Touch" onSend={send}>
        <Numbers inch={inch} typed={typed} set={set} keys={[["z_mm", "Down to Z"], ["feed_mm_per_min", "Feed"]]} />
        <Pick label="Counted in" value={frame} onPick={choose} choices={FRAMES} />
        <Pick label="Then store" value={store} onPick={keep} choices={STORES} />
        {(store === "length" || store === "work-z") && (
          <Pick label="Row" value={row} onPick={take} choices={tables.rows.map((r) => [String(r.row), `row ${r.row}`])} />
        )}
        {store === "work-z" && <Pick label="System" value={system} onPick={into} choices={Object.keys(tables.systems).map((s) => [s, s])} />}
      </Form>
    </fieldset>
  );
}

function Move({ act, inch }: { act: Act; inch: boolean }) {
  const [typed, set] = useTyped({ x_mm: "", y_mm: "", z_mm: "", feed_mm_per_min: "" });
  const [frame, choose] = useState("machine");
  return (
    <fieldset>
      <legend>Go to: axes left empty stay, no feed means rapid</legend>
      <Form label="Go to" send="Go" onSend={() => void act({ do: "move", frame, ...figures(typed, inch) })}>
        <Numbers inch={inch} typed={typed} set={set} keys={[...AXES, ["feed_mm_per_min", "Feed"]]} />
        <Pick label="Counted in" value={frame} onPick={choose} choices={FRAMES} />
      </Form>
    </fieldset>
  );
}

function Spin({ act, rpm }: { act: Act; rpm: number }) {
  const [speed, set] = useState("");
  return (
    <Form label="Turn the spindle by its motor" send={speed === "" || Number(speed) === 0 ? "Stop the spindle" : "Start the spindle"}
      onSend={() => Number.isFinite(Number(speed)) && void act({ do: "spin", rpm: Number(speed) })}>
      <Field label={`Spindle, now ${Math.round(rpm)}`} unit="1/min, − against the cut" value={speed} onInput={set} wide />
    </Form>
  );
}

function JogBack({ act, tables }: { act: Act; tables: Tables }) {
  const [system, into] = useState("G54");
  const [row, take] = useState("");
  return (
    <Form label="Jog back to the surface" send="Step down to the surface and read"
      onSend={() => void act({ do: "jog-back", system, ...(row ? { row: Number(row) } : {}) })}>
      <Pick label="Cross-check in" value={system} onPick={into} choices={Object.keys(tables.systems).map((s) => [s, s])} />
      <Pick label="With the length of" value={row} onPick={take}
        choices={[["", "the row in use"], ...tables.rows.map((r) => [String(r.row), `row ${r.row}`] as [string, string])]} />
    </Form>
  );
}

/** What there is to choose from for an argument; null where it is typed. */
function choicesFor({ name, kind, required, default: usual }: Argument, tables: Tables, items: Item[]): [string, string][] | null {
  if (/bool/.test(kind)) return [["", `as usual: ${usual ? "yes" : "no"}`], ["yes", "yes"], ["no", "no"]];
  const none: [string, string] = ["", required ? "choose" : name === "setter" ? "the watched one" : "none"];
  if (name === "setter") return [none, ...named(Object.keys(tables.records))];
  if (name === "block") return [none, ...named(items.filter((i) => i.kind === "block").map((i) => i.item))];
  if (name === "system") return [none, ...Object.keys(tables.systems).map((s) => [s, s] as [string, string])];
  return null;
}

/** A usual value as it is typed: lengths in the unit that is shown. */
function usually({ name, default: usual }: Argument, inch: boolean): string {
  if (typeof usual !== "number") return "";
  return String(inch && /_mm(_per_min)?$/.test(name) ? +(usual / 25.4).toFixed(4) : usual);
}

function Routines({ act, inch, routines, tables, items }: {
  act: Act; inch: boolean; routines: Welcome["routines"]; tables: Tables; items: Item[];
}) {
  const [name, choose] = useState(routines[0].name);
  const [typed, set] = useTyped({});
  const routine = routines.find((r) => r.name === name) ?? routines[0];
  const send = () => {
    const given: Record<string, unknown> = {};
    for (const { name: key, kind } of routine.arguments) {
      const text = (typed[`${name} ${key}`] ?? "").trim();
      if (text === "") continue;
      const value = Number(text.replace(",", "."));
      if (/bool/.test(kind)) given[key] = text === "yes";
      else if (/str/.test(kind)) given[key] = text;
      else given[unitKey(key, inch)] = value;
    }
    void act({ do: "routine", name, with: given });
  };
  return (
    <fieldset>
      <legend>Routine</legend>
      <Form label="Run a routine" send="Run it" onSend={send}>
        <Pick label="Routine" value={name} onPick={choose} choices={named(routines.map((r) => r.name))} />
        {routine.arguments.map((a) => {
          const key = `${name} ${a.name}`;
          const label = plainly(a.name.replace(/_mm(_per_min)?$|_rpm$|_s$|_deg$/, "")) + (a.required ? " (needed)" : "");
          const choices = choicesFor(a, tables, items);
          return choices
            ? <Pick key={key} label={label} value={typed[key] ?? ""} choices={choices} onPick={set(key)} />
            : <Field key={key} label={label} unit={unitOf(a.name, inch)} value={typed[key] ?? ""} usual={usually(a, inch)} onInput={set(key)} />;
        })}
      </Form>
      <p class="soft">
        {routine.summary}
        {routine.arguments.some((a) => a.name.startsWith("expected_")) && " With what is expected typed in, it goes near by itself; without, it feels its way down from the top, which takes minutes."}
      </p>
    </fieldset>
  );
}

function Programs({ act, programs }: { act: Act; programs: string[] }) {
  const [file, choose] = useState(programs[0] ?? "");
  const [single, step] = useState(false);
  if (programs.length === 0) return null;
  return (
    <fieldset>
      <legend>Program</legend>
      <Form label="Run a program" send="Run it" onSend={() => void act({ do: "program", file, ...(single ? { single_block: true } : {}) })}>
        <Pick label="Program" value={file} onPick={choose} choices={named(programs)} />
        <label class="tick"><input type="checkbox" checked={single} onChange={(e) => step(e.currentTarget.checked)} /> wait before each line</label>
      </Form>
    </fieldset>
  );
}
