// Photos in: taken, chosen or dropped; each shows at once in the queue and is told on as it goes.
import { act, answer, data, draw, home, make, post, say, send as sendFile, tried } from "./talk.js";

const list = document.getElementById("queue");
const progress = document.getElementById("progress");
const AT_ONCE = 2;
const waiting = [];
let sending = 0;
let sent = 0;
let known = new Map();
const together = document.getElementById("together");
let set = Object.keys(data.begun)[0] || token(); // photos of one block that are measured together
let inSet = data.begun[set] || 0;
const own = new Map(); // what was chosen here: the photo itself shows before it is measured

function send(files) {
  for (const file of files) waiting.push(file);
  while (sending < AT_ONCE && waiting.length) one(waiting.shift());
  tell();
}

function tell() {
  const left = waiting.length + sending;
  progress.textContent = left ? `Sending: ${left} to go.` : "";
  document.getElementById("set").hidden = !together.checked;
  document.getElementById("set-title").textContent = inSet ? `${inSet} photo${inSet === 1 ? "" : "s"} of one block` : "No photo of the block yet";
  document.getElementById("measure-set").disabled = left > 0 || inSet < 2;
  document.getElementById("drop-set").hidden = !inSet;
  document.getElementById("files").multiple = together.checked || !data.again;
}

function token() {
  return Array.from(crypto.getRandomValues(new Uint8Array(8)), (n) => (n % 36).toString(36)).join("");
}

function anotherSet() {
  set = token();
  inSet = 0;
  together.checked = false;
  document.getElementById("set-photos").replaceChildren();
  tell();
}

async function one(file) {
  sending += 1;
  const place = make("li", { class: "sending" }, make("div", { class: "thumb" }),
    make("div", {}, make("h3", {}, file.name), make("p", {}, "Sending…"), make("progress", { class: "bar", max: 1, value: 0, "aria-label": `Sending ${file.name}` })));
  preview(file, place);
  list.prepend(place);
  title();
  try {
    const item = await upload(file, place.querySelector("progress"));
    if (item.id === undefined) { // one of a set
      inSet += 1;
      const img = place.querySelector("img");
      document.getElementById("set-photos").append(make("li", {}, img || file.name));
    } else {
      own.set(item.id, place.querySelector("img")?.src);
      show(item);
    }
    sent += 1;
    place.remove();
  } catch (error) {
    place.className = "refused";
    place.lastChild.replaceChildren(make("h3", {}, file.name), make("p", { class: "warn" }, `Not taken in. ${error.message}`),
      make("div", { class: "buttons" }, make("button", { type: "button", onclick: () => { place.remove(); send([file]); } }, "Send it again")));
  } finally {
    sending -= 1;
    if (waiting.length) one(waiting.shift());
    tell();
    back();
  }
}

/** Back to the trimmed block once its photo is kept: there it is said whether it is right. */
function back() {
  const done = [...known.values()].some((i) => i.state === "kept" && i.trimmed && i.again === data.again && !earlier.has(i.id));
  if (done && data.trimmed && !sending) location.href = `${home}/trim?name=${encodeURIComponent(data.again)}`;
}

function preview(file, place) {
  if (!/^image\/(jpeg|png|webp)$/.test(file.type)) return;
  const img = make("img", { alt: "", src: URL.createObjectURL(file) });
  place.querySelector(".thumb").append(img);
}

/** XMLHttpRequest, because fetch does not tell how much has gone up. */
function upload(file, bar) {
  const query = new URLSearchParams({ name: file.name });
  if (data.again) query.set("again", data.again);
  if (data.trimmed) query.set("trimmed", data.trimmed);
  const kind = document.getElementById("kind");
  if (kind) query.set("kind", kind.value);
  if (together.checked) query.set("set", set);
  return new Promise((done, failed) => {
    const request = new XMLHttpRequest();
    request.open("POST", `${home}/photos?${query}`);
    request.upload.addEventListener("progress", (e) => { if (e.lengthComputable) bar.value = e.loaded / e.total; });
    request.addEventListener("load", () => {
      answer(new Response(request.responseText, { status: request.status })).then(done, failed);
    });
    request.addEventListener("error", () => failed(new Error("It did not reach the computer.")));
    request.send(file);
  });
}

