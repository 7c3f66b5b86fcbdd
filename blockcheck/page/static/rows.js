// Rows: blocks are exchanged by dragging or by keys.
import { act, data, home, place, say, tried } from "./talk.js";

const part = document.getElementById("part");
let order = data.order || [];
let picked = null; // a block in hand, by keyboard
let drag = null;

const places = () => [...part.querySelectorAll(".place.block")];
const at = (name) => places().find((p) => p.dataset.block === name);

async function change(action, body, focus = null) {
  const done = await tried(() => act(action, { ...body, show: "rows" }));
  if (!done) return;
  if (done.said) say(done.said);
  place(part, done.part);
  order = done.data.order || [];
  picked = null;
  if (focus) at(focus)?.focus();
}

function exchange(one, other) {
  if (!one || !other || one === other) return;
  const names = order.map((n) => (n === one ? other : n === other ? one : n));
  change("order", { names }, one);
  say(`${one} and ${other} have changed places.`);
}

part.addEventListener("click", (event) => {
  const what = event.target.closest("button")?.dataset.do;
  if (what === "arrange") change("arrange", {});
  else if (what) change(what, { of: "order" });
});

part.addEventListener("pointerdown", (event) => {
  const g = event.target.closest(".place.block");
  if (!g || event.button > 0) return;
  const svg = g.ownerSVGElement;
  drag = { g, svg, x: event.clientX, y: event.clientY, k: svg.viewBox.baseVal.width / svg.getBoundingClientRect().width };
  svg.setPointerCapture(event.pointerId);
});
part.addEventListener("pointermove", (event) => {
  if (!drag) return;
  const dx = (event.clientX - drag.x) * drag.k;
  const dy = (event.clientY - drag.y) * drag.k;
  if (!drag.moved && Math.hypot(event.clientX - drag.x, event.clientY - drag.y) < 6) return;
  drag.moved = true;
  drag.g.classList.add("dragged");
  drag.g.setAttribute("transform", `translate(${dx} ${dy})`);
  const over = under(event);
  for (const p of places()) p.classList.toggle("over", p === over);
});
for (const kind of ["pointerup", "pointercancel"]) part.addEventListener(kind, (event) => {
  if (!drag) return;
  const { g, moved } = drag;
  const over = under(event);
  drag = null;
  g.removeAttribute("transform");
  g.classList.remove("dragged");
  for (const p of places()) p.classList.remove("over");
  if (!moved && kind === "pointerup") pick(g);
  else if (kind === "pointerup" && over) exchange(g.dataset.block, over.dataset.block);
});

function under(event) {
  const here = document.elementsFromPoint(event.clientX, event.clientY).map((n) => n.closest(".place.block"));
  return here.find((p) => p && p !== drag?.g) || null;
}

function pick(g) {
  const name = g.dataset.block;
  if (picked && picked !== name) { exchange(picked, name); return; }
  picked = picked ? null : name;
  for (const p of places()) p.setAttribute("aria-pressed", String(p.dataset.block === picked));
  say(picked ? `${name} is in hand. Choose the block to swap it with.` : `${name} is put down where it was.`);
}

part.addEventListener("keydown", (event) => {
  const g = event.target.closest(".place.block");
  if (!g) return;
  const way = { ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, -1], ArrowDown: [0, 1] }[event.key];
  if (way) next(g, way)?.focus();
  else if (event.key === "Enter" || event.key === " ") pick(g);
  else if (event.key === "Escape" && picked) pick(at(picked));
  else return;
  event.preventDefault();
});

/** The nearest block that lies that way. */
function next(g, [dx, dy]) {
  const middle = (p) => { const r = p.querySelector("rect").getBoundingClientRect(); return [r.x + r.width / 2, r.y + r.height / 2]; };
  const [x, y] = middle(g);
  return places().filter((p) => p !== g).map((p) => {
    const [px, py] = middle(p);
    const along = (px - x) * dx + (py - y) * dy;
    const across = Math.abs((px - x) * dy) + Math.abs((py - y) * dx);
    return { p, along, cost: along + 2.5 * across };
  }).filter(({ along }) => along > 4).sort((a, b) => a.cost - b.cost)[0]?.p;
}
