// A photo that is zoomed, panned and marked, by finger, mouse, pen or keys.
// Places are the photo's own pixels, with the centre of the first one at (0, 0).
import { draw } from "./talk.js";

const REACH = 24; // CSS pixels around a handle that count as on it: a finger's width
const SLACK = 7; // CSS pixels that a finger may slip and still have tapped
const LOUPE = 150;
const NEARER = 2.5; // how much nearer the loupe shows what lies under the finger

export class Viewer {
  /** `svg` shows the photo, `loupe` what the finger hides. */
  constructor(svg, loupe, { onTap = () => {}, onDraw = () => {}, onView = () => {} } = {}) {
    Object.assign(this, { svg, loupe, onTap, onDraw, onView });
    this.size = { width: 1, height: 1 };
    this.view = { x: 0, y: 0, w: 1, h: 1 };
    this.fingers = new Map();
    this.handles = [];
    this.image = draw(svg, "image", { x: -0.5, y: -0.5 });
    this.layer = draw(svg, "g");
    this.near = draw(loupe, "image", { x: -0.5, y: -0.5 });
    this.nearLayer = draw(loupe, "g");
    svg.setAttribute("tabindex", "0");
    svg.addEventListener("pointerdown", (e) => this.down(e));
    svg.addEventListener("pointermove", (e) => this.move(e));
    for (const kind of ["pointerup", "pointercancel"]) svg.addEventListener(kind, (e) => this.up(e));
    svg.addEventListener("wheel", (e) => { e.preventDefault(); this.zoom(Math.exp(e.deltaY * 0.0015), this.at(e)); }, { passive: false });
    svg.addEventListener("keydown", (e) => this.key(e));
    new ResizeObserver(() => this.fit(true)).observe(svg);
  }

  /** Show a photo: first the small picture, then the one with every pixel. */
  async show(screen, full, width, height, around = null) {
    this.size = { width, height };
    for (const image of [this.image, this.near]) {
      image.setAttribute("width", width);
      image.setAttribute("height", height);
      image.setAttribute("href", screen);
    }
    this.ready = true;
    if (around) this.fitTo(around); else this.fit();
    const whole = new Image();
    whole.src = full;
    try { await whole.decode(); } catch { return; }
    this.image.setAttribute("href", full);
    this.near.setAttribute("href", full);
  }

  /** The whole photo, or (again) the same part after the window's size has changed. */
  fit(keep = false) {
    const box = this.svg.getBoundingClientRect();
    if (!box.width || !box.height) return;
    const { width, height } = this.size;
    if (!keep || !this.zoomed) {
      const scale = Math.max(width / box.width, height / box.height);
      this.zoomed = false;
      this.view = { w: box.width * scale, h: box.height * scale };
      this.view.x = (width - this.view.w) / 2;
      this.view.y = (height - this.view.h) / 2;
    } else {
      this.view.h = this.view.w * box.height / box.width;
    }
    this.draw();
  }

  /** Show a part of the photo, with some room around it. */
  fitTo(points, room = 0.14) {
    const box = this.svg.getBoundingClientRect();
    const xs = points.map((p) => p[0]);
    const ys = points.map((p) => p[1]);
    const w = (Math.max(...xs) - Math.min(...xs)) * (1 + 2 * room);
    const h = (Math.max(...ys) - Math.min(...ys)) * (1 + 2 * room);
    const scale = Math.max(w / box.width, h / box.height);
    const [x, y] = [(Math.max(...xs) + Math.min(...xs)) / 2, (Math.max(...ys) + Math.min(...ys)) / 2];
    this.view = { w: box.width * scale, h: box.height * scale };
    this.view.x = x - this.view.w / 2;
    this.view.y = y - this.view.h / 2;
    this.zoomed = true;
    this.draw();
  }

  /** Photo pixels in one CSS pixel. */
  get scale() { return this.view.w / (this.svg.getBoundingClientRect().width || 1); }

  at(event) {
    const box = this.svg.getBoundingClientRect();
    const k = this.view.w / box.width;
    return [this.view.x + (event.clientX - box.left) * k, this.view.y + (event.clientY - box.top) * k];
  }

  zoom(factor, about = [this.view.x + this.view.w / 2, this.view.y + this.view.h / 2]) {
    const most = Math.max(this.size.width, this.size.height) * 2;
    const f = Math.min(Math.max(factor, 40 / this.view.w), most / this.view.w);
    this.view = { x: about[0] + (this.view.x - about[0]) * f, y: about[1] + (this.view.y - about[1]) * f, w: this.view.w * f, h: this.view.h * f };
    this.zoomed = true;
    this.draw();
  }

