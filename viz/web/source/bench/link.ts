// The line to the server: says hello, comes back by itself, and keeps what was told.

import type { ClassView, Debrief, Happening, Progress, SceneData, State, Welcome } from "./types";

/** While something moves or a key is down, the server hears from this page so often. */
const BEAT_MS = 40;
const AGAIN_MS = [100, 300, 700, 1500];
const MOST_EVENTS = 400;

export interface Reply {
  ok: boolean;
  do?: string;
  code?: string;
  why?: string;
  fix?: string;
  [key: string]: any;
}

export class Link {
  welcome: Welcome | null = null;
  state: State | null = null;
  scene: SceneData | null = null;
  events: Happening[] = [];
  debrief: Debrief | null = null;
  classView: ClassView | null = null;
  progress: Progress[] = [];
  sorry: { why: string; at: string } | null = null;
  refusal: { why: string; fix: string; n: number } | null = null;
  connected = false;
  watching: number | null = null;
  session = localStorage.getItem("bench-session") ?? "";
  readonly given = new URLSearchParams(location.hash.slice(1));
  private socket: WebSocket | null = null;
  private listeners: (() => void)[] = [];
  private tries = 0;
  private refusals = 0;
  private readonly replies = new Map<number, (reply: Reply) => void>();
  private count = 0;
  private hello: Record<string, unknown> = {};
  onLost: () => void = () => {};
  holding = false;

  constructor() {
    setInterval(() => this.beat(), BEAT_MS);
  }

  get instructs(): boolean {
    return this.given.get("role") === "instructor";
  }

  /** Addresses of what a session leaves behind: by its secret, or for an instructor by seat and key. */
  get kept(): { replay: string; scenario: string } {
    const key = encodeURIComponent(this.given.get("key") ?? "");
    const of = (what: string) =>
      this.instructs ? `/seat/${this.state?.seat.number}/${what}?key=${key}` : `/${what}/${this.session}`;
    return { replay: of("replay"), scenario: of("scenario") };
  }

  listen(listener: () => void): void {
    this.listeners.push(listener);
  }

  private changed(): void {
    for (const listener of this.listeners) listener();
  }

  open(more: Record<string, unknown> = {}): void {
    this.hello = { ...this.hello, ...more };
    this.socket?.close();
    const scheme = location.protocol === "https:" ? "wss" : "ws";
    const socket = new WebSocket(`${scheme}://${location.host}/live`);
    this.socket = socket;
    socket.onopen = () => {
      this.sorry = null;
      socket.send(JSON.stringify({
        hello: 1, session: this.session, token: this.given.get("token"), role: this.given.get("role"),
        key: this.given.get("key"), ...this.hello,
      }));
    };
    socket.onmessage = (message) => this.heard(JSON.parse(message.data));
    socket.onclose = () => {
      if (this.socket !== socket) return;
      this.connected = false;
      for (const done of this.replies.values()) done({ ok: false, why: "no connection" });
      this.replies.clear();
      this.onLost();
      this.changed();
      if (this.sorry?.at === "door" || this.shutOut) return;
      setTimeout(() => this.socket === socket && this.open(), AGAIN_MS[Math.min(this.tries, AGAIN_MS.length - 1)]);
      this.tries += 1;
    };
  }

  /** The server has closed the line for a reason; coming back is a person's decision. */
  get shutOut(): boolean {
    return this.sorry?.at === "line";
  }

  private heard(message: any): void {
    const { kind, ...rest } = message;
    if (kind === "state") this.state = { ...(this.state ?? {}), ...rest } as State;
    else if (kind === "scene") this.scene = rest;
    else if (kind === "events") this.happened(rest.events, rest.fresh);
    else if (kind === "reply") this.replied(rest);
    else if (kind === "debrief") this.debrief = rest.debrief;
    else if (kind === "progress") this.progress = rest.rows;
    else if (kind === "class") this.classView = rest;
    else if (kind === "sorry") this.sorry = rest;
    else if (kind === "seated") this.seated(rest);
    else if (kind === "welcome") {
      this.welcome = rest;
      this.connected = true;
      this.tries = 0;
      if (this.watching !== null) this.room("watch", { seat: this.watching });
    }
    this.changed();
  }

  private seated(rest: any): void {
    if (rest.session) {
      this.session = rest.session;
      localStorage.setItem("bench-session", rest.session);
      delete this.hello.exercise;
    }
    this.debrief = null;
    this.state = null;
    this.scene = null;
    this.sorry = null;
  }

  private happened(events: Happening[], fresh: boolean): void {
    const last = fresh || this.events.length === 0 ? 0 : this.events[this.events.length - 1].n;
    const known = fresh ? [] : this.events;
    this.events = [...known, ...events.filter((event) => event.n > last)].slice(-MOST_EVENTS);
  }

  private replied(reply: Reply): void {
    if (typeof reply.id === "number") {
      this.replies.get(reply.id)?.(reply);
      this.replies.delete(reply.id);
    }
    if (!reply.ok) this.refusal = { why: reply.why ?? "", fix: reply.fix ?? "", n: ++this.refusals };
    else if (reply.do !== "jog-release") this.refusal = null;
  }

  /** An action of the session. */
  act(action: Record<string, unknown>): Promise<Reply> {
    const id = ++this.count;
    if (!this.send({ ...action, id })) return Promise.resolve({ ok: false, why: "no connection" });
    return new Promise((done) => this.replies.set(id, done));
  }

  room(what: string, more: Record<string, unknown> = {}): void {
    if (what === "watch") this.watching = more.seat as number;
    if (what === "look-away") {
      this.watching = null;
      this.state = null;
      this.scene = null;
      this.debrief = null;
    }
    this.send({ room: what, ...more });
    this.changed();
  }

  private send(message: unknown): boolean {
    if (this.socket?.readyState !== WebSocket.OPEN) return false;
    this.socket.send(JSON.stringify(message));
    return true;
  }

  private beat(): void {
    const state = this.state;
    if (document.hidden || !state || state.over) return;
    if (this.holding || state.moving || state.running || state.key) this.send({ do: "beat" });
  }

  /** For tests: lose the line as a pulled cable does. */
  drop(): void {
    this.socket?.close();
  }
}
