// The drawing: which bodies are solid, faint or hidden, in which colours, from where, and what lies under a click.

const SOLID = 2;
const FAINT = 1;
const HIDDEN = 0;

/** Lines with less ink than this are not seen, and not drawn: half a million of them cost as much as the faces. */
const FAINTEST = 0.12;

/** Where the camera stands, seen from the model: south-east, north-west, and nearly upright. */
const SIDES = { corner: [0.55, -0.75, 0.5], other: [-0.55, 0.75, 0.5], above: [0, -0.02, 1], below: [0.3, -0.4, -0.9] };

class View {
  constructor(canvas, shapes, boxes) {
    this.canvas = canvas;
    this.shapes = shapes;
    this.count = boxes.length / 6;
    this.boxes = boxes;
    this.show = new Uint8Array(this.count).fill(SOLID);
    this.renderer = new THREE.WebGLRenderer({ canvas, antialias: true, alpha: true });
    this.renderer.localClippingEnabled = true;
    this.plane = new THREE.Plane(new THREE.Vector3(0, 0, -1), 1e6);
    this.scene = new THREE.Scene();
    this.camera = new THREE.PerspectiveCamera(40, 1, 0.1, 1000);
    this.camera.up.set(0, 0, 1);
    this.lights();
    this.parts();
    this.controls = new THREE.OrbitControls(this.camera, canvas);
    this.fitted = null;
    this.held = false;
    this.controls.addEventListener("start", () => (this.held = true));
    this.controls.addEventListener("end", () => (this.held = false));
    this.controls.addEventListener("change", () => {
      if (this.held) this.fitted = null;
      this.draw();
    });
    this.wanted = false;
    this.edged = false;
    new ResizeObserver(() => this.resize() && this.now()).observe(canvas.parentElement);
    canvas.addEventListener("keydown", (event) => this.turn(event));
    window.addEventListener("beforeprint", () => this.now());
  }

  /** Even light, so that colours stay those of the legend, and a lamp at the camera that shows which way faces turn. */
  lights() {
    this.scene.add(new THREE.HemisphereLight(0xffffff, 0xd0ccc6, 2.1));
    this.lamp = new THREE.DirectionalLight(0xffffff, 1.2);
    this.scene.add(this.lamp, this.lamp.target);
  }

  parts() {
    const clippingPlanes = [this.plane];
    const position = new THREE.BufferAttribute(this.shapes.position, 3);
    this.colour = new THREE.BufferAttribute(new Uint8Array(this.shapes.position.length), 3, true);
    const geometry = (kind) => {
      const made = new THREE.BufferGeometry();
      made.setAttribute("position", position);
      made.setAttribute("color", this.colour);
      made.setIndex(new THREE.BufferAttribute(new Uint32Array(this.shapes[kind].length), 1));
      made.boundingSphere = new THREE.Sphere(new THREE.Vector3(), 1e9);
      return made;
    };
    const surface = { vertexColors: true, flatShading: true, side: 2, clippingPlanes };
    const behind = { polygonOffset: true, polygonOffsetFactor: 1, polygonOffsetUnits: 1 };
    this.solid = new THREE.Mesh(geometry("triangles"), new THREE.MeshLambertMaterial({ ...surface, ...behind }));
    this.faint = new THREE.Mesh(
      geometry("triangles"),
      new THREE.MeshLambertMaterial({ ...surface, transparent: true, opacity: 0.08, depthWrite: false }),
    );
    this.edges = new THREE.LineSegments(
      geometry("lines"),
      new THREE.LineBasicMaterial({ color: 0x000000, transparent: true, opacity: 0.45, clippingPlanes }),
    );
    this.chosen = new THREE.Mesh(
      geometry("triangles"),
      new THREE.MeshBasicMaterial({ color: 0xc2006b, transparent: true, opacity: 0.3, side: 2, clippingPlanes }),
    );
    this.chosenEdges = new THREE.LineSegments(
      geometry("lines"),
      new THREE.LineBasicMaterial({ color: 0xc2006b, depthTest: false, transparent: true, clippingPlanes }),
    );
    this.chosenEdges.renderOrder = 2;
    for (const object of [this.solid, this.faint, this.edges, this.chosen, this.chosenEdges]) {
      object.frustumCulled = false;
      object.visible = false; // until `index` has said what it draws
      this.scene.add(object);
    }
  }

