// Checks of the measuring: photos for each go to the computer one by one, the answer is shown below.
import { data, get, home, make, post, say, send, tried } from "./talk.js";

const NEEDED = { repeat: 2, lens: 5 };
const made = document.getElementById("made");

/** Show what a check says: sentences, and tables of what was looked at. */
function show(place, { good, said, tables }) {
  const row = ([what, text]) => make("tr", {}, make("th", { scope: "row" }, what), make("td", {}, text));
  place.replaceChildren(
    make("div", { class: `${good ? "good" : "warn"} verdict` }, ...said.map((text, i) => make("p", {}, i ? text : make("strong", {}, text)))),
    ...tables.map((t) => make("table", { class: "wide numbers" }, make("caption", {}, t.name), make("tbody", {}, ...t.rows.map(row)))),
  );
  place.scrollIntoView({ block: "nearest" });
}

function list(checks) {
  made.hidden = !checks.length;
  if (checks.length && checks[0].verdict !== "does not agree") document.querySelector(".doubt")?.remove();
  made.querySelector("ul").replaceChildren(...checks.map((c) => make("li", {},
    make("time", {}, c.when), make("strong", {}, c.verdict), `: ${c.known} known, ${c.measured} measured`)));
}

for (const section of document.querySelectorAll("[data-kind]")) {
  const { kind } = section.dataset;
  const answer = section.querySelector(".answer");
  const thumbs = section.querySelector("[data-thumbs]");
  const [go, leave] = ["do", "drop"].map((step) => section.querySelector(`[data-step=${step}]`));
  const address = (step) => `${home}/verify/${kind}/${step}`;

  const count = (n, busy = false) => {
    section.querySelector("[data-count]").textContent = n ? `${n} photo${n === 1 ? "" : "s"}` : "No photo yet";
    go.disabled = busy || n < NEEDED[kind];
    leave.hidden = busy || !n;
    if (!n) thumbs.replaceChildren();
  };

  const busy = (text) => answer.replaceChildren(make("p", {}, text), make("progress", { class: "bar", "aria-label": text }));

  async function take(files) {
    for (const file of files) {
      busy(kind === "verify" ? "Measuring…" : "Sending…");
      const query = new URLSearchParams({ name: file.name });
      if (kind === "verify") for (const [key, value] of new FormData(document.getElementById("known"))) query.set(key, value);
      const got = await tried(() => send(`${address("photo")}?${query}`, file));
      answer.replaceChildren();
      if (!got) return;
      if (kind === "verify") {
        show(answer, got);
        const now = await tried(() => get(`${home}/verify.json`));
        if (now) list(now.made);
      } else {
        count(got.count);
        thumbs.append(make("li", {}, picture(file)));
      }
    }
  }

  for (const input of section.querySelectorAll("[type=file][accept^=image]")) {
    input.addEventListener("change", () => { take([...input.files]); input.value = ""; });
  }
  if (!go) continue;
  count(data.waiting[kind]);
  go.addEventListener("click", async () => {
    go.disabled = true;
    busy("Measuring each photo…");
    const got = await tried(() => post(address("do"), {}));
    answer.replaceChildren();
    const left = await tried(() => get(`${home}/verify.json`));
    count(left ? left.waiting[kind] : 0);
    if (got) show(answer, got);
  });
  leave.addEventListener("click", async () => {
    if (await tried(() => post(address("drop"), {}))) count(0);
  });
}

function picture(file) {
  if (!/^image\/(jpeg|png|webp)$/.test(file.type)) return file.name;
  return make("img", { alt: file.name, src: URL.createObjectURL(file) });
}

document.getElementById("readings").addEventListener("change", async (event) => {
  const [file] = event.target.files;
  if (!file) return;
  const got = await tried(() => send(`${home}/verify/readings/do`, file));
  event.target.value = "";
  if (got) { show(document.querySelector("[data-kind=repeat] .answer"), got); say("The table is worked out."); }
});
list(data.made);