const WORDS = { waiting: "Waiting to be measured", measuring: "Measuring…", kept: "Kept", refused: "Could not be measured", known: "In the project already" };

function show(item) {
  if (known.has(item.id) && item.state === "waiting") return; // an old word: what came of it was told first
  known.set(item.id, item);
  const place = make("li", { id: `photo-${item.id}`, class: item.state });
  const before = document.getElementById(place.id);
  const thumb = make("div", { class: "thumb" });
  place.append(thumb, body(item));
  if (before) before.replaceWith(place); else list.prepend(place);
  picture(item, thumb);
  title();
}

function picture(item, thumb) {
  const ready = ["kept", "refused", "known"].includes(item.state);
  const src = ready ? `${home}/picture/${item.sha256}?size=small` : own.get(item.id);
  if (!src || item.code === "unreadable_photo") return;
  const img = make("img", { alt: item.blocks.length ? `Photo of block ${item.blocks.join(", ")}` : `Photo ${item.name}`, src, loading: "lazy" });
  thumb.append(img);
  if (!item.doubtful.length) return;
  // the picture is smaller than the photo: its own size tells by how much once the large one is known
  img.addEventListener("load", async () => {
    const full = new Image();
    full.src = `${home}/picture/${item.sha256}?size=full`;
    await full.decode().catch(() => {});
    if (!full.naturalWidth) return;
    const svg = draw(thumb, "svg", { viewBox: `0 0 ${full.naturalWidth} ${full.naturalHeight}`, "aria-hidden": "true" });
    const corners = item.doubtful;
    draw(svg, "polygon", { points: corners.join(" "), fill: "none", stroke: "#fff", "stroke-width": 5, "vector-effect": "non-scaling-stroke" });
    draw(svg, "polygon", { points: corners.join(" "), fill: "none", stroke: "#d6006c", "stroke-width": 2, "stroke-dasharray": "6 4", "vector-effect": "non-scaling-stroke" });
    for (const k of item.sides) draw(svg, "polyline", { points: [corners[k], corners[(k + 1) % 4]].join(" "), stroke: "#d6006c", "stroke-width": 6, "vector-effect": "non-scaling-stroke" });
  }, { once: true });
}

function link(to, text, main = false) { return make("a", { class: main ? "button main" : "button", href: `${home}/${to}` }, text); }
function button(text, click) { return make("button", { type: "button", onclick: click }, text); }
const named = (name) => (/^\d/.test(name) ? `block ${name}` : name);

function body(item) {
  const rows = [make("h3", {}, item.state === "kept" ? `Kept as ${item.blocks.map(named).join(" and ")}` : WORDS[item.state])];
  if (item.state === "measuring") rows.push(make("progress", { class: "bar", "aria-label": "Measuring" }));
  if (item.state === "refused") {
    rows.push(...item.said.map((line, i) => make("p", { class: i ? "" : "warn" }, line)));
    const several = item.together.length > 0;
    const buttons = [several ? button("Add a photo of it", () => addTo(item)) : button("Take it again", () => { drop(item); document.getElementById("camera").click(); })];
    if (!several && !["no_reference", "reference_hidden", "unreadable_photo", "blurred", "overexposed", "tilted"].includes(item.code)) buttons.push(link(`mend?photo=${item.id}`, "Mend by hand"));
    buttons.push(button("Leave it out", () => drop(item)));
    rows.push(make("div", { class: "buttons" }, ...buttons));
  } else if (item.state === "kept" || item.state === "known") {
    if (item.state === "known") rows.push(make("p", {}, `This same photo gave ${item.blocks.map(named).join(" and ")}.`));
    rows.push(...item.sizes.map((size, i) => make("p", { class: "size" }, item.sizes.length > 1 ? `${item.blocks[i]}: ${size}` : size)));
    rows.push(...item.said.map((line) => make("p", { class: "hint" }, line)));
    if (item.like) rows.push(question(item));
    rows.push(make("div", { class: "buttons" }, ...item.blocks.map((name) => (item.trimmed ? link(`trim?name=${encodeURIComponent(name)}`, "Is it right?") : link(`block?name=${encodeURIComponent(name)}`, `Look at ${named(name)}`)))));
  }
  return make("div", {}, ...rows);
}

