// The set: sizes on a slider, every block with its trim at the size looked at.
import { act, draw, get, home, say, tried } from "./talk.js";

const slider = document.getElementById("row");
const list = document.getElementById("set");
const kinds = document.getElementById("kind");
const answers = new Map();
let shown = null;

async function look(row = null) {
  const query = new URLSearchParams(row === null ? {} : { row });
  if (kinds.value) query.set("kind", kinds.value);
  const key = String(query);
  if (!answers.has(key)) {
    answers.set(key, get(`${home}/sizes.json?${key}`));
    answers.get(key).catch(() => answers.delete(key));
  }
  return answers.get(key);
}

async function show(row = null) {
  if (row !== null && shown?.rows[row]) { // the drawings follow
    const short = new Set(shown.rows[row].short);
    for (const card of list.children) if (shown.kinds.length < 2 || card.dataset.kind === shown.kind) card.classList.toggle("short", short.has(card.dataset.name));
    tell(shown, row);
  }
  const found = await tried(() => look(row));
  if (!found) return;
  if (row !== null && Number(slider.value) !== row) return; // it was moved on meanwhile
  if (kinds.options.length > 1 && found.kinds?.includes(kinds.value) && found.kind !== kinds.value) return;
  shown = found;
  document.getElementById("headline").textContent = found.headline || found.said?.join(" ") || "";
  document.getElementById("slider").hidden = found.rows.length < 1;
  if (!found.rows.length) return;
  document.getElementById("of").hidden = found.kinds.length < 2;
  kinds.replaceChildren(...found.kinds.map((kind) => new Option(kind, kind, false, kind === found.kind)));
  slider.max = found.rows.length - 1;
  slider.value = found.at;
  document.getElementById("unchoose").hidden = !found.fixed;
  const why = document.getElementById("why");
  why.hidden = false;
  document.getElementById("reasons").replaceChildren(...[...found.reasons, ...found.below].map((text) => Object.assign(document.createElement("li"), { textContent: text })));
  for (const card of list.children) trim(card, found.blocks[card.dataset.name]);
  tell(found, found.at);
}

/** What a row of the table says by itself, without the drawings. */
function tell(found, at) {
  const row = found.rows[at];
  slider.setAttribute("aria-valuetext", row.said);
  document.getElementById("looked").textContent = row.size;
  document.getElementById("gain").textContent = row.gain;
  const choose = document.getElementById("choose");
  const same = at === found.chosen;
  choose.textContent = !same ? "Trim to this size" : found.fixed ? "This is the size to trim to" : "Keep this size";
  choose.disabled = same && found.fixed;
  choose.dataset.row = at;
  ruler(found, at);
  arrange();
}

/** The sizes as lines of a ruler: longer where more blocks reach them, heavy for the one to trim to. */
function ruler(found, at) {
  const svg = document.getElementById("ruler");
  svg.replaceChildren();
  const n = found.rows.length;
  const width = svg.clientWidth || 600;
  svg.setAttribute("viewBox", `0 0 ${width} 64`);
  draw(svg, "rect", { x: 1, y: 1, width: width - 2, height: 62, class: "body" });
  const most = Math.max(...found.rows.map((r) => r.reached), 1);
  const place = (i) => (n > 1 ? 13 + (i / (n - 1)) * (width - 26) : width / 2);
  const wordy = n * 100 < width; // else the numbers alone have room, and the words where it is looked
  found.rows.forEach((row, i) => {
    const x = place(i);
    draw(svg, "line", { x1: x, x2: x, y1: 1, y2: 8 + 30 * row.reached / most, class: i === found.chosen ? "mark chosen" : "mark" });
    const near = Math.abs(x - place(at)) < (at === 0 || at === n - 1 ? 95 : 58); // of the words there
    if (i !== at && (n * 40 >= width || (!wordy && near))) return;
    const text = wordy || i === at ? `${row.reached} block${row.reached === 1 ? "" : "s"}` : String(row.reached);
    const end = n > 1 && i === 0 ? "start" : n > 1 && i === n - 1 ? "end" : "middle";
    const said = draw(svg, "text", { x: { start: 6, end: width - 6, middle: x }[end], y: 56, class: i === at ? "now" : "" }, text);
    said.style.textAnchor = end;
  });
}

function trim(card, at) {
  const svg = card.querySelector(".shape");
  const says = card.querySelector(".says");
  svg.replaceChildren();
  card.classList.toggle("short", Boolean(at && !at.fits));
  says.textContent = at ? at.said : "";
  if (!at) return;
  const [a, b] = at.half;
  const room = Math.max(a, b) * 0.3;
  svg.setAttribute("viewBox", `${-a - room} ${-b - room} ${2 * (a + room)} ${2 * (b + room)}`);
  draw(svg, "polygon", { class: "cloth", points: at.cloth.join(" ") });
  for (const c of ["lines under", "lines"]) draw(svg, "rect", { class: c, x: -a, y: -b, width: 2 * a, height: 2 * b });
}

function arrange() {
  const by = document.getElementById("sort").value;
  const only = document.getElementById("filter").value;
  const cards = [...list.children];
  const value = { name: (c) => c.dataset.name, width: (c) => Number(c.dataset.width), height: (c) => Number(c.dataset.height), state: (c) => c.dataset.state }[by] || ((c) => Number(c.dataset.place));
  const names = new Intl.Collator(undefined, { numeric: true });
  cards.sort((x, y) => (typeof value(x) === "number" ? value(x) - value(y) : names.compare(value(x), value(y))));
  if (cards.some((card, i) => list.children[i] !== card)) list.append(...cards);
  let n = 0;
  for (const card of cards) {
    const fits = { "": true, short: card.classList.contains("short"), kind: card.dataset.kind === kinds.value };
    card.hidden = !(fits[only] ?? card.dataset.state === only);
    n += !card.hidden;
  }
  document.getElementById("shown").textContent = `${n} block${n === 1 ? "" : "s"} shown`;
}

async function changed(work) {
  if (!(await tried(work))) return;
  if (kinds?.value) sessionStorage.setItem("kind", kinds.value);
  location.reload();
}

if (list) {
  slider.addEventListener("input", () => show(Number(slider.value)));
  kinds.addEventListener("change", () => show());
  document.getElementById("sort").addEventListener("change", arrange);
  document.getElementById("filter").addEventListener("change", arrange);
  document.getElementById("choose").addEventListener("click", () => changed(() => act("choose", { row: Number(document.getElementById("choose").dataset.row), kind: shown.kind })));
  document.getElementById("unchoose").addEventListener("click", () => changed(() => act("choose", { row: null, kind: shown.kind })));
  for (const which of ["undo", "redo"]) document.getElementById(which).addEventListener("click", () => changed(() => act(which, { of: "plan" })));
  const before = sessionStorage.getItem("kind");
  sessionStorage.removeItem("kind");
  if (before) kinds.append(new Option(before, before));
  show();
}
document.querySelector("main").addEventListener("click", (event) => {
  const { aside, state, restore } = event.target.closest("button")?.dataset || {};
  if (aside) changed(() => act("state", { name: aside, state }));
  if (restore) changed(() => act("restore", { name: restore }));
});
const removed = new URLSearchParams(location.search).get("removed");
if (removed) say(`Block ${removed} was taken out. You can bring it back below.`);
