// Notes: what is written in the controller. What this job measures can be typed over, so mistakes are possible.

import { plainly, shownLength, unitKey, type Act } from "./desk";
import { Area, Cell, still } from "./parts";
import type { Tables } from "./types";

export const Notes = still(({ act, inch, tables }: { act: Act; inch: boolean; tables: Tables }) => {
  const unit = inch ? "in" : "mm";
  const type = (more: Record<string, unknown>, key: string) => (value: number) =>
    void act({ do: "type-in", ...more, [unitKey(key, inch)]: value });
  return (
    <Area id="notes" title="Notes" note={`stored in the controller, ${unit}; type over to change`}>
      <table>
        <caption>Tools</caption>
        <thead><tr><th scope="col">Row</th><th scope="col">Tool</th><th scope="col">Length</th><th scope="col">Wear</th></tr></thead>
        <tbody>
          {tables.rows.map((row) => (
            <tr key={row.row}>
              <th scope="row">{row.row}</th>
              <td>{plainly(row.tool ?? "")}</td>
              <td><Cell label={`Length, row ${row.row}`} shown={shownLength(row.length_mm, inch)} onSend={type({ row: row.row }, "length_mm")} /></td>
              <td><Cell label={`Wear, row ${row.row}`} shown={shownLength(row.wear_mm, inch)} onSend={type({ row: row.row }, "wear_mm")} /></td>
            </tr>
          ))}
        </tbody>
      </table>
      {Object.entries(tables.records).map(([name, record]) => (
        <div key={name} class="record" role="group" aria-label={`Setter ${plainly(name)}`}>
          <h3>
            Setter{name === "setter" ? "" : ` ${plainly(name)}`}: {record.reference_z_mm === null ? "no reference"
              : record.reference_valid ? `reference by ${record.reference_by ?? "hand"}` : `reference not valid${record.stale ? `, ${record.stale}` : ""}`}
          </h3>
          {SETTER.map(([key, label]) => (
            <label key={key} class="field">
              <span>{label}</span>
              <Cell label={`${label}, setter ${plainly(name)}`} shown={key === "input" ? String(record.input ?? "") : shownLength((record as any)[key], inch)}
                onSend={key === "input" ? (value) => void act({ do: "type-in", setter: name, input: value }) : type({ setter: name }, key)} />
            </label>
          ))}
        </div>
      ))}
      <table>
        <caption>Work systems, origins in machine</caption>
        <thead><tr><th scope="col">System</th><th scope="col" class="figure">X</th><th scope="col" class="figure">Y</th><th scope="col">Z</th></tr></thead>
        <tbody>
          {Object.entries(tables.systems).map(([system, origin]) => (
            <tr key={system}>
              <th scope="row">{system}</th>
              <td class="figure">{shownLength(origin[0], inch)}</td><td class="figure">{shownLength(origin[1], inch)}</td>
              <td><Cell label={`Z of ${system}`} shown={shownLength(origin[2], inch)} onSend={type({ system }, "z_mm")} /></td>
            </tr>
          ))}
        </tbody>
      </table>
      {tables.shift_mm.some((value) => value !== 0) && (
        <p><b>A shift of all systems is active:</b> {tables.shift_mm.map((value) => shownLength(value, inch)).join(", ")} {unit}</p>
      )}
      {Object.entries(tables.noted).map(([block, z]) => <p key={block}>Noted with {plainly(block)}: Z {shownLength(z, inch)} {unit}</p>)}
    </Area>
  );
});

const SETTER: [string, string][] = [
  ["input", "Input"], ["x_mm", "X"], ["y_mm", "Y"], ["reference_z_mm", "Reference Z"], ["clearance_z_mm", "Clearance Z"],
  ["height_mm", "Height"], ["master_length_mm", "Master length"],
];
