// What a picture is drawn on: renderer, light, floor, names, outlines, and an eye that a hand may turn.

import { Color, DirectionalLight, GridHelper, HemisphereLight, Scene, Vector3, WebGLRenderer } from "three";
import { Belief } from "./belief";
import { axisOf, Eye, type Aim, type CameraName } from "./camera";
import type { PageData } from "./data";
import { Labels } from "./labels";
import type { Believing } from "./replay";
import { Stage } from "./stage";

/** A whole picture is at least this much wider than high; a narrower one is seen from further off. */
const LEAST_ASPECT = 1.15;

/** Whether this browser draws without a graphics card; smoothing then halves its frames. */
function drawsInSoftware(): boolean {
  const gl = document.createElement("canvas").getContext("webgl");
  const info = gl?.getExtension("WEBGL_debug_renderer_info");
  const name = gl && info ? String(gl.getParameter(info.UNMASKED_RENDERER_WEBGL)) : "";
  gl?.getExtension("WEBGL_lose_context")?.loseContext();
  return /swiftshader|llvmpipe|softpipe|software|basic render/i.test(name);
}

export class Easel {
  readonly eye: Eye;
  readonly labels: Labels;
  readonly belief: Belief;
  frames = 0;
  protected readonly renderer: WebGLRenderer;
  protected readonly world = new Scene();
  protected readonly stage: Stage;
  /** No graphics card: plain edges while things move. */
  protected readonly slow = drawsInSoftware();
  protected dirty = true;
  protected size: [number, number] = [1, 1];
  protected free: Aim | null = null;
  private floor: GridHelper | null = null;

  constructor(protected readonly host: HTMLElement, source: Believing, look: PageData["look"]) {
    this.renderer = new WebGLRenderer({ antialias: !this.slow, powerPreference: "high-performance" });
    this.renderer.localClippingEnabled = true;
    this.renderer.setPixelRatio(this.slow ? 1 : Math.min(window.devicePixelRatio, 2));
    host.prepend(this.renderer.domElement);
    this.renderer.domElement.setAttribute("aria-hidden", "true");
    this.world.background = new Color(look.background_low);
    this.eye = new Eye(look.view_angle_deg);
    this.stage = new Stage(source, look);
    this.belief = new Belief(source, look.belief);
    this.labels = new Labels(host);
    this.world.add(this.stage.root, this.belief.root, this.eye.camera);
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
      // Lights go with the eye: no view is ever in the dark.
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
    this.belief.pen.resolution.set(wide, high);
    this.dirty = true;
  }

  touch(): void {
    this.dirty = true;
  }

  /** Of what the eye is on, mm a pixel. */
  protected get mmPerPixel(): number {
    const [wide, high] = this.size;
    return (2 * (this.eye.now?.half ?? 100) * Math.max(1, LEAST_ASPECT / (wide / high))) / high;
  }

  /** The floor that the machine stands on, as soon as a machine is there. */
  protected ground(): void {
    if (this.floor) return;
    const machine = this.stage.solids.filter((s) => s.kind === "machine" || s.kind === "table");
    if (machine.length === 0) return;
    this.floor = new GridHelper(4000, 40, "#aab6c2", "#c3ccd6");
    this.floor.rotateX(Math.PI / 2);
    this.floor.position.set(0, 0, Math.min(...machine.map((s) => s.box.min.z)));
    this.world.add(this.floor);
  }

  /** Cut open, towards the eye, what hides the inside. */
  protected cut(on: boolean): void {
    const axis = axisOf(this.stage.solids);
    const way = this.eye.camera.position.clone().sub(axis);
    this.stage.cut(on ? [axis.x, axis.y, axis.z] : null, [way.x, way.y]);
  }

  /** Whether a pad is inside a bore, where nobody could see it. */
  protected padInBore(): boolean {
    const solids = this.stage.solids;
    return solids.some((ring) => ring.look === "face" && solids.some((pad) => {
      if (pad.kind !== "pad") return false;
      const [a, b] = [ring.box.getCenter(new Vector3()), pad.box.getCenter(new Vector3())];
      const reach = Math.max(pad.box.max.x - pad.box.min.x, pad.box.max.y - pad.box.min.y) / 2;
      return Math.hypot(a.x - b.x, a.y - b.y) + reach <= ring.bore && pad.box.max.z > ring.box.min.z + 1e-3;
    }));
  }

  setCamera(name: CameraName): void {
    this.eye.name = name;
    this.dirty = true;
  }

  /** A hand takes over the eye: turn, shift and zoom from where it is. */
  grab(turn: number, rise: number, zoom: number, right = 0, up = 0): void {
    const from = this.eye.name === "free" && this.free ? this.free : this.eye.now;
    if (!from) return;
    const angle = (from.azimuth * Math.PI) / 180;
    const focus = from.focus.clone().add(new Vector3(Math.cos(angle) * right, Math.sin(angle) * right, up));
    this.free = {
      focus, half: Math.min(Math.max(from.half * zoom, 0.5), 3000),
      azimuth: from.azimuth + turn, elevation: Math.min(Math.max(from.elevation + rise, -85), 88),
    };
    this.setCamera("free");
  }

  private hands(): void {
    const canvas = this.renderer.domElement;
    canvas.addEventListener("pointerdown", (event) => canvas.setPointerCapture(event.pointerId));
    canvas.addEventListener("pointermove", (event) => {
      if (!canvas.hasPointerCapture(event.pointerId) || event.buttons === 0) return;
      if (event.buttons === 1 && !event.shiftKey) this.grab(-event.movementX * 0.4, event.movementY * 0.4, 1);
      else {
        const mm = (2 * (this.eye.now?.half ?? 100)) / this.size[1];
        this.grab(0, 0, 1, -event.movementX * mm, event.movementY * mm);
      }
    });
    canvas.addEventListener("contextmenu", (event) => event.preventDefault());
    canvas.addEventListener("wheel", (event) => {
      event.preventDefault();
      this.grab(0, 0, Math.exp(Math.sign(event.deltaY) * 0.12));
    }, { passive: false });
  }
}
