// Small pieces that all areas are made of.

import { Component, h, type ComponentChildren } from "preact";
import { useState } from "preact/hooks";
import { plainly, unitKey, unitOf, type Act } from "./desk";

/** Drawn again only when something that it is given has changed. */
export function still<P extends object>(render: (props: P) => ComponentChildren) {
  return class Still extends Component<P> {
    shouldComponentUpdate(next: Readonly<P>): boolean {
      const [a, b] = [this.props as any, next as any];
      return Object.keys({ ...a, ...b }).some((key) => a[key] !== b[key]);
    }

    render() {
      return h(render as any, this.props as any);
    }
  };
}

export function Area({ id, title, children, note }: { id: string; title: string; note?: string; children: ComponentChildren }) {
  return (
    <section id={id} class="area" aria-labelledby={`${id}-title`} tabIndex={-1}>
      <h2 id={`${id}-title`}>{title}{note && <small> {note}</small>}</h2>
      {children}
    </section>
  );
}

/** Opens the replay where something happened. */
export function See({ href, what }: { href: string; what: string }) {
  return <a class="button see" href={href} target="_blank" rel="noopener" aria-label={`See it happen: ${what}`}><span aria-hidden="true">▶</span> See it happen</a>;
}

export function Pick({ label, value, choices, onPick }: {
  label: string; value: string; choices: [string, string][]; onPick: (value: string) => void;
}) {
  return (
    <label class="field">
      <span>{label}</span>
      <select value={value} onChange={(event) => onPick(event.currentTarget.value)}>
        {choices.map(([key, words]) => <option key={key} value={key}>{words}</option>)}
      </select>
    </label>
  );
}

export function Field({ label, value, unit, onInput, kind = "decimal", wide, usual }: {
  label: string; value: string; unit?: string; onInput: (value: string) => void; kind?: "decimal" | "text"; wide?: boolean; usual?: string;
}) {
  return (
    <label class={wide ? "field wide" : "field"}>
      <span>{label}{unit && <i> {unit}</i>}</span>
      <input type="text" inputMode={kind} value={value} placeholder={usual} autocomplete="off" spellcheck={false}
        onInput={(event) => onInput(event.currentTarget.value)} />
    </label>
  );
}

export function Form({ label, onSend, children, send }: {
  label: string; send: string; onSend: () => void; children: ComponentChildren;
}) {
  return (
    <form class="line-form" aria-label={label} onSubmit={(event) => { event.preventDefault(); onSend(); }}>
      {children}
      <button type="submit">{send}</button>
    </form>
  );
}

/** One number of a table: typed over, sent with Enter or on leaving. */
export function Cell({ label, shown, onSend }: { label: string; shown: string; onSend: (value: number) => void }) {
  const [typed, type] = useState<string | null>(null);
  const send = () => {
    const value = typed === null || typed.trim() === "" ? NaN : Number(typed.replace(",", "."));
    if (Number.isFinite(value) && typed !== shown) onSend(value);
    type(null);
  };
  return (
    <input class="cell" type="text" inputMode="decimal" aria-label={label} value={typed ?? shown} placeholder="none" autocomplete="off"
      onInput={(event) => type(event.currentTarget.value)} onBlur={send}
      onKeyDown={(event) => {
        if (event.key === "Enter") { event.preventDefault(); send(); }
      }} />
  );
}

/** Typed numbers as an action's figures, in the unit that is shown; empty ones are left out. */
export function figures(typed: Record<string, string>, inch: boolean): Record<string, number> {
  const found: Record<string, number> = {};
  for (const [key, text] of Object.entries(typed)) {
    const value = Number(text.replace(",", "."));
    if (text.trim() !== "" && Number.isFinite(value)) found[unitKey(key, inch)] = value;
  }
  return found;
}

export function useTyped(start: Record<string, string>): [Record<string, string>, (key: string) => (value: string) => void] {
  const [typed, type] = useState(start);
  return [typed, (key) => (value) => type((before) => ({ ...before, [key]: value }))];
}

export function Numbers({ keys, typed, set, inch }: {
  keys: [string, string][]; typed: Record<string, string>; set: (key: string) => (value: string) => void; inch: boolean;
}) {
  return (
    <>
      {keys.map(([key, label]) => (
        <Field key={key} label={label} unit={unitOf(key, inch)} value={typed[key] ?? ""} onInput={set(key)} />
      ))}
    </>
  );
}

export function Do({ act, action, children, pressed, disabled, strong }: {
  act: Act; action: Record<string, unknown>; children: ComponentChildren; pressed?: boolean; disabled?: boolean; strong?: boolean;
}) {
  return (
    <button type="button" class={strong ? "strong" : undefined} aria-pressed={pressed} disabled={disabled} onClick={() => void act(action)}>
      {children}
    </button>
  );
}

export function named(names: string[]): [string, string][] {
  return names.map((name) => [name, plainly(name)]);
}
