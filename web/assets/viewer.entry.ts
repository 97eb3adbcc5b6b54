// The model viewer: turn, zoom, edges, section plane, measuring between two points, bodies. Light is fixed to the eye.
import {
  Box3, BufferAttribute, BufferGeometry, Color, DirectionalLight, DoubleSide, EdgesGeometry, Float32BufferAttribute, HemisphereLight, Line,
  LineBasicMaterial, LineSegments, Mesh, MeshStandardMaterial, Object3D, PerspectiveCamera, Plane, Points, PointsMaterial, Raycaster, Scene, Vector2, Vector3, WebGLRenderer,
} from "three";
import { OrbitControls } from "three/addons/controls/OrbitControls.js";
import { GLTFLoader } from "three/addons/loaders/GLTFLoader.js";
import { MeshoptDecoder } from "three/addons/libs/meshopt_decoder.module.js";

function css(name: string): Color {
  return new Color(getComputedStyle(document.documentElement).getPropertyValue(name).trim() || "#888");
}

class Viewer {
  private readonly scene = new Scene();
  private readonly camera = new PerspectiveCamera(35, 4 / 3, 0.1, 1e5);
  private readonly renderer: WebGLRenderer;
  private readonly controls: OrbitControls;
  private readonly meshes: Mesh[] = [];
  private readonly edges: LineSegments[] = [];
  private readonly plane = new Plane(new Vector3(-1, 0, 0), 0);
  private readonly box = new Box3();
  private marks: Object3D[] = [];
  private picked: Vector3[] = [];
  private measuring = false;
  private readonly out = document.createElement("output");

  constructor(private readonly host: HTMLElement, private readonly tools: HTMLElement | null) {
    this.renderer = new WebGLRenderer({ antialias: true, alpha: true, preserveDrawingBuffer: true });
    this.renderer.localClippingEnabled = true;
    this.renderer.setPixelRatio(Math.min(2, window.devicePixelRatio));
    host.append(this.renderer.domElement);
    this.scene.add(new HemisphereLight(0xffffff, 0x9a9484, 1.6));
    const lamp = new DirectionalLight(0xffffff, 1.7);
    lamp.position.set(-0.4, 0.6, 1);
    this.camera.add(lamp);
    this.scene.add(this.camera);
    this.camera.up.set(0, 0, 1);
    this.controls = new OrbitControls(this.camera, this.renderer.domElement);
    this.controls.addEventListener("change", () => this.draw());
    new ResizeObserver(() => this.fit()).observe(host);
    this.renderer.domElement.addEventListener("pointerup", (e) => this.pick(e));
  }

  async load(url: string): Promise<void> {
    const loader = new GLTFLoader();
    loader.setMeshoptDecoder(MeshoptDecoder);
    const g = await loader.loadAsync(url);
    const root = g.scene;
    // The file is y up as its format asks; the bench is z up.
    root.rotation.x = Math.PI / 2;
    root.updateMatrixWorld(true);
    const found: Mesh[] = [];
    root.traverse((o) => { if (o instanceof Mesh) found.push(o); });
    for (const m of found) {
      const geo = (m.geometry as BufferGeometry).clone();
      // Quantised positions are whole numbers with a scale on the node: write them out.
      const pos = geo.getAttribute("position") as BufferAttribute;
      const out = new Float32Array(pos.count * 3);
      const v = new Vector3();
      for (let i = 0; i < pos.count; i++) { v.fromBufferAttribute(pos, i).applyMatrix4(m.matrixWorld); out.set([v.x, v.y, v.z], 3 * i); }
      geo.setAttribute("position", new Float32BufferAttribute(out, 3));
      geo.deleteAttribute("normal");
      // The loader put the bounds of the whole numbers there.
      geo.computeBoundingBox();
      geo.computeBoundingSphere();
      const given = (m.material as MeshStandardMaterial).color;
      const colour = given && given.getHex() !== 0xffffff ? given.clone() : css("--line");
      const mat = new MeshStandardMaterial({ color: colour, roughness: 0.8, metalness: 0, flatShading: true, side: DoubleSide, vertexColors: geo.hasAttribute("color"), clippingPlanes: [] });
      const solid = new Mesh(geo, mat);
      solid.name = m.name;
      this.scene.add(solid);
      this.meshes.push(solid);
      if (pos.count < 600_000) {
        const lines = new LineSegments(new EdgesGeometry(geo, 25), new LineBasicMaterial({ color: css("--ink"), transparent: true, opacity: 0.55, clippingPlanes: [] }));
        this.scene.add(lines);
        this.edges.push(lines);
      }
      this.box.expandByObject(solid);
    }
    this.look(new Vector3(0.8, -1, 0.65));
    this.fit();
    this.panel();
    this.places();
    this.host.dataset.ready = "yes";
  }

