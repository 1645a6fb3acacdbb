// What the server sends: sim/bench/describe.py and docs/bench-messages.md say what each key means.

import type { Facts, Geometry, PageData, Vector } from "../data";

export type Axis = "x" | "y" | "z";
export type Towards = "+" | "-";

export interface Look extends Record<string, unknown> {
  materials: PageData["look"]["materials"];
}

export interface Running {
  n: number;
  do: string;
  name: string;
  since_s: number;
  line: { file: string; line: number; text: string } | null;
}

export interface Input {
  number: number;
  socket: string;
  on: boolean;
  proved: boolean;
  watched: boolean;
  plug: string | null;
}

export interface Row {
  row: number;
  length_mm: number | null;
  wear_mm: number;
  diameter_mm: number;
  tool: string | null;
  place: string;
}

export interface SetterRecord {
  input: number | null;
  x_mm: number | null;
  y_mm: number | null;
  clearance_z_mm: number | null;
  height_mm: number | null;
  reference_z_mm: number | null;
  reference_valid: boolean;
  reference_by: string | null;
  master_length_mm: number | null;
  stale: string;
}

export interface Tables {
  rows: Row[];
  systems: Record<string, Vector>;
  shift_mm: Vector;
  records: Record<string, SetterRecord>;
  noted: Record<string, number>;
}

export interface Item {
  item: string;
  kind: string;
  standing: boolean;
  on?: string;
  x_mm?: number;
  y_mm?: number;
}

export interface Modes {
  drives: boolean;
  homed: boolean;
  e_stop: boolean;
  hold: boolean;
  rapid_override: number;
  feed_override: number;
  system: string;
  length_row: number;
  slot: number;
  tool: string | null;
  units: string;
  incremental: boolean;
  spindle_rpm: number;
  spindle_deg: number;
  selected: string | null;
  hand: string | null;
}

export interface Exercise {
  name: string;
  title: string;
  story: string;
  goal: string;
  numbers: string[];
  states: string[];
  proofs: { proof: string; words: string }[];
  questions: { question: string; ask: string; choices: string[]; answer: string | null }[];
  hints_given: string[];
  hints_left: number[];
  par_s: number;
  not_allowed: string[];
  routines: string[] | null;
  rules: { key: string; points: number; most: number; words: string }[];
}

export interface Seat {
  number: number;
  name: string;
  exercise: string;
  machine: string;
  taken_over: boolean;
  attempt: number | null;
  pages: number;
}

/** After the end: where the controller takes the face to be, and its tables as recordings name them. */
export interface Believed extends Pick<Facts, "setters" | "length_convention"> {
  face: Vector;
  told: Record<string, any>;
}

export interface State {
  time_s: number;
  pace: number;
  frozen: boolean;
  over: boolean;
  display: "mm" | "inch";
  position: { machine: Vector; work: Vector; machine_mm: Vector; decimals: number };
  modes: Modes;
  inputs: Input[];
  alarm: { code: string; message: string } | null;
  moving: string | null;
  speed_mm_per_min: number;
  running: Running | null;
  hands: Running | null;
  key: { axis: Axis; towards: Towards } | null;
  tables: Tables;
  crib: { tool: string; title: string }[];
  items: Item[];
  sockets: { socket: string; input: number }[];
  poses: { axes: Vector; spindle_deg: number; pads: Record<string, number> };
  outline: boolean;
  belief: Believed | null;
  programs: string[];
  exercise: Exercise | null;
  seat: Seat;
}

export interface SceneData {
  version: number;
  links: Record<string, Vector>;
  bodies: { id: string; link: string; offset: Vector; geometry: Geometry }[];
}

export interface Happening {
  n: number;
  time_s: number;
  kind: string;
  [key: string]: any;
}

export interface Argument {
  name: string;
  unit: string;
  kind: string;
  required: boolean;
  default: any;
}

export interface Welcome {
  role: "trainee" | "instructor";
  offered: string | null;
  as_class: boolean;
  look: PageData["look"];
  caution: string;
  exercises: { name: string; title: string; goal: string; machine: string; par_s: number }[];
  machines: { name: string; title: string }[];
  routines: { name: string; summary: string; arguments: Argument[] }[];
  faults: { name: string; title: string }[];
}

export interface Debrief {
  verdict: string;
  passed: boolean;
  score: number;
  do_better: string;
  run_verdict: string;
  teaches: string;
  numbers: { name: string; wanted: boolean; yours: number | null; true: number | null; error: number | null; limit: number | null; within: boolean | null }[];
  states: Record<string, boolean>;
  answers: { ask: string; yours: string | null; right_answer: string; right: boolean; because: string }[];
  findings: { code: string; severity: string; time_s: number; [key: string]: any }[];
  skipped: { proof: string; of: string; words: string; why: string }[];
  missing: string[];
  alarms: { time_s: number; code: string; message: string }[];
  risk: Record<string, number | null>;
  time_s: number;
  par_s: number;
  hints: { used: number; cost: number };
  score_lines: { words: string; times: number; cost: number }[];
}

export interface Progress {
  exercise: string;
  attempts: number;
  passed: number;
  best_score: number;
}

export interface Glance extends Seat {
  title: string;
  time_s: number;
  doing: string | null;
  alarm: string | null;
  e_stop: boolean;
  hints: number;
  verdict: string | null;
  score: number | null;
  here: boolean;
}

export interface ClassView {
  seats: Glance[];
  frozen: boolean;
  code: string;
  done: { trainee: string; exercise: string; attempts: number; passed: number; best_score: number; last_attempt: number;
    findings: { code: string; time_s: number }[] }[];
  failing: { exercise: string; kind: string; code: string; attempts: number; trainees: number }[];
}
