// What the page is given: recordings as docs/recording-format.md has them, and the words about them.

export type Vector = [number, number, number];
export type Piece = [number, number, number, number, number, number, number];
export type Arc = [Vector, number, number, number, "xy" | "zx" | "yz"];

export interface Line {
  id: number;
  kind: string;
  t: [number, number];
  start: Vector;
  direction: Vector;
  arc: Arc | null;
  command_start: Vector;
  dead_mm: number;
  delay_s: number;
  block_mm: number | null;
  source: [number | null, string | null, number | null, string | null];
  pieces: Piece[];
}

export interface Part {
  shape: "box" | "cylinder" | "cone" | "sphere" | "ring" | "mesh";
  size: Record<string, any>;
  at: Vector;
  turn_deg: Vector;
  feature: string;
}

export interface Geometry {
  id: string;
  kind: string;
  cast: string;
  soft: boolean;
  parts: Part[];
}

export interface Pose {
  geometry: number;
  link: string;
  offset: Vector;
  turn_deg: number;
}

export type PadRow = [string, number, number, number, number, number, number | null];

export interface RecordingData {
  scenario: Record<string, any>;
  links: Record<string, Vector>;
  duration_s: number;
  start: Vector;
  geometry: Geometry[];
  scene: [number, "place" | "move" | "remove", string, Pose | null][];
  lines: Line[];
  pads: PadRow[];
  edges: [number, string, 0 | 1][];
  events: [number, string, any][];
  beliefs: [number, string, any][];
  spindle: [number, number, number][];
}

export interface Finding {
  code: string;
  title: string;
  severity: string;
  t: number;
  /** When it is to be seen, which may be later than it was told. */
  seen_t: number;
  sentences: [string, string][];
  figures: [string, string][];
}

export interface NumberRow {
  name: string;
  belief: string;
  truth: string;
  error: string;
  off: boolean;
}

export interface Question {
  t: number;
  /** Codes of findings that would answer the question, until it is answered. */
  hides: string[];
  ask: string;
  choices: string[];
  answer: number;
  because: string;
}

export interface SetterFacts {
  pre_travel_mm?: number;
  overtravel_mm?: number;
  preload_N?: number;
  rate_N_per_mm?: number;
}

export interface Facts {
  setters: Record<string, SetterFacts>;
  sockets: Record<string, number>;
  plugs: Record<string, string>;
  start: Record<string, any>;
  length_convention: string;
}

export interface Entry {
  name: string;
  title: string;
  story: string;
  watch_for: string;
  verdict: string;
  decisive_s: number;
  decisive_code: string;
  findings: Finding[];
  numbers: NumberRow[];
  alarms: string[];
  facts: Facts;
  recording: RecordingData;
}

export interface Material {
  colour: string;
  specular: number;
  gloss: number;
  opacity: number;
  edges: boolean;
}

export interface VerdictLook {
  word: string;
  meaning: string;
  sign: string;
  colour: string;
}

export interface PageData {
  entries: Entry[];
  zero_s: number[];
  zero_label: string;
  questions: Question[];
  display: "mm" | "inch";
  caution: string;
  look: {
    materials: Record<string, Material>;
    labels: Record<string, string>;
    verdicts: Record<string, VerdictLook>;
    ink: string;
    belief: string;
    edge: string;
    background: string;
    background_low: string;
    view_angle_deg: number;
  };
}