  private look(from: Vector3): void {
    const c = this.box.getCenter(new Vector3()), s = Math.max(1e-3, this.box.getSize(new Vector3()).length());
    this.camera.near = s / 200;
    this.camera.far = s * 20;
    this.camera.position.copy(c).addScaledVector(from.normalize(), s * 1.7);
    this.controls.target.copy(c);
    this.controls.update();
    this.draw();
  }

  private fit(): void {
    const w = Math.max(1, this.host.clientWidth), h = Math.max(1, this.host.clientHeight);
    this.renderer.setSize(w, h, false);
    this.camera.aspect = w / h;
    this.camera.updateProjectionMatrix();
    this.draw();
  }

  private draw(): void { this.renderer.render(this.scene, this.camera); }

  private panel(): void {
    if (!this.tools) return;
    const button = (word: string, on: () => void): HTMLButtonElement => {
      const b = document.createElement("button");
      b.type = "button";
      b.textContent = word;
      b.addEventListener("click", on);
      return b;
    };
    const views: [string, Vector3][] = [["front", new Vector3(0, -1, 0.001)], ["side", new Vector3(1, 0, 0.001)], ["top", new Vector3(0, -0.001, 1)], ["corner", new Vector3(0.8, -1, 0.65)]];
    for (const [word, v] of views) this.tools.append(button(word, () => this.look(v.clone())));
    const edges = button("edges", () => { for (const e of this.edges) e.visible = !e.visible; this.draw(); });
    if (this.edges.length) this.tools.append(edges);
    const label = document.createElement("label");
    label.textContent = "section ";
    const axis = document.createElement("select");
    axis.setAttribute("aria-label", "Section across");
    for (const a of ["none", "x", "y", "z"]) axis.add(new Option(a, a));
    const range = document.createElement("input");
    range.type = "range";
    range.min = "0";
    range.max = "100";
    range.value = "50";
    range.setAttribute("aria-label", "Place of the section");
    const cut = () => this.section(axis.value, Number(range.value) / 100);
    axis.addEventListener("change", cut);
    range.addEventListener("input", cut);
    label.append(axis, range);
    this.tools.append(label);
    const measure = button("measure", () => { this.measuring = !this.measuring; measure.setAttribute("aria-pressed", String(this.measuring)); this.clearMarks(); this.out.textContent = this.measuring ? "click two points" : ""; });
    measure.setAttribute("aria-pressed", "false");
    this.tools.append(measure, this.out);
    if (this.meshes.length > 1 && this.meshes.length <= 40) {
      const list = document.createElement("details");
      const sum = document.createElement("summary");
      sum.textContent = `${this.meshes.length} bodies`;
      list.append(sum);
      this.meshes.forEach((m, i) => {
        const l = document.createElement("label");
        const c = document.createElement("input");
        c.type = "checkbox";
        c.checked = true;
        c.addEventListener("change", () => { m.visible = c.checked; if (this.edges[i]) this.edges[i].visible = c.checked; this.draw(); });
        l.append(c, ` ${m.name || `body ${i + 1}`} `);
        list.append(l);
      });
      this.tools.append(list);
    }
  }

