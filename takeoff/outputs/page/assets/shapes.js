// Faces turned into triangles and lines: corners once each, indices sorted by body.

const FILLED = 1;
const OUTLINED = 2;

/** Arrays for drawing. `start` arrays have one entry more than what they count, so that [i, i + 1] is a range. */
function makeShapes(arrays) {
  const { box, body, flags, rings, ring, corners } = arrays;
  const bodies = box.length / 6;
  const faces = body.length;
  const position = new Float32Array(corners.length);
  const faceCorner = new Uint32Array(faces + 1);
  const faceTriangle = new Uint32Array(faces + 1);
  const bodyTriangle = new Uint32Array(bodies + 1);
  const bodyLine = new Uint32Array(bodies + 1);
  const triangles = new Uint32Array(corners.length + 6 * faces);
  const lines = new Uint32Array((2 * corners.length) / 3);
  let grown = triangles;
  let corner = 0;
  let r = 0;
  let t = 0;
  let l = 0;
  let last = 0;
  for (let f = 0; f < faces; f++) {
    const b = body[f];
    while (last < b) {
      last++;
      bodyTriangle[last] = t / 3;
      bodyLine[last] = l / 2;
    }
    faceCorner[f] = corner;
    faceTriangle[f] = t / 3;
    const first = corner;
    const bounds = rings[f] > 1 ? [corner] : null;
    for (let k = 0; k < rings[f]; k++, r++) {
      const begin = corner;
      for (let i = 0; i < ring[r]; i++, corner++) {
        for (let axis = 0; axis < 3; axis++) {
          position[3 * corner + axis] =
            box[6 * b + axis] + (corners[3 * corner + axis] / 65535) * box[6 * b + 3 + axis];
        }
        if (flags[f] & OUTLINED) {
          lines[l++] = corner;
          lines[l++] = i + 1 < ring[r] ? corner + 1 : begin;
        }
      }
      bounds?.push(corner);
    }
    if (!(flags[f] & FILLED)) continue;
    const size = corner - first;
    if (!bounds && (size === 3 || (size === 4 && convex(position, first)))) {
      if (t + 6 > grown.length) grown = enlarged(grown, 6);
      grown[t++] = first;
      grown[t++] = first + 1;
      grown[t++] = first + 2;
      if (size === 3) continue;
      grown[t++] = first;
      grown[t++] = first + 2;
      grown[t++] = first + 3;
    } else {
      const own = triangulated(position, bounds ?? [first, corner]);
      if (t + own.length > grown.length) grown = enlarged(grown, own.length);
      grown.set(own, t);
      t += own.length;
    }
  }
  faceCorner[faces] = corner;
  faceTriangle[faces] = t / 3;
  while (last < bodies) {
    last++;
    bodyTriangle[last] = t / 3;
    bodyLine[last] = l / 2;
  }
  return {
    position,
    triangles: grown.subarray(0, t),
    lines: lines.subarray(0, l),
    faceCorner,
    faceTriangle,
    bodyTriangle,
    bodyLine,
  };
}

function enlarged(array, room) {
  const larger = new Uint32Array(2 * array.length + room);
  larger.set(array);
  return larger;
}

/** Whether four corners from `first` on turn one way all around: each turn agrees with the first one. */
function convex(p, first) {
  let [x, y, z] = [0, 0, 0];
  for (let i = 0; i < 4; i++) {
    const a = 3 * (first + i);
    const b = 3 * (first + ((i + 1) & 3));
    const c = 3 * (first + ((i + 2) & 3));
    const [ux, uy, uz] = [p[b] - p[a], p[b + 1] - p[a + 1], p[b + 2] - p[a + 2]];
    const [vx, vy, vz] = [p[c] - p[b], p[c + 1] - p[b + 1], p[c + 2] - p[b + 2]];
    const [nx, ny, nz] = [uy * vz - uz * vy, uz * vx - ux * vz, ux * vy - uy * vx];
    if (i === 0) [x, y, z] = [nx, ny, nz];
    else if (nx * x + ny * y + nz * z < 0) return false;
  }
  return true;
}

/** Corner numbers of the triangles of a flat face; `bounds` are where its rings begin and end. */
function triangulated(position, bounds) {
  const [u, v] = flatAxes(position, bounds[0], bounds[1]);
  const rings = [];
  const numbers = [];
  for (let k = 0; k + 1 < bounds.length; k++) {
    const points = [];
    for (let i = bounds[k]; i < bounds[k + 1]; i++) {
      points.push(new THREE.Vector2(position[3 * i + u], position[3 * i + v]));
      numbers.push(i);
    }
    rings.push(points);
  }
  return THREE.ShapeUtils.triangulateShape(rings[0], rings.slice(1)).flatMap((face) => face.map((i) => numbers[i]));
}

/** The two axes along which a flat ring shows most of its area (Newell's normal). */
function flatAxes(position, from, to) {
  const normal = [0, 0, 0];
  for (let i = from; i < to; i++) {
    const j = i + 1 < to ? i + 1 : from;
    for (let axis = 0; axis < 3; axis++) {
      const a = (axis + 1) % 3;
      const b = (axis + 2) % 3;
      normal[axis] += (position[3 * i + a] - position[3 * j + a]) * (position[3 * i + b] + position[3 * j + b]);
    }
  }
  const size = normal.map(Math.abs);
  const main = size.indexOf(Math.max(...size));
  return [(main + 1) % 3, (main + 2) % 3];
}