  pan(dx, dy) {
    const { width, height } = this.size;
    const inside = (v, low, high) => Math.min(Math.max(v, low), high);
    this.view.x = inside(this.view.x + dx, -this.view.w / 2, width - this.view.w / 2);
    this.view.y = inside(this.view.y + dy, -this.view.h / 2, height - this.view.h / 2);
    this.zoomed = true;
    this.draw();
  }

  draw() {
    const { x, y, w, h } = this.view;
    this.svg.setAttribute("viewBox", `${x} ${y} ${w} ${h}`);
    this.onDraw();
    this.onView();
  }

  /** Take everything off the photo; the handle that has the focus will have it again. */
  clear() {
    this.focused = document.activeElement?.dataset?.handle;
    this.layer.replaceChildren();
  }

  /** Have handles: {id, at: [x, y], label, kind, move(to, done), remove()}. */
  hold(handles) {
    this.handles = handles;
    const k = this.scale;
    for (const handle of handles) {
      const kind = handle.kind || "corner";
      const g = draw(this.layer, "g", { class: `handle ${kind}`, transform: `translate(${handle.at})`, tabindex: 0, role: "button", "aria-label": handle.label, "data-handle": handle.id });
      draw(g, "circle", { class: "reach", r: REACH * k });
      if (kind === "side") draw(g, "rect", { class: "shape", x: -7 * k, y: -7 * k, width: 14 * k, height: 14 * k, rx: 3 * k });
      else {
        if (kind !== "corner") draw(g, "circle", { class: "halo", r: 11 * k });
        draw(g, "circle", { class: "shape", r: (kind === "corner" ? 10 : 11) * k });
        if (kind !== "corner") draw(g, "circle", { r: 2 * k, fill: "#0a3fd0" });
      }
      if (handle.text) draw(g, "text", { y: -18 * k, "font-size": 16 * k, "stroke-width": 4 * k }, handle.text);
      if (handle.id === this.focused) g.focus({ preventScroll: true });
    }
  }

  handle(id) { return this.handles.find((h) => h.id === id); }

  down(event) {
    if (event.button > 0) return;
    this.svg.setPointerCapture(event.pointerId);
    const here = this.at(event);
    this.fingers.set(event.pointerId, { x: event.clientX, y: event.clientY });
    if (this.fingers.size > 1) {
      this.stop();
      this.tapped = null;
      return;
    }
    const reach = REACH * this.scale;
    const near = this.handles
      .map((h) => ({ h, d: Math.hypot(h.at[0] - here[0], h.at[1] - here[1]) }))
      .filter(({ d }) => d < reach).sort((a, b) => a.d - b.d)[0];
    this.tapped = { x: event.clientX, y: event.clientY };
    if (near) {
      this.held = { handle: near.h, off: [near.h.at[0] - here[0], near.h.at[1] - here[1]], from: near.h.at.slice() };
      this.layer.querySelector(`[data-handle="${CSS.escape(near.h.id)}"]`)?.focus({ preventScroll: true });
      this.look(near.h.at, event);
    } else this.svg.focus({ preventScroll: true });
    event.preventDefault();
  }

  move(event) {
    const finger = this.fingers.get(event.pointerId);
    if (!finger) return;
    const others = [...this.fingers.entries()].filter(([id]) => id !== event.pointerId);
    if (others.length) this.pinch(event, finger, others[0][1]);
    else if (this.held) {
      if (this.tapped && Math.hypot(event.clientX - this.tapped.x, event.clientY - this.tapped.y) < SLACK / 2) return;
      this.tapped = null;
      const here = this.at(event);
      const to = [here[0] + this.held.off[0], here[1] + this.held.off[1]];
      this.held.moved = true;
      this.held.handle.move?.(to, false);
      this.look(this.handle(this.held.handle.id)?.at || to, event);
    } else if (!this.tapped || Math.hypot(event.clientX - this.tapped.x, event.clientY - this.tapped.y) > SLACK) {
      this.tapped = null;
      this.pan((finger.x - event.clientX) * this.scale, (finger.y - event.clientY) * this.scale);
    } else return;
    finger.x = event.clientX;
    finger.y = event.clientY;
  }

  pinch(event, finger, other) {
    const before = Math.hypot(finger.x - other.x, finger.y - other.y);
    const after = Math.hypot(event.clientX - other.x, event.clientY - other.y);
    const middle = { clientX: (finger.x + other.x) / 2, clientY: (finger.y + other.y) / 2 };
    if (before > 10 && after > 10) this.zoom(before / after, this.at(middle));
    this.pan((finger.x - event.clientX) / 2 * this.scale, (finger.y - event.clientY) / 2 * this.scale);
  }

