// Triangles and outlines of a part's shape, mm, about the middle of its bounding box, z up.

import { BufferGeometry, BoxGeometry, EdgesGeometry, Float32BufferAttribute, SphereGeometry } from "three";
import type { Part } from "./data";

const SIDES = 64;
const BEVEL_SHARE = 0.04;
const BEVEL_MOST_MM = 0.6;
/** Upright lines drawn on a round outline, so that it reads as a solid. */
const UPRIGHTS = 4;

type Profile = [number, number][];

export function surfaceOf(part: Part): BufferGeometry {
  const size = part.size;
  if (part.shape === "box") return new BoxGeometry(size.size_x, size.size_y, size.size_z);
  if (part.shape === "sphere") return new SphereGeometry(size.radius, SIDES, 32).rotateX(Math.PI / 2);
  if (part.shape === "mesh") {
    const geometry = new BufferGeometry();
    const points = size.triangles.flatMap((t: number[]) => t.flatMap((i) => size.vertices[i]));
    geometry.setAttribute("position", new Float32BufferAttribute(points, 3));
    geometry.computeVertexNormals();
    return geometry;
  }
  return turned(profileOf(part));
}

/** Sharp edges and rims, as pairs of points. */
export function outlineOf(part: Part, surface: BufferGeometry): Float32Array {
  if (part.shape === "box" || part.shape === "mesh" || part.shape === "sphere") {
    const edges = new EdgesGeometry(surface, 25);
    return edges.getAttribute("position").array as Float32Array;
  }
  const profile = profileOf(part).filter(([r]) => r > 0);
  const points: number[] = [];
  for (const [r, z] of profile) {
    for (let i = 0; i < SIDES; i += 1) {
      points.push(...around(r, z, i), ...around(r, z, i + 1));
    }
  }
  return new Float32Array(points);
}

/** As outlineOf, with upright lines: for what is drawn as an outline only. */
export function ghostOf(part: Part, surface: BufferGeometry): Float32Array {
  const outline = Array.from(outlineOf(part, surface));
  if (part.shape === "cylinder" || part.shape === "cone" || part.shape === "ring") {
    const profile = profileOf(part).filter(([r]) => r > 0);
    for (let i = 1; i < profile.length; i += 1) {
      for (let k = 0; k < UPRIGHTS; k += 1) {
        const side = (k * SIDES) / UPRIGHTS;
        outline.push(...around(...profile[i - 1], side), ...around(...profile[i], side));
      }
    }
  }
  return new Float32Array(outline);
}

function around(r: number, z: number, side: number): [number, number, number] {
  const angle = (side * 2 * Math.PI) / SIDES;
  return [r * Math.cos(angle), r * Math.sin(angle), z];
}

function profileOf(part: Part): Profile {
  const size = part.size;
  const h = size.height / 2;
  if (part.shape === "ring") {
    const { inner_radius: inner, outer_radius: outer } = size;
    const c = Math.min(BEVEL_MOST_MM, BEVEL_SHARE * Math.min(size.height, outer - inner));
    return [
      [inner, -h], [outer - c, -h], [outer, -h + c], [outer, h - c], [outer - c, h], [inner, h], [inner, -h],
    ];
  }
  if (part.shape === "cone") return [[0, -h], [size.radius_bottom, -h], [size.radius_top, h], [0, h]];
  const r = size.radius;
  const c = Math.min(BEVEL_MOST_MM, BEVEL_SHARE * Math.min(size.height, r));
  return [[0, -h], [r - c, -h], [r, -h + c], [r, h - c], [r - c, h], [0, h]];
}

function turned(profile: Profile): BufferGeometry {
  const points: number[] = [];
  const normals: number[] = [];
  const faces: number[] = [];
  for (let row = 1; row < profile.length; row += 1) {
    const [r0, z0] = profile[row - 1];
    const [r1, z1] = profile[row];
    const long = Math.hypot(r1 - r0, z1 - z0) || 1;
    const out = (z1 - z0) / long;
    const up = -(r1 - r0) / long;
    const base = points.length / 3;
    for (let i = 0; i <= SIDES; i += 1) {
      const angle = (i * 2 * Math.PI) / SIDES;
      const [c, s] = [Math.cos(angle), Math.sin(angle)];
      points.push(r0 * c, r0 * s, z0, r1 * c, r1 * s, z1);
      normals.push(out * c, out * s, up, out * c, out * s, up);
    }
    for (let i = 0; i < SIDES; i += 1) {
      const a = base + 2 * i;
      faces.push(a, a + 2, a + 3, a, a + 3, a + 1);
    }
  }
  const geometry = new BufferGeometry();
  geometry.setAttribute("position", new Float32BufferAttribute(points, 3));
  geometry.setAttribute("normal", new Float32BufferAttribute(normals, 3));
  geometry.setIndex(faces);
  return geometry;
}
