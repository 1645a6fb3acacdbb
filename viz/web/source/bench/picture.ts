// The machine in front of the trainee: stage, labels and eye, drawn when something changed.

import {
  BufferGeometry, Color, DirectionalLight, Float32BufferAttribute, GridHelper, Group, HemisphereLight,
  LineDashedMaterial, LineSegments, Scene, Vector3, WebGLRenderer,
} from "three";
import type { Outline } from "../belief";
import { axisOf, Eye, lowest, under, type Aim, type CameraName } from "../camera";
import type { Vector } from "../data";
import { Labels } from "../labels";
import type { Press } from "../moments";
import { Stage } from "../stage";
import { drawsInSoftware } from "../view";
import type { Link } from "./link";
import { LiveScene } from "./scene";

/** The eye goes close when less than this is left between what is carried and what is below. */
const CLOSE_MM = 30;
const FAR_MM = 220;
/** Thresholds are passed by this much before the eye changes its mind, so that it does not hunt. */
const STAY = 1.25;
const RING_SIDES = 48;

export class Picture {
  readonly eye: Eye;
  readonly labels: Labels;
  frames = 0;
  private readonly renderer: WebGLRenderer;
  private readonly world = new Scene();
  private readonly live: LiveScene;
  private readonly stage: Stage;
  private readonly beliefs = new Group();
  private readonly pen: LineDashedMaterial;
  private outlines: Outline[] = [];
  private free: Aim | null = null;
  private chosen: CameraName = "whole";
  private side = {} as Press;
  private sideOf = "";
  private floor: GridHelper | null = null;
  private size: [number, number] = [1, 1];
  private dirty = true;

  constructor(private readonly link: Link, private readonly host: HTMLElement) {
    const look = link.welcome!.look;
    this.renderer = new WebGLRenderer({ antialias: !drawsInSoftware(), powerPreference: "high-performance" });
    this.renderer.localClippingEnabled = true;
    this.renderer.setPixelRatio(Math.min(window.devicePixelRatio, 2));
    host.prepend(this.renderer.domElement);
    this.renderer.domElement.setAttribute("aria-hidden", "true");
    this.world.background = new Color(look.background_low);
    this.eye = new Eye(look.view_angle_deg);
    this.live = new LiveScene(link);
    this.stage = new Stage(this.live.asReplay(), look);
    this.labels = new Labels(host);
    this.pen = new LineDashedMaterial({ color: look.belief, dashSize: 3, gapSize: 2, depthTest: false, transparent: true });
    this.world.add(this.stage.root, this.beliefs, this.eye.camera);
    this.light();
    this.hands();
    new ResizeObserver(() => this.resize()).observe(host);
    this.resize();
  }

  private light(): void {
    this.world.add(new HemisphereLight("#ffffff", "#c4ccd4", 1.9));
    for (const [x, y, z, strength] of [[-0.8, 1.1, 0.9, 1.25], [1.0, 0.5, 0.7, 0.5]]) {
      const light = new DirectionalLight("#ffffff", strength);
      light.position.set(x, y, z);
      this.eye.camera.add(light, light.target);
    }
  }

  private resize(): void {
    const [wide, high] = [this.host.clientWidth, this.host.clientHeight];
    if (wide < 2 || high < 2) return;
    this.size = [wide, high];
    this.renderer.setSize(wide, high);
    this.eye.camera.aspect = wide / high;
    this.stage.size.value.set(wide, high);
    this.dirty = true;
  }

  close(): void {
    this.renderer.dispose();
    this.renderer.forceContextLoss();
    this.host.replaceChildren();
  }

  touch(): void {
    this.dirty = true;
  }

  draw(wall: number): void {
    const moved = this.live.follow(wall);
    if (!this.dirty && !moved) return;
    if (!this.link.scene || !this.link.state) return;
    this.stage.pose(0);
    const aim = this.choose();
    const turning = this.eye.approach(aim, wall, [0, 0]);
    const half = this.eye.now?.half ?? 100;
    this.stage.showMachine(half > 380);
    this.ground();
    this.cut();
    const [wide, high] = this.size;
    const mmPerPixel = (2 * half * Math.max(1, 1.15 / (wide / high))) / high;
    this.believe(mmPerPixel);
    this.renderer.render(this.world, this.eye.camera);
    this.labels.draw(this.stage.solids, this.link.welcome!.look.labels, [], this.outlines, this.eye.camera, wide, high,
      { top: 44, bottom: 54, left: 0 });
    this.frames += 1;
    this.dirty = turning;
  }

  private choose(): Aim {
    const solids = this.stage.solids;
    if (this.eye.name === "free" && this.free) return this.free;
    const carried = lowest(solids);
    const support = under(solids, carried);
    const gap = carried && support ? Math.max(carried.box.min.z - support.box.max.z, 0) : Infinity;
    let name = this.eye.name;
    if (name === "choose" || name === "free") {
      const [close, far] = [CLOSE_MM * (this.chosen === "pad" ? STAY : 1), FAR_MM / (this.chosen === "whole" ? STAY : 1)];
      name = gap < close ? "pad" : gap < far ? "follow" : "whole";
      this.chosen = name;
    }
    // The side to look from is chosen once a place, so that the picture does not jump.
    const place = `${name} ${carried?.body} ${support?.body} ${this.link.scene?.version}`;
    if (place !== this.sideOf) [this.side, this.sideOf] = [{} as Press, place];
    return this.eye.aim(name, solids, this.side, carried?.look === "lug" && (name === "nose" || name === "pad"));
  }