  up(event) {
    if (!this.fingers.delete(event.pointerId)) return;
    const held = this.held;
    const tapped = this.tapped;
    this.stop();
    this.tapped = null;
    if (event.type === "pointercancel") held?.handle.move?.(held.from, true);
    else if (held?.moved) held.handle.move?.(this.handle(held.handle.id)?.at || held.from, true);
    else if (tapped && held) held.handle.tap?.();
    else if (tapped) this.onTap(this.at(event));
  }

  stop() {
    this.held = null;
    this.loupe.setAttribute("hidden", "");
  }

  /** The loupe stands beside the finger, above it and towards the middle. */
  look([x, y], event) {
    const box = this.svg.getBoundingClientRect();
    const w = LOUPE * this.scale / NEARER;
    this.loupe.setAttribute("viewBox", `${x - w / 2} ${y - w / 2} ${w} ${w}`);
    const fx = event.clientX - box.left;
    const fy = event.clientY - box.top;
    let left = fx + (fx < box.width / 2 ? 30 : -30 - LOUPE);
    let top = fy - LOUPE - 30;
    if (top < 4) top = Math.min(fy + 40, box.height - LOUPE - 4);
    left = Math.min(Math.max(left, 4), box.width - LOUPE - 4);
    this.loupe.style.left = `${left}px`;
    this.loupe.style.top = `${Math.max(top, 4)}px`;
    this.nearLayer.replaceChildren(...[...this.layer.querySelectorAll(".outline, .axis")].map((n) => n.cloneNode(true)));
    draw(this.nearLayer, "path", { class: "aim", d: `M${x - w} ${y}h${2 * w}M${x} ${y - w}v${2 * w}` });
    this.loupe.removeAttribute("hidden");
  }

  key(event) {
    const id = document.activeElement?.dataset?.handle;
    const step = event.shiftKey ? 10 : 1;
    const way = { ArrowLeft: [-step, 0], ArrowRight: [step, 0], ArrowUp: [0, -step], ArrowDown: [0, step] }[event.key];
    const handle = id && this.handle(id);
    if (way && handle?.move) {
      handle.move([handle.at[0] + way[0], handle.at[1] + way[1]], "soon");
    } else if (way) this.pan(way[0] * 40 * this.scale / step * (event.shiftKey ? 4 : 1), way[1] * 40 * this.scale / step * (event.shiftKey ? 4 : 1));
    else if (event.key === "+" || event.key === "=") this.zoom(0.8, handle?.at);
    else if (event.key === "-") this.zoom(1.25, handle?.at);
    else if (event.key === "0") this.fit();
    else if ((event.key === "Delete" || event.key === "Backspace") && handle?.remove) handle.remove();
    else if (event.key === "Enter" || event.key === " ") {
      if (handle) handle.tap?.();
      else this.onTap([this.view.x + this.view.w / 2, this.view.y + this.view.h / 2]);
    } else return;
    event.preventDefault();
  }
}

/** Four corners and four sides as handles: a side moves both its corners across itself. */
export function edgeHandles(corners, changed) {
  const names = ["Top left corner", "Top right corner", "Bottom right corner", "Bottom left corner"];
  const sides = ["Top edge", "Right edge", "Bottom edge", "Left edge"];
  const handles = corners.map((at, k) => ({
    id: `corner-${k}`, at, label: names[k], kind: "corner",
    move: (to, done) => changed(corners.map((c, i) => (i === k ? to : c)), [(k + 3) % 4, k], done),
  }));
  corners.forEach((a, k) => {
    const b = corners[(k + 1) % 4];
    const middle = [(a[0] + b[0]) / 2, (a[1] + b[1]) / 2];
    const long = Math.hypot(b[0] - a[0], b[1] - a[1]) || 1;
    const across = [-(b[1] - a[1]) / long, (b[0] - a[0]) / long];
    handles.push({
      id: `side-${k}`, at: middle, label: sides[k], kind: "side",
      move: (to, done) => {
        const by = (to[0] - middle[0]) * across[0] + (to[1] - middle[1]) * across[1];
        const moved = (c) => [c[0] + by * across[0], c[1] + by * across[1]];
        changed(corners.map((c, i) => (i === k || i === (k + 1) % 4 ? moved(c) : c)), [k], done);
      },
    });
  });
  return handles;
}