  /** Look of lines and of the choice, as CSS colours. */
  look(line, choice) {
    this.edges.material.color.set(line);
    this.chosen.material.color.set(choice);
    this.chosenEdges.material.color.set(choice);
    this.draw();
  }

  /** Colour every face; `colourOf` gives a CSS colour for a face number. */
  paint(colourOf) {
    const known = new Map();
    const { faceCorner } = this.shapes;
    const target = this.colour.array;
    for (let f = 0; f + 1 < faceCorner.length; f++) {
      const name = colourOf(f);
      let rgb = known.get(name);
      if (!rgb) {
        const colour = new THREE.Color(name);
        rgb = [colour.r, colour.g, colour.b].map((value) => Math.round(255 * value));
        known.set(name, rgb);
      }
      for (let i = 3 * faceCorner[f]; i < 3 * faceCorner[f + 1]; i += 3) {
        target[i] = rgb[0];
        target[i + 1] = rgb[1];
        target[i + 2] = rgb[2];
      }
    }
    this.colour.needsUpdate = true;
    this.draw();
  }

  /** Show bodies by `SOLID`, `FAINT` or `HIDDEN`, one entry each. */
  display(show) {
    this.show = show;
    this.index(this.solid, (b) => show[b] === SOLID, "triangles");
    this.index(this.faint, (b) => show[b] === FAINT, "triangles");
    this.index(this.edges, (b) => show[b] === SOLID, "lines");
    this.edged = this.edges.visible;
    this.draw();
  }

  /** Mark bodies as the choice; `filled` lays a tint over them. */
  choose(bodies, filled) {
    const chosen = new Set(bodies);
    this.index(this.chosen, (b) => filled && chosen.has(b) && this.show[b], "triangles");
    this.index(this.chosenEdges, (b) => chosen.has(b) && this.show[b], "lines");
    this.draw();
  }

  index(object, wanted, kind) {
    const [starts, width] = kind === "lines" ? [this.shapes.bodyLine, 2] : [this.shapes.bodyTriangle, 3];
    const source = this.shapes[kind];
    const target = object.geometry.index;
    let at = 0;
    for (let b = 0; b < this.count; b++) {
      if (!wanted(b)) continue;
      const own = source.subarray(starts[b] * width, starts[b + 1] * width);
      target.array.set(own, at);
      at += own.length;
    }
    target.clearUpdateRanges();
    target.addUpdateRange(0, at);
    target.needsUpdate = true;
    object.geometry.setDrawRange(0, at);
    object.visible = at > 0;
  }

  /** Box of some bodies, or null for none. */
  boxOf(bodies) {
    const box = new THREE.Box3();
    for (const b of bodies) box.union(this.box(b));
    return box.isEmpty() ? null : box;
  }

  box(b) {
    const [x, y, z, dx, dy, dz] = this.boxes.subarray(6 * b, 6 * b + 6);
    return new THREE.Box3(new THREE.Vector3(x, y, z), new THREE.Vector3(x + dx, y + dy, z + dz));
  }

  /** Look at a box along a direction of `SIDES`, or along the one in which the camera looks already. */
  fit(box, side) {
    if (!box) return;
    const centre = box.getCenter(new THREE.Vector3());
    const direction = side
      ? new THREE.Vector3(...SIDES[side]).normalize()
      : this.camera.position.clone().sub(this.controls.target).normalize();
    this.camera.position.copy(centre).addScaledVector(direction, this.distance(box, centre, direction));
    this.controls.target.copy(centre);
    this.controls.update();
    this.fitted = box; // until the reader moves the camera
    this.draw();
  }

  /** How far from the centre of a box, along a direction, all its corners are in the picture. */
  distance(box, centre, direction) {
    const right = new THREE.Vector3().crossVectors(this.camera.up, direction).normalize();
    const up = new THREE.Vector3().crossVectors(direction, right);
    const high = Math.tan((this.camera.fov * Math.PI) / 360);
    const wide = high * this.camera.aspect;
    let distance = 1;
    for (let corner = 0; corner < 8; corner++) {
      const at = new THREE.Vector3(
        (corner & 1 ? box.max : box.min).x,
        (corner & 2 ? box.max : box.min).y,
        (corner & 4 ? box.max : box.min).z,
      ).sub(centre);
      const aside = Math.max(Math.abs(at.dot(right)) / wide, Math.abs(at.dot(up)) / high);
      distance = Math.max(distance, 1.06 * aside + at.dot(direction));
    }
    return distance;
  }

