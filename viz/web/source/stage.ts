// The solids of one recording as three.js objects: built once, afterwards only moved.

import {
  BufferAttribute, BufferGeometry, BackSide, Euler, Group, LineBasicMaterial, LineSegments, Box3,
  Mesh, MeshPhongMaterial, Plane, ShaderMaterial, Vector2, Vector3, Color,
} from "three";
import type { Geometry, PageData, Part, Vector } from "./data";
import type { BodyAt, Scenery } from "./replay";
import { outlineOf, surfaceOf } from "./shapes";

export const CARRIED = ["spindle", "tool"];
/** What may be cut open; edges and lugs stay whole, they are the point. */
const CUT_OPEN = ["face", "nose", "holder", "shank"];
const CONTOUR_PIXELS = 1.6;

/** One part as drawn, with its box in the world at the last pose. */
export interface Solid {
  body: string;
  kind: string;
  look: string;
  feature: string;
  own: Box3;
  box: Box3;
  bore: number;
  object: Group;
}

interface Model {
  key: number;
  group: Group;
  solids: Solid[];
}

export function lookOf(kind: string, feature: string, known: Record<string, unknown>): string {
  if (feature.startsWith("edge")) return "edge";
  if (["spindle", "tool", "pad"].includes(kind) && feature in known) return feature;
  if (feature === "bolt") return "bolt";
  return kind in known ? kind : "other";
}

export function placePart(object: { position: Vector3; rotation: Euler }, part: Part): void {
  const turn = part.turn_deg.map((d) => (d * Math.PI) / 180);
  object.position.set(...part.at);
  // Turned about x first, then y, then z.
  object.rotation.set(turn[0], turn[1], turn[2], "ZYX");
}

export class Stage {
  readonly root = new Group();
  readonly clip = new Plane(new Vector3(0, 1, 0), 0);
  readonly size = { value: new Vector2(1, 1) };
  solids: Solid[] = [];
  private readonly models = new Map<string, Model>();
  private readonly insides: Mesh[] = [];
  private readonly clipped: (MeshPhongMaterial | LineBasicMaterial | ShaderMaterial)[] = [];

  constructor(private readonly scenery: Scenery, private readonly look: PageData["look"]) {}

  /** Put everything where it is at t. */
  pose(t: number): void {
    const q = this.scenery.positionAt(t);
    const there = this.scenery.bodiesAt(t, q);
    const [angle] = this.scenery.spindleAt(t);
    this.solids = [];
    for (const model of this.models.values()) model.group.visible = false;
    for (const body of there.values()) {
      const model = this.modelOf(body);
      const geometry = this.scenery.geometryOf(body);
      const drop = geometry.soft ? this.scenery.padDepthAt(body.id.replace(/\.pad$/, ""), t) : 0;
      const turns = CARRIED.includes(geometry.kind) ? angle : 0;
      model.group.visible = true;
      model.group.position.set(body.position[0], body.position[1], body.position[2] - drop);
      model.group.rotation.set(0, 0, (body.turn_deg * Math.PI) / 180 + turns);
      model.group.updateMatrixWorld(true);
      for (const solid of model.solids) solid.box.copy(solid.own).applyMatrix4(solid.object.matrixWorld);
      this.solids.push(...model.solids);
    }
  }

  /** Cut what hides the inside along an upright plane through the axis, seen from there. */
  cut(axis: Vector | null, towards: [number, number] = [0, -1]): void {
    const planes = axis ? [this.clip] : null;
    if (axis) {
      this.clip.normal.set(-towards[0], -towards[1], 0).normalize();
      this.clip.constant = -this.clip.normal.dot(new Vector3(...axis));
    }
    for (const inside of this.insides) inside.visible = axis !== null;
    for (const material of this.clipped) {
      if ((material.clippingPlanes === null) !== (planes === null)) material.needsUpdate = true;
      material.clippingPlanes = planes;
    }
  }

  showMachine(on: boolean): void {
    for (const solid of this.solids) if (solid.kind === "machine") solid.object.visible = on;
  }

  private modelOf(body: BodyAt): Model {
    const known = this.models.get(body.id);
    if (known && known.key === body.geometry) return known;
    if (known) this.root.remove(known.group);
    const geometry = this.scenery.geometryOf(body);
    const model = { key: body.geometry, group: new Group(), solids: [] as Solid[] };
    for (const part of geometry.parts) model.solids.push(this.solidOf(body.id, geometry, part, model.group));
    this.models.set(body.id, model);
    this.root.add(model.group);
    return model;
  }