  // Findings on the page that have a place get a button that marks it on the model.
  private places(): void {
    for (const li of document.querySelectorAll<HTMLElement>("[data-marks]")) {
      const points = (li.dataset.marks ?? "").split(";").map((p) => p.split(" ").map(Number)).filter((p) => p.length === 3 && p.every(Number.isFinite))
        .map(([x, y, z]) => new Vector3(x, y, z).multiplyScalar(1 / this.unit));
      if (points.length === 0) continue;
      const b = document.createElement("button");
      b.type = "button";
      b.className = "small";
      b.textContent = "show";
      b.setAttribute("aria-pressed", "false");
      b.setAttribute("aria-label", `Show on the model: ${(li.textContent ?? "").trim().slice(0, 60)}`);
      b.addEventListener("click", () => {
        const on = b.getAttribute("aria-pressed") !== "true";
        for (const o of document.querySelectorAll("[data-marks] > button")) o.setAttribute("aria-pressed", "false");
        b.setAttribute("aria-pressed", String(on));
        this.mark(on ? points : []);
        if (on) this.host.scrollIntoView({ block: "nearest" });
      });
      li.append(" ", b);
    }
  }

  // mark shows places, the first as a large dot with the eye turned to it; they are seen through the part.
  private mark(points: Vector3[]): void {
    this.clearMarks();
    this.host.dataset.marked = String(points.length);
    if (points.length === 0) return;
    const dots = (p: Vector3[], size: number) => {
      const o = new Points(new BufferGeometry().setFromPoints(p), new PointsMaterial({ color: css("--stop"), size, sizeAttenuation: false, depthTest: false, transparent: true, opacity: 0.9 }));
      o.renderOrder = 2;
      this.scene.add(o);
      this.marks.push(o);
    };
    if (points.length > 1) dots(points.slice(1), 6);
    dots(points.slice(0, 1), 14);
    const out = points[0].clone().sub(this.box.getCenter(new Vector3()));
    if (out.length() > 1e-6) this.look(out.normalize().add(new Vector3(0.25, -0.35, 0.3)));
    this.draw();
  }

  private section(axis: string, at: number): void {
    const n = { x: new Vector3(-1, 0, 0), y: new Vector3(0, 1, 0), z: new Vector3(0, 0, -1) }[axis];
    const planes = n ? [this.plane] : [];
    if (n) {
      const p = this.box.min.clone().lerp(this.box.max, at);
      this.plane.setFromNormalAndCoplanarPoint(n, p);
    }
    for (const o of [...this.meshes, ...this.edges]) (o.material as MeshStandardMaterial).clippingPlanes = planes;
    this.draw();
  }

  private clearMarks(): void {
    for (const m of this.marks) this.scene.remove(m);
    this.marks = [];
    this.picked = [];
    this.draw();
  }

  private pick(e: PointerEvent): void {
    if (!this.measuring) return;
    const r = this.renderer.domElement.getBoundingClientRect();
    const ray = new Raycaster();
    ray.setFromCamera(new Vector2((2 * (e.clientX - r.left)) / r.width - 1, 1 - (2 * (e.clientY - r.top)) / r.height), this.camera);
    const hit = ray.intersectObjects(this.meshes.filter((m) => m.visible))[0];
    if (!hit) return;
    if (this.picked.length === 2) this.clearMarks();
    this.picked.push(hit.point.clone());
    const dots = new Points(new BufferGeometry().setFromPoints(this.picked), new PointsMaterial({ color: css("--act"), size: 9, sizeAttenuation: false, depthTest: false }));
    this.scene.add(dots);
    this.marks.push(dots);
    if (this.picked.length === 2) {
      const line = new Line(new BufferGeometry().setFromPoints(this.picked), new LineBasicMaterial({ color: css("--act"), depthTest: false }));
      this.scene.add(line);
      this.marks.push(line);
      const d = this.picked[0].distanceTo(this.picked[1]) * this.unit;
      const inch = this.host.dataset.inch === "true";
      this.out.textContent = inch ? `${(d / 25.4).toFixed(3)} in` : `${d.toFixed(2)} mm`;
    }
    this.draw();
  }

  // The model format counts metres; the desk counts millimetres.
  private readonly unit = 1000;
}

for (const host of document.querySelectorAll<HTMLElement>(".viewer[data-model]")) {
  const tools = host.parentElement!.querySelector<HTMLElement>("[data-viewer-tools]");
  try {
    const v = new Viewer(host, tools);
    v.load(host.dataset.model!).catch(() => { host.textContent = "The model could not be shown here."; });
  } catch {
    host.textContent = "This browser cannot show models; the file can be fetched from the request.";
    host.dataset.ready = "no";
  }
}
