// Hands: what is done standing at the machine: tools, cable, pad, things on the table, block, rule.

import { useState } from "preact/hooks";
import { plainly, shownLength, type Act } from "./desk";
import { Area, Do, Field, figures, Form, named, Numbers, Pick, still, useTyped } from "./parts";
import type { Input, Item, Modes, State, Tables } from "./types";

interface Props {
  act: Act;
  inch: boolean;
  modes: Modes;
  items: Item[];
  inputs: Input[];
  crib: State["crib"];
  sockets: State["sockets"];
  tables: Tables;
}

export const Hands = still(({ act, inch, modes, items, inputs, crib, sockets, tables }: Props) => {
  const setters = items.filter((item) => item.kind === "setter").map((item) => item.item);
  const blocks = items.filter((item) => item.kind === "block").map((item) => item.item);
  return (
    <Area id="hands" title="Hands">
      <p class="row">
        <Do act={act} action={{ do: "hand", inside: modes.hand === null }} pressed={modes.hand !== null}>
          {modes.hand === null ? "Put a hand in" : "Take the hand out"}
        </Do>
        <span>{modes.hand === null ? "Hands are out." : `A hand is inside, ${modes.hand}.`}</span>
      </p>
      {setters.map((name) => <Cable key={name} act={act} setter={name} inputs={inputs} sockets={sockets} many={setters.length > 1} />)}
      <Tools act={act} crib={crib} modes={modes} tables={tables} />
      <Carry act={act} inch={inch} items={items} />
      {blocks.length > 0 && <Block act={act} inch={inch} blocks={blocks} items={items} />}
      <Rule act={act} tables={tables} setters={setters} />
    </Area>
  );
});

function Cable({ act, setter, inputs, sockets, many }: {
  act: Act; setter: string; inputs: Input[]; sockets: State["sockets"]; many: boolean;
}) {
  const now = inputs.find((input) => input.plug === setter)?.socket ?? null;
  const [socket, choose] = useState(sockets[0]?.socket ?? "");
  return (
    <fieldset>
      <legend>Cable and pad{many && ` of ${plainly(setter)}`}</legend>
      <Form label="Plug the cable in" send="Plug in" onSend={() => void act({ do: "plug-in", setter, socket })}>
        <Pick label="Socket" value={socket} onPick={choose}
          choices={sockets.map((s) => [s.socket, `${plainly(s.socket)} (input ${s.input})`])} />
      </Form>
      <p class="row">
        <Do act={act} action={{ do: "plug-in", setter }} disabled={now === null}>Pull the plug</Do>
        <Do act={act} action={{ do: "press-pad", setter }} strong>Press the pad</Do>
        <span>{now === null ? "The plug lies loose." : `Plugged into ${plainly(now)}.`}</span>
      </p>
    </fieldset>
  );
}

function Tools({ act, crib, modes, tables }: { act: Act; crib: State["crib"]; modes: Modes; tables: Tables }) {
  const [tool, choose] = useState(crib[0]?.tool ?? "");
  const [row, tell] = useState("own");
  const [angle, turn] = useState("");
  const load = (name: string | null) => {
    const slot = row === "own" ? (name === null ? 0 : undefined) : Number(row);
    void act({ do: "load-tool", ...(name === null ? {} : { tool: name }), ...(slot === undefined ? {} : { slot }) });
  };
  const rows: [string, string][] = [["own", "its own row"], ...tables.rows.map((r) => [String(r.row), `row ${r.row}`] as [string, string])];
  return (
    <fieldset>
      <legend>Crib and spindle</legend>
      <Form label="Put a tool into the spindle" send="Put in" onSend={() => load(tool)}>
        <Pick label="Tool" value={tool} onPick={choose} choices={crib.map((t) => [t.tool, plainly(t.tool)])} />
        <Pick label="Tell the controller" value={row} onPick={tell} choices={rows} />
      </Form>
      <p class="row">
        <button type="button" disabled={modes.tool === null} onClick={() => load(null)}>Take the tool out</button>
        <span>{modes.tool === null ? "The spindle is bare." : `In the spindle: ${plainly(modes.tool)}.`}</span>
      </p>
      <Form label="Turn the spindle by hand" send="Turn by hand"
        onSend={() => Number.isFinite(Number(angle)) && angle !== "" && void act({ do: "turn-spindle", to_deg: Number(angle) })}>
        <Field label={`Angle, now ${Math.round(modes.spindle_deg)}`} unit="degrees" value={angle} onInput={turn} />
      </Form>
    </fieldset>
  );
}

