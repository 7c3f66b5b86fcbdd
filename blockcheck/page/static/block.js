// One block: its photo with outline, trim lines and marks, all of which can be moved.
import { act, data, draw, get, home, make, place, say, tried } from "./talk.js";
import { Viewer, edgeHandles } from "./viewer.js";

const part = document.getElementById("part");
const hint = document.getElementById("hint");
const busy = document.getElementById("busy");
const kept = document.getElementById("held");
const SOON_MS = 350; // after the last key, before the answer is asked for
const HINTS = {
  edges: ["Drag a corner or an edge.", "By keyboard: Tab to it, then the arrow keys; with Shift ten pixels."],
  point: ["Tap where seams meet near an edge. Drag a point to move it.", "Delete removes it."],
  line: ["Tap the motif’s two ends: top and bottom, or left and right."],
};
let now = data;
let corners = data.corners;
let held = new Set(data.held || []);
let tool = "edges";
let guesses = null;
let firstEnd = null;
let trim = null;
let timer = 0;
let moving = false;
let moves = 0; // how often something was moved: an answer to an earlier place is not shown over it
let latest = Promise.resolve(); // changes are asked for one after the other
let viewer = null;

function start() {
  const picture = document.getElementById("picture");
  if (!picture) return;
  viewer = new Viewer(picture, document.getElementById("loupe"), { onTap: tap, onDraw: paint });
  const address = `${home}/picture/${now.photo}?size=`;
  busy.hidden = false;
  busy.textContent = "Opening the photo…";
  tried(() => act("ready", { name: now.name })).then((size) => {
    busy.hidden = true;
    busy.textContent = "Measuring…";
    if (size) viewer.show(`${address}screen`, `${address}full`, size.width, size.height, corners);
  });
  document.querySelector(".editor").addEventListener("click", choose);
  document.getElementById("undo").addEventListener("click", () => change("undo", { of: now.name }));
  document.getElementById("redo").addEventListener("click", () => change("redo", { of: now.name }));
  document.getElementById("suggest").addEventListener("click", suggest);
  addEventListener("keydown", (e) => {
    if (!(e.ctrlKey || e.metaKey) || e.target.matches("input") || e.key.toLowerCase() !== "z") return;
    e.preventDefault();
    change(e.shiftKey ? "redo" : "undo", { of: now.name });
  });
  take(now);
  use("edges");
}

function choose(event) {
  const { tool: name, zoom } = event.target.dataset;
  if (name) use(name);
  else if (zoom === "all") viewer.fit();
  else if (zoom) viewer.zoom(zoom === "in" ? 0.7 : 1.4);
}

function use(name) {
  tool = name;
  firstEnd = null;
  for (const b of document.querySelectorAll("[data-tool]")) b.setAttribute("aria-pressed", String(b.dataset.tool === name));
  document.getElementById("suggest").hidden = name === "edges";
  kept.closest("label").hidden = name !== "edges";
  hinted(name);
  listed();
  paint();
}

/** What to do with a tool; what is for keys alone is not shown where there are none. */
function hinted(name) {
  const [all, keys] = HINTS[name];
  hint.replaceChildren(all, " ", make("span", { class: "keys" }, keys || ""));
}

function take(shown) {
  now = shown;
  corners = shown.corners;
  held = new Set(shown.held || []);
  for (const which of ["undo", "redo"]) {
    const button = document.getElementById(which);
    if (!button) continue;
    button.disabled = !shown.can[which];
    button.title = shown.can[which] || "";
  }
  trim = null;
  paint();
  lines();
}

let asked = 0;
async function lines() {
  const mine = (asked += 1);
  const found = await get(`${home}/lines.json?name=${encodeURIComponent(now.name)}`).catch(() => null);
  if (mine !== asked || moving) return;
  trim = found;
  paint();
}

function paint() {
  if (!viewer?.ready || !corners.length) return;
  const layer = viewer.layer;
  viewer.clear();
  const points = corners.join(" ");
  if (trim?.kept) {
    const outer = now.outline.join(" L");
    const inner = trim.kept.join(" L");
    draw(layer, "path", { class: "waste", d: `M${outer}Z M${inner}Z` });
    for (const c of ["trimline", "trimline over"]) draw(layer, "polygon", { class: c, points: trim.kept.join(" ") });
  }
  for (const c of ["outline", `outline over${moving ? " moved" : ""}`]) draw(layer, "polygon", { class: c, points });
  if (now.line) for (const c of ["axis under", "axis"]) draw(layer, "line", { class: c, x1: now.line[0][0], y1: now.line[0][1], x2: now.line[1][0], y2: now.line[1][1] });
  const k = viewer.scale;
  if (!moving && tool === "edges") (now.labels || []).forEach(({ at, text, anchor }) => {
    draw(layer, "text", { x: at[0], y: at[1], "font-size": 17 * k, "stroke-width": 5 * k, dy: 6 * k }, text).style.textAnchor = anchor;
  });
  viewer.hold(tool === "edges" ? edgeHandles(corners, moved) : marks());
}

function moved(next, sides, done) {
  clearTimeout(timer);
  moving = true;
  moves += 1;
  corners = next;
  trim = null;
  paint();
  const send = () => {
    for (const k of sides) if (kept.checked) held.add(k); else held.delete(k);
    change("edges", { name: now.name, corners: next, held: [...held] });
  };
  if (done === "soon") timer = setTimeout(send, SOON_MS);
  else if (done) send();
}

