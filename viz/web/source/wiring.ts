// The setter's cable and the sockets it may go to, each with a lamp for its input.

import {
  BufferGeometry, CatmullRomCurve3, CylinderGeometry, Group, Mesh, MeshPhongMaterial, TubeGeometry, Vector3,
} from "three";
import type { Replay } from "./replay";
import type { Outline } from "./belief";
import type { Solid } from "./stage";

const SOCKET_RADIUS_MM = 17;
const SOCKET_PITCH_MM = 74;
const CABLE_RADIUS_MM = 2.2;
const ON = "#e3b23c";
const OFF = "#3d4854";

export class Wiring {
  readonly root = new Group();
  labels: Outline[] = [];
  private readonly panel: Mesh[] = [];
  private readonly sockets = new Map<string, { lamp: MeshPhongMaterial; at: Vector3 }>();
  private readonly cables = new Map<string, { mesh: Mesh; key: string }>();

  constructor(private readonly replay: Replay) {}

  /** `far`: the machine is in the picture, and with it what hangs on it. */
  showSockets(far: boolean): void {
    for (const mesh of this.panel) mesh.visible = far;
  }

  pose(t: number, solids: Solid[]): void {
    const names = Object.keys(this.replay.entry.facts.sockets);
    const bodies = solids.filter((s) => s.kind === "setter");
    this.labels = [];
    for (const { mesh } of this.cables.values()) mesh.visible = false;
    if (names.length === 0 || bodies.length === 0) return;
    if (this.sockets.size === 0) this.build(names, solids);
    const plugs = this.replay.plugsAt(t);
    const beliefs = this.replay.beliefsAt(t);
    for (const name of names) {
      const input = this.replay.entry.facts.sockets[name];
      const socket = this.sockets.get(name)!;
      const on = this.replay.signalAt(`input ${input}.raw`, t) === 1;
      socket.lamp.color.set(on ? ON : OFF);
      const watched = Object.keys(plugs).some((setter) => beliefs[`setter ${setter} input`] === input);
      const used = Object.values(plugs).includes(name);
      if (watched || used) {
        this.labels.push({
          label: `input ${input}: ${on ? "on" : "off"}${watched ? ", watched" : ", not watched"}`,
          point: socket.at,
        });
      }
    }
    for (const setter of new Set(bodies.map((s) => s.body))) {
      this.cable(setter, bodies.filter((s) => s.body === setter), plugs[setter] ?? null, solids);
    }
  }

  private build(names: string[], solids: Solid[]): void {
    const column = solids.find((s) => s.kind === "machine");
    const table = solids.find((s) => s.kind === "table");
    const wide = (names.length - 1) * SOCKET_PITCH_MM;
    const at = new Vector3(-wide / 2, 460, 0);
    if (column) at.set(column.box.min.x + SOCKET_PITCH_MM, column.box.min.y - 6, (table?.box.max.z ?? -540) + 150);
    names.forEach((name, index) => {
      const place = at.clone().add(new Vector3(index * SOCKET_PITCH_MM, 0, 0));
      const ring = new Mesh(
        new CylinderGeometry(SOCKET_RADIUS_MM + 7, SOCKET_RADIUS_MM + 7, 8, 32),
        new MeshPhongMaterial({ color: "#aab4be" }),
      );
      const lamp = new MeshPhongMaterial({ color: OFF });
      const face = new Mesh(new CylinderGeometry(SOCKET_RADIUS_MM, SOCKET_RADIUS_MM, 14, 32), lamp);
      ring.position.copy(place);
      face.position.copy(place);
      this.root.add(ring, face);
      this.panel.push(ring, face);
      this.sockets.set(name, { lamp, at: place });
    });
  }

  private cable(setter: string, bodies: Solid[], socket: string | null, solids: Solid[]): void {
    const box = bodies[0].box;
    const table = solids.find((s) => s.kind === "table")?.box;
    // It leaves the setter at the back, near its foot.
    const from = new Vector3((box.min.x + box.max.x) / 2, box.max.y, box.min.z + 14);
    const back = new Vector3(from.x, Math.max(table?.max.y ?? 0, from.y + 40) - 12, from.z - 8);
    const target = socket ? this.sockets.get(socket) : undefined;
    const points = [from, from.clone().add(new Vector3(0, 25, -6)), back];
    if (target) {
      const low = Math.min(back.z, target.at.z) - 60;
      points.push(new Vector3(back.x + (target.at.x - back.x) * 0.35, back.y + 40, low));
      points.push(target.at.clone().add(new Vector3(0, -60, -20)), target.at.clone().add(new Vector3(0, -8, 0)));
    } else points.push(back.clone().add(new Vector3(30, 40, -60)));
    const key = points.map((p) => `${p.x.toFixed(1)} ${p.y.toFixed(1)}`).join() + socket;
    const known = this.cables.get(setter);
    if (known) known.mesh.visible = true;
    if (known?.key === key) return;
    const geometry: BufferGeometry = new TubeGeometry(new CatmullRomCurve3(points, false, "centripetal"), 40, CABLE_RADIUS_MM, 7);
    if (known) {
      known.mesh.geometry.dispose();
      known.mesh.geometry = geometry;
      known.key = key;
      return;
    }
    const mesh = new Mesh(geometry, new MeshPhongMaterial({ color: "#5b6875" }));
    this.root.add(mesh);
    this.cables.set(setter, { mesh, key });
  }
}
