// A refused photo: the block's corners are set by hand, and it is measured there.
import { act, data, draw, home, make, tried } from "./talk.js";
import { Viewer, edgeHandles } from "./viewer.js";

let corners = data.corners;
const held = new Set();
const kept = document.getElementById("held");
const viewer = new Viewer(document.getElementById("picture"), document.getElementById("loupe"), { onDraw: paint });

function paint() {
  if (!viewer?.ready || !corners.length) return;
  viewer.clear();
  for (const c of ["outline", "outline over moved"]) draw(viewer.layer, "polygon", { class: c, points: corners.join(" ") });
  viewer.hold(edgeHandles(corners, (next, sides, done) => {
    corners = next;
    if (done) for (const k of sides) if (kept.checked) held.add(k); else held.delete(k);
    paint();
  }));
}

async function start() {
  const address = `${home}/picture/${data.photo}?size=`;
  const full = new Image();
  full.src = `${address}full`;
  await full.decode();
  const [w, h] = [full.naturalWidth, full.naturalHeight];
  if (!corners.length) corners = [[0.25, 0.25], [0.75, 0.25], [0.75, 0.75], [0.25, 0.75]].map(([x, y]) => [x * w, y * h]);
  await viewer.show(`${address}screen`, `${address}full`, w, h);
  paint();
}

document.getElementById("hint").append(make("span", { class: "keys" }, "By keyboard: Tab to a corner or an edge, then the arrow keys; with Shift ten pixels."));
document.querySelector(".editor").addEventListener("click", (e) => {
  const { zoom } = e.target.dataset;
  if (zoom === "all") viewer.fit();
  else if (zoom) viewer.zoom(zoom === "in" ? 0.7 : 1.4);
});
document.getElementById("measure").addEventListener("click", async () => {
  const done = await tried(() => act("mend", { number: data.number, corners, held: [...held] }));
  if (done) location.href = `${home}/block?name=${encodeURIComponent(done.block)}`;
});
tried(start);
