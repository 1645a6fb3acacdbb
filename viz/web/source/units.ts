// Millimetres or inches: every text of the page passes through here once.

let inch = false;

export function useInch(on: boolean): void {
  inch = on;
}

export function showsInch(): boolean {
  return inch;
}

export function written(value: number, places: number): string {
  const text = value.toFixed(places);
  return Number(text) === 0 ? text.replace("-", "") : text;
}

/** A length in the unit chosen: an inch shows one digit more. */
export function length(mm: number, places = 3): string {
  return inch ? `${written(mm / 25.4, places + 1)} in` : `${written(mm, places)} mm`;
}

/** A small travel: micrometres, or thousandths of an inch. */
export function small(mm: number): string {
  if (inch) return `${written((mm / 25.4) * 1000, 2)} thou`;
  const um = mm * 1000;
  return `${written(um, Math.abs(um) < 99.95 ? 1 : 0)} µm`;
}

export function time(s: number): string {
  return `${written(s, 3)} s`;
}

/** The same text with its lengths and speeds in inches, when those are chosen. */
export function shown(text: string): string {
  if (!inch) return text;
  return text
    .replace(/([+-]?\d+(?:\.\d+)?)\s?mm(\/s|\/min)?(?![\w²])/g, (_, number: string, per?: string) => {
      const places = (number.split(".")[1] ?? "").length + (per ? 2 : 1);
      const value = Number(number) / 25.4;
      const sign = number.startsWith("+") && value >= 0 ? "+" : "";
      return `${sign}${written(value, places)} in${per ?? ""}`;
    })
    .replace(/([+-]?\d+(?:\.\d+)?)\s?[µu]m\b/g, (_, number: string) => `${written(Number(number) / 25.4, 2)} thou`);
}