function question(item) {
  const settle = (block) => tried(() => act("settle", { number: item.id, block }));
  return make("div", { class: "warn" },
    make("p", {}, `Is this ${named(item.like)} once more? It has the same size and looks alike.`),
    make("div", { class: "buttons" }, button(`Yes, ${named(item.like)}`, () => settle(item.like)), button("No, a new block", () => settle(""))));
}

function addTo(item) {
  set = item.together[0].split("/")[0].slice(-8);
  inSet = item.together.length;
  together.checked = true;
  tell();
  document.getElementById("camera").click();
}

function drop(item) { tried(() => act("drop", { number: item.id })); }
function title() {
  document.getElementById("queue-title").classList.toggle("away", !list.children.length);
  if (list.children.length) document.querySelector(".first")?.setAttribute("hidden", "");
}

for (const id of ["camera", "files"]) {
  const input = document.getElementById(id);
  input.addEventListener("change", () => { send([...input.files]); input.value = ""; });
}
together.addEventListener("change", tell);
document.getElementById("measure-set").addEventListener("click", () => tried(async () => {
  const kind = document.getElementById("kind")?.value;
  await act("together", { set, again: data.again, trimmed: data.trimmed, ...(kind ? { kind } : {}) });
  anotherSet();
}));
document.getElementById("drop-set").addEventListener("click", () => tried(async () => {
  await act("drop", { set });
  anotherSet();
}));
if (inSet) together.checked = true;
tell();
const target = document.getElementById("drop");
for (const kind of ["dragenter", "dragover"]) addEventListener(kind, (e) => { e.preventDefault(); target.classList.add("over"); });
for (const kind of ["dragleave", "drop"]) addEventListener(kind, (e) => { e.preventDefault(); target.classList.remove("over"); });
addEventListener("drop", (e) => send([...e.dataTransfer.files]));
document.getElementById("example")?.addEventListener("click", () => tried(async () => {
  const made = await post("/new", { example: true });
  if (decodeURI(location.pathname) === made.to) location.reload(); else location.href = encodeURI(made.to);
}));
document.getElementById("ruler")?.addEventListener("submit", async (event) => {
  event.preventDefault();
  const form = event.target;
  const { name } = Object.fromEntries(new FormData(form));
  const done = await tried(() => act("ruler", Object.fromEntries(new FormData(form))));
  if (!done) return;
  say(`Kept as ${named(name.trim())}.`);
  form.reset();
  form.elements.name.focus();
});
document.getElementById("table")?.addEventListener("change", async (event) => {
  const [file] = event.target.files;
  if (!file) return;
  const done = await tried(() => sendFile(`${home}/table`, file));
  event.target.value = "";
  if (done) say(done.names.length ? `New measurements: ${done.names.join(", ")}.` : `Everything in ${file.name} is already in.`, 12);
});
addEventListener("beforeunload", (e) => { if (sending) e.preventDefault(); });

data.items.slice().reverse().forEach(show);
const earlier = new Set(known.keys()); // photos of an earlier visit
const events = new EventSource(`${home}/events`);
events.addEventListener("photos", (e) => {
  const items = JSON.parse(e.data);
  for (const id of known.keys()) if (!items.some((i) => i.id === id)) { document.getElementById(`photo-${id}`)?.remove(); known.delete(id); }
  items.reverse().forEach((item) => { if (JSON.stringify(known.get(item.id)) !== JSON.stringify(item)) show(item); });
  back();
});
events.addEventListener("photo", (e) => {
  const item = JSON.parse(e.data);
  show(item);
  if (item.state === "kept") say([`Kept as ${item.blocks.map(named).join(" and ")}`, ...item.sizes].join(", ") + ".");
  back();
  if (item.state === "refused") say(`${item.name} could not be measured. ${item.said[0] || ""}`);
  if (item.state === "known") say(`${item.name} is in the project already.`);
});
events.addEventListener("gone", (e) => { const { id } = JSON.parse(e.data); known.delete(id); document.getElementById(`photo-${id}`)?.remove(); title(); });