  private solidOf(id: string, body: Geometry, part: Part, group: Group): Solid {
    const look = lookOf(body.kind, part.feature, this.look.materials);
    const style = this.look.materials[look];
    const surface = surfaceOf(part);
    const object = new Group();
    placePart(object, part);
    const solid = style.opacity >= 1;
    const material = new MeshPhongMaterial({
      color: style.colour, specular: new Color(1, 1, 1).multiplyScalar(style.specular * 0.5), shininess: style.gloss,
      transparent: !solid, opacity: style.opacity, depthWrite: solid,
      // Lines lie on surfaces; without an offset they flicker.
      polygonOffset: true, polygonOffsetFactor: 1, polygonOffsetUnits: 1,
    });
    const mesh = new Mesh(surface, material);
    mesh.renderOrder = solid ? 0 : 5;
    object.add(mesh);
    const edges = new BufferGeometry();
    edges.setAttribute("position", new BufferAttribute(outlineOf(part, surface), 3));
    const pen = new LineBasicMaterial({ color: this.look.edge, transparent: true, opacity: solid ? 0.85 : 0.35 });
    object.add(new LineSegments(edges, pen));
    if (solid && part.shape !== "box" && part.shape !== "mesh") object.add(new Mesh(surface, this.contour(look)));
    if (CUT_OPEN.includes(look)) {
      const inside = new Mesh(surface, this.hatching(style.colour));
      inside.visible = false;
      object.add(inside);
      this.insides.push(inside);
      this.clipped.push(material, pen);
    }
    group.add(object);
    surface.computeBoundingBox();
    const bore = part.shape === "ring" ? (part.size.inner_radius as number) : 0;
    return { body: id, kind: body.kind, look, feature: part.feature, own: surface.boundingBox!.clone(), box: new Box3(), bore, object };
  }

  /** Seen through a cut, the inside of the surface stands for the cut face: hatched, unlit. */
  private hatching(colour: string): ShaderMaterial {
    const material = new ShaderMaterial({
      side: BackSide,
      clipping: true,
      uniforms: { base: { value: new Color(colour) }, line: { value: new Color(this.look.edge) } },
      vertexShader: `
        #include <clipping_planes_pars_vertex>
        void main() {
          vec4 mvPosition = modelViewMatrix * vec4(position, 1.0);
          gl_Position = projectionMatrix * mvPosition;
          #include <clipping_planes_vertex>
        }`,
      fragmentShader: `
        #include <clipping_planes_pars_fragment>
        uniform vec3 base;
        uniform vec3 line;
        void main() {
          #include <clipping_planes_fragment>
          float on = step(0.86, fract((gl_FragCoord.x + gl_FragCoord.y) / 13.0));
          gl_FragColor = vec4(mix(base * 1.08, line, on * 0.6), 1.0);
          #include <colorspace_fragment>
        }`,
    });
    this.clipped.push(material);
    return material;
  }

  /** The back of the solid, a little larger on the screen: a line round what is round. */
  private contour(look: string): ShaderMaterial {
    const material = new ShaderMaterial({
      side: BackSide,
      clipping: true,
      uniforms: { size: this.size, ink: { value: new Color(this.look.edge) } },
      vertexShader: `
        #include <clipping_planes_pars_vertex>
        uniform vec2 size;
        void main() {
          vec4 mvPosition = modelViewMatrix * vec4(position, 1.0);
          gl_Position = projectionMatrix * mvPosition;
          vec4 along = projectionMatrix * vec4(normalize(normalMatrix * normal), 0.0);
          if (length(along.xy) > 1e-6)
            gl_Position.xy += normalize(along.xy * size) / size * ${(2 * CONTOUR_PIXELS).toFixed(1)} * gl_Position.w;
          #include <clipping_planes_vertex>
        }`,
      fragmentShader: `
        #include <clipping_planes_pars_fragment>
        uniform vec3 ink;
        void main() {
          #include <clipping_planes_fragment>
          gl_FragColor = vec4(ink, 1.0);
          #include <colorspace_fragment>
        }`,
    });
    if (CUT_OPEN.includes(look)) this.clipped.push(material);
    return material;
  }
}