function marks() {
  const found = Object.entries(now.points).map(([name, at]) => ({
    id: `point-${name}`, at, text: name, label: `Point ${name}`, kind: "point",
    move: (to, done) => { now.points[name] = to; paint(); later(done, keepPoints); },
    remove: () => { delete now.points[name]; keepPoints(); },
  }));
  (now.line || []).forEach((at, i) => found.push({
    id: `end-${i}`, at, label: `Centre line, end ${i + 1}`, kind: "point",
    move: (to, done) => { now.line[i] = to; paint(); later(done, keepLine); },
    remove: () => { now.line = null; keepLine(); },
  }));
  for (const guess of guesses || []) found.push({
    id: `guess-${guess.n}`, at: guess.at, text: `${guess.n}?`, label: `Suggestion ${guess.n}, ${guess.said}: press Enter to mark it`, kind: "point guess",
    tap: () => accept(guess),
  });
  if (firstEnd) found.push({ id: "first", at: firstEnd, label: "First end of the centre line", kind: "point" });
  return found;
}

function later(done, keep) {
  clearTimeout(timer);
  moves += 1;
  if (done === "soon") timer = setTimeout(keep, SOON_MS);
  else if (done) keep();
}

function tap(at) {
  if (tool === "point") add(at);
  if (tool !== "line") return;
  if (!firstEnd) { firstEnd = at; hint.textContent = "Now the other end."; paint(); return; }
  now.line = [firstEnd, at];
  firstEnd = null;
  hinted("line");
  keepLine();
}

function add(at, name = "1") {
  let n = name;
  for (let i = 1; n in now.points; i += 1) n = String(i);
  now.points[n] = at;
  keepPoints();
}

function keepPoints() { change("marks", { name: now.name, points: now.points }); }
function keepLine() { change("marks", { name: now.name, line: now.line }); }

async function suggest() {
  busy.hidden = false;
  const found = await tried(() => act("suggest", { name: now.name }));
  busy.hidden = true;
  if (!found) return;
  const places = [...found.points, ...(found.line ? [found.line[0]] : [])];
  guesses = places.map((at, i) => ({ n: i + 1, at, said: found.said[i], line: i < found.points.length ? null : found.line }));
  say(guesses.length ? `${guesses.length === 1 ? "1 suggestion stands" : `${guesses.length} suggestions stand`} beside the photo.` : "No seams that meet near an edge were seen.");
  listed();
  paint();
}

/** The suggestions beside the photo, by the numbers that they have in it. */
function listed() {
  const list = document.querySelector("#guesses ol");
  document.getElementById("guesses").hidden = tool === "edges" || !guesses?.length;
  list.replaceChildren(...(guesses || []).map((guess) => make("li", {},
    make("span", {}, `${guess.n}: ${guess.said}`), " ",
    make("button", { type: "button", onclick: () => accept(guess) }, "Mark it", make("span", { class: "away" }, `: suggestion ${guess.n}`)))));
}

function accept(guess) {
  const inList = document.activeElement?.closest("#guesses");
  guesses = guesses.filter((g) => g !== guess);
  listed();
  if (inList) (document.querySelector("#guesses button") || document.getElementById("suggest")).focus();
  if (!guess.line) { add(guess.at, String(guess.n)); return; }
  now.line = guess.line;
  keepLine();
}

/** Change something once all before it is done, and show what the project says then. */
function change(action, body, name = now.name) {
  const mine = latest.then(() => changed(action, body, name));
  latest = mine.catch(() => null);
  return mine;
}

async function changed(action, body, name) {
  const before = moves;
  const waits = setTimeout(() => { if (busy) busy.hidden = false; }, 250);
  const answer = await tried(() => act(action, { ...body, show: `block?name=${encodeURIComponent(name)}` }));
  clearTimeout(waits);
  if (busy) busy.hidden = true;
  if (answer && moves !== before) return answer; // the hand has gone on: its own answer is to come
  moving = false;
  if (!answer) { // as it was
    const shown = await tried(() => get(`${home}/block.json?name=${encodeURIComponent(now.name)}`));
    if (shown) take(shown);
    return null;
  }
  if (answer.said) say(answer.said);
  if (answer.part) {
    place(part, answer.part);
    take(answer.data);
  }
  return answer;
}

async function byRuler(form, given) {
  const said = form.dataset.ruler === "point"
    ? { point: given.point, across: [given["x-edge"], given.x], down: [given["y-edge"], given.y] }
    : { line: [given.edge, given.first, given.last] };
  if (await change("by_ruler", { name: now.name, ...said })) say("Marked.");
}

part.addEventListener("click", async (event) => {
  const button = event.target.closest("button");
  if (!button) return;
  if ("unmark" in button.dataset) change("unmark", { name: now.name, point: button.dataset.unmark });
  if ("unmarkLine" in button.dataset) change("unmark", { name: now.name });
  if (button.dataset.do === "state") change("state", { name: now.name, state: button.dataset.state });
  if (button.dataset.do === "remove") {
    const gone = await tried(() => act("remove", { name: now.name }));
    if (gone) location.href = `${home}/blocks?removed=${encodeURIComponent(now.name)}`;
  }
});
part.addEventListener("submit", async (event) => {
  event.preventDefault();
  const form = new FormData(event.target);
  if (event.target.dataset.ruler) { byRuler(event.target, Object.fromEntries(form)); return; }
  const note = form.get("note");
  const name = form.get("name").trim();
  const kind = form.get("kind");
  if (kind !== null && !(await change("kind", { name: now.name, kind }))) return;
  if (!(await change("note", { name: now.name, note }))) return;
  if (name !== now.name) {
    const done = await tried(() => act("rename", { name: now.name, new: name }));
    if (done) location.href = `${home}/block?name=${encodeURIComponent(done.name)}`;
  } else say("Kept.");
});
start();