function Carry({ act, inch, items }: { act: Act; inch: boolean; items: Item[] }) {
  const [item, choose] = useState(items[0]?.item ?? "");
  const [on, put] = useState("table");
  const [typed, set] = useTyped({ x_mm: "", y_mm: "", lift_mm: "" });
  if (items.length === 0) return null;
  const standing = items.filter((other) => other.standing && other.item !== item).map((other) => other.item);
  const it = items.find((other) => other.item === item);
  return (
    <fieldset>
      <legend>Things on the table</legend>
      <Form label="Put something down" send="Put down" onSend={() => void act({ do: "place", item, on, ...figures(typed, inch) })}>
        <Pick label="What" value={item} onPick={choose} choices={named(items.map((i) => i.item))} />
        <Pick label="On" value={on} onPick={put} choices={named(["table", ...standing])} />
        <Numbers inch={inch} typed={typed} set={set} keys={[["x_mm", "X"], ["y_mm", "Y"], ["lift_mm", "Under it"]]} />
      </Form>
      <p class="row">
        <Do act={act} action={{ do: "take-away", item }} disabled={!it?.standing}>Take it away</Do>
        <span>{it?.standing ? `It stands on the ${plainly(it.on ?? "table")}${placeOf(it, inch)}.` : "It lies beside the machine."}</span>
      </p>
    </fieldset>
  );
}

/** Where a thing stands, as one reads it off a scale; where the pad is, is for the trainee to find. */
function placeOf(item: Item, inch: boolean): string {
  if (item.kind === "setter" || item.x_mm === undefined) return "";
  return `, its middle under the spindle at X ${shownLength(item.x_mm, inch, inch ? 2 : 0)}, Y ${shownLength(item.y_mm, inch, inch ? 2 : 0)}`;
}

function Block({ act, inch, blocks, items }: { act: Act; inch: boolean; blocks: string[]; items: Item[] }) {
  const [block, choose] = useState(blocks[0]);
  const [on, put] = useState("table");
  const [typed, set] = useTyped({ by_mm: inch ? "0.0001" : "0.002" });
  const places = ["table", ...items.filter((i) => i.standing && i.item !== block).map((i) => i.item)];
  return (
    <fieldset>
      <legend>Gauge block</legend>
      <Form label="Try the gauge block" send="Try to slide it under" onSend={() => void act({ do: "feel-block", block, on })}>
        <Pick label="Block" value={block} onPick={choose} choices={named(blocks)} />
        <Pick label="Standing on" value={on} onPick={put} choices={named(places)} />
      </Form>
      <Form label="Step and try again until it drags" send="Step and try till it drags"
        onSend={() => void act({ do: "step-until-feel", block, on, ...figures(typed, inch) })}>
        <Numbers inch={inch} typed={typed} set={set} keys={[["by_mm", "Step, + up"]]} />
      </Form>
      <p class="soft">To slide it under, a hand goes in: drives off. While stepping, the block is held by its end and drawn out before each step.</p>
    </fieldset>
  );
}

const RULED: [string, string][] = [
  ["tool-length", "tool length"], ["tip-to-stock", "tip to stock"], ["tip-to-table", "tip to table"], ["setter-height", "setter height"],
];

function Rule({ act, tables, setters }: { act: Act; tables: Tables; setters: string[] }) {
  const [what, choose] = useState("tool-length");
  const [row, compare] = useState("");
  const send = () => void act({
    do: "rule", what, ...(what !== "setter-height" && row ? { row: Number(row) } : {}),
    ...(what === "setter-height" && setters[0] ? { setter: setters[0] } : {}),
  });
  return (
    <fieldset>
      <legend>Rule</legend>
      <Form label="Hold a rule to it" send="Hold the rule to it" onSend={send}>
        <Pick label="Read" value={what} onPick={choose} choices={RULED} />
        <Pick label="Compare with" value={row} onPick={compare}
          choices={[["", "nothing"], ...tables.rows.map((r) => [String(r.row), `row ${r.row}`] as [string, string])]} />
      </Form>
      <p class="soft">It reads to half a millimetre; a hand goes in.</p>
    </fieldset>
  );
}