  /** Inside a bore nothing could be seen: the nose is cut open where the pad is within it. */
  private cut(): void {
    const solids = this.stage.solids;
    const on = solids.some((ring) => ring.look === "face" && solids.some((pad) => {
      if (pad.kind !== "pad") return false;
      const [a, b] = [ring.box.getCenter(new Vector3()), pad.box.getCenter(new Vector3())];
      const reach = (pad.box.max.x - pad.box.min.x) / 2;
      return Math.hypot(a.x - b.x, a.y - b.y) + reach <= ring.bore && pad.box.max.z > ring.box.min.z + 1e-3;
    }));
    const axis = axisOf(solids);
    const way = this.eye.camera.position.clone().sub(axis);
    this.stage.cut(on ? [axis.x, axis.y, axis.z] : null, [way.x, way.y]);
  }

  private ground(): void {
    if (this.floor) return;
    const table = this.stage.solids.filter((s) => s.kind === "machine" || s.kind === "table");
    if (table.length === 0) return;
    this.floor = new GridHelper(4000, 40, "#aab6c2", "#c3ccd6");
    this.floor.rotateX(Math.PI / 2);
    this.floor.position.set(0, 0, Math.min(...table.map((s) => s.box.min.z)));
    this.world.add(this.floor);
  }

  /** What the controller takes to be so: rings where it believes tip and pads. After the end only. */
  private believe(mmPerPixel: number): void {
    const { state, scene } = this.link;
    this.beliefs.clear();
    this.outlines = [];
    if (!state?.outline || !state.belief || !scene) return;
    this.pen.dashSize = 7 * mmPerPixel;
    this.pen.gapSize = 4 * mmPerPixel;
    const factor = (kind: string): Vector => {
      const body = scene.bodies.find((b) => b.geometry.kind === kind);
      return body ? scene.links[body.link] : [0, 0, 0];
    };
    const [h, p, q] = [factor("spindle"), factor("pad"), this.live.positionAt()];
    const { face, tool_length_mm: long, setters } = state.belief;
    if (long !== null) {
      const at = face.map((value, i) => h[i] * value) as Vector;
      this.ring([at[0], at[1], at[2] - long], 14, "tip taken to be here");
    }
    for (const taken of Object.values(setters)) {
      if (taken.x_mm === null || taken.y_mm === null) continue;
      const place: Vector = [taken.x_mm, taken.y_mm, taken.trip_z_mm ?? 0];
      const at = place.map((value, i) => (h[i] - p[i]) * value + p[i] * q[i]) as Vector;
      if (taken.trip_z_mm !== null) this.ring(at, 20, "pad taken to be here");
    }
  }

  private ring(at: Vector, radius: number, label: string): void {
    const points: number[] = [];
    for (let i = 0; i < RING_SIDES; i += 1) {
      for (const k of [i, i + 1]) {
        const turn = (k * 2 * Math.PI) / RING_SIDES;
        points.push(at[0] + radius * Math.cos(turn), at[1] + radius * Math.sin(turn), at[2]);
      }
    }
    points.push(at[0] - radius, at[1], at[2], at[0] + radius, at[1], at[2]);
    const shape = new BufferGeometry().setAttribute("position", new Float32BufferAttribute(points, 3));
    const line = new LineSegments(shape, this.pen);
    line.computeLineDistances();
    line.renderOrder = 20;
    this.beliefs.add(line);
    this.outlines.push({ label, point: new Vector3(...at) });
  }

  setCamera(name: CameraName): void {
    this.eye.name = name;
    this.dirty = true;
  }

  /** A hand takes over the eye: turn, rise and zoom from where it is. */
  grab(turn: number, rise: number, zoom: number): void {
    const from = this.eye.name === "free" && this.free ? this.free : this.eye.now;
    if (!from) return;
    this.free = {
      focus: from.focus.clone(), half: Math.min(Math.max(from.half * zoom, 0.5), 3000),
      azimuth: from.azimuth + turn, elevation: Math.min(Math.max(from.elevation + rise, -85), 88),
    };
    this.setCamera("free");
  }

  private hands(): void {
    const canvas = this.renderer.domElement;
    canvas.addEventListener("pointerdown", (event) => canvas.setPointerCapture(event.pointerId));
    canvas.addEventListener("pointermove", (event) => {
      if (canvas.hasPointerCapture(event.pointerId) && event.buttons) this.grab(-event.movementX * 0.4, event.movementY * 0.4, 1);
    });
    canvas.addEventListener("wheel", (event) => {
      event.preventDefault();
      this.grab(0, 0, Math.exp(Math.sign(event.deltaY) * 0.12));
    }, { passive: false });
  }
}