  /** Hide what lies above a height. */
  cut(height) {
    this.plane.constant = height;
    this.draw();
  }

  /** What lies under a point of the canvas: {body, face}, or null. Solid bodies go before faint ones. */
  pick(x, y) {
    const bounds = this.canvas.getBoundingClientRect();
    const point = new THREE.Vector2(
      ((x - bounds.left) / bounds.width) * 2 - 1,
      1 - ((y - bounds.top) / bounds.height) * 2,
    );
    this.camera.updateMatrixWorld(); // it may have moved since the last picture
    const caster = new THREE.Raycaster();
    caster.setFromCamera(point, this.camera);
    return this.nearest(caster.ray, SOLID) ?? this.nearest(caster.ray, FAINT);
  }

  nearest(ray, kind) {
    const { position, triangles, bodyTriangle, faceTriangle } = this.shapes;
    const [a, b, c, hit] = [0, 1, 2, 3].map(() => new THREE.Vector3());
    let best = null;
    for (let body = 0; body < this.count; body++) {
      if (this.show[body] !== kind || !ray.intersectsBox(this.box(body).expandByScalar(1e-3))) continue;
      for (let t = bodyTriangle[body]; t < bodyTriangle[body + 1]; t++) {
        a.fromArray(position, 3 * triangles[3 * t]);
        b.fromArray(position, 3 * triangles[3 * t + 1]);
        c.fromArray(position, 3 * triangles[3 * t + 2]);
        if (!ray.intersectTriangle(a, b, c, false, hit) || hit.z > this.plane.constant) continue;
        const distance = hit.distanceTo(ray.origin);
        if (!best || distance < best.distance) best = { body, triangle: t, distance };
      }
    }
    if (!best) return null;
    let low = 0;
    let high = faceTriangle.length - 1;
    while (high - low > 1) {
      const middle = (low + high) >> 1;
      if (faceTriangle[middle] <= best.triangle) low = middle;
      else high = middle;
    }
    return { body: best.body, face: low };
  }

  turn(event) {
    const steps = { ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, 1], ArrowDown: [0, -1] };
    const offset = this.camera.position.clone().sub(this.controls.target);
    if (event.key in steps) {
      const [around, up] = steps[event.key];
      offset.applyAxisAngle(this.camera.up, (around * Math.PI) / 24);
      const side = new THREE.Vector3().crossVectors(this.camera.up, offset).normalize();
      const steep = Math.asin(offset.z / offset.length()) + (up * Math.PI) / 24;
      if (Math.abs(steep) < 1.5) offset.applyAxisAngle(side, (-up * Math.PI) / 24);
    } else if (event.key === "+" || event.key === "=") offset.multiplyScalar(0.85);
    else if (event.key === "-") offset.multiplyScalar(1 / 0.85);
    else return;
    event.preventDefault();
    this.fitted = null;
    this.camera.position.copy(this.controls.target).add(offset);
    this.controls.update();
    this.draw();
  }

  /** Take the size of the place for the model; true where it is another than before, and the picture must be drawn. */
  resize() {
    const { clientWidth, clientHeight } = this.canvas.parentElement;
    if (!clientWidth || !clientHeight || (clientWidth === this.wide && clientHeight === this.high)) return false;
    [this.wide, this.high] = [clientWidth, clientHeight];
    this.renderer.setPixelRatio(Math.min(window.devicePixelRatio, 2));
    this.renderer.setSize(clientWidth, clientHeight, false);
    this.camera.aspect = clientWidth / clientHeight;
    this.camera.updateProjectionMatrix();
    this.fit(this.fitted, null);
    return true;
  }

  draw() {
    if (this.wanted) return;
    this.wanted = true;
    requestAnimationFrame(() => this.wanted && this.now());
  }

  now() {
    this.wanted = false;
    const distance = this.camera.position.distanceTo(this.controls.target);
    this.camera.near = Math.max(distance / 1000, 0.01);
    this.camera.far = distance * 10 + 1000;
    this.camera.updateProjectionMatrix();
    const ink = Math.min(0.45, 30 / distance); // from afar lines would cover the colours
    this.edges.material.opacity = ink;
    this.edges.visible = this.edged && ink > FAINTEST;
    this.lamp.position.copy(this.camera.position);
    this.lamp.target.position.copy(this.controls.target);
    this.renderer.render(this.scene, this.camera);
  }
}
